"""Flakes: islands in the paint where it has come off and the clay shows.

At each place of the painted zone the colour is written as a mixture: 0 is the paint that
surrounds it, 1 is the clay of this piece in the same light. A flake is a small sharp island of
clay; a painted dot, an eye or a line is of some other colour, or round, or long.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from grader import channels
from grader.colour.difference import ciede2000
from grader.colour.srgb import linear_to_lab
from grader.faults.bites import Bite, find_bites
from grader.faults.evidence import (
    Evidence,
    ViewEvidence,
    finding,
    in_words,
    near_clay,
    off_clay,
    window_of,
)
from grader.faults.slots import rise
from grader.faults.spots import (
    Spot,
    bell_steepness,
    enclosed,
    find_spots,
    framed,
    local_median,
    outlined,
)
from grader.findings import Finding
from grader.piece import Mask
from grader.surface import Plane, fill_from, grow, opened, shrink

_LARGEST_MM = 4.2
"""Flakes are 0.3 to 3 mm across (common practice, no source), and ragged ones longer; a gap longer
than this is a gap in the drawing."""

_AROUND_MM = 3.8
"""Window whose median is the paint round a mark: wider than a brush line, narrower than the fields
of two colours."""

_LEAST_PX = 3.0
"""Below three pixels across nothing can be told apart."""

_SEED_SHARE = 0.42
"""Share of clay showing at the middle; the lens blurs a flake of 4 px down to about this."""

_BEYOND_CLAY = 1.35
"""Share of clay above which a mark is white paint on the same line: flakes measure 0.5 to 1.25."""

_HUE_OF_CLAY = 0.15
"""Where the middle of a mark has the hue of the clay to this share of the way from paint to clay,
its hue tells how much clay it shows: in a large field of paint, with no clay near by, the light on
the wall is known too badly for tone to tell. White on cobalt lies 0.2 off."""

_FAINT = 0.3
_ISLAND_MM = 5.0
"""Down to this share of clay an island is no longer than the largest flake and its blur."""

_AS_PAINT, _BROAD_PX = 0.15, 3.0
"""Share of the way to clay below which a place that the zone of paint leaves out has the colour of
the paint round it; and half the width from which that is no blend, which the lens makes of a narrow
gap."""

_OFF_LINE = 0.5
"""A mark whose colour lies this far off the line from paint to clay is another paint."""

_LEAST_CONTRAST = 0.16
"""Distance of paint from clay (log units, tone at half weight) below which gaps cannot be seen."""

_CONTRAST_SPREADS = 6.0
"""Spreads of the camera's noise that paint and clay must lie apart, so that noise of half of that
never looks like clay showing."""

_NEAR_MM, _MOST_OFF = 8.0, (0.1, 0.1, 0.3)
"""Reach over which the clay near a place is read, twice the largest flake; and by how much clay may
lie off the fit through it (two log-chromaticities, tone): specks would shift the mean."""

_TONE_WEIGHT = 0.5
"""Shading makes tone the less reliable witness; chroma alone cannot tell grey paint from clay."""

_ROUND_MM = 1.7
_ROUND_PX = 13.0
"""Painted dots are larger than this, and only from this size on does blur not round a flake."""

_ROUND_FIT = (0.97, 0.90)
_ROUND_UPTO_MM = (2.4, 4.0)
"""Share in common with an ellipse from which a mark of these sizes is a dot that was left bare: a
flake of 2 mm is rarely so round, and the larger a mark the likelier it was drawn."""

_LONG = 3.6
"""Lines of a drawing are longer than this many widths, as they lie on the wall."""

_SLIT, _SLIT_SHOWS = 2.1, 0.86
"""Longer than so many widths, and so narrow that the lens lets it show but this share of clay, it
is the slit between two strokes that touch, or a glint of a rough glaze: a flake is about as broad
as long."""

_LENGTHY = 1.7
_SLIT_ASIDE, _SLIT_ASKEW, _SLIT_GOES_ON = 0.6, np.radians(15.0), 8.0
"""Marks longer than so many widths lie in one line where each is off the other's axis by less than
so many of its widths and turned by less than so much, and they are so many lengths apart at most: a
slit between two strokes comes and goes along them."""

_LEAST_SHIFT_DE00 = 4.5
"""Two and a half times what half of observers object to on a field of colour (1.8, Paravina et al.
2015): in a mark of a few pixels the eye asks for more, and noise gives more. Red clay in pink paint
makes 5 to 7."""

_CORE_PX = 7.5
_CORE_MATCH = 0.085
_CORE_BLUR_PX = 2.0
_MOST_LET_IN, _MOST_LET_IN_SURE = 0.15, 0.25
_COARSE = 0.085
"""From this size on the middle shows the bare colour; it must match the clay in chroma as closely
as the clay matches itself over the piece, but for the paint that lens and sensor still blur in. Of
a ragged mark that may be a seventh, or a quarter where no blend of the paints comes near clay; more
would turn other paints into clay. Of the way from clay to paint the coarse colours of a picture
file keep a twelfth, be the paint blue and the clay red."""

_OF_BLURRED = 0.8
"""Share of clay at the middle of an island over that which the lens leaves a bare disc as wide:
flakes make 0.86 and more (79, tuned on), what shines between strokes or a pale third colour 0.62 to
0.78 (two)."""

_WHITE_PX = 14.0
_LEAST_WHITE, _WHITE, _OF_TONE = 0.3, 0.55, 3.0
"""A mark so wide (seven blurs of the lens) that no paint reaches its middle is white paint where it
lacks the first share of the clay's colour and this share, with so many times its tone above that of
clay (log light), comes to the second: white dots made 0.62 and more, bare clay up to 0.46, as it is
no lighter than clay."""

_HUE_NOISE = 0.03
"""Log-chromaticity by which the middles of marks of one colour differ: on nearly white clay white
paint cannot be told."""

_BLEND = 0.5
"""A blend of two paints lies within half its distance from either on the line between them."""

_OWN_HUE = 0.3
_DARKEST = 0.012
"""Log-chromaticity by which clay must differ from every blend of the paints round a spot, four
times the least shift of paint; below three 8-bit steps of light colour is camera noise."""

_RING_MM = 0.8
_ENCLOSED = 0.8
"""Share of the ring round a flake that must be paint; the wedge between two shapes has about
half, a flake that touches another two thirds."""

_AS_CLAY, _AS_CLAY_HUE, _OWN_HUE_AS_CLAY = 0.3, 0.2, 0.18
_AS_CLAY_SEED, _AS_CLAY_PX = 0.6, 4.5
"""Distance (log units, tone at half weight) from which a colour is another than that of clay, and
the same for chroma alone: the middle of a flake lies within 0.1, white paint on buff at 0.36.
From the last on that clay must differ from all blends of the paints round it, twice what the coarse
colours of a picture file make. From so many pixels on the middle of a flake shows its own colour
(0.7 and more); the blend of a white stroke with red paint came to 0.5."""

_BITTEN = 0.45
"""The same round a bite, whose mouth is open: true ones have 0.47 to 0.7."""

_EDGE_PX = 2.0
"""Half the width of the blend that lens and sensor make of an edge."""

_GLITTER = (0.5, 0.1)
"""Spread of tone above which, and of a log-chromaticity below which, what lies round a bite is
shine: brushed paint of one hue has up to 0.2, a highlight on a rough glaze 0.9."""

_NEITHER = 0.2
"""Share of clay below which a colour that is far from the paint is a third one."""

_OTHER_COLOUR = 0.1
"""Share of a mark that may be of a colour which is neither paint nor clay; of what lies round it,
from which it lies on two paints."""

_BLENDED_PX = 10.0
"""The lens's blend between two paints is up to this wide."""

_STEEP, _STEEP_OF_BELL, _BELL_PX = 1.8, 1.1, (6.0, 9.0)
"""A flake has a rim; brush mottling has none. Of a small one, between these widths and below, the
lens leaves a bell, which it can but just exceed."""

_PAINT_REACH_MM = 0.5
"""The blend of lens and sensor round the outline of paint."""

_BITE_CONTRAST = 2 * _LEAST_CONTRAST
"""Distance of paint from clay from which an outline has a shape of its own: a veil of glaze or the
shadow along the silhouette, taken for faint paint, is bounded by noise."""

_SHADOW = 0.7
"""The same down to which the shadow of a handle may pass for paint: a quarter of the light is left
in it, and its hue stays that of the clay. Black and cobalt lie further off."""

_STEEPEST = 2.0
"""Seen at more than 60 degrees the round bay of a drawing looks as narrow as a bite."""

_TWO_PAINTS = 0.5
"""Paints that lie further apart than this share of the way from paint to clay are two: where a leaf
meets its stem the outline turns sharply, too. Either side of a true bite differs by up to 0.2."""

_LIGHTER_THAN_CLAY = 0.25
"""Tone (natural logarithm) above that of clay from which a place is white paint or shine."""

_WHITE_SHARE = 0.05
"""Share of the paint of a view that is so light from which it has white paint, not shine alone."""

_UNBURNT = 0.9
"""Share of the ring round a flake that is no burnt-out clay: of gaps between stripes under a lamp
0.65 to 0.85 was not (one piece, tuned on)."""

_DRAWN_A_MM = 1 / 200
_DRAWN_TRUST = 0.4
"""Where the other sides show more than one bite in 200 mm of outline, and one besides, they are
toes, leaf teeth or letters more often than not: the finding goes to review as uncertain."""

_USUAL_MM, _GAPS, _OF_ISLANDS = 3.0, 5, 0.5
"""Islands longer than flakes are (common practice, no source), so many of them on a piece and more
than this share of all: the squares of a drawing that were left out. Of the flaked pieces tuned on
up to 1 of 22 were so long, of a painted band of squares 25 of 32."""

_CUT_OFF_MM = 1.0
"""A scrap of such a gap, which a stroke or a light cuts off, is longer than a third of it."""

_BROKEN_TURN = np.radians(50.0)
_BROKEN_TURN_RELIEF = np.radians(60.0)
"""Turn as which lens and sensor still show a corner of 90 degrees, and as which they show it at
best: that is asked near a handle, whose own edge cuts the paint. Blunter bites are believed beside
such a one, or an island: a hand wavers, too, but paint that lost its hold shows it in more."""

_OPEN_CLAY = (0.8, 0.92)
"""Share of the colour of clay at the clearest place of a bite: it opens on clay, and three pixels
deep, as it must be, the blur of the lens leaves nine tenths. What shows less is a crease at the
root of a handle or the ripple of a glossy glaze."""

_SHARP_TURN = np.radians(80.0)
"""Turn of a corner that no brush makes."""


def find(evidence: Evidence) -> list[Finding]:
    """Find flakes in the painted zone of every view.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    list of Finding
        One a flake.
    """
    found: list[Finding] = []
    bitten: list[_Bitten] = []
    for view in evidence.views:
        # From the foot the wall is seen along its face, and the foot itself is not painted.
        if view.surface.view != "foot" and view.zones.painted.any():
            islands, edge = _of_view(view)
            found += islands
            # Seen from above the dark inside meets the rim as paint would.
            if view.surface.view != "inside":
                bitten.append(edge)
    found = _without_gaps(found)
    # Across the edge of two paints an island may be a bite of the one as well.
    bites = _at_the_edge(bitten, len(found))
    return found + [each for each in bites if not any(_is_same(each, other) for other in found)]


def _without_gaps(found: Sequence[Finding]) -> list[Finding]:
    """Leave out what a drawing leaves bare in many places alike, and what is cut off from one of
    them; smaller islands beside those are less sure."""
    sized = [(each, each.diameter_mm or 0.0) for each in found]
    gaps = [each for each, size_mm in sized if size_mm > _USUAL_MM]
    if len(gaps) < _GAPS or len(gaps) <= _OF_ISLANDS * len(found):
        return list(found)
    out = []
    for each, size_mm in sized:
        if not any(_is_beside(each, gap) for gap in gaps):
            out.append(each)
        elif size_mm <= _CUT_OFF_MM:
            why = f"{each.why} The drawing leaves larger gaps beside it."
            out.append(replace(each, certainty=_DRAWN_TRUST * each.certainty, why=why))
    return out


def _is_beside(one: Finding, other: Finding) -> bool:
    """Whether two marks of a photo lie at one height, to within the height of a row or two."""
    (_, top, _, high), (_, low, _, tall) = one.bbox_px, other.bbox_px
    apart = abs(top + high / 2 - low - tall / 2)
    return one.photo == other.photo and apart < 2 * max(high, tall)


@dataclass(frozen=True, slots=True)
class _Bitten:
    """Bites in the outlines of paint on one view, and how much outline there is."""

    view: ViewEvidence
    bites: tuple[tuple[Bite, Spot], ...]
    corner: tuple[int, int]
    mixed: _Mixed
    outline_mm: float
    white_dots: bool


def _of_view(view: ViewEvidence) -> tuple[list[Finding], _Bitten]:
    rows, cols = (
        np.flatnonzero(view.zones.painted.any(1)),
        np.flatnonzero(view.zones.painted.any(0)),
    )
    pad = int(view.surface.px(3.0))
    window = np.s_[
        max(0, rows[0] - pad) : rows[-1] + pad + 1, max(0, cols[0] - pad) : cols[-1] + pad + 1
    ]
    area = _painted_area(_with_near_clay(view, window), window)
    view, corner, mixed = area.view, area.corner, area.mixed
    out: list[Finding] = []
    slits: list[Finding] = []
    spots: list[Spot] = []
    for plane in area.planes:
        own = [
            spot
            for spot in find_spots(
                plane, area.where, seed=_SEED_SHARE, largest_px=view.surface.px(_LARGEST_MM)
            )
            if not any(_holds(known, spot) for known in spots)
        ]
        extent, in_line = _extent_px(plane), _in_line(own)
        for number, spot in enumerate(own):
            # The clay between two stripes, or one turn of a spiral, goes on; a flake is an island.
            goes_on = extent[spot.peak_at] > view.surface.px(_ISLAND_MM)
            ring = None if goes_on else _as_island(area, plane, spot)
            report = None if ring is None else _report(view, spot, corner, mixed, ring)
            # One mark may peak twice.
            if report is not None and not any(_is_same(report, known) for known in (*out, *slits)):
                (slits if number in in_line else out).append(report)
        spots += own
    # Of many flakes some lie in line by chance.
    if len(out) > len(slits):
        out += slits
    out += _on_two_paints(area, out + slits)
    white = any(
        spot.diameter_px > _WHITE_PX and _is_white(view, spot, _at(spot, corner), mixed)
        for spot in spots
    )
    return out, _bitten(view, window, mixed, area.where, white)


@dataclass(frozen=True, slots=True)
class _Area:
    """The painted part of a view, and what marks in it are held against.

    Attributes
    ----------
    view : ViewEvidence
    corner : tuple of int
        (row, column) of the window in the working picture; all planes are of that window.
    mixed : _Mixed
    where : ndarray of bool
        Where flakes are sought.
    planes : tuple of ndarray of float32
        Share of clay, in which islands are sought; and where there is anything lighter than clay,
        the same without that: a flake that touches an eye is one mark with its white.
    bare : ndarray of float32
        1 where there is no paint, nor what has the colour of the paint round it: the zone may leave
        out the shine of white.
    burnt : ndarray of float32
        1 where clay is burnt out.
    other : ndarray of float32
        Distance from the paint of what is neither paint nor clay.
    """

    view: ViewEvidence
    corner: tuple[int, int]
    mixed: _Mixed
    where: Mask
    planes: tuple[Plane, ...]
    bare: Plane
    burnt: Plane
    other: Plane


def _painted_area(view: ViewEvidence, window: tuple[slice, slice]) -> _Area:
    mixed = _unmixed(view, window)
    clayness, departure = mixed.clayness, mixed.departure
    where = view.zones.painted[window] & (mixed.contrast > mixed.least_contrast)
    where &= shrink(view.zones.painted, view.surface.px(0.35))[window]
    where &= ~view.surface.glare[window] & view.zones.facing[window]
    light = (clayness > _SEED_SHARE) & (mixed.lighter > _LIGHTER_THAN_CLAY)
    planes: tuple[Plane, ...] = (clayness,)
    if light.any():
        planes += (np.where(grow(light, _EDGE_PX), 0, clayness).astype(np.float32),)
    unpainted = ~view.zones.paint[window]
    return _Area(
        view,
        (int(window[0].start), int(window[1].start)),
        mixed,
        where,
        planes,
        (unpainted & ~opened(unpainted & (departure < _AS_PAINT), _BROAD_PX)).astype(np.float32),
        _burnt_clay(view, window, mixed).astype(np.float32),
        np.where(clayness < _NEITHER, departure, 0).astype(np.float32),
    )


def _as_island(area: _Area, plane: Plane, spot: Spot) -> _Ring | None:
    """A spot against its surroundings where these are paint all round; None where they are not."""
    mixed, reach = area.mixed, area.view.surface.px(_RING_MM)
    if not _is_flake(area, spot):
        return None
    for around, below in (
        (plane, 0.5 * spot.peak),
        # The rim of a white eye blends to the colour of clay on its way to white. A larger mark
        # shows its own colour in the middle.
        (area.bare, 0.5),
        # A furrow in shadow is darker clay, whatever the paint between furrows is.
        (mixed.hue_share, 0.5),
    ):
        if enclosed(around, spot, reach, below=below) < _ENCLOSED:
            return None
    ring = _against_ring(area.view, spot, _at(spot, area.corner))
    if not ring.surely_clay:
        small = spot.diameter_px < _BLENDED_PX
        if small and enclosed(area.other, spot, reach, below=0.5 * spot.peak) < _ENCLOSED:
            return None
        if _is_rim(spot, mixed.clayness, mixed.departure):
            return None
    return ring


def _holds(spot: Spot, other: Spot) -> bool:
    """Whether the peak of another spot lies in this one."""
    row, col = (at - low for at, low in zip(other.peak_at, spot.corner, strict=True))
    height, width = spot.region.shape
    return 0 <= row < height and 0 <= col < width and bool(spot.region[row, col])


def _burnt_clay(view: ViewEvidence, window: tuple[slice, slice], mixed: _Mixed) -> Mask:
    """Where clay that mirrors the lamp is burnt out, which looks like white paint.

    On a view with white paint nothing tells the two apart, and none is taken for clay.
    """
    clipped, paint = view.surface.clipped[window], view.zones.paint[window]
    lighter = mixed.lighter > _LIGHTER_THAN_CLAY
    seen = paint & ~grow(clipped, _EDGE_PX)
    if not seen.any() or lighter[seen].mean() > _WHITE_SHARE:
        return np.zeros_like(paint)
    return np.asarray(clipped & (mixed.lighter > 0))


def _extent_px(plane: Plane) -> NDArray[np.int32]:
    """Longer side of the box round all that is not faint and joined to each place."""
    _, pieces, stats, _ = cv2.connectedComponentsWithStats((plane > _FAINT).astype(np.uint8))
    sides = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(1)
    return np.asarray(sides[pieces])


def _on_two_paints(area: _Area, found: Sequence[Finding]) -> list[Finding]:
    """Flakes that lie across the edge of two paints, of which one is on the way from the other to
    clay: they are islands in what is like clay itself."""
    view, corner, mixed, where = area.view, area.corner, area.mixed, area.where
    px = view.surface.px
    like = mixed.like_clay
    # What is neither clay nor the paint that most of the surroundings are.
    other = ((mixed.departure > 0.5) & (like <= 0)).astype(np.float32)
    # Nor is clay whose sheen is not like it; another flake near by is an island, too.
    bare = ~view.zones.paint[window_of(where, corner)] & (mixed.lighter < _LIGHTER_THAN_CLAY)
    far = _extent_px(bare.astype(np.float32)) > px(_ISLAND_MM)
    goes_on = (bare & far).astype(np.float32)
    extent = _extent_px(like)
    out: list[Finding] = []
    for spot in find_spots(like, where, seed=_AS_CLAY_SEED, largest_px=px(_LARGEST_MM)):
        if (
            spot.diameter_px < _AS_CLAY_PX
            or not _is_flake(area, spot)
            or extent[spot.peak_at] > px(_ISLAND_MM)
        ):
            continue
        if any(
            enclosed(plane, spot, px(_RING_MM), below=below) < _ENCLOSED
            for plane, below in ((like, 0.5 * spot.peak), (mixed.like_hue, 0.5), (goes_on, 0.5))
        ):
            continue
        if enclosed(other, spot, px(2 * _RING_MM), below=0.5) > 1 - _OTHER_COLOUR:
            continue
        at = _at(spot, corner)
        ring = _against_ring(view, spot, at)
        if ring.own_hue < _OWN_HUE_AS_CLAY:
            continue
        report = _report(view, spot, corner, mixed, replace(ring, mixed=False))
        if report is not None and not any(_is_same(report, other) for other in (*found, *out)):
            out.append(report)
    return out


def _is_same(one: Finding, other: Finding) -> bool:
    """Whether the middle of either mark lies within the box of the other, on one photo."""

    def holds(box: tuple[int, int, int, int], mark: tuple[int, int, int, int]) -> bool:
        x, y = mark[0] + mark[2] / 2, mark[1] + mark[3] / 2
        return box[0] <= x <= box[0] + box[2] and box[1] <= y <= box[1] + box[3]

    return one.photo == other.photo and (
        holds(one.bbox_px, other.bbox_px) or holds(other.bbox_px, one.bbox_px)
    )


def _bitten(
    view: ViewEvidence,
    window: tuple[slice, slice],
    mixed: _Mixed,
    where: Mask,
    white_dots: bool,
) -> _Bitten:
    """Bites of one view that show bare clay where there can be paint."""
    surface, zones = view.surface, view.zones
    clayness, contrast = mixed.clayness, mixed.contrast
    # Clay has its own dark and light; only the outline of paint is looked along.
    near = grow(zones.painted[window] & zones.paint[window], surface.px(_PAINT_REACH_MM))
    plane = np.where(near, clayness, 1).astype(np.float32)
    corner = (int(window[0].start), int(window[1].start))
    bites, outline_mm = find_bites(plane, surface.px_per_mm)
    usable = (zones.stretch[window] < _STEEPEST) & ~surface.glare[window] & zones.wall[window]
    usable &= contrast > _BITE_CONTRAST
    usable &= ~view.shade[window] | (contrast > _SHADOW) | (mixed.hue_share > _BITTEN)
    kept = []
    for bite in bites:
        at = window_of(bite.region, bite.corner)
        if usable[at][bite.region].mean() < 0.9 or not (where[at] & bite.region).any():
            continue
        spot = outlined(clayness, bite.region, bite.corner)
        if enclosed(mixed.hue_share, spot, surface.px(_RING_MM), below=0.5) < _BITTEN:
            continue
        # A white eye near the outline is lighter than any clay.
        if float(np.median(mixed.lighter[at][bite.region])) > _LIGHTER_THAN_CLAY:
            continue
        if _glitters(view, spot, _at(spot, corner)):
            continue
        if _between_two_paints(bite, mixed.paint_chroma, zones.clay_chroma[window]):
            continue
        kept.append((bite, spot))
    return _Bitten(view, tuple(kept), corner, mixed, outline_mm, white_dots)


def _between_two_paints(
    bite: Bite, paint_chroma: NDArray[np.float32], clay_chroma: NDArray[np.float32]
) -> bool:
    """Whether the paint on one side of the mouth is another than on the other, near and far."""
    paint, clay = (
        cv2.remap(
            plane, bite.beside_px[None], None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )[0]
        for plane in (paint_chroma, np.ascontiguousarray(clay_chroma))
    )
    apart = np.linalg.norm(paint - paint[::-1], axis=1).min()
    return bool(apart > _TWO_PAINTS * np.linalg.norm(paint - clay, axis=1).mean())


def _at_the_edge(bitten: Sequence[_Bitten], islands: int) -> list[Finding]:
    """Bites as findings. What a drawing has on every side is the drawing; paint that comes off
    on every side leaves islands, too."""
    out: list[Finding] = []
    if not islands and not any(_is_broken(edge, bite) for edge in bitten for bite, _ in edge.bites):
        return out
    # Where white dots were seen, those at the outline are eyes and spots, too.
    white = any(edge.white_dots for edge in bitten)
    for edge in bitten:
        others = [each for each in bitten if each is not edge]
        count = sum(len(each.bites) for each in others)
        usual = 1 + _DRAWN_A_MM * sum(each.outline_mm for each in others)
        trust = _DRAWN_TRUST if count > max(usual, 2 * islands) else 1.0
        for bite, spot in edge.bites:
            at = _at(spot, edge.corner)
            if white and _is_white(edge.view, spot, at, edge.mixed):
                continue
            ring = _against_ring(edge.view, spot, at)
            report = _report(edge.view, spot, edge.corner, edge.mixed, ring, bite=bite, trust=trust)
            if report is not None:
                out.append(report)
    return out


def _is_broken(edge: _Bitten, bite: Bite) -> bool:
    """Whether a bite has corners that no brush leaves."""
    row, col = edge.corner
    at = window_of(bite.region, (row + bite.corner[0], col + bite.corner[1]))
    near_form = edge.view.relief[at][bite.region].mean() > 0.5
    return bite.turn_rad > (_BROKEN_TURN_RELIEF if near_form else _BROKEN_TURN)


def _in_line(spots: Sequence[Spot]) -> set[int]:
    """Numbers of the long marks that go on in another: the slit between two strokes, which touch
    here and there."""
    long = [
        (number, spot, *_axis(spot))
        for number, spot in enumerate(spots)
        if spot.width_px >= _LEAST_PX and spot.length_px > _LENGTHY * spot.width_px
    ]
    out: set[int] = set()
    for (first, one, at, way), (second, other, there, onward) in combinations(long, 2):
        step = there - at
        along = np.hypot(*step) < _SLIT_GOES_ON * max(one.length_px, other.length_px)
        askew = abs(_cross(way, onward)) > np.sin(_SLIT_ASKEW)
        aside = max(
            abs(_cross(step, way)) / one.width_px, abs(_cross(step, onward)) / other.width_px
        )
        if along and not askew and aside < _SLIT_ASIDE:
            out |= {first, second}
    return out


def _axis(spot: Spot) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middle (x, y) of a mark in the plane, and the unit way along its greatest length."""
    rows, cols = np.nonzero(spot.region)
    places = np.column_stack([cols + spot.corner[1], rows + spot.corner[0]]).astype(np.float64)
    middle = places.mean(0)
    _, _, ways = np.linalg.svd(places - middle, full_matrices=False)
    return middle, ways[0]


def _cross(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    return float(one[0] * other[1] - one[1] * other[0])


def _is_rim(spot: Spot, clayness: Plane, departure: Plane) -> bool:
    """Whether the spot is but the blended rim of a dot of another colour, which it lies round."""
    window = window_of(spot.region, spot.corner)
    points = cv2.findNonZero(spot.region.astype(np.uint8))
    hull = np.zeros(spot.region.shape, np.uint8)
    cv2.fillConvexPoly(hull, cv2.convexHull(points), 1)
    other = (departure[window] > 0.5 * spot.peak) & (clayness[window] < 0.3 * spot.peak)
    return bool((other & (hull > 0)).sum() > _OTHER_COLOUR * hull.sum())


@dataclass(frozen=True, slots=True)
class _Mixed:
    """The colour at each place, written as a mixture of the paint round it and of clay.

    Attributes
    ----------
    clayness : ndarray of float32, shape (h, w)
        Share of clay.
    departure : ndarray of float32, shape (h, w)
        Distance from the paint, whatever the colour, in the same unit.
    contrast : ndarray of float32, shape (h, w)
        How far paint and clay lie apart there, log units, tone at half weight.
    lighter : ndarray of float32, shape (h, w)
        Tone above that of clay, natural log units.
    paint_chroma : ndarray of float32, shape (h, w, 2)
        Of the paint next to it.
    hue_share : ndarray of float32, shape (h, w)
        Share of clay by chroma alone, which no shadow changes; 0 where paint and clay are of one
        hue.
    least_contrast : ndarray of float32, shape (h, w)
        Below this the camera's noise hides what lies between paint and clay.
    like_clay, like_hue : ndarray of float32, shape (h, w)
        How near the colour, and the chroma alone, is to that of clay, whatever the paints are: 1
        where it is the same, 0 from the reach on at which they are told apart.
    """

    clayness: Plane
    departure: Plane
    contrast: Plane
    lighter: Plane
    paint_chroma: NDArray[np.float32]
    hue_share: Plane
    least_contrast: Plane
    like_clay: Plane
    like_hue: Plane


def _unmixed(view: ViewEvidence, window: tuple[slice, slice]) -> _Mixed:
    """Write the colour at each place of a window as a mixture of paint and clay."""
    surface, zones = view.surface, view.zones
    colour = _weighted(surface.chroma[window], surface.tone[window])
    paint = zones.paint[window]
    # The outline of paint is half clay: its colour is taken from within, where it is that wide.
    core = shrink(paint, _EDGE_PX)
    core |= paint & ~grow(core, 2 * _EDGE_PX)
    local = fill_from(colour, core)
    reach = surface.px(_AROUND_MM)
    around = np.dstack(
        [
            local_median(np.ascontiguousarray(local[..., i]), reach, low=-3.2, high=3.2)
            for i in range(3)
        ]
    )
    clay = _weighted(zones.clay_chroma[window], zones.clay_tone[window])
    way = clay - around
    length = channels.length(way)
    unit = way / np.maximum(length, 1e-3)[..., None]
    step = colour - around
    along = channels.total(step * unit)
    square = channels.total(step**2)
    off = np.sqrt(np.maximum(square - along**2, 0))
    share = along / np.maximum(length, 1e-3)
    departure = np.sqrt(square) / np.maximum(length, 1e-3)
    # What leaves the line from paint to clay is another colour, not less paint.
    share = np.where(off > _OFF_LINE * np.maximum(along, 0.25 * length), 0, share)
    hue_way, hue_step = way[..., :2], step[..., :2]
    apart = channels.length(hue_way)
    hue = channels.total(hue_step * hue_way) / np.maximum(apart, 1e-3) ** 2
    least = np.maximum(_LEAST_CONTRAST, _CONTRAST_SPREADS * zones.noise[window])
    return _Mixed(
        share.astype(np.float32),
        departure.astype(np.float32),
        length.astype(np.float32),
        surface.tone[window] - zones.clay_tone[window],
        np.ascontiguousarray(local[..., :2], np.float32),
        np.where(apart > least, hue, 0).astype(np.float32),
        least,
        _nearness(colour - clay, _AS_CLAY),
        _nearness(colour[..., :2] - clay[..., :2], _AS_CLAY_HUE),
    )


def _nearness(step: NDArray[np.float32], reach: float) -> Plane:
    """1 where there is no step, 0 from a length of it on."""
    return np.clip(1 - channels.length(step) / reach, 0, 1).astype(np.float32)


def _weighted(chroma: NDArray[np.float32], tone: Plane) -> NDArray[np.float32]:
    return np.dstack([chroma, tone * np.float32(_TONE_WEIGHT)])


def _with_near_clay(view: ViewEvidence, window: tuple[slice, slice]) -> ViewEvidence:
    """The view with the colour that the clay has near each place of a window, and the smooth fit
    behind it: what shines back from table and drawing is not the same all over the wall."""
    most = np.array(_MOST_OFF, np.float32)
    rest = np.clip(off_clay(view, window), -most, most)
    near = near_clay(view, rest, _NEAR_MM, window)
    chroma, tone = view.zones.clay_chroma.copy(), view.zones.clay_tone.copy()
    chroma[window] += near[..., :2]
    tone[window] += near[..., 2]
    return replace(view, zones=replace(view.zones, clay_chroma=chroma, clay_tone=tone))


def _is_flake(area: _Area, spot: Spot) -> bool:
    """Whether a spot has the form and the share of clay of a flake."""
    surface = area.view.surface
    at = (area.corner[0] + spot.peak_at[0], area.corner[1] + spot.peak_at[1])
    stretch = float(area.view.zones.stretch[at])
    longest = _LONG * spot.width_px * _upright(spot, stretch)
    if spot.width_px < _LEAST_PX or spot.length_px > longest:
        return False
    shows = _clay_shown(spot, area.mixed)
    if spot.length_px > _SLIT * spot.width_px and shows < _SLIT_SHOWS:
        return False
    blurred = _STEEP_OF_BELL * bell_steepness(spot.diameter_px)
    least = float(np.interp(spot.diameter_px, _BELL_PX, (blurred, _STEEP)))
    if spot.steepness < least or shows > _BEYOND_CLAY:
        return False
    # Near the edge of the pot a field of clay between two strokes looks as narrow as a flake.
    if spot.width_px * stretch > surface.px(_LARGEST_MM):
        return False
    large = spot.diameter_px > max(_ROUND_PX, surface.px(_ROUND_MM))
    round_from = float(np.interp(spot.diameter_px / surface.px(1.0), _ROUND_UPTO_MM, _ROUND_FIT))
    if large and spot.ellipse_fit > round_from and spot.solidity > 0.94:
        return False
    return enclosed(area.burnt, spot, surface.px(_RING_MM), below=0.5) >= _UNBURNT


def _upright(spot: Spot, stretch: float) -> float:
    """By how much a mark looks longer for its width as the wall turns; 1 for a level one. Of a
    slanting one it is the mean of both, which is the most that the wall can make of it."""
    _, (level, upright) = _axis(spot)
    return max(1.0, stretch * float(upright**2) + float(level**2) / stretch)


def _clay_shown(spot: Spot, mixed: _Mixed) -> float:
    """Share of clay at the middle of a mark: by its hue where that is the hue of the clay."""
    core = _core(spot)
    if spot.diameter_px < _CORE_PX or core.sum() < 4:
        return spot.peak
    hue = float(np.median(mixed.hue_share[window_of(spot.region, spot.corner)][core]))
    return hue if abs(hue - 1.0) < _HUE_OF_CLAY else spot.peak


def _at(spot: Spot, corner: tuple[int, int]) -> tuple[int, int]:
    """Corner (row, column) of a spot's window in the working picture."""
    return corner[0] + spot.corner[0], corner[1] + spot.corner[1]


def _report(
    view: ViewEvidence,
    spot: Spot,
    corner: tuple[int, int],
    mixed: _Mixed,
    ring: _Ring,
    *,
    bite: Bite | None = None,
    trust: float = 1.0,
) -> Finding | None:
    surface = view.surface
    at = _at(spot, corner)
    diameter_mm = spot.diameter_px / surface.px_per_mm
    # A blend by the lens has no body; a wider island is judged by the colour of its middle.
    body = bite is None and spot.width_px > _BLENDED_PX
    if ring.shift_de00 < _LEAST_SHIFT_DE00 or (ring.mixed and not body):
        return None
    if not _core_is_clay(view, spot, at, mixed, ring, island=bite is None):
        return None
    blurred = 1.0 - _let_in(spot.width_px / 2, _CORE_BLUR_PX)
    if bite is None and spot.peak < _OF_BLURRED * blurred:
        return None
    # Below 5 px across, noise and blur share the mark; near the floor it is a guess.
    sharp = float(np.clip((spot.diameter_px - 2.0) / 3.5, 0.0, 1.0))
    clear = float(np.clip((spot.peak - 0.3) / 0.4, 0.0, 1.0))
    share = min(100.0, 100 * spot.peak)
    if bite is None:
        why = (
            f"An island of {in_words(diameter_mm, view)} in the paint shows "
            f"{share:.0f} % of the colour of the clay, with a sharp rim."
        )
    else:
        if spot.peak < _OPEN_CLAY[0]:
            return None
        clear *= rise(spot.peak, _OPEN_CLAY)
        # At two sharp corners the outline leaves its way; at blunt ones a brush may have.
        clear *= float(np.clip(bite.turn_rad / _SHARP_TURN, 0.5, 1.0))
        why = (
            f"A bite {in_words(bite.depth_mm, view)} deep in the outline of the paint, between two "
            f"sharp corners, shows {share:.0f} % of the colour of the clay."
        )
        if trust < 1:
            why += " The drawing has such places on its other sides too."
    return finding(
        view,
        "flake",
        spot.region,
        at,
        shift_de00=ring.shift_de00,
        certainty=trust * (0.25 + 0.75 * sharp * clear),
        why=why,
        zone="painted",
        area_px=spot.area_px,
        measures=(
            ("clay_share", round(spot.peak, 3), "1"),
            ("ellipse_fit", round(spot.ellipse_fit, 3), "1"),
            ("solidity", round(spot.solidity, 3), "1"),
        ),
    )


def _core_is_clay(
    view: ViewEvidence,
    spot: Spot,
    at: tuple[int, int],
    mixed: _Mixed,
    ring: _Ring,
    *,
    island: bool,
) -> bool:
    """Whether the middle of a larger mark, which no blur reaches, has the hue of the clay.

    A white eye on cream clay lies in the same direction from dark paint as the clay does, but it
    is both whiter and lighter.
    """
    if spot.diameter_px < _CORE_PX:
        return True
    core = _core(spot)
    if core.sum() < 4:
        return True
    if spot.diameter_px > _WHITE_PX and _is_white(view, spot, at, mixed):
        return False
    window = window_of(spot.region, at)
    noise = float(np.median(view.zones.noise[window][core]))
    # Where the clay gives little blue, a little light of blue paint shifts its hue by much.
    blur_px = float(np.hypot(_CORE_BLUR_PX, view.surface.chroma_blur_px))
    # A ragged mark, or one with a scrap of paint left in it, lets in more than a disc does.
    # At the outline eyes and spots of another paint lie open to the clay as well.
    cap = _MOST_LET_IN_SURE if island and ring.surely_clay else _MOST_LET_IN
    within = min(cap, _let_in(_radius_within(spot.region), blur_px))
    most = max(_let_in(spot.diameter_px / 2, blur_px), within)
    # A ragged flake lets in more than a disc does.
    contrast = float(mixed.contrast[spot.peak_at])
    ragged = _let_in(spot.diameter_px / 2, _CORE_BLUR_PX) * contrast
    off = _off_clay(view, window, core, ring.light, most)
    if island:
        # The coarse colours of a picture file reach into half of a small core, seldom into all of
        # it; of a bite the half beside the clay has the hue of that, whatever the rest is.
        share = mixed.clayness[window_of(spot.region, spot.corner)]
        purer = core & (share >= np.median(share[core]))
        off = min(off, _off_clay(view, window, purer, ring.light, most))
    coarse = _COARSE * contrast if island else 0.0
    return off < max(_CORE_MATCH, 3.0 * noise, coarse) + ragged


def _off_clay(
    view: ViewEvidence,
    window: tuple[slice, slice],
    part: Mask,
    paint: NDArray[np.floating],
    most: float,
) -> float:
    """Log-chromaticity by which a part of a mark differs from clay, if some paint is let in."""
    chroma = np.median(view.surface.chroma[window][part], axis=0)
    clay = np.median(view.zones.clay_chroma[window][part], axis=0)
    light = np.median(view.surface.light[window][part], axis=0)
    share = np.linspace(0, most, 5)[:, None]
    freed = _log_chroma((light - share * paint) / (1 - share)) - _log_chroma(light[None])
    return float(np.hypot(*(chroma + freed - clay).T).min())


def _core(spot: Spot) -> Mask:
    """The middle of a mark, two pixels within its outline."""
    return shrink(np.pad(spot.region, 1), 2)[1:-1, 1:-1]


def _is_white(view: ViewEvidence, spot: Spot, at: tuple[int, int], mixed: _Mixed) -> bool:
    """Whether a mark is white paint: nearer to neutral than the clay, and lighter."""
    core = _core(spot)
    core = core if core.any() else spot.region
    window = window_of(spot.region, at)
    chroma, clay = (
        np.median(plane[window][core], axis=0)
        for plane in (view.surface.chroma, view.zones.clay_chroma)
    )
    lighter = float(np.median(mixed.lighter[window_of(spot.region, spot.corner)][core]))
    away = float(np.hypot(*clay))
    whiter = float((clay - chroma) @ clay) / max(away, 1e-3)
    share = whiter / max(away, 1e-3)
    told = whiter > _HUE_NOISE and share > _LEAST_WHITE
    return told and share + _OF_TONE * lighter > _WHITE


def _let_in(radius_px: float, blur_px: float) -> float:
    """Share of the surroundings that a Gaussian blur brings to the middle of a disc."""
    return float(np.exp(-(radius_px**2) / (2 * blur_px**2)))


def _radius_within(region: Mask) -> float:
    """Radius of the widest disc within a mark, which may be ragged, px."""
    within = cv2.distanceTransform(np.pad(region, 1).astype(np.uint8), cv2.DIST_L2, 3)
    # A pixel of the rim lies half a pixel within.
    return float(within.max()) - 0.5


@dataclass(frozen=True, slots=True)
class _Ring:
    """A spot against the paint round it.

    Attributes
    ----------
    shift_de00 : float
        CIEDE2000.
    mixed : bool
        Whether the spot is but a blend of two paints.
    own_hue : float
        Log-chromaticity by which clay is off every blend of the paints; 0 where the spot has not
        the hue of clay.
    light : ndarray of float, shape (3,)
        Of the paint round it, linear.
    """

    shift_de00: float
    mixed: bool
    own_hue: float
    light: NDArray[np.floating]

    @property
    def surely_clay(self) -> bool:
        """Whether the spot has the hue of the clay, and no blend of the paints comes near that."""
        return self.own_hue > _OWN_HUE


def _against_ring(view: ViewEvidence, spot: Spot, at: tuple[int, int]) -> _Ring:
    """Hold a spot against the paint round it.

    Where ochre meets blue the lens blends them to a grey that may look like clay: it lies on the
    straight line between the two in linear light, which a flake does not.
    """
    window = window_of(spot.region, at)
    light = view.surface.light[window]
    ring = (
        ~grow(spot.region, 2) & view.zones.paint[window] & grow(spot.region, view.surface.px(1.5))
    )
    if ring.sum() < 6:
        return _Ring(0.0, True, 0.0, np.zeros(3))
    inside = np.median(light[spot.region], axis=0)
    around = light[ring]
    middle = around.mean(0)
    _, _, axes = np.linalg.svd(around - middle, full_matrices=False)
    side = (around - middle) @ axes[0]
    one = around[side >= np.quantile(side, 0.8)].mean(0)
    two = around[side <= np.quantile(side, 0.2)].mean(0)
    step = two - one
    share = float(np.clip((inside - one) @ step / max(float(step @ step), 1e-9), 0, 1))
    off_line = float(np.linalg.norm(inside - one - share * step))
    nearest = min(float(np.linalg.norm(inside - one)), float(np.linalg.norm(inside - two)))
    between = 0.1 < share < 0.9
    mixed = between and off_line < _BLEND * nearest
    # Where no blend of the two comes near the hue of the clay, that hue alone decides.
    blends = _log_chroma(one + np.linspace(0, 1, 9)[:, None] * step)
    clay = np.median(view.zones.clay_chroma[window][spot.region], axis=0)
    apart = float(np.hypot(*(blends - clay).T).min())
    off_clay = float(np.hypot(*(_log_chroma(inside[None])[0] - clay)))
    own_hue = apart if off_clay < 0.5 * apart else 0.0
    paint = np.median(around, axis=0)
    lab = linear_to_lab(np.stack([inside, paint]))
    shift = float(ciede2000(lab[0], lab[1]))
    return _Ring(shift, mixed and own_hue <= _OWN_HUE, own_hue, paint)


def _glitters(view: ViewEvidence, spot: Spot, at: tuple[int, int]) -> bool:
    """Whether what was taken for paint round a mark is the shine of a rough glaze: of one hue, but
    of many lights."""
    surface = view.surface
    reach = round(surface.px(1.5)) + 1
    tone, mark, (row, col) = framed(surface.tone, replace(spot, corner=at), reach)
    around = np.s_[row : row + tone.shape[0], col : col + tone.shape[1]]
    ring = grow(mark, reach) & ~grow(mark, 1.5 * _EDGE_PX) & view.zones.paint[around]
    if ring.sum() < 6:
        return False
    hue = float(surface.chroma[around][ring].std(0).max())
    return float(tone[ring].std()) > _GLITTER[0] and hue < _GLITTER[1]


def _log_chroma(light: NDArray[np.floating]) -> NDArray[np.float64]:
    logs = np.log(np.maximum(light, _DARKEST))
    return np.asarray(logs[:, [0, 2]] - logs[:, [1]], np.float64)
