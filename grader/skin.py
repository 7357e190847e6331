"""The skin of a piece: its clay colour on a coarse grid, the same grid for every view.

Columns run across the body from its left to its right outline, rows from rim to foot, so that
a place of the lit room falls on the same cell in every view while the piece turns beneath it.
What all views show at a cell is the light; what one view shows there alone is the piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.piece import Mask
from grader.surface import Surface, grow
from grader.zones import Zones

ROWS = 80
COLUMNS = 64
"""A pot of 100 mm is seen in cells of about 1.3 mm: a scorch of 5 mm is four cells wide."""

_PER_CELL = 4
"""Samples along each side of a cell."""

_EDGE_SHARE = 0.03
"""Strip along the outline that is left out: there the wall is seen at more than 70 degrees."""

_LEAST_CLAY = 0.25
"""Share of a cell that must be clean clay for the cell to count."""

_PAINT_REACH_MM = 0.8
"""Blur of the lens: clay this near to paint takes on its colour."""


@dataclass(frozen=True, slots=True)
class Skin:
    """Clay colour of one view on the common grid.

    Attributes
    ----------
    chroma : ndarray of float32, shape (ROWS, COLUMNS, 2)
        log(R/G), log(B/G); NaN where no clay is seen.
    tone : ndarray of float32, shape (ROWS, COLUMNS)
    known : ndarray of bool, shape (ROWS, COLUMNS)
    map_x, map_y : ndarray of float32, shape (ROWS, COLUMNS)
        Working pixel at the centre of each cell.
    cell_mm : tuple of float
        Mean (width, height) of a cell.
    """

    chroma: NDArray[np.float32]
    tone: NDArray[np.float32]
    known: Mask
    map_x: NDArray[np.float32]
    map_y: NDArray[np.float32]
    cell_mm: tuple[float, float]


def read_skin(surface: Surface, zones: Zones) -> Skin:
    """Average the clean clay of one view into the grid."""
    first, last = zones.body_rows
    # The opening is no wall; rows start below the near lip where there is one.
    middle = int(np.nanmedian((zones.body_left + zones.body_right) / 2))
    lip = np.flatnonzero(zones.inside[:, middle])
    top = int(lip[-1]) + 1 if lip.size else first
    rows = np.linspace(top + 1, max(top + 2, last - 1), ROWS * _PER_CELL)
    index = np.arange(len(zones.body_left))
    seen = ~np.isnan(zones.body_left)
    left = np.interp(rows, index[seen], zones.body_left[seen])
    right = np.interp(rows, index[seen], zones.body_right[seen])
    across = np.linspace(_EDGE_SHARE, 1 - _EDGE_SHARE, COLUMNS * _PER_CELL)
    map_x = (left[:, None] + (right - left)[:, None] * across).astype(np.float32)
    map_y = np.repeat(rows[:, None], across.size, axis=1).astype(np.float32)

    clean = zones.wall & ~grow(zones.painted, surface.px(_PAINT_REACH_MM)) & ~surface.clipped
    fields = np.dstack([surface.chroma, surface.tone])
    samples = cv2.remap(fields, map_x, map_y, cv2.INTER_LINEAR)
    weights = cv2.remap(clean.astype(np.float32), map_x, map_y, cv2.INTER_NEAREST)
    cells = _cells(samples)
    counted = _cells(weights[..., None])[..., 0] > 0.5
    share = counted.mean(-1)
    # The median of a cell does not see an iron speck in it.
    masked = np.where(counted[..., None], cells, np.nan)
    known = share >= _LEAST_CLAY
    values = np.full((ROWS, COLUMNS, 3), np.nan, np.float32)
    values[known] = np.nanmedian(masked[known], axis=1)
    half = _PER_CELL // 2
    scale = surface.px_per_mm
    return Skin(
        chroma=values[..., :2],
        tone=values[..., 2],
        known=known,
        map_x=np.ascontiguousarray(map_x[half::_PER_CELL, half::_PER_CELL]),
        map_y=np.ascontiguousarray(map_y[half::_PER_CELL, half::_PER_CELL]),
        cell_mm=(
            float(np.mean(right - left)) / COLUMNS / scale,
            float(rows[-1] - rows[0]) / ROWS / scale,
        ),
    )


def _cells(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """(ROWS * n, COLUMNS * n, c) to (ROWS, COLUMNS, n * n, c)."""
    channels = samples.shape[-1]
    split = samples.reshape(ROWS, _PER_CELL, COLUMNS, _PER_CELL, channels)
    return split.transpose(0, 2, 1, 3, 4).reshape(ROWS, COLUMNS, _PER_CELL**2, channels)


@dataclass(frozen=True, slots=True)
class Departures:
    """How each view departs from the light that all views share.

    Attributes
    ----------
    chroma : ndarray of float32, shape (views, ROWS, COLUMNS, 2)
        Departure of the two log-chromaticities; 0 where nothing is known.
    tone : ndarray of float32, shape (views, ROWS, COLUMNS)
    known : ndarray of bool, shape (views, ROWS, COLUMNS)
    noise : float
        Spread of the chroma departures on sound skin.
    shared_light : bool
        False where there were too few views: then each view was held against itself.
    """

    chroma: NDArray[np.float32]
    tone: NDArray[np.float32]
    known: Mask
    noise: float
    shared_light: bool


def find_departures(skins: Sequence[Skin]) -> Departures:
    """Part the piece from the light it stands in.

    Four views a quarter turn apart show each cell of the light four times. Their median is the
    light on sound clay: a fault that faces one view only is outvoted. With fewer than three
    views a smooth plane within each view has to stand for it.
    """
    chroma = np.stack([skin.chroma for skin in skins])
    tone = np.stack([skin.tone for skin in skins])
    known = np.stack([skin.known for skin in skins])
    shared = len(skins) >= 3
    fields = np.concatenate([chroma, tone[..., None]], axis=-1)
    sound = _shared(fields) if shared else np.stack([_smooth(field) for field in fields])
    rest = fields - sound
    known = known & np.isfinite(rest).all(-1)
    rest = np.where(known[..., None], rest, 0).astype(np.float32)
    values = rest[known]
    noise = float(1.4826 * np.median(np.abs(values[:, :2]))) if len(values) else 0.0
    return Departures(rest[..., :2], rest[..., 2], known, noise, shared)


def _shared(fields: NDArray[np.float32]) -> NDArray[np.float32]:
    seen = np.isfinite(fields[..., 0]).sum(0)
    with np.errstate(all="ignore"):
        middle = np.full(fields.shape[1:], np.nan, np.float32)
        enough = seen >= 2
        middle[enough] = np.nanmedian(fields[:, enough], axis=0)
    # Where paint leaves a cell to one view only, its neighbours stand in.
    return np.broadcast_to(_fill(middle), fields.shape)


def _fill(field: NDArray[np.float32]) -> NDArray[np.float32]:
    known = np.isfinite(field[..., 0])
    if known.all() or not known.any():
        return field
    weight = known.astype(np.float32)
    total = np.where(known[..., None], field, 0).astype(np.float32)
    near = cv2.GaussianBlur(weight, (0, 0), 4.0)
    blurred = cv2.GaussianBlur(total, (0, 0), 4.0)
    guess = blurred / np.maximum(near, 1e-6)[..., None]
    guess[near < 0.02] = np.nan
    return np.where(known[..., None], field, guess)


def _smooth(field: NDArray[np.float32]) -> NDArray[np.float32]:
    """Robust second-order surface through one view."""
    rows, cols = np.mgrid[-1 : 1 : ROWS * 1j, -1 : 1 : COLUMNS * 1j]
    terms = np.stack(
        [np.ones_like(rows), rows, cols, rows * cols, rows**2, cols**2], axis=-1
    ).reshape(-1, 6)
    values = field.reshape(-1, 3)
    keep = np.isfinite(values).all(-1)
    if keep.sum() < 30:
        return np.full_like(field, np.nan)
    weights = np.zeros((6, 3))
    for _ in range(5):
        weights = np.linalg.lstsq(terms[keep], values[keep], rcond=None)[0]
        rest = np.abs(np.nan_to_num(values - terms @ weights, nan=np.inf))
        keep = (rest < 2.5 * 1.4826 * np.median(rest[keep], axis=0) + 1e-3).all(-1)
        if keep.sum() < 30:
            break
    return (terms @ weights).reshape(field.shape).astype(np.float32)
