"""Whether a dark line is part of the drawing: of a paint that lies on the piece, and as a brush
makes it.

A coloured paint tells itself by its colour. Black paint can pass for a slot by its light; then the
line itself tells: a brush line keeps its depth, since a coat lets back the same share of light
however broad it is, while a crack runs out in a hairline that the lens makes paler and paler.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.faults.evidence import ViewEvidence
from grader.faults.lines import Points
from grader.faults.paints import CORE_MM, Paints, clay_along
from grader.faults.slots import Slot, rise
from grader.piece import Mask
from grader.surface import grow, opened

_THIN_MM = 0.55
_BROAD_MM = 0.75
"""Liners and brushes leave lines of 0.7 mm and more over their whole length (common practice, no
source); a crack ends in a hairline."""

_TAPER = (0.5, 0.75)
"""Narrow over broad parts of a line (tenth over nine tenths). A brush line keeps 0.75."""

_FLAT_FROM = 0.93
_OF_ONE_DEPTH = (0.5, 0.57)
"""For a line of which the paint is known: the mean of narrow over broad and of the share of the
length that is nearly as deep as the deepest tenth. A brush line keeps its breadth or, where its
paint is lifted to a point, its depth; of a crack both fall off."""

_NO_BRUSH_MM = (0.4, 0.55)
_OF_ONE_BREADTH = (0.7, 0.85)
"""A line that no paint mask holds and whose broad parts are finer than any brush leaves them is
drawn only if it is of one breadth, as a pen makes it (narrow over broad)."""

_IN_PAINT = 0.4
"""Share of a line in the paint mask from which it counts as painted. The mask holds nothing
narrower than a brush, so that of a crack at most the gaping end is in it."""

_BESIDE_MM = 1.3
_PAINTED_SIDES = 0.5
"""A crack through a painted area has paint on both sides at this distance."""

_BLACK_TONE = -2.0
"""Log light below clay from which paint is so black that its brush marks pass for slots; cobalt
lies at -1.4."""

_COLOURED = 0.04
"""By so much more (of its widths over their mean) must a line miss the colour of a slot than that
of a paint, to be coloured."""

_AS_DARK = 0.6
_TIMES = 2.0
_AREA_MM2 = 40.0
_LEAST_CORE_MM = 0.2
"""There must be more paint of the colour of the line than the line itself can make on the two views
that show it: twice its core, or that of the largest crack, 50 mm by 1.2 mm. A shape
is as dark as a line if it is this share as dark (log light)."""

_OTHER_SIDE = 0.4
"""Log light by which the sides of a line differ where one is another paint: shading makes 0.2."""

_BEAD_DEEP, _BEAD_GAP = 0.6, 0.5
"""Light that each of two dots keeps back, and the part of it that is left in the gap between them,
blurred by the lens. Only one of seven cracks with a gap at all fades by half between deep parts."""

_MEETS = 0.6
"""How far a line is drawn that has the colour of a paint, or meets a larger shape, but falls off in
breadth and depth and is finer than a brush leaves it. Nearly all drawn ones are of one depth (93 of
98) and the others broad; a crack may end in a shadow, which can pass for dark paint."""

_GRAIN_MM = 0.3
_ATTACHED_MM = 2.5
_EDGE_MM = 4.0
"""A feeler ends at its moth. A crack may end where black paint hides it, but then it comes from
the edge of the piece, within so much of it."""

_SEEN, _ACROSS = 0.5, 0.7
_BESIDE, _LEAST_BESIDE_MM, _OF_ITS_ROWS = 0.7, 10.0, 0.1
"""A crack of the lip or the foot lies where the wall faces the camera for that part of it at least,
and goes away from that edge for so much of its length. A blade of grass or a stripe has its like
beside it: nearer than so much of its own length (or a finger's breadth), at the same height. Where
next to no row of a line has other paint as dark, blackness says nothing, and only a line of one
breadth is drawn."""

_CLAY_TONE = 0.3
"""A crack is at least this much (log light) darker than clay: clay between two light paints is
not."""

_SISTERS = 3
_SISTER_MM = 8.0
"""As many coloured lines of at least this length make a drawing of lines."""


def drawn(view: ViewEvidence, slot: Slot, paints: Paints) -> tuple[float, bool]:
    """How far a line is drawn, and whether paint of its colour is found on the piece.

    Parameters
    ----------
    view : ViewEvidence
        The one that shows the line.
    slot : Slot
    paints : Paints
        Of all views of the piece.

    Returns
    -------
    float
        0 for a line that no brush makes, 1 for one that looks drawn in every way.
    bool
    """
    rows, cols = slot.line.pixels(view.surface.mask.shape)
    clay = clay_along(view, slot)
    painted = is_painted(view, slot)
    if painted:
        beside = np.log(np.maximum(np.median(slot.line.sides, axis=(0, 1)), 1e-3)).mean()
        if _runs_through_paint(view, slot):
            if beside - np.log(np.maximum(clay, 1e-3)).mean() < _BLACK_TONE:
                return 1.0, True
        elif view.skin is None or view.zones.facing[rows, cols].mean() < 0.5:
            # Seen aslant, as on the edge of a side or from above and below, every painted shape is
            # a line.
            return 1.0, True
    width = breadth_along_mm(view, slot)
    by_brush = _as_a_brush_draws(width)
    like = paints.like(slot, clay)
    own = slot.line.length_mm * max(slot.width_mm - 2 * CORE_MM, _LEAST_CORE_MM)
    if like.area_mm2 <= max(_AREA_MM2, _TIMES * own):
        # What is painted inside a bowl is known to no view from the side, but shows itself.
        within = view.zones.inside
        by_shape = _broad_enough(width) if within[rows, cols].mean() > 0.5 else 0.0
        if by_shape > by_brush and _is_attached(view, slot, within, broad=True):
            return by_shape, True
        return by_brush, False
    # Views from above and below see painted walls aslant, and know of no facing part.
    if view.skin is None and painted:
        return 1.0, True
    coloured = slot.off_tint - like.off_tint > _COLOURED + slot.tint_error
    if not coloured and hangs_alone(view, slot):
        return by_brush, True
    # From above and below, lines on the wall look finer than they are.
    broad = 1.0 if view.skin is None or painted else _broad_enough(width)
    by_shape = 1.0 if _is_a_row_of_dots(slot) else _keeps_its_depth(slot, width)
    if coloured or (by_shape < 1.0 and _is_attached(view, slot, view.zones.paint)):
        finer = 1.0 - rise(float(np.quantile(width, 0.9)), (_THIN_MM, _BROAD_MM))
        by_shape = max(by_shape, 1.0 - (1.0 - _MEETS) * finer)
    if coloured:
        return by_shape, True
    return max(by_brush, broad * by_shape), True


def breadth_along_mm(view: ViewEvidence, slot: Slot) -> NDArray[np.float64]:
    """Width of black along a line on the wall itself, which is wider across than it looks.

    Parameters
    ----------
    view : ViewEvidence
    slot : Slot

    Returns
    -------
    ndarray of float64, shape (n,)
        Mean of the three colours; below 0 where a line is lighter than what is beside it.
    """
    stretch = view.zones.stretch[slot.line.pixels(view.surface.mask.shape)]
    wider = wider_on_wall(stretch, np.gradient(slot.line.path, axis=0))
    return np.asarray(slot.line.black_mm.mean(1) * wider)


def wider_on_wall(stretch: NDArray[np.floating], way: Points) -> NDArray[np.float64]:
    """By how much wider a line is on the wall than it looks.

    Parameters
    ----------
    stretch : ndarray of float, shape (...)
        How much wider the wall itself is, as `Zones.stretch`.
    way : ndarray of float64, shape (..., 2)
        The way (x, y) of the line, of any length.

    Returns
    -------
    ndarray of float64, shape (...)
        `stretch` for an upright line, 1 for a level one.
    """
    level, upright = np.moveaxis(np.abs(way), -1, 0)
    length = np.maximum(np.hypot(level, upright), 1e-6)
    return np.asarray(stretch * length / np.maximum(np.hypot(upright, stretch * level), 1e-6))


def is_painted(view: ViewEvidence, slot: Slot) -> bool:
    """Whether the mask of paint holds enough of a line."""
    return bool(view.zones.paint[slot.line.pixels(view.surface.mask.shape)].mean() > _IN_PAINT)


def is_clay_between(view: ViewEvidence, slot: Slot) -> bool:
    """Whether the line is no darker than clay, within a painted area."""
    rows, cols = slot.line.pixels(view.surface.mask.shape)
    tone = np.log(np.maximum(slot.line.middle, 1e-3)).mean(1) - view.zones.clay_tone[rows, cols]
    painted = view.zones.painted[rows, cols].mean() > 0.5
    return bool(painted and np.median(tone) > -_CLAY_TONE)


def is_sister(slot: Slot, others: Sequence[Slot]) -> bool:
    """Whether a line whose colour is in doubt has rather that of the coloured lines around.

    Parameters
    ----------
    slot : Slot
    others : sequence of Slot
        All lines of the piece.
    """
    coloured = [
        other.tint
        for other in others
        if other.likeness == 0.0
        and other.line.length_mm > _SISTER_MM
        and other.tint_error < 0.03
        and np.abs(other.tint).max() > 0.1
    ]
    if len(coloured) < _SISTERS:
        return False
    return bool(np.linalg.norm(slot.tint - np.median(coloured, axis=0)) < np.linalg.norm(slot.tint))


def _as_a_brush_draws(width: NDArray[np.float64]) -> float:
    narrow, usual, broad = np.quantile(np.maximum(width, 0.0), (0.1, 0.5, 0.9))
    even = rise(float(narrow / max(broad, 1e-6)), _TAPER)
    stout = rise(float(usual), (_THIN_MM, _BROAD_MM))
    return max(even * stout, rise(float(narrow), (_THIN_MM, _BROAD_MM)))


def _broad_enough(width: NDArray[np.float64]) -> float:
    """How far a line is as broad as a brush leaves it, or as even as a pen does."""
    narrow, broad = np.quantile(np.maximum(width, 0.0), (0.1, 0.9))
    even = rise(float(narrow / max(broad, 1e-6)), _OF_ONE_BREADTH)
    return max(even, rise(float(broad), _NO_BRUSH_MM))


def _keeps_its_depth(slot: Slot, width: NDArray[np.float64]) -> float:
    """How far a line is of one depth and breadth, as a coat of paint is."""
    missing = slot.line.missing
    # Where a larger shape joins, there is no sound surface beside: what looks narrower than the
    # blur of the lens is no section of the line.
    sound = slot.line.black_mm.mean(1) > 0.5 * slot.blur_mm * missing
    # Nor is there one depth to hold against another where other paint begins on one side.
    sound &= _alike_sides(slot)
    if not sound.any():
        return 1.0
    width, missing = width[sound], missing[sound]
    narrow, broad = np.quantile(width, (0.1, 0.9))
    flat = float((missing > _FLAT_FROM * np.quantile(missing, 0.9)).mean())
    return rise((float(narrow / max(broad, 1e-6)) + flat) / 2, _OF_ONE_DEPTH)


def _is_a_row_of_dots(slot: Slot) -> bool:
    """Whether a line fades somewhere between two deep parts of it, as dots seen aslant do."""
    missing = slot.line.missing
    before, after = np.maximum.accumulate(missing), np.maximum.accumulate(missing[::-1])[::-1]
    deep = np.minimum(before, after)
    return bool(((deep > _BEAD_DEEP) & (missing < _BEAD_GAP * deep)).any())


def _alike_sides(slot: Slot) -> Mask:
    """Points of a line with the same surface on both sides."""
    logs = np.log(np.maximum(slot.line.sides, 1e-3))
    return np.asarray(np.abs(logs[:, 0] - logs[:, 1]).max(-1) < _OTHER_SIDE)


def _runs_through_paint(view: ViewEvidence, slot: Slot) -> bool:
    path = slot.line.path
    along = np.gradient(path, axis=0)
    across = np.column_stack([-along[:, 1], along[:, 0]])
    across /= np.maximum(np.linalg.norm(across, axis=1), 1e-6)[:, None]
    paint = view.zones.paint
    for side in (-1, 1):
        places = path + side * across * view.surface.px(_BESIDE_MM)
        cols, rows = np.clip(
            np.round(places).astype(int), 0, [paint.shape[1] - 1, paint.shape[0] - 1]
        ).T
        if paint[rows, cols].mean() < _PAINTED_SIDES:
            return False
    return True


def _as_dark_as_seen(view: ViewEvidence, slot: Slot, paint: Mask) -> Mask:
    """What may be paint and is as dark as the line shows, on every third row and column.

    Beside the shape that it grows from, a line lies in the same light and haze: how black it
    would be without the blur of the lens need not be guessed.
    """
    line = np.log(np.maximum(np.median(slot.line.middle, axis=0), 1e-3))
    beside = np.log(np.maximum(np.median(slot.line.sides, axis=(0, 1)), 1e-3))
    level = np.exp(beside + _AS_DARK * (line - beside))
    # Grain of single pixels would tear the shape apart. The hue of a blurred fine line is that
    # of the clay beside it; but a shape that is light in any one colour has another paint.
    light = cv2.GaussianBlur(view.surface.light, (0, 0), view.surface.px(_GRAIN_MM))
    pick = np.s_[::3, ::3]
    return np.asarray(paint[pick] & (light[pick] < level).all(-1))


def _area_mm2(view: ViewEvidence, mask: Mask) -> float:
    return 9 * float(mask.sum()) / view.surface.px_per_mm**2


def _is_attached(view: ViewEvidence, slot: Slot, paint: Mask, *, broad: bool = False) -> bool:
    """Whether an end of the line meets a larger shape of its own colour, coming from nowhere.

    Where `paint` is no mask of paint, the shape must be `broad`, as the line itself is in it.
    """
    dark = _as_dark_as_seen(view, slot, paint)
    if broad:
        wide = view.surface.px(max(float(np.median(slot.line.spread_mm)), slot.width_mm)) / 3
        dark = opened(dark, wide)
    ends = np.round(slot.line.path[[0, -1]]).astype(int)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(dark.astype(np.uint8))
    areas = 9 * stats[:, cv2.CC_STAT_AREA] / view.surface.px_per_mm**2
    areas[0] = 0
    large = areas > _TIMES * slot.line.length_mm * slot.width_mm
    if not large[labels].any():
        return False
    meets = grow(large[labels], view.surface.px(_ATTACHED_MM) / 3)
    height, width = meets.shape
    touching = [
        bool(meets[min(row // 3, height - 1), min(col // 3, width - 1)]) for col, row in ends
    ]
    path = slot.line.path
    return any(touching) and not any(
        _comes_from_edge(view, way)
        for way, touch in zip((path, path[::-1]), touching, strict=True)
        if not touch
    )


def hangs_alone(view: ViewEvidence, slot: Slot) -> bool:
    """Whether a line of a side comes over its lip or its foot to where nothing else is drawn.

    Parameters
    ----------
    view : ViewEvidence
        The one that shows the line.
    slot : Slot
    """
    surface, path = view.surface, slot.line.path
    rows, cols = slot.line.pixels(surface.mask.shape)
    # Where the wall turns away, what is drawn on it ends at the outline, too.
    if view.skin is None or view.zones.facing[rows, cols].mean() < _SEEN:
        return False
    within = view.zones.inside[rows, cols]
    over_lip = within.any() and not within.all()
    from_edge = [
        bool(over_lip and within[end]) or _comes_from_edge(view, way)
        for end, way in ((0, path), (-1, path[::-1]))
    ]
    length_px = surface.px(slot.line.length_mm)
    if from_edge[0] == from_edge[1] or abs(path[-1, 1] - path[0, 1]) < _ACROSS * length_px:
        return False
    own = np.zeros_like(surface.mask)
    own[rows, cols] = True
    breadth = max(float(np.median(slot.line.spread_mm)), slot.width_mm)
    own = grow(own, surface.px(breadth + CORE_MM))
    beside = round(max(surface.px(_LEAST_BESIDE_MM), _BESIDE * length_px))
    dark = _as_dark_as_seen(view, slot, view.zones.paint & view.zones.wall & ~own)
    near = dark[
        rows.min() // 3 : rows.max() // 3 + 1,
        max(0, cols.min() - beside) // 3 : (cols.max() + beside) // 3 + 1,
    ]
    return bool(near.any(1).mean() < _OF_ITS_ROWS)


def _comes_from_edge(view: ViewEvidence, path: Points) -> bool:
    """Whether a line, drawn on beyond its first point, soon meets the outline of the piece or its
    rim: a feeler may run along the outline, where the wall turns away."""
    reach = view.surface.px(_EDGE_MM)
    before = path[min(len(path) - 1, max(1, round(reach / 2)))]
    way = (path[0] - before) / max(float(np.linalg.norm(path[0] - before)), 1e-6)
    places = np.round(path[0] + way * np.arange(0.0, reach + 1)[:, None]).astype(int)
    height, width = view.surface.mask.shape
    cols, rows = places.T
    within = (cols >= 0) & (cols < width) & (rows >= 0) & (rows < height)
    if not within.all() or not view.surface.mask[rows, cols].all():
        return True
    inside = view.zones.inside[rows, cols]
    return bool(inside.any() != inside.all())
