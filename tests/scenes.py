"""Small pictures with known geometry and colour: flat cards before a pinhole camera.

World coordinates in mm: x right, y down, z away from the camera, origin in the camera.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.colour.reference import CHART_LINEAR
from grader.colour.srgb import encode_srgb

Array = NDArray[np.float64]

# Supersampling of the pasted cards, so that their edges are as smooth as a lens makes them.
_FINER = 3


@dataclass(frozen=True)
class Camera:
    """A phone's camera: picture size in px, focal length for the 35 mm format in mm."""

    size_px: tuple[int, int] = (2000, 1500)
    focal_35mm: float = 52.0

    @property
    def focal_px(self) -> float:
        return self.focal_35mm / math.hypot(36, 24) * math.hypot(*self.size_px)

    def project(self, points_mm: Array) -> Array:
        """Project points (n, 3) to pixels (n, 2)."""
        points = np.asarray(points_mm, dtype=np.float64)
        middle = (np.array(self.size_px) - 1) / 2
        return np.asarray(middle + self.focal_px * points[:, :2] / points[:, 2:])


def card_corners(
    width_mm: float,
    height_mm: float,
    middle_mm: tuple[float, float, float],
    *,
    lean_deg: float = 0.0,
    turn_deg: float = 0.0,
    roll_deg: float = 0.0,
) -> Array:
    """Corners (4, 3), clockwise from the top left, of a card leaning back, turned and rolled."""
    half = np.array([width_mm, height_mm]) / 2
    flat = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]) * [*half, 0]
    lean, turn, roll = np.radians([lean_deg, turn_deg, roll_deg])
    about_x = np.array(
        [[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]]
    )
    about_y = np.array(
        [[np.cos(turn), 0, np.sin(turn)], [0, 1, 0], [-np.sin(turn), 0, np.cos(turn)]]
    )
    about_z = np.array(
        [[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]]
    )
    return np.asarray(flat @ (about_y @ about_x @ about_z).T + np.array(middle_mm))


def backdrop(camera: Camera, linear: tuple[float, float, float] = (0.45, 0.45, 0.45)) -> Array:
    """An evenly lit backdrop, linear light, shape (height, width, 3)."""
    width, height = camera.size_px
    fall_off = np.linspace(1.0, 0.75, height)[:, None, None]
    return np.broadcast_to(np.array(linear), (height, width, 3)) * fall_off


def paste(picture: Array, texture: Array, corners_mm: Array, camera: Camera) -> Array:
    """Lay a linear texture (h, w, 3) on a card, and return the picture with it."""
    target = camera.project(corners_mm)
    low = np.floor(target.min(axis=0)).astype(int) - 3
    high = np.ceil(target.max(axis=0)).astype(int) + 4
    size = (high - low) * _FINER
    height, width = texture.shape[:2]
    # Outer corners of the texture, whose pixels have their centres at whole coordinates.
    source = np.array([[0, 0], [width, 0], [width, height], [0, height]]) - 0.5
    fine = (target - low + 0.5) * _FINER - 0.5
    warp = cv2.getPerspectiveTransform(source.astype(np.float32), fine.astype(np.float32))
    laid = cv2.warpPerspective(texture, warp, tuple(int(v) for v in size), flags=cv2.INTER_LINEAR)
    there = cv2.warpPerspective(
        np.ones((height, width)), warp, tuple(int(v) for v in size), flags=cv2.INTER_LINEAR
    )
    small = tuple(int(v) for v in high - low)
    laid = cv2.resize(laid, small, interpolation=cv2.INTER_AREA)
    there = cv2.resize(there, small, interpolation=cv2.INTER_AREA)[..., None]
    result = picture.copy()
    first = np.maximum(low, 0)
    last = np.minimum(high, np.array(camera.size_px))
    if (last <= first).any():
        return result
    rows = slice(first[1] - low[1], last[1] - low[1])
    columns = slice(first[0] - low[0], last[0] - low[0])
    place = result[first[1] : last[1], first[0] : last[0]]
    place[:] = place * (1 - there[rows, columns]) + laid[rows, columns]
    return result


def marker_texture(number: int = 7, border_share: float = 0.2, paper: float = 0.85) -> Array:
    """A marker on white paper whose border is a share of the black square's side."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    inner = cv2.aruco.generateImageMarker(dictionary, number, 600)
    border = round(600 * border_share)
    grey = cv2.copyMakeBorder(inner, border, border, border, border, cv2.BORDER_CONSTANT, value=255)
    light = np.where(grey > 127, paper, 0.04)
    return np.repeat(light[..., None], 3, axis=2)


def chart_texture(linear: Array | None = None, border: float = 0.03) -> Array:
    """A chart of 24 patches: linear colours (24, 3), black border."""
    colours = CHART_LINEAR if linear is None else linear
    cell, gap = 60, 7
    texture = np.full((4 * cell + 2 * gap, 6 * cell + 2 * gap, 3), border)
    for index, colour in enumerate(np.clip(colours, 0, None)):
        row, column = divmod(index, 6)
        top, left = gap + row * cell + gap, gap + column * cell + gap
        texture[top : top + cell - 2 * gap, left : left + cell - 2 * gap] = colour
    return texture


CHART_MM = (82.0, 56.0)


def develop(
    linear: Array,
    *,
    gains: tuple[float, float, float] = (1.0, 1.0, 1.0),
    noise: float = 0.01,
    blur_px: float = 0.7,
    seed: int = 1,
) -> NDArray[np.uint8]:
    """Turn linear light into the sRGB picture of a camera: gains, blur, noise, 8 bit.

    ``noise`` is the standard deviation at mid grey, relative; shot noise grows as the root.
    """
    light = np.asarray(linear, dtype=np.float32) * np.array(gains, dtype=np.float32)
    light = cv2.GaussianBlur(light, (0, 0), blur_px)
    grain = np.random.default_rng(seed).standard_normal(light.shape, dtype=np.float32)
    return encode_srgb(light + noise * np.sqrt(np.clip(light, 0, None) * 0.2) * grain)


def pot(
    picture: Array,
    *,
    middle_px: tuple[float, float] | None = None,
    height_px: float = 620.0,
    clay: tuple[float, float, float] = (0.50, 0.42, 0.31),
    specks: int = 120,
    paint: bool = True,
    seed: int = 4,
) -> tuple[Array, NDArray[np.bool_]]:
    """Draw a beaker, lit from the left, into linear light; also return where it is."""
    height, width = picture.shape[:2]
    x0, y0 = middle_px or (width / 2, height / 2)
    top, foot = 0.42 * height_px, 0.33 * height_px
    rows, columns = np.indices((height, width), dtype=np.float64)
    down = (rows - (y0 - height_px / 2)) / height_px
    half = top + (foot - top) * np.clip(down, 0, 1)
    across = (columns - x0) / half
    sag = 0.04 * height_px * np.sqrt(np.clip(1 - across**2, 0, 1))
    mask = (np.abs(across) < 1) & (down > 0) & (rows < y0 + height_px / 2 - 0.02 * height_px + sag)
    around = np.sqrt(np.clip(1 - across**2, 0, 1))
    shade = 0.45 + 0.55 * np.clip(0.85 * around - 0.35 * across, 0, 1)
    colour = np.broadcast_to(np.array(clay), picture.shape).copy()
    if paint:
        band = (np.abs(down - 0.5) < 0.12) & (np.sin(columns / height_px * 22) > 0.1)
        colour[band] = (0.05, 0.09, 0.22)
    rng = np.random.default_rng(seed)
    spots = np.zeros((height, width), dtype=np.uint8)
    for x, y in rng.uniform(
        [x0 - top, y0 - height_px / 2], [x0 + top, y0 + height_px / 2], (specks, 2)
    ):
        cv2.circle(spots, (int(x), int(y)), int(rng.integers(1, 4)), 1, -1)
    colour[spots > 0] *= 0.35
    result = picture.copy()
    result[mask] = (colour * shade[..., None])[mask]
    return result, mask
