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

_EDGE_MM = 2.0
"""Strip along rim and foot that is left out; a scorch is 5 mm and more."""

_PER_CELL = 4
"""Samples along each side of a cell."""

_EDGE_SHARE = 0.03
"""Strip along the outline that is left out: there the wall is seen at more than 70 degrees."""

_LEAST_CLAY = 0.25
"""Share of a cell that must be clean clay for the cell to count."""

_NOISIEST = 0.06
"""Spread of the chroma of single pixels above which a cell of them no longer tells 1 dE00."""

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


def opening_share(zones: Zones) -> float:
    """Share of the body's rows that the opening takes up in the middle, 0 where none is seen."""
    first, last = zones.body_rows
    middle = int(np.nanmedian((zones.body_left + zones.body_right) / 2))
    lip = np.flatnonzero(zones.inside[:, middle])
    return (int(lip[-1]) + 1 - first) / max(1, last - first) if lip.size else 0.0


def common_opening(sides: Sequence[Zones]) -> float:
    """Share of the body's rows that the opening takes up on most sides of a piece.

    Parameters
    ----------
    sides : sequence of Zones

    Returns
    -------
    float
        0 where there are none.
    """
    return float(np.median([opening_share(zones) for zones in sides] or [0.0]))


def read_skin(surface: Surface, zones: Zones, opening: float, *, coat: bool = False) -> Skin:
    """Average the clean clay, or the clean paint, of one view into the grid.

    Parameters
    ----------
    surface : Surface
    zones : Zones
    opening : float
        From `common_opening`, the same for all views of a piece: else a lip that was seen wrong on
        one view would be held against the wall on the others.
    coat : bool, default False
        Of the paint, and not of the clay.

    Returns
    -------
    Skin
    """
    first, last = zones.body_rows
    top = first + opening * (last - first)
    # The rounded rim and the turn of the foot have a light of their own.
    edge = min(surface.px(_EDGE_MM), 0.1 * (last - top))
    rows = np.linspace(top + edge, max(top + edge + 1, last - edge), ROWS * _PER_CELL)
    index = np.arange(len(zones.body_left))
    seen = ~np.isnan(zones.body_left)
    left = np.interp(rows, index[seen], zones.body_left[seen])
    right = np.interp(rows, index[seen], zones.body_right[seen])
    across = np.linspace(_EDGE_SHARE, 1 - _EDGE_SHARE, COLUMNS * _PER_CELL)
    map_x = (left[:, None] + (right - left)[:, None] * across).astype(np.float32)
    map_y = np.repeat(rows[:, None], across.size, axis=1).astype(np.float32)

    reach = surface.px(_PAINT_REACH_MM)
    # Beyond the other side of the body lie the root of a handle, a spout, or a strip of table.
    other = ~zones.paint if coat else zones.painted
    clean = zones.facing & ~grow(other, reach) & ~grow(surface.clipped, reach)
    clean &= zones.noise < _NOISIEST
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
