"""Pool tint: the bluish, milky veil of a clear glaze that lies too thick.

A veil mixes bluish white into the colour below: log(B/G) rises, log(R/G) falls by about two thirds
of that, and the tone stays. A reflection of the lamp or the window moves colour the same way but
cannot help being brighter, and it stays in its place while the piece turns. On clay so dark or red
that the veil looks like white paint, `milk` tells the two apart; a dip or a band that goes round
the foot is searched as the clay is (`coats`).
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from grader import channels
from grader.colour.difference import OBJECTED_DE00
from grader.faults.coats import find_coat
from grader.faults.evidence import Evidence, ViewEvidence, finding, in_words, off_clay, window_of
from grader.faults.milk import (
    UNEVEN,
    change_beside,
    pool_below,
    pools_at_foot,
    pools_with_soft_edge,
)
from grader.faults.soft import (
    HEMMED,
    STAYS,
    Direction,
    SkinField,
    core_of,
    depart,
    hemmed,
    on_photo,
    own_skin,
    regions,
    ring_round,
    seen_beside,
    share_opposite,
    shift_of,
)
from grader.findings import Finding
from grader.gloss import shines
from grader.piece import Mask
from grader.skin import ROWS
from grader.surface import grow, light_of

MILKY = Direction(red=-0.45, blue=0.7)
_MILKY_STEP = float(np.hypot(MILKY.red, MILKY.blue))

_SPREADS = 5.0
_LEAST_SEED = 0.045
"""Least departure in the middle of a veil: about 1.8 dE00 on a light clay, the difference that
half of observers object to (Paravina et al. 2015)."""

_REFLECTED = 0.01
"""Share of light that the gloss returns more on one side than on another: a glaze mirrors 4 %
(index 1.5, Fresnel) of a room whose walls differ by a quarter. On dark clay that shifts the colour
as a veil does."""

_LEAST_MM2 = 40.0
"""A drip or a handle root of 7 mm; smaller is a matter of single dots."""

_FAINT_DE00 = 3.0
_LOW_SHARE = 0.5
"""Glaze runs down: a veil sits in the lower half of the wall, unless it is strong."""

_RIM_SHARE = 0.2
_RIM_TRUST = 0.4
"""Under the rim glaze is thin; a bluish strip there is the light of the opening, or an outline that
took in the backdrop, more often than a veil."""

_BRIGHTER, _BRIGHTENS, _DARKER, _DARKENS = 0.16, 0.8, 0.06, 0.5
"""A veil keeps the tone of the clay, or brightens it by less than it shifts the colour; what is
17 % brighter, and more than that, is reflected light; what is 6 % darker (at the foot, by more than
half of its shift of colour, too) a face that turns away from the lamp and mirrors the sky."""

_MILK_SHARE, _DARKENS_LIGHT = 0.5, 1.0
"""Milk returns about half of the light: veils kept the tone of clays that return 0.43 to 0.56 of it
(measured on rendered pieces). A lighter ground, a white dip, a broad veil darkens, by up to as much
as it shifts the colour."""

_SEEN_SHARE = 0.5
"""Share of the coat of the side that shows most of it, from which a side tells of the whole."""

_COVERED = 0.3
"""Part of the way from a coat to milk that a veil has gone which is much brighter than the coat."""

_FAINT_HEMMED = 0.3
"""A faint one needs more of an edge than `HEMMED` leaves it."""

_OWN_SHARE, _OWN_EDGE, _CLEAR_EDGE = 0.5, 2.0, 3.0
_EDGE_CELLS = 4
"""Another view may look sound because a handle warms it: a veil also stands out from its own view,
by half a seed from the bend of the light through it, or, where it takes in all of the foot and
bends the fit, by two seeds from the cells around. From three on it has an edge of its own, however
little of it is free."""

_DENSE_DE00 = 6.0
"""Twice a faint one: thinner milk has a soft edge, and is measured as such. On pale clay milk with
a hard edge had 11."""

_DENSE_TRUST = 0.8
"""Certainty of a pool as hard-edged as paint: white that was painted on the foot of one side only,
and nowhere else, would look the same."""

_AT_FOOT = "that reaches down to the foot, is uneven round the piece and has a colour of its own"
_IN_CORNER = "with a softer edge than a brush leaves, and less bright than mirrored light"
_FROM_BELOW = "seen from below; no paint on the piece has this colour"

_SPOT_MM2, _NEAR_FOOT, _DRAWN = 150.0, 0.9, 0.3
"""A spot of light stays in the picture while the piece is turned by half, and pale paint that
covers thinly is drawn on front and back alike: what the opposite side shows a third as strong is
one of them. What is 14 mm across and more, and reaches into the lowest tenth of the wall, may be a
veil that runs round the foot."""

_UNSURE, _ALL_ROUND = 0.5, 3
"""Veils less sure than the first on so many sides are light of another colour than the lamp's, that
falls in from one side: of 13 pieces with pools on three sides not one was unsure on any side
(measured on rendered pieces)."""

_PAINT_MM2, _PAINT_SIDES, _PAINT_APART = 15.0, 3, (0.05, 0.15)
"""White or pale blue that covers thinly is paint where strips of 3 by 5 mm and more of it, so much
of chroma and tone apart, are drawn on so many sides: of 33 veils none had more than 6 mm2 on a
second side, the head of a painted reed 25 on a third (measured on rendered pieces)."""

_NEAR_MM = 1.0
"""Twice the blur of the lens."""

_SEEN_BESIDE = 0.5
"""A veil at the edge of one photo shows at least half as strong on the next, which sees that place
from the front; light on the turn of the wall does not."""


def find(evidence: Evidence) -> list[Finding]:
    """Find pool tint; only a clear glaze has it.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    list of Finding
        At most one a photo.
    """
    if evidence.finish in ("raw", "coloured") or not evidence.sides:
        return []
    sides = evidence.sides
    field = depart(sides, MILKY)
    found = [_of_view(sides, field, number) for number in range(len(sides))]
    found = [one or other for one, other in zip(found, _on_coat(sides), strict=True)]
    for number, pool in enumerate(pools_at_foot(sides)):
        soft = found[number]
        if pool is None or (soft is not None and soft.certainty >= _DENSE_TRUST):
            continue
        found[number] = _dense(sides[number], pool, _AT_FOOT) or soft
    for number, pool in enumerate(pools_with_soft_edge(sides)):
        if pool is not None and found[number] is None:
            found[number] = _dense(sides[number], pool, _IN_CORNER)
    for view in evidence.views:
        if view.surface.view == "foot" and (pool := pool_below(view, sides)) is not None:
            found.append(_dense(view, pool, _FROM_BELOW))
    return _without_light([each for each in found if each is not None])


def _on_coat(sides: Sequence[ViewEvidence]) -> list[Finding | None]:
    """Veils over a dip or a band that goes round the foot, one a side at most."""
    coat = find_coat(sides)
    if coat is None:
        return [None] * len(sides)
    milky, whole = MILKY, 0.0
    if coat.to_milk is not None:
        # Over turquoise milk adds red, over ochre it takes it away.
        red, blue = coat.to_milk
        away = float(np.hypot(red, blue))
        milky = Direction(red=_MILKY_STEP * red / away, blue=_MILKY_STEP * blue / away)
        whole = _MILKY_STEP * away
    field = depart(coat.sides, milky)
    areas = (field.departure > max(_LEAST_SEED, _SPREADS * field.noise)).sum((1, 2))
    # A side that a handle hides tells nothing of how evenly it goes round.
    seen = field.known.sum((1, 2))
    areas = areas[seen > _SEEN_SHARE * seen.max()]
    if areas.max() < UNEVEN * areas.min():
        return [None] * len(sides)
    return [_of_view(coat.sides, field, number, milky, whole) for number in range(len(sides))]


def _without_light(found: list[Finding]) -> list[Finding]:
    """Leave out unsure veils all round: a pool that reaches so far is sure on some side."""
    sure = [each for each in found if each.certainty >= _UNSURE]
    return sure if len(found) - len(sure) >= _ALL_ROUND else found


def _dense(view: ViewEvidence, pool: Mask, told: str) -> Finding | None:
    shift = change_beside(view, pool)
    if shift <= _DENSE_DE00:
        return None
    size = 2 * float(np.sqrt(pool.sum() / np.pi)) / view.surface.px_per_mm
    why = (
        f"A milky pool about {in_words(size, view)} across, {told}. It is {shift:.1f} dE00 from "
        "the clay beside it."
    )
    return finding(
        view, "pool_tint", pool, (0, 0), shift_de00=shift, certainty=_DENSE_TRUST, why=why
    )


def _of_view(
    views: Sequence[ViewEvidence],
    field: SkinField,
    number: int,
    milky: Direction = MILKY,
    over_coat: float | None = None,
) -> Finding | None:
    """The veil of one view; `over_coat` is the departure that pure milk would make of a coat."""
    coat = over_coat is not None
    view = views[number]
    skin = view.skin
    assert skin is not None
    departure = field.departure[number]
    ground = _ground_share(view, field.fields[number])
    seeds = np.maximum(max(_LEAST_SEED, _SPREADS * field.noise), _REFLECTED / ground)
    if not field.shared_light:
        seeds *= 1.6
    along, own = own_skin(view, milky)
    parts = []
    for region in regions(departure / seeds, field.known[number], 1.0, 0.5):
        area = float(region.sum()) * skin.cell_mm[0] * skin.cell_mm[1]
        strong = region & (departure > seeds)
        seed = float(np.median(seeds[strong]))
        brighter = float(np.median(field.fields[number][..., 2][strong]))
        within = float(np.quantile(own[strong], 0.75))
        typical = float(np.median(departure[strong]))
        brightest = max(_BRIGHTER, _BRIGHTENS * typical)
        at_foot = bool(region[int(_NEAR_FOOT * ROWS) :].any())
        on_light = area > _SPOT_MM2 and float(np.median(ground[strong])) > _MILK_SHARE
        darkens = _DARKENS_LIGHT if on_light else _DARKENS
        darkest = max(_DARKER, darkens * typical) if at_foot else _DARKER
        # Of a coat only the foot is looked at: higher up a shape may be drawn on it.
        if area < _LEAST_MM2 or brighter < -darkest or (coat and not at_foot):
            continue
        stays = share_opposite(views, field, number, region)
        # Over a deep colour milk is as bright as mirrored light, which stays where it is.
        told_by_turning = over_coat and typical > _COVERED * over_coat and stays < _DRAWN
        if (
            brighter > brightest
            and not told_by_turning
            and _shines(view, field.fields[number], strong, brighter)
        ):
            continue
        if stays > (STAYS if at_foot else _DRAWN) and not (at_foot and area > _SPOT_MM2):
            continue
        edge = _own_edge(along, field, number, region)
        if within < _OWN_SHARE * seed and edge < _OWN_EDGE * seed:
            continue
        beside = seen_beside(views, field, number, region)
        strength = float(np.quantile(departure[region], 0.9))
        open_edge = hemmed(field, number, region) < HEMMED or edge > _CLEAR_EDGE * seed
        if open_edge and (beside is None or beside > _SEEN_BESIDE * strength):
            parts.append(region)
    if not parts:
        return None
    region = np.any(parts, axis=0)
    return _veil(views, field, number, region, float(np.median(seeds[region])), coat=coat)


def _veil(
    views: Sequence[ViewEvidence],
    field: SkinField,
    number: int,
    region: Mask,
    seed: float,
    *,
    coat: bool,
) -> Finding | None:
    """Report a veil, unless it is paint, or too faint to be sure of or to be objected to."""
    view = views[number]
    departure = field.departure[number]
    peak = float(np.quantile(departure[region], 0.9))
    placed = on_photo(view, region, departure, max(0.5 * seed, 0.3 * peak))
    if placed is None:
        return None
    mask, corner = placed
    if not coat and _is_drawn(views, view, mask, corner):
        return None
    shift = shift_of(view, region & (departure > 0.5 * peak), field.fields[number])
    # A faint one high on the wall is more likely the light of the room on a bend of the form.
    low = float(np.average(np.flatnonzero(region.any(1)), weights=region.sum(1)[region.any(1)]))
    # One between brush strokes or beside a handle is as likely their colour, thrown on the clay.
    doubtful = low < _LOW_SHARE * ROWS or hemmed(field, number, region) > _FAINT_HEMMED
    if shift < OBJECTED_DE00 or (shift < _FAINT_DE00 and doubtful):
        return None
    trust = min(field.trust, _DENSE_TRUST) if coat else field.trust
    if low < _RIM_SHARE * ROWS:
        trust *= _RIM_TRUST
    certainty = trust * min(1.0, 0.5 + 0.5 * (peak - seed) / seed)
    against = "at the same place on the other sides" if field.shared_light else "beside it"
    size = 2 * float(np.sqrt(mask.sum() / np.pi)) / view.surface.px_per_mm
    edge, told = (
        (" over the paint at the foot", "goes round with the piece")
        if coat
        else (" with a soft edge", "is not brighter")
    )
    why = (
        f"A bluish, milky veil about {in_words(size, view)} across{edge}, {shift:.1f} dE00 from "
        f"the glaze {against}; it {told}, so it is no reflection."
    )
    return finding(view, "pool_tint", mask, corner, shift_de00=shift, certainty=certainty, why=why)


def _is_drawn(
    sides: Sequence[ViewEvidence], view: ViewEvidence, mask: Mask, corner: tuple[int, int]
) -> bool:
    """Whether paint of the colour of a veil is to be seen nearly all round the piece."""
    at = window_of(mask, corner)
    free = mask & ~view.zones.painted[at]
    own = np.median(off_clay(view, at)[free if free.any() else mask], axis=0)
    drawn = 0
    for side in sides:
        off = np.abs(off_clay(side, np.s_[:, :]) - own)
        alike = (channels.largest(off[..., :2]) < _PAINT_APART[0]) & (off[..., 2] < _PAINT_APART[1])
        paint = side.zones.paint
        if side is view:
            # What of the veil itself was taken for paint tells nothing.
            _, labels = cv2.connectedComponents(paint.astype(np.uint8))
            near = grow(mask, side.surface.px(_NEAR_MM))
            paint = paint & ~np.isin(labels, np.setdiff1d(labels[at][near], [0]))
        drawn += float((alike & paint).sum()) > _PAINT_MM2 * side.surface.px_per_mm**2
    return drawn >= _PAINT_SIDES


def _shines(view: ViewEvidence, fields: NDArray[np.float32], region: Mask, brighter: float) -> bool:
    """Whether light of the colour of the lamp was added, and none of the clay's taken away."""
    skin = view.skin
    assert skin is not None
    usable = region & np.isfinite(skin.chroma).all(-1)
    seen = skin.chroma[usable]
    return shines(seen, seen - fields[usable][:, :2], brighter)


def _own_edge(along: NDArray[np.float32], field: SkinField, number: int, region: Mask) -> float:
    """How far the strong part of a region stands out from the cells of this view round it."""
    departure, known = field.departure[number], field.known[number]
    core = core_of(departure, region)
    ring = ring_round(region, _EDGE_CELLS) & known
    if not ring.any():
        return 0.0
    return float(np.median(along[core]) - np.median(along[ring]))


def _ground_share(view: ViewEvidence, fields: NDArray[np.float32]) -> NDArray[np.float32]:
    """Share of light that each cell returns where it is sound; of a clay in the shade its own."""
    skin = view.skin
    assert skin is not None
    sound = light_of(skin.chroma - fields[..., :2], skin.tone - fields[..., 2])[..., 1]
    # Of a cell that is not known, the clay's.
    return np.fmax(sound / (view.surface.white_light or 1.0), np.float32(_clay_share(view)))


def _clay_share(view: ViewEvidence) -> float:
    """Share of light that the clay returns; by what the camera can hold where nothing tells."""
    clay = view.zones.wall & ~view.zones.painted
    if not clay.any():
        return 1.0
    white = view.surface.white_light or 1.0
    return max(1e-3, float(np.median(view.surface.light[..., 1][clay])) / white)
