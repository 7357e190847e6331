"""The phone: where it looks from, and what its sensor makes of the light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from .noise import FloatArray
from .tones import encode_srgb


@dataclass(frozen=True, slots=True)
class View:
    """A camera: position, aim and frame.

    `fov_deg` spans the frame's width. `origin_mm`, `aim_mm` and `up` are in scene coordinates
    (x right, y away, z up).
    """

    origin_mm: tuple[float, float, float]
    aim_mm: tuple[float, float, float]
    up: tuple[float, float, float]
    fov_deg: float
    width_px: int
    height_px: int
    aperture_mm: float
    focus_mm: float

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return self.width_px / 2.0 / float(np.tan(np.radians(self.fov_deg) / 2.0))

    @property
    def focal_35mm(self) -> float:
        """Focal length of the lens that sees as much on 36 x 24 mm film, by the diagonal (CIPA)."""
        diagonal_px = float(np.hypot(self.width_px, self.height_px))
        return self.focal_px / diagonal_px * float(np.hypot(36.0, 24.0))

    def axes(self) -> npt.NDArray[np.float64]:
        """Rows: right, down, forward."""
        forward = np.subtract(self.aim_mm, self.origin_mm)
        forward = forward / np.linalg.norm(forward)
        right = np.cross(forward, self.up)
        right = right / np.linalg.norm(right)
        return np.stack([right, np.cross(forward, right), forward])

    def project(self, points_mm: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Pixels of scene points.

        Parameters
        ----------
        points_mm : array_like of float, shape (..., 3)

        Returns
        -------
        numpy.ndarray of float64, shape (..., 3)
            x and y in pixels from the top left corner, and depth in mm.
        """
        local = (np.asarray(points_mm, np.float64) - np.asarray(self.origin_mm)) @ self.axes().T
        depth = local[..., 2]
        x = self.focal_px * local[..., 0] / depth + self.width_px / 2.0
        y = self.focal_px * local[..., 1] / depth + self.height_px / 2.0
        return np.stack([x, y, depth], -1)


def frame_view(
    points_mm: npt.NDArray[np.floating],
    centre_mm: npt.NDArray[np.floating],
    elevation_deg: float,
    fov_deg: float,
    size_px: tuple[int, int],
    fill: float,
    offset: tuple[float, float] = (0.0, 0.0),
    roll_deg: float = 0.0,
    azimuth_deg: float = 0.0,
    f_number: float = 2.0,
) -> View:
    """Step back until everything fits the frame.

    Parameters
    ----------
    points_mm : numpy.ndarray of float, shape (N, 3)
        What must be seen.
    centre_mm : numpy.ndarray of float, shape (3,)
        Middle of the piece.
    elevation_deg : float
        Height of the camera above the table's plane.
    fov_deg : float
        Across the frame's longer side.
    size_px : tuple of int
        Width, height.
    fill : float
        Share of the half frame that the outermost point may reach.
    offset : tuple of float
        Shift of the piece in the frame, as a share of the half frame.
    roll_deg, azimuth_deg : float
        How crooked the phone is held, and how far it is walked round.
    f_number : float
        Sets the aperture (a phone: about 2 with a 5 mm lens, so nearly all is sharp).

    Returns
    -------
    View
    """
    width, height = size_px
    if height > width:
        fov_deg = float(np.degrees(2 * np.arctan(np.tan(np.radians(fov_deg) / 2) * width / height)))
    e, a, r = np.radians(elevation_deg), np.radians(azimuth_deg), np.radians(roll_deg)
    back = np.array([-np.sin(a) * np.cos(e), -np.cos(a) * np.cos(e), np.sin(e)])
    low_mid = (points_mm.min(0) + points_mm.max(0)) / 2
    aim = 0.5 * np.asarray(centre_mm, np.float64) + 0.5 * low_mid
    view = None
    near, far = 80.0, 6000.0
    for _ in range(40):
        distance = (near + far) / 2
        side = np.cross(-back, [0.0, 0.0, 1.0])
        side /= np.linalg.norm(side)
        rise = np.cross(side, -back)
        half = distance * np.tan(np.radians(fov_deg) / 2)
        target = aim - offset[0] * half * side - offset[1] * half * height / width * rise
        up = rise * np.cos(r) + side * np.sin(r)
        origin = target + distance * back
        view = View(
            _triple(origin), _triple(target), _triple(up), fov_deg, width, height, 0.0, distance
        )
        px = view.project(points_mm)
        reach = np.abs(px[:, :2] / [width / 2, height / 2] - 1.0).max()
        if reach > fill or (px[:, 2] < 20).any():
            near = distance
        else:
            far = distance
    assert view is not None
    # The focus lies on the front of the piece, nearer than its middle.
    depth = float(view.project(np.asarray(centre_mm))[2])
    aperture = 5.0 / f_number / 2.0
    return View(
        view.origin_mm, view.aim_mm, view.up, view.fov_deg, width, height, aperture, 0.94 * depth
    )


def _triple(v: npt.NDArray[np.float64]) -> tuple[float, float, float]:
    return (float(v[0]), float(v[1]), float(v[2]))


@dataclass(frozen=True, slots=True)
class Sensor:
    """How one phone renders a session.

    `gains` are the white balance that it chose; `exposure` multiplies the light; `noise` is the
    read and shot noise at mid grey as a share; `blur_px` its softness; `contrast` a mild S curve.
    """

    gains: tuple[float, float, float]
    exposure: float
    noise: float
    blur_px: float
    sharpen: float
    vignette: float
    contrast: float
    quality: int


def develop(light: FloatArray, sensor: Sensor, rng: np.random.Generator) -> npt.NDArray[np.uint8]:
    """Turn linear light into the phone's picture.

    Parameters
    ----------
    light : numpy.ndarray of float32, shape (H, W, 3)
        Linear sRGB radiance.
    sensor : Sensor
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray of uint8, shape (H, W, 3)
        RGB.
    """
    height, width = light.shape[:2]
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j].astype(np.float32)
    falloff = 1.0 - sensor.vignette * (x * x + y * y * (height / width) ** 2) / (
        1 + (height / width) ** 2
    )
    raw = light * np.float32(sensor.exposure) * falloff[..., None]
    if sensor.blur_px > 0:
        raw = np.asarray(cv2.GaussianBlur(raw, (0, 0), sensor.blur_px), np.float32)
    # The sensor clips before white balance, and the phone lets what is clipped be white: no colour
    # may stay below full scale there. Noise of photons grows with the root of the light.
    raw = np.clip(raw, 0, 1.15 / min(sensor.gains))
    spread = sensor.noise * np.sqrt(0.18) * np.sqrt(raw + 0.02)
    grain = rng.standard_normal(raw.shape, dtype=np.float32)
    # Noise reduction in the phone leaves it a little clumpy and less in colour than in light.
    grain = 0.75 * grain + 0.9 * cv2.GaussianBlur(grain, (0, 0), 0.9)
    common = grain.mean(axis=2, keepdims=True) * 1.2
    # What noise reduction leaves in colour are faint blotches some pixels wide.
    small = rng.standard_normal((height // 5 + 2, width // 5 + 2, 3), dtype=np.float32)
    blotch = np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC))
    blotch -= blotch.mean(axis=2, keepdims=True)
    raw = raw + spread * (0.6 * grain + 0.4 * common + 0.35 * blotch)
    balanced = np.clip(raw * np.asarray(sensor.gains, np.float32), 0, 1)
    if sensor.sharpen > 0:
        soft = np.asarray(cv2.GaussianBlur(balanced, (0, 0), 1.2), np.float32)
        balanced = np.clip(balanced + sensor.sharpen * (balanced - soft), 0, 1)
    tone = encode_srgb(balanced)
    curve = tone * tone * (3 - 2 * tone)
    tone = tone + sensor.contrast * (curve - tone)
    return np.rint(tone * 255).astype(np.uint8)
