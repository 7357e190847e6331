"""Pits and pinholes: small dark dots with a sharp rim that are not the clay's own iron specks.

A speckled clay shows hundreds of specks, blurred by the glaze they have bled into. How sharp their
rim is for their size is learned from the piece itself; a pit is a hole through the glaze and its
rim is sharper than theirs. A piece without specks shows so few dark dots that each counts: alone
if it is black, and faint ones, as all are on a dark glaze, where they come in a patch on one side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.stats import nbinom, poisson
from skimage.morphology import reconstruction

from grader.colour.difference import ciede2000
from grader.colour.srgb import linear_to_lab
from grader.faults.evidence import Evidence, ViewEvidence, finding, in_words, off_clay, window_of
from grader.faults.lines import RING_BEND
from grader.faults.spots import Spot, bell_steepness, enclosed, find_spots, framed, local_median
from grader.findings import Finding
from grader.piece import Mask
from grader.rings import find_rings
from grader.surface import Plane, grow, light_of, shrink

_LARGEST_MM = 2.2
"""Pinholes are 0.2 to 1 mm, and an open blister a little more (common practice, no source)."""

_WIDEST_MM = 2 * _LARGEST_MM
"""With the ring that the glaze drew back into; a wider one is the white of an eye round its pupil
(the widest true one has 2.7 mm, of rendered pieces)."""

_WINDOW_MM = 2.6
"""The surface without its dots is the median over this; larger things stay in it."""

_LEAST_DEPTH = 0.45
"""A hole in the glaze lets through at most two thirds of the light of its surroundings."""

_HOLE_DEPTH = 1.4
"""A hole returns less than a quarter of the light; the few iron specks of a pale clay, seen through
glaze, return more. This parts the two where there are too few specks to learn from."""

_BLACK_TONE = -3.9
"""Tone of the bottom of a hole: 2 % of the light, which dust and lens throw in."""

_LEAST_SHIFT_DE00 = 9.0
"""A hole is black at its bottom; what differs less is a speck or a shadow, unless it lies in a
patch or in a ring of glaze that has drawn back: on a dark glaze a hole is hardly darker."""

_PATCH_BY_CHANCE = 1e-4
"""Specks lie all round. That one side shows so many more dots than the others is a patch of pits if
chance makes of it one piece in some thousands."""

_GRAIN_SPREADS = 5.5
_LEAST_PX = 3.0
_SPECKLED, _LOWER = 25, 0.25
"""Dark dots over all views, if each had as many as the lower quarter of them, from which a clay
counts as speckled: two views of four may show one patch of pits."""

_SHARPER_SPREADS = 2.7
_DEEPER_SPREADS = 1.2
"""A pit's rim is so many spreads sharper than that of specks of its size, and it is darker than
most of them. Blur and the bleeding of iron bound how sharp a speck can be, so that its upper tail
is short."""

_LIP_PX = (1.5, 3.5)
_LIP_REACH_PX = 6
"""The ring in which a lip is looked for: outside the blur of the dot's own rim."""

_LIP_SPREADS = 4.0
_LIP_SHARPNESS = 0.5
"""A ring so many spreads lighter than round specks tells a pit whose rim is at least half as much
sharper as is asked of one without a lip: a speck bleeds into the glaze and darkens it."""

_BLACK_SPREADS = 3.0
_BLACK_SHARPNESS = 0.75
"""A hole takes all colours of light alike, iron more of the blue than of the red. Sharpness and
blackness are measured apart from each other, so that their spreads add up as legs of a right angle;
of a mark that is not sharp the blackness says little: dust and shadows are black, too."""

_WALL_SPREADS = 5.0
_WALL_REACH_MM = 2.0
"""A ring that light shuts a dot in all round, wherever it is lowest, has no like among specks: of
170 on one piece the highest came to 4.2 spreads, the craters of others to 6 and more (tuned on)."""

_GLINT = 0.08
"""Share burnt out of what looks like a crater, from which its ring is a glint beside a speck: the
lit crest of a true one burns out at a point (0.03), a glint over a tenth of it (tuned on)."""

_LIT_ROUND_PX = 3.0
_BESIDE_PX = (4.0, 7.0)
"""Lost light is summed up to where lens and the coarser colours of a picture file have spread it,
and held against the ring beyond."""

_LEAST_BLACK_SPREAD = 0.02
"""Share of the lost light to which one colour is known where 8-bit levels are 1 % apart."""

_LEAST_LIP = 0.04
"""Mean tone of a ring that is worth calling light: four spreads of it on even glaze."""

_TELLING_LIP = 0.1
"""A ring that alone tells a pit from a speck is a tenth lighter than the glaze: throwing rings and
grain round a speck come to half of that."""

_LEAST_RING, _CLOSED = 0.075, 0.75
"""Of many rings one is light by chance: by up to 0.065 round sharp specks of 38 pieces. One that is
light on one side only is a glint; three quarters of a true one are at least half as light as its
middle (tuned on)."""

_CRATER_REACH_MM = 1.5
_ROUND_THE_HOLE = 0.4
_CRATER_CONVEX = 0.9
"""A ring lies within this distance of the hole, nearly half of what lies next to it is light (seen
aslant a ring is narrow above and below), and with it the crater is convex."""

_LEAST_LIP_SPREAD = 0.01
"""One per cent of light, the resolution of the median round the dots."""

_CHANCE = 0.0005
"""Share of specks that pass all the same: 2 of 4500 on ten pieces without pits (tuned on)."""

_SURELY = 1.3
"""So far above the limit no speck of those came: such a mark is a pit whatever the others are."""

_TELLING_PX = 4.0
"""Below this the rim of a mark is that of the lens, the same for pit and speck."""

_RING_MM = 0.8
_ENCLOSED = 0.85
"""Share of the ring round a dot that must be as light as the surroundings: the tip of a painted
petal goes on to one side."""

_STEEP = 0.9
"""The lens makes of a point a bell. What is softer than nine tenths of its steepness is no hole."""

_LONG = 3.0
_LONG_ALONE = 2.2
"""Lengths in widths. On a clay without specks nothing but its shape tells a pit from a crack, the
line of a joint or the seam of a handle, which are longer."""

_DRAWING_MM = 6.0
_SAME_CHROMA, _SAME_TONE = 0.06, 0.3
_DRAWN_TIMES = 4.0
"""A dot in a painting is drawn if paint of its own colour, noise and a third of shading apart,
covers several times its area within the width of a painted eye."""

_PINHOLE_MM = 1.2
"""Pinholes are smaller, and pupils larger; the pupil of an eye has its like in every other eye."""

_ROW_OF_DOTS, _DOT_TIMES, _MIXED = 4, 2.5, (0.7, 1.2)
"""So many painted dots of its colour, each up to so many times as large or as small, make a dot one
more of the row: one that the turn of the wall kept out of the zones of paint. So slim, it is mixed
with the clay beside it by the lens: of this share paint, it has the colour of that mixture."""

_BESIDE_MM = (0.5, 1.5)
"""Sound clay lies so far from the rim of a dot, beyond the blur of the lens."""

_LEVEL_MM, _RINGED_SHARE = 3.0, 0.3
"""Blur that takes away throwing rings, which are 2 to 5 mm apart, and leaves the form; and share of
the clay that they bend, from which they are taken away: deep ones bent 0.6 and more of it, a lip
and its sparkle, or the step of a foot, 0.2 and less (measured on rendered pieces)."""

_STROKE_SHARE = 0.4
"""A stroke of three pixels wavers in depth: by this share it may be less dark than its tip."""

_HUE = 0.25
"""Log-chromaticity by which a dot is bluer or greener than white light, and than what lies round
it, from which it is paint: a hole is black or has the colour of the clay. Pits of eight sets differ
by less than 0.1 that way, cobalt by 0.5 and more."""

_STEEPEST = 2.0
"""Seen at more than 60 degrees the rim of a speck looks as sharp as that of a pit."""


@dataclass(frozen=True, slots=True)
class _Ring:
    """A ring round a dot: how far from its rim it begins, its tone above that of the surroundings,
    and the share of it that is at least half as light."""

    from_px: float
    tone: float
    closed: float

    @property
    def is_plain(self) -> bool:
        return self.tone > _LEAST_RING and self.closed > _CLOSED


@dataclass(frozen=True, slots=True)
class _Wall:
    """The light ring that shuts a dot in, whatever its form: tone of its lowest place above that of
    the surroundings, not above nought where there is none, and the window and its corner of what it
    shuts in and of itself: the hole alone where it is too low, or the dot not deep enough."""

    level: float
    crater: Mask
    corner: tuple[int, int]

    @property
    def stands(self) -> bool:
        return self.level > _LEAST_LIP


@dataclass(frozen=True, slots=True)
class _Dot:
    view: ViewEvidence
    spot: Spot
    lip: float
    """Tone (natural logarithm) of a narrow ring round the dot above that of its surroundings."""

    ring: _Ring
    """The lightest within the reach of a crater: a burst bubble leaves one further out than the
    lip of a hole."""

    black: float
    """Share of the red light that is lost over that of the blue, as a natural logarithm: 0 for a
    hole, below it for iron."""

    wall: _Wall

    @property
    def photo(self) -> str:
        return self.view.surface.photo

    @property
    def painted(self) -> bool:
        return bool(self.view.zones.painted[self.spot.peak_at])

    @property
    def size_mm(self) -> float:
        return self.spot.diameter_px / self.view.surface.px_per_mm


def find(evidence: Evidence) -> list[Finding]:
    """Find pits in glazed clay and in paint.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    list of Finding
        One a pit.
    """
    if evidence.finish == "raw":
        return []
    # Grog, shelf dust and the wiped edge make dark dots on every foot: nobody sorts by them.
    views = [view for view in evidence.views if view.surface.view != "foot"]
    dots = [dot for view in views for dot in _dark_dots(view)]
    speckled = _all_round(dots, views) >= _SPECKLED
    if speckled:
        # On burnt-out clay every speck has a hard rim: the glaze round it is cut off at white.
        dots = [dot for dot in dots if not _on_burnt(dot)]
    out = []
    # Specks look otherwise through paint than through glaze: each is held against its own.
    for painted in (False, True):
        group = [dot for dot in dots if dot.painted is painted]
        usual = None
        if _all_round(group, views) >= _SPECKLED:
            usual = _Specks(
                _usual(group, [_rim(dot) for dot in group]),
                _usual(group, [dot.spot.peak for dot in group]),
                _usual(group, [dot.lip for dot in group], _LEAST_LIP_SPREAD),
                _usual(group, [dot.ring.tone for dot in group], _LEAST_LIP_SPREAD),
                # What is faint has no colour that could be measured.
                _usual(deep := _deep(group), [dot.black for dot in deep], _LEAST_BLACK_SPREAD),
                _usual(deep, [dot.wall.level for dot in deep], _LEAST_LIP_SPREAD),
            )
        elif speckled:
            continue
        # Freckles painted on one side are a patch, too: of paint each dot must speak for itself.
        patched = _patched(group, views) if usual is None and not painted else set()
        pits = [
            (dot, excess)
            for dot in group
            if (excess := _excess(dot, usual, patched=dot.photo in patched)) is not None
            and not _is_too_wide(dot)
            and not _is_drawn(dot, views)
        ]
        if usual is not None and len(pits) <= int(poisson.ppf(0.99, _CHANCE * len(group))):
            # No more than chance makes of so many specks: only what stands far out is told.
            pits = [(dot, excess) for dot, excess in pits if excess > _SURELY]
        for dot, excess in _one_a_crater(pits):
            report = _report(dot, excess, speckled)
            seen = (report.shift_de00 or 0) >= _LEAST_SHIFT_DE00
            if seen or dot.photo in patched or _ringed(dot):
                out.append(report)
    return out


def _all_round(dots: Sequence[_Dot], views: Sequence[ViewEvidence]) -> float:
    """Count the dots, deep enough for a pit, that all views would show if each had as many as the
    poorer ones: iron specks lie all round a piece, while pits come in patches, and would else teach
    what a speck looks like."""
    deep = _deep(dots)
    counts = [sum(dot.view is view for dot in deep) for view in views]
    return float(np.quantile(counts, _LOWER)) * len(counts) if counts else 0.0


def _patched(dots: Sequence[_Dot], views: Sequence[ViewEvidence]) -> set[str]:
    """Photos of the sides that show more deep round dots than their sisters let expect.

    Specks fall as a Poisson process whose density the other sides tell, with Jeffreys' prior; what
    one side then shows is negative binomial (Gelman et al. 2013, Bayesian Data Analysis, ch. 2.6).
    """
    sides = [view for view in views if view.skin is not None]
    round_ones = [dot for dot in dots if _is_hard(dot) and not _is_long(dot)]
    counts = [sum(dot.view is view for dot in round_ones) for view in sides]
    others = len(sides) - 1
    if others < 1:
        return set()
    return {
        view.surface.photo
        for view, count in zip(sides, counts, strict=True)
        if nbinom.sf(count - 1, sum(counts) - count + 0.5, others / (others + 1)) < _PATCH_BY_CHANCE
    }


def _deep(dots: Sequence[_Dot]) -> list[_Dot]:
    return [dot for dot in dots if dot.spot.peak >= _LEAST_DEPTH]


def _dark_dots(view: ViewEvidence) -> list[_Dot]:
    surface, zones = view.surface, view.zones
    tone = _without_rings(view)
    around = local_median(tone, surface.px(_WINDOW_MM), low=-6.2, high=0.8)
    depth = around - tone
    # Where two paints or paint and clay meet, the median flips sides: no dot can be read there.
    # The tip of a petal, thinner than the zones can follow, would look like a dot, too.
    border = grow(zones.painted, surface.px(1.6)) & ~shrink(zones.paint, surface.px(1.0))
    where = (zones.stretch < _STEEPEST) & zones.wall & ~border & ~view.relief & ~zones.foot
    where &= shrink(surface.mask, surface.px(2.5))
    dark = -tone
    # Grain of a dim photo makes dark dots by the hundred: a pit stands well above it.
    quiet = depth[where]
    grain = 1.4826 * float(np.median(np.abs(quiet - np.median(quiet)))) if quiet.size else 0.0
    seed = max(0.5 * _LEAST_DEPTH, _GRAIN_SPREADS * grain)
    out = []
    for spot in find_spots(depth, where, seed=seed, largest_px=surface.px(_LARGEST_MM)):
        if spot.diameter_px < _LEAST_PX or spot.length_px > _LONG * spot.width_px:
            continue
        # All round, the light must come back to that of the surroundings of the dot itself.
        back = 0.45 * spot.peak - float(around[spot.peak_at])
        if enclosed(dark, spot, surface.px(_RING_MM), below=back) > _ENCLOSED:
            ring = _lightest_ring(depth, spot, surface.px(_CRATER_REACH_MM))
            wall = _wall(depth, spot, surface.px(_WALL_REACH_MM))
            out.append(_Dot(view, spot, _lip(depth, spot), ring, _black(view, spot), wall))
    return out


def _without_rings(view: ViewEvidence) -> Plane:
    """Log light of a view without the light and shade of deep throwing rings.

    Among these iron specks would drown, and only the deepest be left, that pass for pits.
    """
    surface, zones = view.surface, view.zones
    if view.skin is None:
        return surface.tone
    clay = shrink(surface.mask, _LIP_PX[1]) & ~grow(zones.painted, surface.px(_BESIDE_MM[0]))
    rings = find_rings(surface.tone, clay & ~zones.inside, surface.px_per_mm, least=RING_BEND)
    wall = clay & zones.wall
    if rings is None or (rings.bend > RING_BEND)[wall].sum() <= _RINGED_SHARE * wall.sum():
        return surface.tone
    ringed = np.where(clay, np.clip(rings.bend / RING_BEND, 0.0, 1.0), 0.0)
    level = cv2.GaussianBlur(rings.tone, (0, 0), surface.px(_LEVEL_MM))
    return np.asarray(surface.tone - ringed * (rings.tone - level), np.float32)


def _black(view: ViewEvidence, spot: Spot) -> float:
    lost = []
    for channel in (0, 2):
        light, region, _ = framed(view.surface.light[..., channel], spot, round(_BESIDE_PX[1]))
        beside = grow(region, _BESIDE_PX[1]) & ~grow(region, _BESIDE_PX[0])
        if not beside.any():
            return 0.0
        level = float(np.median(light[beside]))
        lost.append(float((level - light[grow(region, _LIT_ROUND_PX)]).sum()) / max(level, 1e-3))
    # A faint mark may by noise lose none of one colour: it stays within a factor of three.
    least = max(*lost, 1e-3) / 3
    return float(np.log(max(lost[0], least) / max(lost[1], least)))


def _lip(depth: Plane, spot: Spot) -> float:
    window, region, _ = framed(depth, spot, _LIP_REACH_PX)
    ring = grow(region, _LIP_PX[1]) & ~grow(region, _LIP_PX[0])
    return -float(window[ring].mean()) if ring.any() else 0.0


def _lightest_ring(depth: Plane, spot: Spot, reach_px: float) -> _Ring:
    """Of all rings round the dot, each as wide as a lip and half over the next."""
    nearest, wide = _LIP_PX[0], _LIP_PX[1] - _LIP_PX[0]
    window, region, _ = framed(depth, spot, math.ceil(max(reach_px, _LIP_PX[1])) + 1)
    away = cv2.distanceTransform((~region).astype(np.uint8), cv2.DIST_L2, 5)
    best = _Ring(nearest, -math.inf, 0.0)
    for at in np.arange(nearest, max(reach_px - wide, nearest) + 0.01, 0.5 * wide):
        light = -window[(away >= at) & (away < at + wide)]
        # The median, as other specks may lie in it.
        if light.size and (tone := float(np.median(light))) > best.tone:
            best = _Ring(float(at), tone, float((light > 0.5 * tone).mean()))
    return best


def _wall(depth: Plane, spot: Spot, reach_px: float) -> _Wall:
    """Light that rises from outside, as water would, until it runs over into the dot.

    Unlike a ring at one distance this holds for craters seen aslant and of any outline (Vincent
    1993, Morphological grayscale reconstruction in image analysis: filling of holes).
    """
    window, hole, corner = framed(depth, spot, math.ceil(reach_px))
    if spot.peak < _LEAST_DEPTH:
        return _Wall(0.0, hole, corner)
    light = -window.astype(np.float64)
    flooded = np.full_like(light, light.max())
    for edge in (np.s_[[0, -1]], np.s_[:, [0, -1]]):
        flooded[edge] = light[edge]
    at = spot.peak_at[0] - corner[0], spot.peak_at[1] - corner[1]
    level = float(reconstruction(flooded, light, method="erosion")[at])
    if not (low := _Wall(level, hole, corner)).stands:
        return low
    _, labels = cv2.connectedComponents((light < level).astype(np.uint8), connectivity=4)
    basin = labels == labels[at]
    crater = basin | (grow(basin, _LIP_PX[1]) & (light > 0.5 * level))
    return _Wall(level, hole | (crater if _is_round(crater) else basin), corner)


def _is_round(crater: Mask) -> bool:
    """Whether a crater is convex: light on one side is a glint, and a trail of it a ring."""
    hull = cv2.contourArea(cv2.convexHull(cv2.findNonZero(crater.astype(np.uint8))))
    return bool(crater.sum() >= _CRATER_CONVEX * hull)


def _on_burnt(dot: _Dot) -> bool:
    row, col = dot.spot.corner
    height, width = dot.spot.region.shape
    window = dot.view.surface.clipped[row : row + height, col : col + width]
    return bool(window.mean() > 0.15)


def _is_drawn(dot: _Dot, views: Sequence[ViewEvidence]) -> bool:
    """Whether the dot is paint: by its own hue, or of a colour that the drawing has, too."""
    if _has_a_hue(dot):
        return True
    if not dot.painted:
        if _ends_a_stroke(dot):
            return True
        size_mm = dot.size_mm * float(np.sqrt(dot.view.zones.stretch[dot.spot.peak_at]))
        return size_mm > _PINHOLE_MM and _painted_dots_like(dot, views) >= _ROW_OF_DOTS
    row, col = dot.spot.peak_at
    reach = round(dot.view.surface.px(_DRAWING_MM))
    near = (
        slice(max(0, row - reach), row + reach + 1),
        slice(max(0, col - reach), col + reach + 1),
    )
    # A pinhole is as dark as any black line on the piece: it is held against what lies near.
    places = [(dot.view, near)]
    if dot.size_mm > _PINHOLE_MM:
        places = [(each, _all_of(each)) for each in views]
    area = sum(_paint_like(dot, view, window) for view, window in places)
    return area > _DRAWN_TIMES * dot.spot.region.sum() / dot.view.surface.px_per_mm**2


def _has_a_hue(dot: _Dot) -> bool:
    """Whether the dot is bluer or greener than any hole."""
    surface = dot.view.surface
    _, region, corner = framed(surface.tone, dot.spot, round(_BESIDE_PX[1]))
    greener_bluer = surface.chroma[window_of(region, corner)] * (-1.0, 1.0)
    beside = grow(region, _BESIDE_PX[1]) & ~grow(region, _BESIDE_PX[0])
    if not beside.any():
        return False
    own, around = (np.median(greener_bluer[part], axis=0) for part in (region, beside))
    return bool((np.minimum(own, own - around) > _HUE).any())


def _paint_like(dot: _Dot, view: ViewEvidence, window: tuple[slice, slice]) -> float:
    """Area of the paint in a window of a view that has the colour of a dot, mm2."""
    paint = view.zones.paint[window]
    if view is dot.view:
        own = np.zeros(view.surface.mask.shape, bool)
        own[window_of(dot.spot.region, dot.spot.corner)] = dot.spot.region
        paint = paint & ~grow(own[window], view.surface.px(0.8))
    return float((_coloured_like(dot, view, window) & paint).sum()) / view.surface.px_per_mm**2


def _painted_dots_like(dot: _Dot, views: Sequence[ViewEvidence]) -> int:
    """Painted dots on all views that have the colour and about the size of a dot."""
    size = _wall_mm2(dot.view, dot.spot.region, dot.spot.corner)
    own = _of_beside(dot)
    slack = _SAME_CHROMA + 3.0 * float(dot.view.zones.noise[dot.spot.peak_at])
    count = 0
    for view in views:
        _, labels, stats, _ = cv2.connectedComponentsWithStats(view.zones.paint.astype(np.uint8))
        most_px = _DOT_TIMES * size * view.surface.px_per_mm**2
        for number in 1 + np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] < most_px):
            col, row, wide, high = stats[number, : cv2.CC_STAT_AREA]
            painted = labels[row : row + high, col : col + wide] == number
            large = _wall_mm2(view, painted, (int(row), int(col))) / size
            paint = _of_clay(view, painted, (int(row), int(col)))
            share = float((1.0 - own).sum() / max(float((1.0 - paint).sum()), 1e-3))
            mixed = np.maximum(1.0 - share * (1.0 - paint), 1e-3)
            apart = np.log(own / mixed)
            count += (
                1 / _DOT_TIMES < large < _DOT_TIMES
                and _MIXED[0] < share < _MIXED[1]
                and float(np.hypot(*(apart[[0, 2]] - apart[1]))) < slack
            )
    return count


def _of_beside(dot: _Dot) -> NDArray[np.float64]:
    """Share of the light of what lies round a dot that it returns, in red, green and blue.

    At the turn of the wall the table shines on both, more than the fit of the clay follows.
    """
    surface = dot.view.surface
    near, far = (surface.px(reach) for reach in _BESIDE_MM)
    tone, region, corner = framed(surface.tone, dot.spot, math.ceil(far))
    at = window_of(region, corner)
    beside = grow(region, far) & ~grow(region, near) & dot.view.zones.wall[at]
    if not beside.any():
        return _of_clay(dot.view, dot.spot.region, dot.spot.corner)
    fields = np.dstack([surface.chroma[at], tone])
    off = np.median(fields[region], axis=0) - np.median(fields[beside], axis=0)
    return np.asarray(light_of(off[:2], off[2]), np.float64)


def _of_clay(view: ViewEvidence, region: Mask, corner: tuple[int, int]) -> NDArray[np.float64]:
    """Share of the light of the clay there that a region returns, in red, green and blue."""
    off = np.median(off_clay(view, window_of(region, corner))[region], axis=0)
    return np.asarray(light_of(off[:2], off[2]), np.float64)


def _wall_mm2(view: ViewEvidence, region: Mask, corner: tuple[int, int]) -> float:
    """Area of a region on the wall itself, which may turn away."""
    stretch = view.zones.stretch[window_of(region, corner)][region]
    return float(stretch.sum()) / view.surface.px_per_mm**2


def _ends_a_stroke(dot: _Dot) -> bool:
    """Whether the dot is the tip of a stroke, that runs on into paint as dark as it is itself."""
    surface, row_col = dot.view.surface, dot.spot.peak_at
    tone, _, corner = framed(surface.tone, dot.spot, math.ceil(surface.px(_DRAWING_MM)))
    at = row_col[0] - corner[0], row_col[1] - corner[1]
    dark = tone < tone[at] + _STROKE_SHARE * dot.spot.peak
    _, labels = cv2.connectedComponents(dark.astype(np.uint8), connectivity=4)
    stroke = labels == labels[at]
    return bool(dot.view.zones.paint[window_of(stroke, corner)][stroke].any())


def _all_of(view: ViewEvidence) -> tuple[slice, slice]:
    height, width = view.surface.mask.shape
    return slice(0, height), slice(0, width)


def _coloured_like(dot: _Dot, view: ViewEvidence, window: tuple[slice, slice]) -> Mask:
    at = window_of(dot.spot.region, dot.spot.corner)
    own, surface = dot.view.surface, view.surface
    chroma = np.median(own.chroma[at][dot.spot.region], axis=0)
    tone = np.median(own.tone[at][dot.spot.region])
    slack = _SAME_CHROMA + 3.0 * view.zones.noise[window]
    alike = np.abs(surface.chroma[window] - chroma).max(-1) < slack
    return np.asarray(alike & (np.abs(surface.tone[window] - tone) < _SAME_TONE))


def _rim(dot: _Dot) -> float:
    """Mean fall of the log light across the rim, natural logarithm per millimetre, as a log."""
    return float(np.log(max(dot.spot.rim_slope * dot.view.surface.px_per_mm, 1e-3)))


@dataclass(frozen=True, slots=True)
class _Usual:
    """How one measure of specks goes with their size: a line, and the spread above it."""

    slope: float
    level: float
    spread: float

    def above(self, size_mm: float, value: float) -> float:
        """Spreads that a value lies above the line."""
        # Beyond a millimetre specks are rare; the line is not carried on past them.
        return (value - (self.slope * min(size_mm, 1.0) + self.level)) / self.spread


@dataclass(frozen=True, slots=True)
class _Specks:
    """What is usual of the specks of a piece: how sharp their rims are, how deep they are, how
    light the lip and the lightest ring round them, how black they are, and how high the light
    stands all round."""

    rim: _Usual
    depth: _Usual
    lip: _Usual
    ring: _Usual
    black: _Usual
    wall: _Usual


def _usual(dots: Sequence[_Dot], values: Sequence[float], least_spread: float = 0.05) -> _Usual:
    """Learn from the specks of the piece itself; a few pits among them do not matter."""
    sizes = np.array([dot.size_mm for dot in dots])
    measured = np.array(values)
    keep = np.ones(len(dots), bool)
    slope = level = 0.0
    rest = measured
    for _ in range(4):
        slope, level = np.polyfit(sizes[keep], measured[keep], 1)
        rest = measured - (slope * sizes + level)
        middle = float(np.median(rest[keep]))
        keep = np.abs(rest - middle) < 3.7 * float(np.median(np.abs(rest[keep] - middle))) + 1e-6
    # The lower tail is faint specks; only the upper one, up to its 95th part, is of interest.
    middle = float(np.median(rest))
    spread = (float(np.quantile(rest, 0.95)) - middle) / 1.645
    return _Usual(float(slope), float(level) + middle, max(spread, least_spread))


def _is_hard(dot: _Dot) -> bool:
    """Whether the dot is deep and as steep as the lens makes a hole."""
    hard = dot.spot.steepness >= _STEEP * bell_steepness(dot.spot.diameter_px)
    return dot.spot.peak >= _LEAST_DEPTH and hard


def _is_long(dot: _Dot) -> bool:
    return dot.spot.length_px > _LONG_ALONE * _aslant(dot) * dot.spot.width_px


def _excess(
    dot: _Dot,
    usual: _Specks | None,
    *,
    patched: bool = False,
) -> float | None:
    """How far the dot stands above what is usual, 1 at the limit; None below it."""
    if not _is_hard(dot):
        return None
    if usual is None:
        if _is_long(dot):
            return None
        row, col = dot.spot.peak_at
        around = float(dot.view.surface.tone[row, col]) + dot.spot.peak
        # Dark paint leaves a hole less to fall by.
        excess = dot.spot.peak / min(_HOLE_DEPTH, 0.75 * (around - _BLACK_TONE))
        if patched or _ringed(dot):
            # Specks come in no patch and have no ring of drawn-back glaze, however dark they are.
            excess = max(excess, dot.spot.peak / _LEAST_DEPTH)
        return excess if excess > 1.0 else None
    if usual.depth.above(dot.size_mm, dot.spot.peak) < _DEEPER_SPREADS:
        return None
    glint = _burnt(dot, *_crater(dot)[:2]) > _GLINT
    walled = 0.0 if glint else usual.wall.above(dot.size_mm, dot.wall.level) / _WALL_SPREADS
    if dot.spot.diameter_px < _TELLING_PX:
        return walled if walled > 1.0 else None
    steps = usual.rim.above(dot.size_mm, _rim(dot))
    sharper = steps / _SHARPER_SPREADS
    # Glaze drawn back from a hole stands round it as a lip that catches the light.
    lipped = 0.0
    if sharper > _LIP_SHARPNESS and not glint:
        lipped = usual.lip.above(dot.size_mm, dot.lip) / _LIP_SPREADS
        if dot.ring.is_plain:
            lipped = max(lipped, usual.ring.above(dot.size_mm, dot.ring.tone) / _LIP_SPREADS)
    blacker = 0.0
    if sharper > _BLACK_SHARPNESS:
        beyond = max(0.0, usual.black.above(dot.size_mm, dot.black))
        blacker = float(np.hypot(steps, beyond)) / _BLACK_SPREADS
    excess = max(sharper, lipped, blacker, walled)
    return excess if excess > 1.0 else None


def _ringed(dot: _Dot) -> bool:
    """Whether the dot lies in a closed, plainly light ring that is no edge of a glint."""
    if max(dot.lip, dot.ring.tone if dot.ring.is_plain else 0.0) < _TELLING_LIP:
        return False
    crater, corner, _ = _crater(dot)
    return crater is not dot.spot.region and _burnt(dot, crater, corner) == 0.0


def _burnt(dot: _Dot, crater: Mask, corner: tuple[int, int]) -> float:
    """Share of a crater in which a channel is burnt out; 0..1."""
    return float(dot.view.surface.clipped[window_of(crater, corner)][crater].mean())


def _one_a_crater(pits: Sequence[tuple[_Dot, float]]) -> list[tuple[_Dot, float]]:
    """Keep the deepest hole of each crater, whose uneven bottom may look like two."""
    kept: list[_Dot] = []
    for dot, _ in sorted(pits, key=lambda each: -each[0].spot.peak):
        if not any(_holds(other, dot) for other in kept):
            kept.append(dot)
    return [each for each in pits if any(each[0] is dot for dot in kept)]


def _holds(dot: _Dot, other: _Dot) -> bool:
    """Whether the crater of one dot reaches round the middle of another."""
    crater, (top, left), _ = _crater(dot)
    row, col = other.spot.peak_at[0] - top, other.spot.peak_at[1] - left
    inside = 0 <= row < crater.shape[0] and 0 <= col < crater.shape[1]
    return dot.view is other.view and inside and bool(crater[row, col])


def _aslant(dot: _Dot) -> float:
    """How many times as long as wide a round mark looks that stands upright on a turned wall."""
    rows, cols = np.nonzero(dot.spot.region)
    if np.ptp(rows) <= np.ptp(cols):
        return 1.0
    return float(dot.view.zones.stretch[dot.spot.peak_at])


def _crater(dot: _Dot) -> tuple[Mask, tuple[int, int], float]:
    """The pit with the light ring round it where it has one: window, its corner, area in pixels.

    Glaze that has drawn back into a ring belongs to the crater, whose size is what a finger feels.
    """
    surface, spot = dot.view.surface, dot.spot
    plain = spot.region, spot.corner, spot.area_px
    if dot.wall.stands:
        return dot.wall.crater, dot.wall.corner, float(dot.wall.crater.sum())
    inner = dot.ring.from_px if dot.ring.is_plain else _LIP_PX[0]
    outer = inner + _LIP_PX[1] - _LIP_PX[0]
    if not dot.ring.is_plain and dot.lip < _LEAST_LIP:
        return plain
    reach = max(_LIP_REACH_PX, round(surface.px(_CRATER_REACH_MM)))
    tone, hole, (top, left) = framed(surface.tone, spot, reach)
    blurred = grow(hole, inner)
    ring = grow(hole, outer) & ~blurred
    around = float(np.median(tone[~grow(hole, outer)]))
    height_of_lip = float(np.quantile(tone[ring], 0.9)) - around
    light = (tone > around + 0.5 * height_of_lip) & grow(hole, surface.px(_CRATER_REACH_MM))
    _, labels = cv2.connectedComponents((light | blurred).astype(np.uint8))
    crater = labels == labels[spot.peak_at[0] - top, spot.peak_at[1] - left]
    if light[ring].mean() < _ROUND_THE_HOLE or not _is_round(crater):
        return plain
    return crater, (top, left), float(crater.sum())


def _is_too_wide(dot: _Dot) -> bool:
    """Whether what looks like a crater is wider than any."""
    return 2.0 * math.sqrt(_crater(dot)[2] / math.pi) > dot.view.surface.px(_WIDEST_MM)


def _report(dot: _Dot, excess: float, speckled: bool) -> Finding:
    view, spot = dot.view, dot.spot
    region, corner, area_px = _crater(dot)
    across_px = 2.0 * float(np.sqrt(area_px / np.pi))
    size_mm = across_px / view.surface.px_per_mm
    darker = 100 * (1 - np.exp(-spot.peak))
    # A crater that is walled in shows itself by the whole of it, not by the hole alone.
    telling_px = across_px if dot.wall.stands else spot.diameter_px
    sharp = float(np.clip((telling_px - 2.0) / 3.5, 0.2, 1.0))
    # Among specks the limit itself is already rare; on a clear clay depth is the only witness.
    clear = min(1.0, 0.6 * excess) if speckled else float(np.clip(0.6 * excess, 0.0, 1.0))
    certainty = sharp * clear
    beside = (
        "and sharper than the iron specks of its size" if speckled else "on a clay without specks"
    )
    why = (
        f"A dark dot of {in_words(dot.size_mm, view)} with a sharp rim, {darker:.0f} % darker "
        f"than the glaze round it {beside}"
        + (f", in a light ring of {in_words(size_mm, view)}." if region is not spot.region else ".")
    )
    return finding(
        view,
        "pit",
        region,
        corner,
        shift_de00=_shift(view, spot),
        certainty=certainty,
        why=why,
        area_px=area_px,
        measures=(("depth", round(spot.peak, 3), "ln"), ("excess", round(excess, 2), "1")),
    )


def _shift(view: ViewEvidence, spot: Spot) -> float:
    row, col = spot.corner
    height, width = spot.region.shape
    light = view.surface.light[row : row + height, col : col + width]
    ring = ~grow(spot.region, 2)
    if not ring.any():
        return 0.0
    inside = np.median(linear_to_lab(light[spot.region]), axis=0)
    return float(ciede2000(inside, np.median(linear_to_lab(light[ring]), axis=0)))
