"""Crawling: bare islands in the glaze, shut in by the thick rim of the glaze that drew back.

Where the glaze has left, the clay shows without it: a little lighter and paler than glazed clay
beside it, even, with a sharp edge all round. The rolled rim stands up and throws a fine dark line.
A gap in a painting shows glazed clay, a painted dot has a colour, a highlight stays where it is
while the piece turns, a flake is smaller than three millimetres and has no rim.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.colour.difference import OBJECTED_DE00, ciede2000
from grader.colour.srgb import linear_to_lab
from grader.faults.evidence import (
    Evidence,
    ViewEvidence,
    finding,
    in_words,
    on_body,
    other_sides,
    window_of,
)
from grader.faults.islands import HEIGHTS, Island, find_islands
from grader.faults.lines import carry_on, strong_rings
from grader.faults.slots import circle_through, rise
from grader.findings import Finding
from grader.piece import Mask
from grader.surface import grow, light_of, shrink

_SIZE_MM = (1.9, 2.6)
"""Islands are 2 to 50 mm (common practice, no source); among so many patches of grain the smallest
are the least sure."""

_FINE = {"px_per_mm": 5.0, "sigma_mm": 0.3, "sizes_mm": (0.8, 40.0)}
_COARSE = {"px_per_mm": 2.5, "sigma_mm": 0.6, "sizes_mm": (3.0, 40.0)}
"""Two looks: the finer shows the rim of an island of 2 mm (0.4 mm of its core are left between the
blurred edges), the coarser bridges iron specks and throwing rings under a large one."""

_RIM = (0.5, 0.75)
"""Share of the outline with a line darker (or lighter) than both sides. A lamp cannot reach all
of a roll alike, but its foot is dark nearly all round."""

_FOOT_SHOWN = 0.1
"""Share of the outline with a dark line from which a light one elsewhere is the same roll, lit."""

_RIM_DEPTH = (0.06, 0.12)
_RIM_BLACK = (0.55, 0.85)
"""Log light by which the foot of the roll is darker; a line of paint is darker than any roll."""

_GRAINS = 3.0
_LEAST_LINE = 0.05
"""The rim counts from 5 % of light, or three spreads of the grain where that is more."""

_RINGING = 0.1
"""Share of a step by which the sharpening of a phone goes beyond it on either side."""

_PAINT_HUE, _THIN_PAINT_HUE = 0.3, 0.1
"""Log-chromaticity by which a fence that is paint, or among paint a thin coat, differs from what
lies on both of its sides where these are alike; the shadow of a rim has their colour."""

_UNEVEN = (0.35, 0.6)
"""Spread of the step along the outline (15 to 85 %) where no paint lies round it: glaze of one pot
makes 0.1, a large rolled rim half lit 0.5; the lip between wall and dark inside makes 1."""

_GLAZE_UNEVEN, _ON_GLAZE = (0.2, 0.35), 0.5
"""The same along the part that borders on glaze, where a stroke lies beside an island and its step
is that of the paint. Where less than this share of the outline is glaze, the island lies in a
drawing."""

_LEVELS = (2.0, 4.0)
"""Levels of an 8-bit picture by which the foot of a roll is darker: deep in a pot two levels make a
tenth of the light, and JPEG draws islands with them."""

_LIFT, _CLEAR_LIFT = (0.08, 0.15), (0.10, 0.17)
_WIDE_MM = 10.0
_GLEAM = (0.4, 0.55)
"""Log light by which bare clay is lighter than glazed: 0.1 to 0.3, since glaze wets and darkens.
White and highlights are lighter still; a gap in the painting is not lighter at all. A wide island
has a say of its own in what is taken for clay there."""

_PALER = (0.03, 0.06)
_FOREIGN = (0.2, 0.27)
"""Log-chromaticity by which bare clay differs from glazed clay: 0.05 to 0.17; white slip on
clay that is not white differs by 0.25 and more."""

_CLAY_BESIDE = 0.3
"""Share of the outline from which the glazed clay beside an island tells its colour."""

_PAINT_BESIDE_MM = 1.5
"""A roll is 1 to 2 mm wide: so far beyond the outline paint may lie that it borders on."""

_BESIDE_PAINT = 0.2
"""Share of paint in the band round an island from which its step is that of the paint."""

_RINGED, _RINGED_MM, _PAINT_BLUR_MM = (0.07, 0.12), 10.0, 0.8
"""Log light by which throwing rings make the lightest tenth of the clay round an island lighter
than the middle of it: between painted shapes their crests are shut in by grooves and paint, and as
light as bare clay. Round ten such crests it was 0.12 and more; none of twelve true islands lay
between painted shapes, and round those on plain clay it was up to 0.05 (tuned on)."""

_CREST_MM, _WITHOUT_RINGS = 4.0, (0.2, 0.4)
"""Share of its step that an island of less than that size keeps when the light that a wall has in
common along its rings, over 6 mm, is taken away: the crest of a deep ring, shut in by grooves and
the turn of the wall, keeps 0.12 and less, and bare clay 0.75 and more (four and four of them, tuned
on). A wider island makes up the mean itself."""

_CLIPPED = (0.3, 0.5)
_CLIPPED_HUE = 0.1
"""Share of clipped pixels from which colour says little; a tenth more is then forgiven."""

_ALL_ROUND = (0.0, 0.06)
"""Step of log light that all but the lowest seventh of the outline keeps."""

_SHEEN_RED, _SHEEN_HUE, _SHEEN_FREE, _SHEEN_SHARE = 3.0, 0.1, 0.7, 0.5
"""From this ratio of red to blue in the light of glazed clay on, the mirrored lamp is told from it:
it is neutral, and where the ratio is lower by a tenth than in the reddest three tenths of the
outline, so much neutral light lies on the clay as brings it down (dichromatic reflection, Shafer
1985). Blue is then so little that what grain makes of it is a small part of the light. Where more
than half of the outline mirrors, it is the island that lies in a gap of the mirrored light."""

_RIMLESS_MM = 4.0
_RIMLESS_STEP = (0.05, 0.09)
_RIMLESS_GLEAM = (0.15, 0.25)
_RIMLESS_EVEN = (0.6, 0.8)
_RIMLESS_GRAINS = (5.0, 9.0)
_RIMLESS_TRUST = 0.6
"""Under soft light a rim does not show. Then the island must be larger than any glint of dust, its
step sharp, no higher than bare clay's, as high on all sides, and far above the grain; and it is
less sure."""

_COLOURED_DE00 = (6.0, 12.0)
"""CIEDE2000 of the clay beneath against a coloured glaze, all round but for a seventh of the
outline; the glaze's own flow and breaking makes less, or makes it softly."""

_STEEP = (30.0, 10.0)
_BARE_DE00, _BARE_UNEVEN = (20.0, 30.0), (0.1, 0.2)
_BARE_CLIPPED, _BARE_HUE = (0.1, 0.3), (0.05, 0.1)
_BARE_TRUST = 0.7
"""Pale clay in a dark glaze is so far off all round, and so evenly (spread of the step over the
step), that it needs no rim; a step of ten times the light leaves no calmer middle than so many
medians of the steepness. A glint is clipped, or what it adds to the glaze has the neutral hue of
the lamp (dichromatic reflection, Shafer 1985). Only where nothing is painted."""

_BLACK_BESIDE, _BLACK_SHARE = 0.9, (0.05, 0.12)
"""Log light, and share of an outline in the foot or inside, by which what lies beyond it is darker
than the rest: a hole through which water drains, and the lit part of its wall is no bare clay.
Beside such a hole a fifth was darker by 1.3, and round five true islands in coloured glazes none
by more than 0.4 (tuned on)."""

_ROLLED_MM = (3.0, 4.0)
_ROLLED_RIM, _ROLLED_DEPTH, _ROLLED_CREST = (0.85, 0.95), (0.3, 0.5), (0.4, 0.6)
_ROLLED_TRUST = 0.6
"""Where the glaze has nearly the colour of the clay, an island shows by its roll alone: closed, its
foot darker by a third, its crest lit on half of it. A glaze that flows or breaks has soft rims; a
sign pressed into the clay may have as hard ones, so that such an island is less sure."""

_SHUT_DEPTH, _SHUT_STEP, _SHUT_GRAINS = (0.1, 0.2), (0.02, 0.045), (4.0, 8.0)
_SHUT_GLEAM, _SHUT_SIZE_MM = (0.25, 0.4), (1.6, 2.0)
"""A roll closed all round tells by itself too, where what it shuts in is lighter on all sides by a
twentieth and by so many spreads of the grain, but not by as much as a shine. No patch of grain has
such a roll, and so it may be smaller. Within a sign pressed into the clay, where a glaze breaks,
and between throwing rings lies the same surface as beside."""

_RING_OFF, _RING_ROUND, _RING_PARTS = 0.3, 0.5, 24
_RING_MM = 20.0
"""A dark line is the foot of a roll where it keeps to a circle (root mean square distance over the
radius), lies in more than half of the directions from its middle (of so many parts of a turn) and
does not shut in more than an island. Cracks of this width lie in up to a fifth (nine of them on
samples), since they run on; but one may follow the root of a handle or go round a foot."""

_AT_RELIEF = 0.3
"""Share of a line near a handle from which it may be a crack round its root."""

_PUPIL = (0.03, 0.08)
_PUPIL_TONE = 0.45
"""Share of an island that is darker than its clay by a factor of 1.6, as paint is: the pupil of a
drawn eye. The iron specks of a clay cover less."""

_LIP_MM, _BELOW_LIP_MM = 5.0, 2.0
_LIP_TRUST = 0.35
"""So far within the edge of the opening, and below it, the lip bends, and shuts in strips of light
of its own."""

_EDGE_MM = 2.5
_AT_EDGE = (0.15, 0.35)
"""Share of the outline so near the silhouette that its outside lies beyond the piece."""

_HANDLE_TRUST = 0.4
"""Within a handle there is more often the wall behind than bare clay."""

_SAME_PLACE_MM = 4.0
_SAME_SIZE = 1.6
_SAME_PLACE_VIEWS = 2
"""What lies at one place of the picture on two more views, while the piece turns, is light."""

_LEAST_SIGN = 0.05
_LEAST_CERTAINTY = 0.3
"""Less than this is not worth a look."""


@dataclass(frozen=True, slots=True)
class Bare:
    """An island that may be bare clay.

    Attributes
    ----------
    island : Island
    certainty : float
        0..1.
    rim : float
        Share of the outline on which a rim shows.
    step : float
        Median step of log light from outside to inside.
    """

    island: Island
    certainty: float
    rim: float
    step: float

    @property
    def middle_px(self) -> NDArray[np.float64]:
        """Middle (x, y) in working pixels."""
        return np.asarray(self.island.outline.mean(0))


def find(evidence: Evidence) -> list[Finding]:
    """Find crawling on every view.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    list of Finding
        One an island.
    """
    if evidence.finish == "raw":
        return []
    plain = evidence.decorated is not True
    bare = [
        bare_islands(view, coloured=evidence.finish == "coloured", plain=plain)
        for view in evidence.views
    ]
    out: list[Finding] = []
    for view, own in zip(evidence.views, bare, strict=True):
        others = other_sides(evidence.views, bare, view)
        if evidence.finish != "coloured":
            own = _without_crests(view, own)
        for island in own:
            there = sum(_is_there_too(view, island, *other) for other in others)
            if island.certainty > _LEAST_CERTAINTY and there < _SAME_PLACE_VIEWS:
                told = _report(view, island, coloured=evidence.finish == "coloured")
                # Among paint the step is that of the paint: it must not look like glazed clay.
                painted = _share(view.zones.paint, _band_beside(view, island.island))
                if painted < _BESIDE_PAINT or (told.shift_de00 or 0.0) > OBJECTED_DE00:
                    out.append(told)
    return out


def bare_islands(view: ViewEvidence, *, coloured: bool, plain: bool) -> list[Bare]:
    """Bare islands of one view, the surest of those that overlap.

    Parameters
    ----------
    view : ViewEvidence
    coloured : bool
        Whether the glaze has a colour of its own.
    plain : bool
        Whether no dots or eyes are painted, so that an island of another colour is none of them.

    Returns
    -------
    list of Bare
        With a certainty above nought, the surest first.
    """
    found: list[Bare] = []
    for fine, island in _islands(view, coloured):
        bare = _coloured(view, island) if coloured else _clear(view, island, fine)
        if coloured and plain:
            stark = _stark(view, island)
            bare = replace(bare, certainty=max(bare.certainty, stark))
        if bare.certainty > 0.0:
            found.append(bare)
    chosen: list[Bare] = []
    for bare in sorted(found, key=lambda each: -each.certainty):
        away = [np.linalg.norm(bare.middle_px - other.middle_px) for other in chosen]
        reach = [view.surface.px(other.island.diameter_mm / 2) for other in chosen]
        if all(one > other for one, other in zip(away, reach, strict=True)):
            chosen.append(bare)
    return chosen


def rims(view: ViewEvidence, *, coloured: bool) -> list[NDArray[np.float64]]:
    """Outlines along which a roll of glaze stands, whatever it shuts in.

    Parameters
    ----------
    view : ViewEvidence
    coloured : bool
        Whether the glaze has a colour of its own.

    Returns
    -------
    list of ndarray of float64, shape (n, 2)
        Closed outlines (x, y) in working pixels.
    """
    shown = ((island, *_rim(island)) for _, island in _islands(view, coloured))
    return [
        island.outline
        for island, rim, depth in shown
        if rim > _RIM[1] and depth > _RIM_DEPTH[1] and island.diameter_mm >= _SIZE_MM[0]
    ]


def is_roll(view: ViewEvidence, path: NDArray[np.float64]) -> bool:
    """Whether a dark line on glaze goes round, as the foot of a roll does where glaze drew back.

    What such an island shuts in may have the colour of the glaze beside it, so that only the line
    shows.

    Parameters
    ----------
    view : ViewEvidence
    path : ndarray of float64, shape (n, 2)
        Points (x, y) in working pixels.
    """
    cols, rows = np.round(path).astype(np.intp).T
    if view.relief[rows, cols].mean() > _AT_RELIEF:
        return False
    centre, radius, off = circle_through(path)
    across, down = (path - centre).T
    turns = np.arctan2(down, across) / (2 * np.pi)
    round_it = len(np.unique(np.floor(turns * _RING_PARTS))) / _RING_PARTS
    return bool(
        2 * radius < view.surface.px(_RING_MM)
        and off < _RING_OFF * radius
        and round_it > _RING_ROUND
    )


def report_roll(
    view: ViewEvidence, path: NDArray[np.float64], *, shift_de00: float, certainty: float
) -> Finding:
    """Report the island within a line that `is_roll`.

    Parameters
    ----------
    view : ViewEvidence
    path : ndarray of float64, shape (n, 2)
        Points (x, y) in working pixels.
    shift_de00 : float
        Of the line, CIEDE2000.
    certainty : float
        That there is a line, 0..1.
    """
    hull = cv2.convexHull(np.round(path).astype(np.int32))
    low = hull.min((0, 1)) - 1
    region = np.zeros((hull.max((0, 1)) - low + 2)[::-1], np.uint8)
    cv2.fillPoly(region, [hull - low], 1)
    across = 2 * np.sqrt(region.sum() / np.pi) / view.surface.px_per_mm
    return finding(
        view,
        "crawl",
        region > 0,
        (int(low[1]), int(low[0])),
        shift_de00=shift_de00,
        certainty=certainty,
        why=f"A fine dark line goes round a place of {in_words(across, view)}, as the foot of the "
        "rolled edge does where glaze has drawn back. What it shuts in has about the colour of the "
        "glaze beside it.",
        measures=(("diameter", round(float(across), 2), "mm"),),
    )


def _islands(view: ViewEvidence, coloured: bool) -> Iterator[tuple[bool, Island]]:
    """All islands that are large enough, and whether the finer look shows them."""
    where = _seen_well(view, coloured)
    heights = _STEEP + HEIGHTS if coloured else HEIGHTS
    for fine, look in ((True, _FINE), (False, _COARSE)):
        # The edges of a foot ring, and those of the dark inside, all but shut in much else.
        mend = view.skin is not None
        found = find_islands(view.surface, where, heights=heights, mend=mend, **look)  # type: ignore[arg-type]
        for island in found:
            if island.diameter_mm >= _SHUT_SIZE_MM[0]:
                yield fine, island


def _seen_well(view: ViewEvidence, coloured: bool) -> Mask:
    """Where an island would show its shape."""
    if view.skin is None:
        return view.surface.mask
    # Through the opening a coloured glaze shows little but its own reflections.
    return view.zones.facing if coloured else view.zones.facing | view.zones.inside


def _rim(island: Island, paint_hue: float = np.inf) -> tuple[float, float]:
    """Share of the outline with a rim, and how dark its foot is (median of the log light).

    Where the fence has a colour of its own by `paint_hue`, it is no rim but paint.
    """
    tone = island.outside[:, 0]
    least = np.maximum(_least_line(island), _RINGING * np.abs(island.inside[0] - tone))
    dark = np.minimum(island.inside[0], tone) - island.darkest
    apart = np.linalg.norm(island.outside[:, 1:] - island.inside[1:], axis=1)
    off = np.linalg.norm(island.fence_chroma - island.inside[1:], axis=1)
    # Between clay and paint the blurred edge has every colour from one to the other.
    dark = np.where((off > paint_hue) & (apart < 0.7 * off), 0.0, dark)
    light = _crest(island)
    shown = float((dark > least).mean())
    any_shown = float(((dark > least) | (light > least)).mean())
    # A bright line alone is a glint, or light paint on dark clay; with the dark one it is the lit
    # side of the roll.
    rolled = 0.85 * any_shown if shown > _FOOT_SHOWN else 0.0
    return max(shown, rolled), float(np.median(np.maximum(dark, light)))


def _crest(island: Island) -> NDArray[np.float64]:
    """How far the lightest of the rim stands above both its sides, log light along the outline."""
    return np.asarray(island.lightest - np.maximum(island.inside[0], island.outside[:, 0]))


def _least_line(island: Island) -> float:
    """Log light from which a line is told from the grain."""
    return max(_LEAST_LINE, _GRAINS * island.grain)


def _clear(view: ViewEvidence, island: Island, fine: bool) -> Bare:
    """Hold an island in clear glaze against bare clay."""
    step, low = _step(island)
    beside = _band_beside(view, island)
    painted_round = _share(view.zones.paint, beside)
    on_glaze = ~_at_paint(view, island, beside[1])
    on_clay = painted_round < _BESIDE_PAINT and float(on_glaze.mean()) > _ON_GLAZE
    rim, depth = _rim(island, _PAINT_HUE if on_clay else _THIN_PAINT_HUE)
    rimless = (
        _RIMLESS_TRUST
        * (fine and not island.mended and island.diameter_mm > _RIMLESS_MM)
        * rise(low, _RIMLESS_STEP)
        * (1.0 - rise(step, _RIMLESS_GLEAM))
        * rise(low / max(step, 1e-6), _RIMLESS_EVEN)
        * rise(step / max(island.grain, 1e-3), _RIMLESS_GRAINS)
    )
    shut = _shut(island, rim, depth) * on_clay
    # What has no rim must be seen as it is.
    beside_matte = _without_sheen(island) if on_clay else island
    step, low = _step(beside_matte)
    rimmed = (
        rise(rim, _RIM)
        * rise(depth, _RIM_DEPTH)
        * (1.0 - rise(depth, _RIM_BLACK))
        * rise(low, _ALL_ROUND)
    )
    told = rise(depth / _level_step(view, island), _LEVELS)
    rimmed, shut = told * rimmed, told * shut
    if rimmed > 0.0 and painted_round >= _BESIDE_PAINT:
        rimmed *= 1.0 - rise(_swing_round(view, island), _RINGED)
    if max(rimmed, rimless, shut) < _LEAST_SIGN:
        return Bare(island, 0.0, rim, step)
    form = _is_form(view, island)
    if form > 1.0 - _LEAST_SIGN:
        return Bare(island, 0.0, rim, step)
    rows, cols = island.core
    zones = view.zones
    even = on_clay and rim > _RIM[1] and low > _SHUT_GRAINS[1] * max(island.grain, 1e-3)
    lift = float(island.inside[0] - np.median(zones.clay_tone[rows, cols]))
    if on_clay:
        # The glazed clay beside it says more than the fit over the whole piece.
        lift = step if even or island.diameter_mm > _WIDE_MM else min(lift, step)
        rimmed *= 1.0 - _unevenness(beside_matte, on_glaze)
    hue = float(np.hypot(*(island.inside[1:] - zones.clay_chroma[rows, cols].mean(0))))
    change = island.inside[1:] - beside_matte.outside[:, 1:]
    beside_clay = np.hypot(*change.T) < _FOREIGN[0]
    if beside_clay.mean() > _CLAY_BESIDE:
        paler = float(np.hypot(*np.median(change[beside_clay], axis=0)))
        # On red clay it is hardly paler, but then so much light; the shade round the root of a
        # handle shuts in wider places of one colour.
        lighter = rise(lift, _CLEAR_LIFT) * (island.diameter_mm < _WIDE_MM)
        rimmed *= max(rise((hue + paler) / 2, _PALER), lighter)
    rimmed *= rise(lift, _LIFT)
    if even:
        hue = min(hue, float(np.hypot(*np.median(change, axis=0))))
    if zones.paint[rows, cols].any():
        rimless = shut = 0.0
    if painted_round > 0.05 or zones.inside[rows, cols].any():
        rimless = 0.0
    clipped = float(view.surface.clipped[rows, cols].mean())
    # Where the light burns out one channel of the clay itself, that says nothing of a glint.
    clipped -= _share(view.surface.clipped, beside)
    forgiven = _CLIPPED_HUE * rise(clipped, (0.1, 0.25))
    clay = (
        (1.0 - rise(lift, _GLEAM))
        * (1.0 - rise(hue - forgiven, _FOREIGN))
        * (1.0 - rise(clipped, _CLIPPED))
    )
    clay *= (1.0 - form) * (1.0 - rise(_dark_share(view, island), _PUPIL))
    large = rise(island.diameter_mm, _SIZE_MM)
    return Bare(island, clay * max(large * rimmed, large * rimless, shut), rim, step)


def _without_sheen(island: Island) -> Island:
    """Take from the clay beside an island the neutral light of a lamp that its glaze mirrors.

    Bare clay mirrors nothing, and so beside a mirrored window it is no lighter than the glaze.
    """
    chroma, tone = island.outside[:, 1:], island.outside[:, 0]
    red = chroma[:, 0] - chroma[:, 1]
    free = red >= np.quantile(red, _SHEEN_FREE)
    base = np.median(island.outside[free], axis=0)
    ratio = float(np.exp(base[1] - base[2]))
    mirrors = (base[1] - base[2] - red > _SHEEN_HUE) & (tone > base[0])
    if ratio < _SHEEN_RED or not 0.0 < mirrors.mean() < _SHEEN_SHARE:
        return island
    light = light_of(chroma[mirrors], tone[mirrors])
    added = (ratio * light[:, 2] - light[:, 0]) / (ratio - 1.0)
    left = np.log(np.maximum(light - added[:, None], 1e-4)).mean(-1)
    outside = island.outside.copy()
    outside[mirrors, 0] = np.maximum(left, base[0])
    outside[mirrors, 1:] = base[1:]
    return replace(island, outside=outside)


def _shut(island: Island, rim: float, depth: float) -> float:
    """How far an island is told by its closed roll alone, the colours being alike; 0..1."""
    step, low = _step(island)
    return (
        _ROLLED_TRUST
        * rise(island.diameter_mm, _SHUT_SIZE_MM)
        * rise(rim, _ROLLED_RIM)
        * rise(depth, _SHUT_DEPTH)
        * rise(low, _SHUT_STEP)
        * rise(low / max(island.grain, 1e-3), _SHUT_GRAINS)
        * (1.0 - rise(step, _SHUT_GLEAM))
    )


def _is_form(view: ViewEvidence, island: Island) -> float:
    """How far an island is shut in by the form of the piece: lip, silhouette or handle; 0..1."""
    surface, zones = view.surface, view.zones
    pad = round(surface.px(_EDGE_MM)) + 2
    region, corner = _filled(view, island, pad)
    window = window_of(region, corner)
    at_edge = ~shrink(surface.mask[window], surface.px(_EDGE_MM))
    sound = 1.0 - rise(float(_along(island, at_edge, window).mean()), _AT_EDGE)
    core_rows, core_cols = island.core
    beyond = (core_cols < zones.body_left[core_rows]) | (core_cols > zones.body_right[core_rows])
    if beyond.mean() > 0.5:
        sound *= _HANDLE_TRUST
    inside = zones.inside[window]
    at_lip = grow(inside, surface.px(_BELOW_LIP_MM)) & ~shrink(inside, surface.px(_LIP_MM))
    if view.skin is not None and at_lip[core_rows - corner[0], core_cols - corner[1]].mean() > 0.5:
        sound *= _LIP_TRUST
    return 1.0 - sound


def _dark_share(view: ViewEvidence, island: Island) -> float:
    """Share of an island that is as much darker than its clay as paint is."""
    region, corner = _filled(view, island, 0)
    # The foot of the roll is dark too, but lies at the outline.
    middle = shrink(region, view.surface.px(0.6))
    if not middle.any():
        return 0.0
    tone = view.surface.tone[window_of(region, corner)]
    return float((tone[middle] < island.inside[0] - _PUPIL_TONE).mean())


def _stark(view: ViewEvidence, island: Island) -> float:
    """How far an island is pale clay in a dark glaze, which needs no rim; 0..1."""
    steps = island.steps
    step = float(np.median(steps))
    if step <= 0.0:
        return 0.0
    rows, cols = island.core
    shifts = ciede2000(_lab(island.inside), _lab(island.outside))
    uneven = _spread(steps) / step
    clipped = float(view.surface.clipped[rows, cols].mean())
    return (
        _BARE_TRUST
        * rise(float(np.quantile(shifts, 0.15)), _BARE_DE00)
        * rise(island.diameter_mm, _SIZE_MM)
        * rise(_hue_of_added(island), _BARE_HUE)
        * (1.0 - rise(uneven, _BARE_UNEVEN))
        * (1.0 - rise(clipped, _BARE_CLIPPED))
        * (1.0 - _is_form(view, island))
    )


def _hue_of_added(island: Island) -> float:
    """Log-chromaticity, from neutral, of the light that an island sends beyond the glaze beside."""
    fields = np.stack([island.inside, np.median(island.outside, axis=0)])
    here, there = light_of(fields[:, 1:], fields[:, 0])
    added = np.maximum(here - there, 1e-4)
    return float(np.hypot(*np.log(added[[0, 2]] / added[1])))


def _coloured(view: ViewEvidence, island: Island) -> Bare:
    """Hold an island in a coloured glaze against the clay beneath."""
    rim, depth = _rim(island)
    certainty = rise(rim, _RIM) * rise(depth, _RIM_DEPTH) * rise(island.diameter_mm, _SIZE_MM)
    if certainty > 0.0:
        shifts = ciede2000(_lab(island.inside), _lab(island.outside))
        certainty *= rise(float(np.quantile(shifts, 0.15)), _COLOURED_DE00)
        lit = float((_crest(island) > _least_line(island)).mean())
        rolled = (
            _ROLLED_TRUST
            * rise(island.diameter_mm, _ROLLED_MM)
            * rise(rim, _ROLLED_RIM)
            * rise(depth, _ROLLED_DEPTH)
            * rise(lit, _ROLLED_CREST)
        )
        certainty = max(certainty, rolled, _shut(island, rim, depth)) * (
            1.0 - _is_form(view, island)
        )
        if view.skin is None:
            certainty *= 1.0 - rise(_black_beside(island), _BLACK_SHARE)
    return Bare(island, certainty, rim, float(np.median(island.steps)))


def _black_beside(island: Island) -> float:
    """Share of the outline beyond which it is so dark as in a hole; 0..1."""
    beside = island.outside[:, 0]
    return float((beside < np.median(beside) - _BLACK_BESIDE).mean())


def _lab(fields: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIELAB of tone and the two log-chromaticities."""
    return np.asarray(linear_to_lab(light_of(fields[..., 1:], fields[..., 0])), np.float64)


def _band_beside(view: ViewEvidence, island: Island) -> tuple[Mask, tuple[slice, slice]]:
    """A band round the island, beyond its roll, and the window that it lies in."""
    region, corner = _filled(view, island, round(view.surface.px(3.0)))
    band = grow(region, view.surface.px(2.5)) & ~grow(region, view.surface.px(1.0))
    return band, window_of(region, corner)


def _share(mask: Mask, beside: tuple[Mask, tuple[slice, slice]]) -> float:
    """Share of a band that lies in a mask of the view; 0..1."""
    band, window = beside
    return float(mask[window][band].mean()) if band.any() else 0.0


def _unevenness(island: Island, on_glaze: Mask) -> float:
    """How far the step along an outline, or along its part on glaze, is not that of one; 0..1."""
    uneven = rise(_spread(island.steps), _UNEVEN)
    return min(uneven, rise(_spread(island.steps[on_glaze]), _GLAZE_UNEVEN))


def _step(island: Island) -> tuple[float, float]:
    """Median step along an outline, and the one that all but its lowest seventh reaches."""
    median, low = np.quantile(island.steps, (0.5, 0.15))
    return float(median), float(low)


def _spread(steps: NDArray[np.float64]) -> float:
    least, most = np.quantile(steps, (0.15, 0.85))
    return float(most - least)


def _level_step(view: ViewEvidence, island: Island) -> float:
    """Log light between two levels of an 8-bit sRGB picture at the light of an island."""
    light = float(np.median(view.surface.light[island.core][..., 1]))
    # The power law of IEC 61966-2-1, differentiated.
    return 2.4 / (255.0 * 1.055) / max(1e-3, light) ** (1 / 2.4)


def _at_paint(view: ViewEvidence, island: Island, window: tuple[slice, slice]) -> Mask:
    """Where the outline of an island borders on paint, whose step is not that of the glaze."""
    near = grow(view.zones.paint[window], view.surface.px(_PAINT_BESIDE_MM))
    return _along(island, near, window)


def _along(island: Island, mask: Mask, window: tuple[slice, slice]) -> Mask:
    """A mask of a window of the working picture, read along the outline of an island."""
    points = np.round(island.outline).astype(np.intp) - [window[1].start, window[0].start]
    cols, rows = np.clip(points, 0, np.array(mask.shape[::-1]) - 1).T
    return np.asarray(mask[rows, cols])


def _swing_round(view: ViewEvidence, island: Island) -> float:
    """How much lighter the lightest tenth of the clay round an island is than its middle, log."""
    surface, zones = view.surface, view.zones
    region, corner = _filled(view, island, round(surface.px(_RINGED_MM)))
    around = window_of(region, corner)
    clay = zones.wall[around] & ~grow(zones.painted[around], surface.px(_PAINT_BLUR_MM))
    clay &= ~grow(region, surface.px(_PAINT_BESIDE_MM))
    if not clay.any():
        return 0.0
    light = (surface.tone[around] - zones.clay_tone[around])[clay]
    return float(np.quantile(light, 0.9) - np.median(light))


def _filled(view: ViewEvidence, island: Island, pad: int) -> tuple[Mask, tuple[int, int]]:
    """The island as a region of the working picture, and the corner (row, col) of its window."""
    height, width = view.surface.mask.shape
    points = np.round(island.outline).astype(np.int32)
    low = np.maximum(points.min(0) - pad, 0)
    high = np.minimum(points.max(0) + pad + 1, [width, height])
    canvas = np.zeros((int(high[1] - low[1]), int(high[0] - low[0])), np.uint8)
    cv2.fillPoly(canvas, [points - low.astype(np.int32)], 1)
    return canvas > 0, (int(low[1]), int(low[0]))


def _without_crests(view: ViewEvidence, found: Sequence[Bare]) -> list[Bare]:
    """Trust islands less that are as light as they are by the light of throwing rings."""
    if view.skin is None or not any(_may_be_crest(bare) for bare in found):
        return list(found)
    rings = strong_rings(view.surface, carry_on(view.surface))
    if rings is None:
        return list(found)
    calm = view.surface.tone - rings.tone

    def trusted(bare: Bare) -> Bare:
        if not rings.bend[bare.island.core].all():
            return bare
        band, window = _band_beside(view, bare.island)
        band &= view.surface.mask[window]
        left = float(np.median(calm[bare.island.core]) - np.median(calm[window][band]))
        kept = rise(left / bare.step, _WITHOUT_RINGS)
        return replace(bare, certainty=kept * bare.certainty)

    return [trusted(bare) if _may_be_crest(bare) else bare for bare in found]


def _may_be_crest(bare: Bare) -> bool:
    return (
        bare.certainty > _LEAST_CERTAINTY
        and bare.island.diameter_mm < _CREST_MM
        and bare.step > 0.0
    )


def _is_there_too(
    view: ViewEvidence, bare: Bare, other: ViewEvidence, islands: Sequence[Bare]
) -> bool:
    """Whether another view shows the like at the same place of the picture of the piece."""
    here = on_body(view, bare.middle_px)
    for each in islands:
        ratio = each.island.diameter_mm / bare.island.diameter_mm
        near = np.linalg.norm(on_body(other, each.middle_px) - here) < _SAME_PLACE_MM
        if near and 1 / _SAME_SIZE < ratio < _SAME_SIZE:
            return True
    return False


def _report(view: ViewEvidence, bare: Bare, *, coloured: bool) -> Finding:
    surface, island = view.surface, bare.island
    region, corner = _filled(view, island, round(surface.px(3.5)))
    window = window_of(region, corner)
    light = surface.light[window]
    beside = grow(region, surface.px(3.0)) & ~grow(region, surface.px(1.8)) & surface.mask[window]
    sound = beside & ~view.zones.paint[window]
    sound = sound if sound.sum() > 0.2 * max(1, beside.sum()) else beside
    rows, cols = island.core
    lab = linear_to_lab(
        np.stack([np.median(surface.light[rows, cols], axis=0), np.median(light[sound], axis=0)])
    )
    shift = float(ciede2000(lab[0], lab[1]))
    what = "the glaze" if coloured else "the glazed clay"
    share, way = abs(np.expm1(bare.step)), "lighter" if bare.step > 0 else "darker"
    lighter = (
        f"{share + 1:.0f} times as light as" if share > 1 else f"{100 * share:.0f} % {way} than"
    )
    rim = (
        f"a rim that shows on {100 * bare.rim:.0f} % of its outline"
        if bare.rim > _RIM[0]
        else "a sharp edge all round"
    )
    why = (
        f"An island of {in_words(island.diameter_mm, view)} with {rim} is {lighter} {what} "
        f"beside it, as bare clay is."
    )
    return finding(
        view,
        "crawl",
        region,
        corner,
        shift_de00=shift,
        certainty=bare.certainty,
        why=why,
        measures=(
            ("diameter", round(island.diameter_mm, 2), "mm"),
            ("rim_share", round(bare.rim, 2), "1"),
            ("lighter", round(bare.step, 3), "ln"),
        ),
    )
