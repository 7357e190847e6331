"""Whether a dark line lies on the table: where the cut-out took in some of it, its joints are there
to be taken for cracks.
"""

from __future__ import annotations

import cv2
import numpy as np

from grader.faults.evidence import ViewEvidence
from grader.faults.slots import Slot
from grader.surface import grow

_BEYOND_MM = (1.2, 4.0)
_LEAST_BEYOND = 8
_GOES_ON = 0.5
"""A dark line that reaches the outline and goes on beyond it, half as deep between these distances,
is a seam of the table that was cut out with the piece; a crack ends with the pot. Of the picture
beyond at least 1.6 mm (eight samples) must be there, and the shadow under a foot is no seam."""

_AROUND_MM = 6.0
_LEAST_AROUND_MM2 = 10.0
_SHARE = 0.1
"""Table is looked for this near a line. A tenth of it must be the surface beside the line: boards
differ, and a marker or a shadow may take up the rest."""

_OUTLINE_PX = 2.0
"""Pixels on either side of an outline in which piece and table are mixed."""

_SAME = 0.15
_TIMES_FROM_CLAY = 2.0
"""Difference (two log-chromaticities and half the log light) up to which two places are one
surface, and how many times as far that surface must be from clay (log-chromaticity). On a table of
the colour of clay nothing can be said."""


def lies_on_table(view: ViewEvidence, slot: Slot) -> bool:
    """Whether a line is a joint of the table that was cut out with the piece.

    Parameters
    ----------
    view : ViewEvidence
    slot : Slot

    Returns
    -------
    bool
        True where it runs on beyond the outline, or where both of its sides are what lies there.
    """
    return _goes_on_beyond(view, slot) or _is_table_beside(view, slot)


def _is_table_beside(view: ViewEvidence, slot: Slot) -> bool:
    surface, line = view.surface, slot.line
    rows, cols = line.pixels(surface.mask.shape)
    reach = int(surface.px(_AROUND_MM))
    top, left = max(0, int(rows.min()) - reach), max(0, int(cols.min()) - reach)
    window = np.s_[top : int(rows.max()) + reach + 1, left : int(cols.max()) + reach + 1]
    off_line = np.ones(surface.mask[window].shape, np.uint8)
    off_line[rows - top, cols - left] = 0
    around = cv2.distanceTransform(off_line, cv2.DIST_L2, 5) < reach
    around &= ~grow(surface.mask[window], _OUTLINE_PX)
    if around.sum() < _LEAST_AROUND_MM2 * surface.px_per_mm**2:
        return False
    chroma, tone = surface.chroma[window][around], surface.tone[window][around]
    clay = np.median(view.zones.clay_chroma[rows, cols], axis=0)
    for red, green, blue in np.log(np.maximum(np.median(line.sides, axis=0), 1e-3)):
        own = np.array([red - green, blue - green])
        lighter = tone - (red + green + blue) / 3
        apart = np.sqrt(((chroma - own) ** 2).sum(-1) + (lighter / 2) ** 2)
        nearest = float(np.quantile(apart, _SHARE))
        if nearest > _SAME or np.abs(own - clay).max() < _TIMES_FROM_CLAY * nearest:
            return False
    return True


def _goes_on_beyond(view: ViewEvidence, slot: Slot) -> bool:
    """Whether the line runs straight on where the piece has ended."""
    surface, path = view.surface, slot.line.path
    height, width = surface.mask.shape
    reach = min(len(path), max(2, round(len(path) * 4.0 / max(slot.line.length_mm, 4.0))))
    for end, inner in ((path[0], path[reach - 1]), (path[-1], path[-reach])):
        way = end - inner
        length = float(np.linalg.norm(way))
        col, row = np.clip(np.round(end).astype(int), 0, [width - 1, height - 1])
        if length < surface.px(1.0) or view.zones.foot[row, col]:
            continue
        way /= length
        steps = np.arange(*_BEYOND_MM, 0.2)
        on = end + np.outer(surface.px(1.0) * steps, way)
        across = np.array([-way[1], way[0]])
        # The end of a jagged line tells its direction but roughly: the darkest of a few millimetres
        # across is its floor.
        aside = np.arange(-2.6, 2.61, 0.2)
        places = on[:, None] + surface.px(1.0) * aside[None, :, None] * across
        cols, rows = np.round(places).astype(int).transpose(2, 0, 1)
        whole = (rows >= 0) & (rows < height) & (cols >= 0) & (cols < width)
        if whole.all(1).sum() < _LEAST_BEYOND:
            continue
        rows, cols = np.clip(rows, 0, height - 1), np.clip(cols, 0, width - 1)
        if surface.mask[rows, cols][:, abs(aside) < 0.3].mean() > 0.3:
            continue
        tone = surface.tone[rows, cols][whole.all(1)]
        inner_part = np.abs(aside) < 1.2
        floor = tone[:, inner_part].min(1)
        sides = np.minimum(
            np.median(tone[:, aside < -1.6], axis=1), np.median(tone[:, aside > 1.6], axis=1)
        )
        depth = float(np.quantile(sides - floor, 0.25))
        if depth > _GOES_ON * float(np.median(slot.line.depth)):
            return True
    return False
