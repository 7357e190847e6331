"""Lay a refired piece over itself: how far it stands turned against the photo before.

The wall is unrolled from the silhouette as if it were round, which is near enough for a turn of
some degrees, and the two unrolled walls are shifted along each other until the painting, the
specks and the throwing marks agree best.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.piece import cut_out

WIDEST_TURN_DEG = 40
"""A piece is put back by eye with the same side to the camera; more than this off, and another
view is nearer (common practice, no source)."""

_HALF_WALL_DEG = 60
"""Part of the wall that is compared, to each side of the middle: beyond it a pixel spans more than
twice the angle that it spans in the middle."""

_ROWS = 96
"""Rows of the unrolled wall: about 1 mm each on a piece of 100 mm."""

_DETAIL_DEG = 8.0
_DETAIL_ROWS = 8.0
"""What changes more slowly than this along the wall is light and shade (degrees and rows)."""

_SHINE_LEVEL = 240.0
"""Level (of 255) from which all three channels together are a reflection, not a surface."""

_WORK_LONG_SIDE_PX = 900
"""Half a degree of a piece that fills a third of the photo is still a pixel wide."""

_LEAST_AGREEMENT = 0.35
"""Correlation from which the best turn is believed. Two walls of the same speckled clay whose
specks do not meet stay below 0.2; paintings reach 0.6 and more in spite of new highlights."""

_LEAST_LEAD = 0.08
"""By how much the best turn must beat every turn that is more than 12 degrees off: a painting
that repeats round the pot fits in several places, and then no turn can be told."""

_LEAST_VIEWS = 3
"""Side views from which what they share can be told from what each shows: of two, half of each
would be taken for shared."""

_NEIGHBOUR_DEG = 12
_LEAST_BOX_OVERLAP = 0.7


Wall = NDArray[np.float32]
"""An unrolled wall, shape (rows, degrees, 3)."""


@dataclass(frozen=True, slots=True)
class Turn:
    """How a piece stands turned against an earlier photo.

    Attributes
    ----------
    turned_deg : float
        Positive where its surface moved to the right as the camera sees it; 0 where unknown.
    known : bool
        False where nothing on the surface could tell.
    agreement : float
        Correlation of the two unrolled walls at that turn, -1..1.
    """

    turned_deg: float
    known: bool
    agreement: float


UNKNOWN_TURN = Turn(0.0, False, 0.0)


def find_turn(before: Wall | None, after: Wall | None) -> Turn:
    """Compare two unrolled walls.

    Parameters
    ----------
    before, after : ndarray of float32, shape (rows, degrees, channels), or None
        From `unroll_wall`.

    Returns
    -------
    Turn
    """
    return agreed_turn([(before, after)])


def agreed_turn(
    pairs: Iterable[tuple[Wall | None, Wall | None]],
) -> Turn:
    """Find the one turn that fits several views of a piece best.

    The camera sees the same turn in each side view, so the correlations are averaged.
    """
    curves = [_agreements(a, b) for a, b in pairs if a is not None and b is not None]
    if not curves:
        return UNKNOWN_TURN
    curve = np.mean(curves, axis=0)
    turns = np.arange(-WIDEST_TURN_DEG, WIDEST_TURN_DEG + 1)
    best = int(np.argmax(curve))
    far = np.abs(turns - turns[best]) > _NEIGHBOUR_DEG
    known = bool(curve[best] >= _LEAST_AGREEMENT and curve[best] - curve[far].max() >= _LEAST_LEAD)
    return Turn(float(turns[best]) if known else 0.0, known, float(curve[best]))


def surface_only(walls: Mapping[str, Wall]) -> dict[str, Wall]:
    """Take from each view what all views of a session share.

    The lamp, the shade and the throwing rings look the same from every side, since the piece is
    turned and they are not; left in, they would say that it was not turned.

    Parameters
    ----------
    walls : mapping of view to ndarray of float32, shape (rows, degrees, 3)
        From `unroll_wall`, the side views of one firing.

    Returns
    -------
    dict
        The same views; empty for fewer than `_LEAST_VIEWS`.
    """
    if len(walls) < _LEAST_VIEWS:
        return {}
    shared = np.mean(list(walls.values()), axis=0)
    return {view: wall - shared for view, wall in walls.items()}


def unroll_wall(
    rgb: NDArray[np.uint8],
    bbox_px: tuple[int, int, int, int],
    cards_px: Sequence[NDArray[np.float64]] = (),
) -> Wall | None:
    """Unroll the wall that faces the camera, from its middle to `_HALF_WALL_DEG` on both sides.

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
    ndarray of float32, shape (rows, degrees, 3), or None
        Two log chromaticities and log luminance, each without what changes slowly across the
        wall: that is light, not surface. None where the piece cannot be cut out again.
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
    # Without lip and foot, whose curves are not the wall's.
    levels = np.linspace(rows[0] + 0.12 * rows.size, rows[0] + 0.9 * rows.size, _ROWS)
    picked = mask[levels.astype(int)]
    left = picked.argmax(1).astype(np.float32)
    right = mask.shape[1] - 1 - picked[:, ::-1].argmax(1).astype(np.float32)
    angles = np.deg2rad(np.arange(-_HALF_WALL_DEG, _HALF_WALL_DEG + 1, dtype=np.float32))
    middle, radius = (left + right) / 2, (right - left) / 2
    map_x = (middle[:, None] + radius[:, None] * np.sin(angles)[None]).astype(np.float32)
    map_y = np.broadcast_to(levels.astype(np.float32)[:, None], map_x.shape).copy()
    wall = cv2.remap(rgb, map_x, map_y, cv2.INTER_LINEAR).astype(np.float32)
    # 8-bit noise would rule the logarithm of the darkest values.
    light = np.log(wall + 8.0)
    chroma = light[..., [0, 2]] - light[..., [1]]
    features = np.concatenate([chroma, light.mean(2, keepdims=True)], axis=2)
    slow = cv2.GaussianBlur(features, (0, 0), sigmaX=_DETAIL_DEG, sigmaY=_DETAIL_ROWS)
    fine = cv2.GaussianBlur(features - slow, (0, 0), 1.0)
    # Light that falls alike on every row, or on every column, is no surface either.
    fine -= np.median(fine, axis=0, keepdims=True)
    fine -= np.median(fine, axis=1, keepdims=True)
    fine[_mirrored(wall)] = 0.0
    return fine


def _mirrored(wall: Wall) -> NDArray[np.bool_]:
    """Reflections of lamps, which stay in their place while the piece turns."""
    bright = wall.min(axis=2)
    shine = (bright > _SHINE_LEVEL) | (bright > 1.6 * np.median(bright))
    return cv2.dilate(shine.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0


def _agreements(before: Wall, after: Wall) -> NDArray[np.float64]:
    """Correlation at each turn from -WIDEST_TURN_DEG to +WIDEST_TURN_DEG, all channels alike."""
    width = before.shape[1]
    # One scale for both walls, so that a channel that says little weighs little.
    spread = np.sqrt(0.5 * (before.var(axis=(0, 1)) + after.var(axis=(0, 1)))) + 1e-6
    floor = 0.01  # natural log units: JPEG noise of a plain wall
    a, b = before / np.maximum(spread, floor), after / np.maximum(spread, floor)
    values = []
    for turn in range(-WIDEST_TURN_DEG, WIDEST_TURN_DEG + 1):
        # What was at column c is now at column c + turn.
        ours = a[:, max(0, -turn) : width - max(0, turn)].ravel()
        theirs = b[:, max(0, turn) : width - max(0, -turn)].ravel()
        ours, theirs = ours - ours.mean(), theirs - theirs.mean()
        norm = float(np.sqrt((ours @ ours) * (theirs @ theirs)))
        values.append(float(ours @ theirs) / norm if norm > 0 else 0.0)
    return np.array(values)


def _overlap(a: tuple[float, ...], b: tuple[float, ...]) -> float:
    width = min(a[0] + a[2], b[0] + b[2]) - max(a[0], b[0])
    height = min(a[1] + a[3], b[1] + b[3]) - max(a[1], b[1])
    if width <= 0 or height <= 0:
        return 0.0
    shared = width * height
    return shared / (a[2] * a[3] + b[2] * b[3] - shared)
