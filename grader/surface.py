"""The lit surface of a piece on one photo, freed of camera colour and ready to be measured.

Two things are kept apart from here on: *tone*, the logarithm of light, which holds all shading,
and *chroma*, the two log-chromaticities log(R/G) and log(B/G), which shading cannot change.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader import channels
from grader.colour.srgb import decode_srgb
from grader.findings import View
from grader.piece import Mask, Silhouette
from grader.target import Target

Plane = NDArray[np.float32]

_FINEST_PX_PER_MM = 11.0
"""0.45 mm, the smallest pit worth naming, is then 5 px across; finer pixels only cost time."""

_ASSUMED_HEIGHT_MM = 100.0
"""Height taken for a piece of unknown size, only to choose filter widths; no size is reported."""

_DARK_FLOOR = 0.003
"""Linear light added before logarithms, about one 8-bit step: keeps black finite and noise low."""

_CLIPPED = 252
"""8-bit level from which a channel is taken as clipped, so that its colour is no longer sure."""

_GLARE_RIM_MM = 0.6
"""Blur of lens and sensor round a glare spot."""


_PAPER = 0.85
"""Share of light that white printing paper returns (from memory)."""


@dataclass(frozen=True, slots=True)
class Surface:
    """One photo of a piece, cut to the piece, at working scale.

    Attributes
    ----------
    photo, view : str
    origin_px : tuple of float
        Full-size photo coordinates (x, y) of the corner of the working picture.
    step : float
        Full-size pixels per working pixel.
    size_px : tuple of int
        (width, height) of the full-size photo.
    mask : ndarray of bool, shape (h, w)
        The piece.
    light : ndarray of float32, shape (h, w, 3)
        Linear sRGB, corrected as well as the photo allows.
    chroma : ndarray of float32, shape (h, w, 2)
        log(R/G) and log(B/G), natural logarithm, blurred by 0.15 mm against noise.
    tone : ndarray of float32, shape (h, w)
        Mean natural logarithm of the three channels.
    glare : ndarray of bool, shape (h, w)
        Places where all channels are clipped, with the rim that the lens adds: never measured.
    clipped : ndarray of bool, shape (h, w)
        Places where any channel is clipped: their chroma is not trusted for fine differences.
    px_per_mm : float
        Working pixels per millimetre of the near surface.
    scale_known : bool
        False where `px_per_mm` rests on an assumed height.
    white_light : float or None
        Green light of a white that returns all of it, in the units of `light`; None where neither
        chart nor paper tells the exposure.
    """

    photo: str
    view: View
    origin_px: tuple[float, float]
    step: float
    size_px: tuple[int, int]
    mask: Mask
    light: NDArray[np.float32]
    chroma: NDArray[np.float32]
    tone: Plane
    glare: Mask
    clipped: Mask
    px_per_mm: float
    scale_known: bool
    white_light: float | None = None

    def px(self, length_mm: float) -> float:
        """Length in working pixels."""
        return length_mm * self.px_per_mm

    @property
    def chroma_blur_px(self) -> float:
        """Standard deviation of the blur that `chroma` was given."""
        return _chroma_blur_px(self.px_per_mm)


def read_surface(
    rgb: NDArray[np.uint8],
    silhouette: Silhouette,
    target: Target,
    *,
    photo: str,
    view: View,
    px_per_mm: float | None,
) -> Surface:
    """Cut the piece out of its photo and turn it into light.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
    silhouette : Silhouette
    target : Target
    photo, view : str
    px_per_mm : float or None
        Full-size pixels per millimetre of the near surface; None where nothing tells.

    Returns
    -------
    Surface
    """
    height, width = rgb.shape[:2]
    left, top, wide, high = silhouette.bbox_px
    scale = px_per_mm or high / _ASSUMED_HEIGHT_MM
    pad = round(2 * scale)
    x0, y0 = max(0, left - pad), max(0, top - pad)
    x1, y1 = min(width, left + wide + pad), min(height, top + high + pad)
    crop = np.ascontiguousarray(rgb[y0:y1, x0:x1])
    mask = silhouette.mask[y0:y1, x0:x1]
    light = decode_srgb(crop)
    clipped = np.asarray(channels.largest(crop) >= _CLIPPED)
    burnt = np.asarray(channels.smallest(crop) >= _CLIPPED)
    step = max(1.0, scale / _FINEST_PX_PER_MM)
    if step > 1.0:
        size = (max(1, round(crop.shape[1] / step)), max(1, round(crop.shape[0] / step)))
        light = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
        mask = _shrink(mask, size) > 0.5
        clipped, burnt = _shrink(clipped, size) > 0.1, _shrink(burnt, size) > 0.1
    light = cv2.transform(light, target.colour.matrix.astype(np.float32))
    np.maximum(light, 0.0, out=light)
    working = scale / step
    chroma = _chroma(light, working)
    tone = _tone(light)
    return Surface(
        photo=photo,
        view=view,
        origin_px=(float(x0), float(y0)),
        step=step,
        size_px=(width, height),
        mask=mask,
        light=light,
        chroma=chroma,
        tone=tone,
        glare=_glare(burnt, mask, working),
        clipped=clipped,
        px_per_mm=working,
        scale_known=px_per_mm is not None,
        white_light=_white_light(target),
    )


def _white_light(target: Target) -> float | None:
    """Light of diffuse white: 1 by a chart of this photo, else from the marker's paper."""
    if target.colour.source == "chart" and not target.colour.from_photo:
        return 1.0
    if target.paper_linear is None:
        return None
    return float((target.colour.matrix @ target.paper_linear)[1]) / _PAPER


def renew(surface: Surface, light: NDArray[np.float32]) -> Surface:
    """The same photo in other light, such as with a mark laid over it.

    Parameters
    ----------
    surface : Surface
    light : ndarray of float32, shape (h, w, 3)
        Linear, of the surface's own working size.
    """
    light = np.maximum(light, 0.0).astype(np.float32)
    return replace(
        surface, light=light, chroma=_chroma(light, surface.px_per_mm), tone=_tone(light)
    )


def light_of(
    chroma: NDArray[np.floating], tone: NDArray[np.floating] | float
) -> NDArray[np.floating]:
    """Linear light that has this chroma and tone: the way back from `Surface.chroma` and `tone`.

    Parameters
    ----------
    chroma : ndarray of float, shape (..., 2)
    tone : float or ndarray of float, shape (...)

    Returns
    -------
    ndarray of float, shape (..., 3)
    """
    green = tone - channels.total(chroma) / 3
    return np.exp(np.stack([green + chroma[..., 0], green, green + chroma[..., 1]], axis=-1))


def disc(radius_px: float) -> NDArray[np.uint8]:
    """Round structuring element of at least one pixel radius."""
    size = 2 * max(1, round(radius_px)) + 1
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))  # type: ignore[no-any-return]


def grow(mask: Mask, radius_px: float) -> Mask:
    """Dilate by a disc."""
    return cv2.dilate(mask.astype(np.uint8), disc(radius_px)) > 0


def shrink(mask: Mask, radius_px: float) -> Mask:
    """Erode by a disc; what lies outside the picture counts as outside the mask."""
    return (
        cv2.erode(
            mask.astype(np.uint8), disc(radius_px), borderType=cv2.BORDER_CONSTANT, borderValue=0
        )
        > 0
    )


def opened(mask: Mask, radius_px: float) -> Mask:
    """Leave of a mask what holds a disc."""
    return grow(shrink(mask, radius_px), radius_px)


def lowest(mask: Mask) -> NDArray[np.intp]:
    """Lowest row of a mask in each column; the last where a column has none of it."""
    return np.asarray(len(mask) - 1 - np.argmax(mask[::-1], axis=0))


def fill_from(plane: NDArray[np.float32], source: Mask) -> NDArray[np.float32]:
    """Give every pixel outside `source` the value of the nearest pixel inside it."""
    if source.all() or not source.any():
        return plane
    _, labels = cv2.distanceTransformWithLabels(
        (~source).astype(np.uint8), cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    lookup = np.zeros(int(labels.max()) + 1, np.int64)
    flat = np.flatnonzero(source)
    lookup[labels.ravel()[flat]] = flat
    return plane.reshape(-1, *plane.shape[2:])[lookup[labels]]


def _shrink(mask: Mask, size: tuple[int, int]) -> Plane:
    return cv2.resize(  # type: ignore[no-any-return]
        mask.astype(np.float32), size, interpolation=cv2.INTER_AREA
    )


def _logs(light: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
    calm = cv2.GaussianBlur(light, (0, 0), sigma_px)
    return cv2.log(calm + np.float32(_DARK_FLOOR))  # type: ignore[no-any-return]


def _chroma(light: NDArray[np.float32], px_per_mm: float) -> NDArray[np.float32]:
    logs = _logs(light, _chroma_blur_px(px_per_mm))
    return np.dstack([logs[..., 0] - logs[..., 1], logs[..., 2] - logs[..., 1]])


def _chroma_blur_px(px_per_mm: float) -> float:
    # Cameras store colour at half the pixels: finer than 0.15 mm or 1 px it is only noise.
    return max(1.0, 0.15 * px_per_mm)


def _tone(light: NDArray[np.float32]) -> Plane:
    logs = _logs(light, 0.6)
    return channels.mean(logs)


def _glare(burnt: Mask, mask: Mask, px_per_mm: float) -> Mask:
    return grow(burnt & mask, _GLARE_RIM_MM * px_per_mm) & mask
