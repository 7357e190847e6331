"""Cracks: thin lines that swallow light, run unbroken and are no part of the drawing.

`lines` traces the dark lines of a view, `slots` says how far each is a slot by its light, and
`drawing` whether a brush made it. What shows at the same place on view after view while the piece
turns is its form (a lid's seam) or the light; what goes round a place on glaze is the foot of a
rolled edge (`crawl.is_roll`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache, partial
from operator import itemgetter

import cv2
import numpy as np
from scipy.spatial import cKDTree

from grader.colour.difference import ciede2000
from grader.colour.srgb import linear_to_lab
from grader.facts import Finish
from grader.faults.beyond import lies_on_table
from grader.faults.crawl import is_roll, report_roll, rims
from grader.faults.drawing import (
    drawn,
    hangs_alone,
    is_clay_between,
    is_painted,
    is_sister,
    wider_on_wall,
)
from grader.faults.evidence import (
    Evidence,
    ViewEvidence,
    finding,
    in_words,
    on_body,
    other_sides,
)
from grader.faults.lines import (
    Line,
    Points,
    as_region,
    carry_on,
    trace_across_rings,
    trace_dark_lines,
)
from grader.faults.paints import Paints, paints_of
from grader.faults.slots import Slot, as_slot, rise
from grader.faults.soft import quarters_apart
from grader.findings import BESIDE, Finding
from grader.piece import Mask
from grader.surface import lowest, opened

_LENGTH_MM = (3.5, 8.0)
"""From the second length on a line is long enough; cracks are 8 to 50 mm (common practice, no
source), but one that runs over the rim shows a part of itself on each side."""

_LENGTH_OUT_MM = (2.5, 5.0)
_OUT_MM, _OUT_ACROSS, _FACING = 0.8, 0.7, 0.5
"""The same of a line that runs out over the lip or the foot of a side: cracks begin there (common
practice, no source). It ends so near that edge, goes away from it for so much of its length, and so
much of it lies where the wall is not turned away. Of a lip seen from above the edge is that of the
opening, and `_LIP_MM` the breadth of its rounding, whose light may hide the line."""

_DRAWN = 0.1
_DRAWN_ALONE = 0.7
_DRAWN_BLACK = (0.8, 0.9)
"""Certainty left to a line that is drawn in all but its blackness, from a blackness that only
black paint shares; and where no other paint on the piece is as black. Missing a crack is worse
than looking twice."""

_BRANCH_MM, _HALF_DRAWN = 2.5, 0.5
"""A line that is more than half drawn by itself, and ends so near one that is drawn, is a branch of
the same twig."""

_JOIN_MM = 5.0
"""Pieces of one crack, parted by a highlight or a painted line, lie nearer than this."""

_SAME_PLACE_MM = 3.5
_SAME_PLACE_SHARE = 0.6
_SAME_PLACE_VIEWS = 2
"""A line that lies at the same place in two more views, while the piece turns, belongs to the form
or the light: a lid's seam, the edge of a reflection. In one more view it may be chance, or a side
photographed twice."""

_LIKE_MISSING = 0.15
_LIKE_WIDTH = 1.7
_LIKE_LENGTH = 0.4
"""Two lines are alike up to this difference of missing light and this ratio of widths, and where
the one is no scrap of a grain beside the other (its length over that of the line)."""

_ROUND_VIEWS = 3
_ROUND_MM = 25.0
"""A crack shows on two sides at most, and pieces with two are rare: short lines on three sides of a
piece that may be decorated are twigs or grass of a drawing that goes round it. What runs round a
piece as a crack (a dunt) is one, and longer."""

_RIM_MM, _BREAKS_MM = 1.5, 3.0
_RIM_SHARE = 0.6
"""A line of which so much runs so near outlines of islands with a rim is the foot of one. A
coloured glaze breaks dark up to twice as far from a lip (common practice, no source)."""

_LIP_MM = 3.0
"""So near the upper edge of a side, along it, a line is the slit between far and near lip where the
opening closes, or a coloured glaze that breaks there. Cracks of the lip run across it (common
practice, no source)."""

_BEHIND_MM, _OF_BODY, _EVERY = 2.0, 0.8, 4
"""Seen from above or below the wall hides part of its handle, and a stroke or a shadow beside that
edge is a fine dark line: so near the outline of the body, which is what a disc of this share of
the radius of the largest reaches. A side shows a crack there all the better. Every fourth row
and column is enough."""

_DARK_INSIDE = 0.2
"""Log light by which the inside of a pot, seen over its lip, is darker than its wall at least."""

_STRAIGHT = 0.8
_OF_OUTLINE = 0.4
"""Distance between the ends over the length, from which a line is straight, and the part of an
outline that no straight line follows: the long side of an island four times as long as broad. A
crack that shuts in paint or a shadow with other lines is no rim."""

_LINES, _AMONG_LINES, _MANY_LINES = 3, 0.4, 6
"""On a piece with so many painted lines that are alike, one more that the mask of paint does not
hold is less sure: a reed at the turn of the wall, where its paint shines in the table's light. The
more there are, the more of them will not show the brush by chance alone: beyond the last number
trust falls as theirs grows."""

_INSIDE_LINES, _INSIDE_TRUST = 2, 0.2
_APART_MM, _INSIDE_SHARE = 3.0, 0.5
"""Inside an open form light draws dark shapes as paint does, and no paint is told from them by its
darkness. But of a drawing more such lines are seen, so far apart that they are no one crack: of
the lines of a painted dish each had two and more, of ten cracks of decorated pieces none more than
one (measured on rendered pieces)."""

_ASLANT_SHARE = 0.5
_ASLANT_TRUST = 0.4
"""Seen at more than 72 degrees a painted square is as thin as a crack, and the next view, which
sees the place from the front, shows a crack all the better: at the height of a painting such a line
is less sure."""

_ALONE_ASLANT = 0.4
_HEIGHT_MM = 4.0
"""The same again where both views beside it show nothing of the kind at its height, to within what
a lip seen from above may be off."""

_WHOLE_IN_SHADE = (0.5, 0.8)
"""Share of its light that a line in the shade of a handle must lack. On dark clay a slot may lack
but half, by the flare of full light; in a shade the flare is less, and a fold of shadow as dark."""

_SHADED = 0.5
"""Share of a line that lies in the shade of a handle."""

_ON_HANDLE, _ALONG_MM, _EVEN_MM = 0.7, 5.0, 0.5
_ALONG_TRUST = 0.15
"""A line of that length of which so much lies beyond the body, and whose distance from the outline
spreads by no more, runs along a handle: between two lights mirrored in its glaze there is a dark
one. Cracks run across a handle, or round its root."""

_BROADEST_MM = 1.2
"""Cracks gape by less (common practice, no source). Where the wall turns away a painted square
looks no broader, but is."""

_LEAST_QUALITY = 0.15
_LEAST_CERTAINTY = 0.2
"""Less than this is not worth a look; a crack is asked after sooner than any other fault."""


@dataclass(frozen=True, slots=True)
class _Part:
    """A line that may be a crack or a part of one; `quality` 0..1 leaves its length out."""

    slot: Slot
    quality: float

    @property
    def path(self) -> Points:
        return self.slot.line.path

    @property
    def length_mm(self) -> float:
        return self.slot.line.length_mm


def find(evidence: Evidence) -> list[Finding]:
    """Find cracks on every view.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    list of Finding
        One a crack and photo; a line that goes round an island in the glaze is reported as crawl.
    """
    views = evidence.views
    unpainted = evidence.decorated is False or evidence.finish == "coloured"
    # Where nobody says that a piece is painted, many lines may be the cracks of a broken pot.
    may_be_drawing = evidence.decorated is True and not unpainted
    glossy = evidence.finish != "raw"
    slots = [_slots(view, unpainted=unpainted) for view in views]
    everywhere = [slot for own in slots for slot in own]
    paints = paints_of(views)
    likely = [
        _likely(view, own, everywhere, paints, glossy=glossy)
        for view, own in zip(views, slots, strict=True)
    ]
    painted = [
        slot
        for view, own in zip(views, slots, strict=True)
        for slot in own
        if is_painted(view, slot)
    ]
    by_view = list(zip(views, likely, strict=True))
    rim_mm = _BREAKS_MM if evidence.finish == "coloured" else _RIM_MM
    seen: list[tuple[ViewEvidence, list[_Part], float, bool]] = []
    shut: list[tuple[ViewEvidence, Points, float, list[_Part]]] = []
    for (view, own), lines in zip(by_view, slots, strict=True):
        others = other_sides(views, slots, view)
        # Asked for only once a line is left to judge, and then once a view.
        rolls = cache(partial(_rolls, view, evidence.finish))
        outlines = cache(partial(_rims, view, evidence.finish, rolls))
        edge = cache(partial(_top if view.skin is not None else _body, view.surface.mask))
        surest: dict[int, tuple[float, list[_Part]]] = {}
        parts = [
            part
            for part in own
            if sum(_is_there_too(view, part, *other) for other in others) < _SAME_PLACE_VIEWS
        ]
        for group in _joined(view, parts):
            out = any(part.slot.at_edge for part in group)
            certainty = _certainty(group, _LENGTH_OUT_MM if out else _LENGTH_MM)
            alike = min(sum(_are_alike(part, slot) for slot in painted) for part in group)
            if alike >= _LINES and not any(hangs_alone(view, part.slot) for part in group):
                certainty *= _AMONG_LINES * min(1.0, _MANY_LINES / alike)
            if may_be_drawing and _like_it_inside(view, group, lines) >= _INSIDE_LINES:
                certainty *= _INSIDE_TRUST
            if _is_aslant(view, group):
                certainty *= _ASLANT_TRUST
                if _is_alone(view, group, by_view):
                    certainty *= _ALONE_ASLANT
            if certainty <= _LEAST_CERTAINTY or any(
                lies_on_table(view, part.slot) for part in group
            ):
                continue
            # A rim that goes round is told as one, whether or not `crawl` knows what it shuts in.
            rolled = glossy and is_roll(view, _path(group))
            if evidence.finish == "coloured" and not rolled:
                number = _shut_in(view, group, rolls())
                if number is not None:
                    surest[number] = max(
                        surest.get(number, (0.0, group)), (certainty, group), key=itemgetter(0)
                    )
                    continue
            edge_mm = _LIP_MM if view.skin is not None else _BEHIND_MM
            if (rolled or not _is_rim(view, group, outlines(), rim_mm)) and (
                out or not _is_rim(view, group, edge(), edge_mm)
            ):
                seen.append((view, group, certainty, rolled))
        shut += [(view, rolls()[number], *sure) for number, sure in surest.items()]
    if evidence.decorated is not False and _go_round([each[:2] for each in seen]):
        seen = [each for each in seen if each[0].skin is None]
    return [_report(*each) for each in seen] + [
        report_roll(view, roll, shift_de00=_shift(group), certainty=certainty)
        for view, roll, certainty, group in shut
    ]


def _shut_in(view: ViewEvidence, group: Sequence[_Part], rolls: Sequence[Points]) -> int | None:
    """Number of the roll of coloured glaze whose foot a line is; None where there is none.

    What the roll shuts in may have the colour of the glaze beside it, and `crawl` then passes it;
    a foot that swallows light as a crack does stands for itself. A coloured glaze breaks dark at
    the edges of the form, too.
    """
    cols, rows = np.round(_path(group)).astype(np.intp).T
    if view.relief[rows, cols].any():
        return None
    near = (n for n, roll in enumerate(rolls) if _is_rim(view, group, [roll], _RIM_MM))
    return next(near, None)


def _shift(group: Sequence[_Part]) -> float:
    """CIEDE2000 between the clearest line and what lies beside it."""
    main = max(group, key=lambda part: part.quality * part.length_mm).slot.line
    lab = linear_to_lab(
        np.stack([np.median(main.middle, axis=0), np.median(main.sides, axis=(0, 1))])
    )
    return float(ciede2000(lab[0], lab[1]))


def _slots(view: ViewEvidence, *, unpainted: bool) -> list[Slot]:
    surface = view.surface
    where, carried = surface.mask & ~surface.glare, carry_on(surface)

    def as_slots(lines: Iterable[Line]) -> list[Slot]:
        slots = (
            as_slot(surface, line, unpainted=unpainted, at_edge=_runs_out(view, line))
            for line in lines
        )
        return [slot for slot in slots if slot is not None]

    found = as_slots(trace_dark_lines(surface, carried, where))
    if view.skin is None:
        return found
    known = [slot.line.path for slot in found if slot.likeness > _LEAST_QUALITY]
    # What a brush drew bends the light as rings do, and goes its own ways.
    crossing = as_slots(trace_across_rings(surface, carried, where & ~view.zones.painted))
    return found + [slot for slot in crossing if not _is_known(slot.line, known, surface.px(1.0))]


def _is_known(line: Line, paths: Sequence[Points], near_px: float) -> bool:
    """Whether another path runs along most of a line."""
    return any(np.median(cKDTree(path).query(line.path)[0]) < near_px for path in paths)


def _likely(
    view: ViewEvidence,
    slots: Sequence[Slot],
    everywhere: Sequence[Slot],
    paints: Paints,
    *,
    glossy: bool,
) -> list[_Part]:
    """Lines of a view that may be cracks."""
    alike = [slot for slot in slots if slot.likeness > _LEAST_QUALITY]
    hands = _by_hand(view, alike, everywhere, paints)
    parts = [
        _Part(slot, _quality(view, slot, hand, glossy=glossy))
        for slot, hand in zip(alike, hands, strict=True)
    ]
    return [
        part
        for part in parts
        if part.quality > _LEAST_QUALITY and _breadth_mm(view, part.slot) < _BROADEST_MM
    ]


def _by_hand(
    view: ViewEvidence, slots: Sequence[Slot], everywhere: Sequence[Slot], paints: Paints
) -> list[tuple[float, bool]]:
    """How far each line of a view is drawn, and whether its paint is known; see `drawn`."""
    hands = [
        (1.0, True) if is_sister(slot, everywhere) else drawn(view, slot, paints) for slot in slots
    ]
    sure = [slot.line.path for slot, (hand, _) in zip(slots, hands, strict=True) if hand == 1.0]
    if not sure:
        return hands
    stems = cKDTree(np.concatenate(sure))
    near = view.surface.px(_BRANCH_MM)
    return [
        (1.0, True)
        if _HALF_DRAWN < hand < 1.0 and stems.query(slot.line.path[[0, -1]])[0].min() < near
        else (hand, known)
        for slot, (hand, known) in zip(slots, hands, strict=True)
    ]


def _quality(view: ViewEvidence, slot: Slot, hand: tuple[float, bool], *, glossy: bool) -> float:
    if is_clay_between(view, slot):
        return 0.0
    by_hand, known = hand
    left = (_DRAWN if known else _DRAWN_ALONE) * rise(slot.blackness, _DRAWN_BLACK)
    rows, cols = slot.line.pixels(view.surface.mask.shape)
    shaded = view.shade[rows, cols].mean() > _SHADED
    lacking = rise(slot.whole, _WHOLE_IN_SHADE) if shaded else 1.0
    if glossy and _runs_along_handle(view, slot):
        lacking *= _ALONG_TRUST
    return slot.likeness * lacking * (1.0 - by_hand * (1.0 - left))


def _runs_along_handle(view: ViewEvidence, slot: Slot) -> bool:
    """Whether a line keeps its distance from the outline, beside the body of a side view."""
    surface, zones = view.surface, view.zones
    rows, cols = slot.line.pixels(surface.mask.shape)
    beyond = (cols < zones.body_left[rows]) | (cols > zones.body_right[rows])
    if view.skin is None or beyond.mean() < _ON_HANDLE or slot.line.length_mm < _ALONG_MM:
        return False
    away = cv2.distanceTransform(surface.mask.astype(np.uint8), cv2.DIST_L2, 3)[rows, cols]
    return float(away.std()) < surface.px(_EVEN_MM)


def _breadth_mm(view: ViewEvidence, slot: Slot) -> float:
    """Breadth of a line on the wall itself, which is wider across than it looks."""
    stretch = np.asarray(np.median(view.zones.stretch[slot.line.pixels(view.surface.mask.shape)]))
    return slot.width_mm * float(wider_on_wall(stretch, slot.line.path[-1] - slot.line.path[0]))


def _runs_out(view: ViewEvidence, line: Line) -> bool:
    """Whether a line of a side ends at its lip or its foot, and comes from far enough."""
    surface = view.surface
    # Where the wall turns away, what is drawn on it ends at the outline, too.
    if view.skin is None or view.zones.facing[line.pixels(surface.mask.shape)].mean() < _FACING:
        return False
    cols, rows = np.round(line.path[[0, -1]]).astype(int).T
    columns, opening = surface.mask[:, cols], view.zones.inside[:, cols]
    across = _OUT_ACROSS * surface.px(line.length_mm)
    edges = [(lowest(columns) - rows, _OUT_MM), (rows - columns.argmax(axis=0), _OUT_MM)]
    if opening.any(axis=0).all():
        edges.append((rows - lowest(opening), _LIP_MM))
    return any(
        bool(((np.abs(away) < surface.px(near_mm)) & (away[::-1] > away + across)).any())
        for away, near_mm in edges
    )


def _certainty(group: Sequence[_Part], long_mm: tuple[float, float]) -> float:
    lengths = np.array([part.length_mm * part.slot.line.covered for part in group])
    quality = np.array([part.quality for part in group])
    whole = float(np.average(quality, weights=lengths)) * rise(float(lengths.sum()), long_mm)
    # A clear crack is no less clear where it runs on beside a painted line.
    alone = max(
        one * rise(float(length), long_mm) for one, length in zip(quality, lengths, strict=True)
    )
    return max(whole, alone)


def _is_aslant(view: ViewEvidence, group: Sequence[_Part]) -> bool:
    """Whether a crack lies among paint where the wall turns away."""
    shape = view.surface.mask.shape
    rows, cols = np.concatenate([part.slot.line.pixels(shape) for part in group], axis=1)
    turned = ~view.zones.facing[rows, cols]
    if view.skin is None or turned.mean() < _ASLANT_SHARE:
        return False
    band = view.zones.paint[rows.min() : rows.max() + 1]
    return bool(band.any(1).mean() > _ASLANT_SHARE)


def _is_alone(
    view: ViewEvidence,
    group: Sequence[_Part],
    everywhere: Sequence[tuple[ViewEvidence, Sequence[_Part]]],
) -> bool:
    """Whether both views beside this one are there and show no such line at its height.

    A place that lies at the outline of one view lies before the camera in one of those two.
    """
    beside = [
        (other, parts) for other, parts in everywhere if quarters_apart(view, other) == BESIDE
    ]
    if len(beside) < 2:
        return False
    height = np.concatenate([on_body(view, part.path)[:, 1] for part in group])
    low, high = height.min() - _HEIGHT_MM, height.max() + _HEIGHT_MM
    heights = (on_body(other, part.path)[:, 1] for other, parts in beside for part in parts)
    return not any(there.max() > low and there.min() < high for there in heights)


def _go_round(found: Sequence[tuple[ViewEvidence, Sequence[_Part]]]) -> bool:
    """Whether short lines, and no long one, lie on so many sides that they are no one crack."""
    on_sides = [(view, group) for view, group in found if view.skin is not None]
    longest = max((sum(each.length_mm for each in group) for _, group in on_sides), default=0.0)
    sides = {view.surface.view for view, _ in on_sides}
    return longest < _ROUND_MM and len(sides) >= _ROUND_VIEWS


def _joined(view: ViewEvidence, parts: Sequence[_Part]) -> list[list[_Part]]:
    """Pieces of which one ends near another are one crack."""
    near = view.surface.px(_JOIN_MM)
    groups: list[list[_Part]] = []
    for part in sorted(parts, key=lambda each: -each.length_mm):
        ends = part.path[[0, -1]]
        for group in groups:
            points = np.concatenate([other.path for other in group])
            if np.linalg.norm(points[:, None] - ends[None], axis=-1).min() < near:
                group.append(part)
                break
        else:
            groups.append([part])
    return groups


def _is_there_too(
    view: ViewEvidence, part: _Part, other: ViewEvidence, lines: Sequence[Slot]
) -> bool:
    """Whether another view shows the like at the same place of the picture of the piece."""
    own = on_body(view, part.path)
    alike = [on_body(other, slot.line.path) for slot in lines if _are_alike(part, slot)]
    if not alike:
        return False
    apart = np.linalg.norm(own[:, None] - np.concatenate(alike)[None], axis=-1).min(1)
    return float((apart < _SAME_PLACE_MM).mean()) > _SAME_PLACE_SHARE


def _are_alike(part: _Part, slot: Slot) -> bool:
    """Whether another line is about as dark and as broad as a part, and no scrap beside it."""
    return bool(
        abs(slot.missing - part.slot.missing) < _LIKE_MISSING
        and 1 / _LIKE_WIDTH < slot.width_mm / part.slot.width_mm < _LIKE_WIDTH
        and slot.line.length_mm > _LIKE_LENGTH * part.length_mm
    )


def _like_it_inside(view: ViewEvidence, group: Sequence[_Part], lines: Sequence[Slot]) -> int:
    """Lines that lie in the inside apart from a crack there, and are like the same part of it."""
    if not _lies_inside(view, [part.slot for part in group]):
        return 0
    near = cKDTree(_path(group))
    apart = [
        slot
        for slot in lines
        if slot.likeness > _LEAST_QUALITY
        and _lies_inside(view, [slot])
        and near.query(slot.line.path)[0].min() > view.surface.px(_APART_MM)
    ]
    return max(sum(_are_alike(part, slot) for slot in apart) for part in group)


def _lies_inside(view: ViewEvidence, slots: Sequence[Slot]) -> bool:
    """Whether most of some lines is seen through the opening of a piece."""
    if view.surface.view == "inside":
        return True
    shape = view.surface.mask.shape
    rows, cols = np.concatenate([slot.line.pixels(shape) for slot in slots], axis=1)
    return bool(view.zones.inside[rows, cols].mean() > _INSIDE_SHARE)


def _rolls(view: ViewEvidence, finish: Finish | None) -> list[Points]:
    """Rims of glaze that drew back."""
    # Raw clay has no glaze that could.
    return [] if finish == "raw" else rims(view, coloured=finish == "coloured")


def _rims(
    view: ViewEvidence, finish: Finish | None, find_rolls: Callable[[], list[Points]]
) -> list[Points]:
    """The near lip before a dark inside, and rims of glaze that drew back."""
    rolls = find_rolls()
    tone, inside = view.surface.tone, view.zones.inside
    if not inside.any() or not view.zones.wall.any():
        return rolls
    # A crack may be taken for the lip itself; above it, the wall goes on as light as below. Only a
    # coloured glaze breaks dark along each lip.
    darker = np.median(tone[view.zones.wall]) - np.median(tone[inside])
    if finish != "coloured" and darker < _DARK_INSIDE:
        return rolls
    contours, _ = cv2.findContours(
        inside.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    return [*rolls, *(contour[:, 0].astype(np.float64) for contour in contours)]


def _top(mask: Mask) -> list[Points]:
    """Upper edge of a mask, (x, y) of each column of it."""
    columns = np.flatnonzero(mask.any(axis=0))
    return [np.stack([columns, mask.argmax(axis=0)[columns]], axis=1).astype(np.float64)]


def _body(mask: Mask) -> list[Points]:
    """Outline of the body of a piece seen from above or below, without its handles and spout."""
    small = mask[::_EVERY, ::_EVERY]
    within = cv2.distanceTransform(np.pad(small, 1).astype(np.uint8), cv2.DIST_L2, 3)
    body = opened(small, _OF_BODY * float(within.max()))
    contours, _ = cv2.findContours(body.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return [contour[:, 0].astype(np.float64) * _EVERY for contour in contours]


def _is_rim(
    view: ViewEvidence, group: Sequence[_Part], outlines: Sequence[Points], rim_mm: float
) -> bool:
    """Whether the line is the edge of the lip, or the foot of the roll of glaze round an island."""
    longest = max(group, key=lambda part: part.length_mm)
    apart = float(np.linalg.norm(longest.path[-1] - longest.path[0]))
    if apart > _STRAIGHT * view.surface.px(longest.length_mm):
        most = view.surface.px(longest.length_mm) / _OF_OUTLINE
        outlines = [each for each in outlines if _round_px(each) > most]
    if not outlines:
        return False
    path = _path(group)
    away, _ = cKDTree(np.concatenate(outlines)).query(path)
    return bool((away < view.surface.px(rim_mm)).mean() > _RIM_SHARE)


def _path(group: Sequence[_Part]) -> Points:
    return np.concatenate([part.path for part in group])


def _round_px(outline: Points) -> float:
    """Length of a closed outline."""
    return float(np.linalg.norm(outline - np.roll(outline, 1, axis=0), axis=1).sum())


def _report(view: ViewEvidence, group: Sequence[_Part], certainty: float, rolled: bool) -> Finding:
    surface = view.surface
    weights = np.array([part.length_mm for part in group])
    length = float(weights.sum())
    width = float(np.average([part.slot.width_mm for part in group], weights=weights))
    missing = float(np.average([part.slot.missing for part in group], weights=weights))
    shift = _shift(group)
    if rolled:
        return report_roll(view, _path(group), shift_de00=shift, certainty=certainty)
    broadest = max(part.slot.width_mm for part in group)
    region, corner = as_region(
        [part.path for part in group], surface.px(broadest), surface.mask.shape
    )
    why = (
        f"A dark line of {in_words(length, view)}, {in_words(width, view)} broad, keeps back "
        f"{100 * missing:.0f} % of the light in every colour and is the same surface on both sides."
    )
    return finding(
        view,
        "crack",
        region,
        corner,
        shift_de00=shift,
        certainty=certainty,
        why=why,
        area_px=length * width * surface.px_per_mm**2,
        measures=(
            ("length", round(length, 1), "mm"),
            ("width", round(width, 2), "mm"),
            ("light_missing", round(missing, 2), "1"),
        ),
    )
