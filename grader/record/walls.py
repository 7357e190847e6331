"""Unroll the wall of a piece from a photo, and take away what is light and not surface.

The wall is unrolled from the silhouette as if it were round, which is near enough to recognise
painting and specks again after a turn of some degrees.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.piece import cut_out

HALF_WALL_DEG = 60
"""Part of the wall that is unrolled, to each side of the middle: beyond it a pixel spans more than
twice the angle that it spans in the middle."""

ROWS = 96
"""Rows of the unrolled wall: about 1 mm each on a piece of 100 mm."""

FIRST_ROW, LAST_ROW = 0.04, 0.96
"""Heights (0 at the top of the piece, 1 at its foot) of the first and the last row: the outermost
pixels belong to the edge, not to the wall."""

_DETAIL_DEG = 8.0
_DETAIL_ROWS = 8.0
"""What changes more slowly than this along the wall is light and shade (degrees and rows)."""

_SHINE_LEVEL = 240.0
"""Level (of 255) from which all three channels together are a reflection, not a surface."""

_SHINE_RATIO = 1.6
"""The same for darker photos, against the wall's usual level: clay and paint of one piece that
are brighter than that by half are rare, reflections are two and three times as bright."""

_WORK_LONG_SIDE_PX = 900
"""Half a degree of a piece that fills a third of the photo is still a pixel wide."""

_LEAST_BOX_OVERLAP = 0.85
"""Heights are told from the survey's box, so both must have seen the same piece."""

_LEAST_VIEWS = 3
"""Side views from which what they share can be told from what each shows: of two, half of each
would be taken for shared."""


@dataclass(frozen=True, slots=True)
class Wall:
    """An unrolled wall.

    Attributes
    ----------
    detail : ndarray of float32, shape (ROWS, 2 * HALF_WALL_DEG + 1, 3)
        Two log chromaticities and log luminance, each without what changes slowly; one column a
        degree, from the viewer's left.
    radius_share : float
        Radius of the piece over its height on the photo.
    """

    detail: NDArray[np.float32]
    radius_share: float


def unroll_wall(
    rgb: NDArray[np.uint8],
    bbox_px: tuple[int, int, int, int],
    cards_px: Sequence[NDArray[np.float64]] = (),
) -> Wall | None:
    """Cut a piece out again and unroll the wall that faces the camera.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
        Upright photo.
    bbox_px : tuple of int
        Box (x, y, width, height) of the piece, as the survey found it.
    cards_px : sequence of ndarray, each shape (n, 2)
        Outlines (x, y) of marker and chart.

    Returns
    -------
    Wall or None
        None where the piece cannot be found again where the survey saw it.
    """
    shrink = min(1.0, _WORK_LONG_SIDE_PX / max(rgb.shape[:2]))
    small = cv2.resize(rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    silhouette = cut_out(small, [card * shrink for card in cards_px])
    box = tuple(value * shrink for value in bbox_px)
    if silhouette is None or _overlap(silhouette.bbox_px, box) < _LEAST_BOX_OVERLAP:
        return None
    return unroll(small, silhouette.mask)


def unroll(rgb: NDArray[np.uint8], mask: NDArray[np.bool_]) -> Wall | None:
    """Unroll the wall within a mask; see `unroll_wall`."""
    rows = np.flatnonzero(mask.any(1))
    if rows.size < 20:
        return None
    top, tall = int(rows[0]), int(rows[-1] - rows[0] + 1)
    picked = mask[top : top + tall]
    left = picked.argmax(1).astype(np.float64)
    right = mask.shape[1] - 1 - picked[:, ::-1].argmax(1).astype(np.float64)
    # A handle or a spout seldom reaches down to here: the axis of the round body.
    axis = float(np.median((left + right)[int(0.75 * tall) : int(0.9 * tall)] / 2))
    half = np.maximum(np.minimum(axis - left, right - axis), 1.0)
    levels = top + np.linspace(FIRST_ROW, LAST_ROW, ROWS) * (tall - 1)
    radius = np.interp(levels, np.arange(top, top + tall), half)
    angles = np.deg2rad(np.arange(-HALF_WALL_DEG, HALF_WALL_DEG + 1))
    map_x = axis + radius[:, None] * np.sin(angles)[None]
    map_y = np.broadcast_to(levels[:, None], map_x.shape)
    wall = cv2.remap(
        rgb, map_x.astype(np.float32), map_y.astype(np.float32), cv2.INTER_LINEAR
    ).astype(np.float32)
    return Wall(_detail(wall), float(np.median(radius)) / tall)


def surface_only(walls: Mapping[str, Wall]) -> dict[str, Wall]:
    """Take from each view what all views of a session share.

    The lamp, the shade and the throwing rings look the same from every side, since the piece is
    turned and they are not; left in, they would say that it was not turned.

    Parameters
    ----------
    walls : mapping of view to Wall
        The side views of one firing.

    Returns
    -------
    dict
        The same views; empty for fewer than three.
    """
    if len(walls) < _LEAST_VIEWS:
        return {}
    shared = np.mean([wall.detail for wall in walls.values()], axis=0)
    return {view: replace(wall, detail=wall.detail - shared) for view, wall in walls.items()}


def _detail(wall: NDArray[np.float32]) -> NDArray[np.float32]:
    # 8-bit noise would rule the logarithm of the darkest values.
    light = np.log(wall + 8.0)
    chroma = light[..., [0, 2]] - light[..., [1]]
    features = np.concatenate([chroma, light.mean(2, keepdims=True)], axis=2)
    slow = cv2.GaussianBlur(features, (0, 0), sigmaX=_DETAIL_DEG, sigmaY=_DETAIL_ROWS)
    fine = cv2.GaussianBlur(features - slow, (0, 0), 1.0)
    # Light that falls alike on every row, or on every column, is no surface either.
    fine -= np.median(fine, axis=0, keepdims=True)
    fine -= np.median(fine, axis=1, keepdims=True)
    darkest = wall.min(axis=2)
    shine = (darkest > _SHINE_LEVEL) | (darkest > _SHINE_RATIO * np.median(darkest))
    fine[cv2.dilate(shine.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0] = 0.0
    return np.asarray(fine, dtype=np.float32)


def _overlap(a: tuple[float, ...], b: tuple[float, ...]) -> float:
    width = min(a[0] + a[2], b[0] + b[2]) - max(a[0], b[0])
    height = min(a[1] + a[3], b[1] + b[3]) - max(a[1], b[1])
    if width <= 0 or height <= 0:
        return 0.0
    shared = width * height
    return shared / (a[2] * a[3] + b[2] * b[3] - shared)
