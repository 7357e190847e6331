"""Milky glaze where no other side can tell of it: with an edge as hard as that of paint, or in a
corner of the form.

On red and on dark clay a thick clear glaze turns white within a millimetre or two, and is then told
from white paint by where it lies: it ran down to the foot, on some sides more than on others, and
has a colour that is nowhere else on the piece. At the root of a handle, where each side shows
another form, it is told from paint by its soft edge, and from light by what it takes from the clay.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import regionprops

from grader import channels
from grader.colour.difference import ciede2000
from grader.colour.srgb import linear_to_lab
from grader.faults.evidence import ViewEvidence, near_clay
from grader.gloss import shines
from grader.piece import Mask
from grader.surface import Plane, grow, lowest, opened, shrink

_LEAST_MM2 = 40.0
"""A drip of 7 mm, as for soft veils."""

_FOOT_MM, _AT_FOOT, _NEAR_FOOT = 4.5, 0.75, 0.25
"""Glaze is wiped off a foot ring up to some 4 mm high (common practice, no source). So much of the
breadth of a pool reaches down to there; a painted shape stands on its foot or in mid-air. What is
to be seen on the other sides, too, need not reach so far on each of them."""

_ARC_MM, _STEEPEST_ARC = 3.0, 1.0
"""Read over twice the first, the outline of a foot seen from above rises by less than it runs
aside; where it is steeper it is the flank of a bowl, and ends no pool."""

_LEAST_CHANGE, _LESS_RED, _MORE_BLUE = 0.25, -0.1, 0.0
"""Log-chromaticity by which it differs from the clay, and in which it is less red and more blue.
Less is a soft veil's affair."""

_MOST_OFF_NEUTRAL = 0.6
"""Log-chromaticity: milk is white with a breath of blue, or of the red clay below it; cobalt and
copper go far beyond."""

_WARM, _WHITENED, _OFF_LINE = 0.4, 0.15, 0.25
"""On clay so warm (log R/G) thin milk is a good way from neutral yet. Clay and white mix as light,
along a straight line of R/G against B/G: so much of the way it is to have gone, and so little
(logarithm of B/G) to lie off it, as the fit of the clay may. Yellow paint lies off it by one and
more."""

_DARKER = -0.3
_NEAR_MM = 4.0
"""Log light by which it may lie below the clay beside it, read over this distance: milk lightens,
but where a foot flares its shade changes within a few millimetres."""

_SEAM_MM = 1.0
"""Twice the blur of the lens, and less than a milky edge is soft."""

_CORE_MM = 1.2
_SAME_COLOUR, _SAME_TONE, _PAINT_MM2 = 0.12, 0.5, 15.0
"""White paint shows its colour elsewhere, too, but for shading: a strip of 3 by 5 mm of it."""

UNEVEN = 3.0
"""The side with most has so many times the area of that with least, or, where a handle hides that,
the least but one: a painted band, a pattern or a dipped foot goes round evenly."""

_FEWEST_SIDES = 3

_BESIDE_MM = (1.5, 6.0)
"""Sound clay is looked for so far beyond the edge."""

_BELOW_CHANGE, _BELOW_LESS_RED, _BELOW_MORE_BLUE, _BLUE_SHARE = 0.12, -0.05, 0.05, 0.4
"""Log-chromaticity of milk on a photo of the foot: there pale clay is seen with it, on which milk
changes less, and what is more blue by less than that share of what it is less red is no milk."""

_BELOW_MM2 = 100.0
"""Least milk there, twice and a half a drip: the foot is seen once, and no other photo confirms."""

_EDGE_MM, _EDGE_LEFT = (0.5, 1.5), 0.3
"""Share of the change that may be left so far beyond its edge. Of four pools 0.04 to 0.24 was, of
the sheen of a pale table on a dark bowl and of the shade of a corner 0.4 and more."""

_DISC, _BASE_SHARE = 0.8, 0.15
"""Share of its hull and of the ellipse of its moments, and of all that is seen from below, from
which a region is the base itself, left bare and paler than its glaze: a rendered one had 0.9 and
0.28. Milk runs round the flank, or down it in tongues."""

_SOFT_MM, _SOFT = 0.8, 0.65
"""Share of the greatest change that is made between so far within the edge and as far beyond it: by
paint 0.8 and more, by milk that thins out up to 0.57 (measured on rendered pieces)."""

_SQUARE = 1.25
"""Most of it is seen at less than 37 degrees: nearer to the outline a facet or the lip of a wall
mirrors the table, or cloth seen through a handle was taken in."""

_STAYS, _BURNT, _SKY = 0.2, 0.5, -0.06
"""Share of the place of a pool that is milky on another side, too, from which it is light that
stays while the piece is turned; share of it burnt out, from which it is a lamp; and log light above
that of the clay, below which it is the sky: milk is not darker."""

_DRIP_MM = 8.0
"""What reaches so near to the foot on a side photo is the same pool."""

_PAINTED_SHARE = 0.2
"""Of the pool's area may stand in its colour on the sides, drips that have parted from it."""


def pools_at_foot(views: Sequence[ViewEvidence]) -> list[Mask | None]:
    """Find dense milk among what was taken for paint.

    Parameters
    ----------
    views : sequence of ViewEvidence
        The sides of a piece.

    Returns
    -------
    list of (ndarray of bool, shape (h, w)) or None
        One a view; None where there is none.
    """
    if len(views) < _FEWEST_SIDES:
        return [None] * len(views)
    pools, like_it = zip(*(_candidates(view) for view in views), strict=True)
    areas = [
        float(alike.sum()) / view.surface.px(1.0) ** 2
        for view, alike in zip(views, like_it, strict=True)
    ]
    # A handle in front may hide what goes round.
    hidden = len(areas) > _FEWEST_SIDES and views[int(np.argmin(areas))].shade.any()
    least = sorted(areas)[1 if hidden else 0]
    if max(areas) < UNEVEN * least:
        return [None] * len(views)
    return [pool if pool.any() else None for pool in pools]


def pools_with_soft_edge(views: Sequence[ViewEvidence]) -> list[Mask | None]:
    """Find milk that gathered in a corner of the form, as at the root of a handle.

    There the wall cannot be held against the other sides; but no brush leaves so soft an edge, and
    what is mirrored there is as bright as its colour says, or stays while the piece is turned.

    Parameters
    ----------
    views : sequence of ViewEvidence
        The sides of a piece, as one camera on a stand saw them.

    Returns
    -------
    list of (ndarray of bool, shape (h, w)) or None
        One a view; None where there is none.
    """
    if len(views) < _FEWEST_SIDES:
        return [None] * len(views)
    of_milk, changes = zip(*(_milk_on_wall(view) for view in views), strict=True)
    # To read the light takes longer than all the rest, and most pieces have nothing of that hue.
    if not any(
        mask.sum() > _BELOW_MM2 * view.surface.px(1.0) ** 2
        for view, mask in zip(views, of_milk, strict=True)
    ):
        return [None] * len(views)
    milky = [
        opened(mask & _as_light_as_clay(view), view.surface.px(_SEAM_MM / 2))
        for view, mask in zip(views, of_milk, strict=True)
    ]
    out: list[Mask | None] = []
    for number, (view, change) in enumerate(zip(views, changes, strict=True)):
        others = [
            (other, mask)
            for at, (other, mask) in enumerate(zip(views, milky, strict=True))
            if at != number
        ]
        mm2 = view.surface.px(1.0) ** 2
        pool = np.zeros(change.shape, bool)
        count, labels, stats, _ = cv2.connectedComponentsWithStats(milky[number].astype(np.uint8))
        for label in range(1, count):
            region = labels == label
            if (
                stats[label, cv2.CC_STAT_AREA] > _LEAST_MM2 * mm2
                and float(np.median(view.zones.stretch[region])) < _SQUARE
                and _has_soft_edge(view, region, change)
                and not _is_light(view, region)
                and not any(_shows_at(view, region, *other) > _STAYS for other in others)
            ):
                pool |= region
        out.append(pool if pool.sum() > _BELOW_MM2 * mm2 else None)
    return out


def _milk_on_wall(view: ViewEvidence) -> tuple[Mask, Plane]:
    """What has the hue of milk on the wall of a side, paint or not, but for its handle; and its
    change."""
    zones = view.zones
    milky, change = _of_milk(view)
    return milky & zones.wall & ~zones.inside & ~zones.foot & ~view.relief, change


def _of_milk(view: ViewEvidence) -> tuple[Mask, Plane]:
    """What is less red and more blue than the clay, on pale clay by little; and by how much
    (log-chromaticity) each place differs from the clay."""
    red, blue = cv2.split(view.surface.chroma - view.zones.clay_chroma)
    change = np.hypot(red, blue)
    milky = (red < _BELOW_LESS_RED) & (blue > np.maximum(_BELOW_MORE_BLUE, -_BLUE_SHARE * red))
    return milky & (change > _BELOW_CHANGE), change


def _has_soft_edge(view: ViewEvidence, region: Mask, change: Plane) -> bool:
    """Whether a region thins out over some millimetres where the wall goes on beside it."""
    peak = float(np.quantile(change[region], 0.9))
    core = (region & (change > 0.5 * peak)).astype(np.uint8)
    near, far = 0.75 * view.surface.px(_SOFT_MM), 1.25 * view.surface.px(_SOFT_MM)
    within, beyond = (cv2.distanceTransform(each, cv2.DIST_L2, 5) for each in (core, 1 - core))
    inner = (within > near) & (within < far)
    outer = (beyond > near) & (beyond < far) & view.zones.wall & ~view.relief
    if not (inner.any() and outer.any()):
        return False
    return float(np.median(change[inner]) - np.median(change[outer])) < _SOFT * peak


def _is_light(view: ViewEvidence, region: Mask) -> bool:
    """Whether light was added, as much as the colour says or more than the camera holds, or is
    lacking, as where a face turns from the lamp and mirrors the sky."""
    surface, zones = view.surface, view.zones
    brighter = float(np.median((surface.tone - zones.clay_tone)[region]))
    if brighter < _SKY or float(surface.clipped[region].mean()) > _BURNT:
        return True
    return shines(surface.chroma[region], zones.clay_chroma[region], brighter)


def _shows_at(view: ViewEvidence, region: Mask, other: ViewEvidence, milky: Mask) -> float:
    """Share of the place of a region on the photo that is milky on another photo."""
    rows, cols = np.nonzero(region)
    here, there = view.surface, other.surface
    x, y = (
        np.round((at * here.step + start - begin) / there.step).astype(int)
        for at, start, begin in zip((cols, rows), here.origin_px, there.origin_px, strict=True)
    )
    seen = (x >= 0) & (y >= 0) & (x < milky.shape[1]) & (y < milky.shape[0])
    return float(milky[y[seen], x[seen]].sum()) / len(rows)


def pool_below(foot: ViewEvidence, sides: Sequence[ViewEvidence]) -> Mask | None:
    """Find dense milk on a photo of the foot, which shows the flank that a table hides.

    Parameters
    ----------
    foot : ViewEvidence
        The piece from below.
    sides : sequence of ViewEvidence

    Returns
    -------
    ndarray of bool, shape (h, w), or None
    """
    milky, change = _of_milk(foot)
    milky &= foot.zones.paint & _as_light_as_clay(foot)
    milky = opened(milky, foot.surface.px(_SEAM_MM / 2))
    mm2 = foot.surface.px(1.0) ** 2
    out = np.zeros(milky.shape, bool)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(milky.astype(np.uint8))
    for number in range(1, count):
        area_mm2 = stats[number, cv2.CC_STAT_AREA] / mm2
        region = labels == number
        if (
            area_mm2 > _BELOW_MM2
            and not _is_base(foot, region)
            and _ends_soon(foot, region, change)
            and not _is_paint(foot, region)
            and _painted_mm2(sides, foot, region) < _PAINTED_SHARE * area_mm2
        ):
            out |= region
    return out if out.any() else None


def change_beside(view: ViewEvidence, pool: Mask) -> float:
    """CIEDE2000 between a pool and the clay next to it.

    Parameters
    ----------
    view : ViewEvidence
    pool : ndarray of bool, shape (h, w)

    Returns
    -------
    float
        0 where no clay is seen beside it.
    """
    near, far = (grow(pool, view.surface.px(reach)) for reach in _BESIDE_MM)
    clay = far & ~near & view.zones.wall & ~view.zones.painted
    if not clay.any():
        return 0.0
    seen, sound = (
        np.median(linear_to_lab(view.surface.light[where]), axis=0) for where in (pool, clay)
    )
    return float(ciede2000(seen, sound))


def _candidates(view: ViewEvidence) -> tuple[Mask, Mask]:
    """What may be a pool on a side, and all that is like one and reaches the foot in part."""
    surface = view.surface
    pool, like_it = np.zeros((2, *surface.mask.shape), bool)
    bottom = lowest(surface.mask)
    slope = _slope(bottom, surface.px(_ARC_MM))
    milky = _milky(view)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(milky.astype(np.uint8))
    for number in range(1, count):
        if stats[number, cv2.CC_STAT_AREA] < _LEAST_MM2 * surface.px(1.0) ** 2:
            continue
        region = labels == number
        columns = region.any(0)
        at_foot = (bottom - lowest(region))[columns] < surface.px(_FOOT_MM)
        stands_there = float(np.median(slope[columns])) < _STEEPEST_ARC
        if at_foot.mean() > _NEAR_FOOT and stands_there and not _is_paint(view, region):
            like_it |= region
            if at_foot.mean() > _AT_FOOT:
                pool |= region
    return pool, like_it


def _slope(bottom: NDArray[np.intp], reach_px: float) -> NDArray[np.float64]:
    """Rise of an outline to either side of each column, over its run."""
    reach = max(1, round(reach_px))
    padded = np.pad(bottom, reach, mode="edge")
    return np.asarray(np.abs(padded[2 * reach :] - padded[: -2 * reach]) / (2 * reach))


def _milky(view: ViewEvidence) -> Mask:
    """What is taken for paint, and is whiter than the clay and not darker."""
    surface, zones = view.surface, view.zones
    red, blue = cv2.split(surface.chroma - zones.clay_chroma)
    milky = (np.hypot(red, blue) > _LEAST_CHANGE) & (red < _LESS_RED) & (blue > _MORE_BLUE)
    milky &= (zones.paint | zones.shine) & _as_light_as_clay(view)
    # Between dark paint and pale clay lies a seam that is neither.
    seam = surface.px(_SEAM_MM / 2)
    return opened(milky, seam)


def _as_light_as_clay(view: ViewEvidence) -> Mask:
    """What is near white, and no darker than the clay beside it."""
    white = channels.largest(np.abs(view.surface.chroma)) < _MOST_OFF_NEUTRAL
    white |= _whitened(view.surface.chroma, view.zones.clay_chroma)
    return np.asarray(white & (_above_clay(view) > _DARKER))


def _whitened(chroma: NDArray[np.float32], clay_chroma: NDArray[np.float32]) -> Mask:
    """Where warm clay is mixed with white, and with nothing else."""
    (red, blue), (clay_red, clay_blue) = (cv2.split(np.exp(each)) for each in (chroma, clay_chroma))
    way = (clay_red - red) / np.maximum(clay_red - 1, 1e-3)
    on_line = clay_blue + way * (1 - clay_blue)
    off = np.abs(np.log(blue / np.maximum(on_line, 1e-3)))
    warm = clay_chroma[..., 0] > _WARM
    return np.asarray(warm & (way > _WHITENED) & (way < 1) & (off < _OFF_LINE))


def _above_clay(view: ViewEvidence) -> Plane:
    """Log light of each place over that of the clay beside it."""
    rest = view.surface.tone - view.zones.clay_tone
    return rest - near_clay(view, rest, _NEAR_MM, np.s_[:, :])


def _is_paint(view: ViewEvidence, region: Mask) -> bool:
    """Whether paint of the same colour lies elsewhere on the view, parted from it by clay."""
    surface = view.surface
    _, labels = cv2.connectedComponents(view.zones.paint.astype(np.uint8))
    own = view.zones.paint & np.isin(labels, np.unique(labels[region]))
    core = _core(view, region)
    elsewhere = view.zones.paint & ~grow(region | own, surface.px(_CORE_MM))
    off = channels.largest(
        np.abs(surface.chroma[elsewhere] - np.median(surface.chroma[core], axis=0))
    )
    lighter = np.abs(surface.tone[elsewhere] - np.median(surface.tone[core]))
    alike = (off < _SAME_COLOUR) & (lighter < _SAME_TONE)
    return float(alike.sum()) > _PAINT_MM2 * surface.px(1.0) ** 2


def _core(view: ViewEvidence, region: Mask) -> Mask:
    """A region without its blurred edge, where anything is left of it."""
    core = shrink(region, view.surface.px(_CORE_MM))
    return core if core.any() else region


def _is_base(foot: ViewEvidence, region: Mask) -> bool:
    """Whether a region is the bare base itself, a disc that takes up much of what is seen."""
    if region.sum() < _BASE_SHARE * foot.surface.mask.sum():
        return False
    props = regionprops(region.astype(np.uint8))[0]
    ellipse = np.pi / 4 * props.axis_major_length * props.axis_minor_length
    return bool(props.solidity > _DISC and props.area > _DISC * ellipse)


def _ends_soon(view: ViewEvidence, region: Mask, change: Plane) -> bool:
    """Whether the change of a region has gone just beyond its edge, as milk has and sheen not."""
    near, far = (grow(region, view.surface.px(reach)) for reach in _EDGE_MM)
    beyond = far & ~near & view.zones.wall
    if not beyond.any():
        return False
    return bool(np.median(change[beyond]) < _EDGE_LEFT * np.median(change[region]))


def _painted_mm2(sides: Sequence[ViewEvidence], foot: ViewEvidence, region: Mask) -> float:
    """Most that a side shows, away from its foot, of paint in the colour of a region."""
    core = _core(foot, region)
    colour = np.median((foot.surface.chroma - foot.zones.clay_chroma)[core], axis=0)
    tone = float(np.median(_above_clay(foot)[core]))
    most = 0.0
    for view in sides:
        surface, paint = view.surface, view.zones.paint
        off = channels.largest(np.abs(surface.chroma - view.zones.clay_chroma - colour))
        alike = paint & (off < _SAME_COLOUR) & (np.abs(_above_clay(view) - tone) < _SAME_TONE)
        low = np.arange(len(paint))[:, None] > lowest(surface.mask) - surface.px(_DRIP_MM)
        _, labels = cv2.connectedComponents(paint.astype(np.uint8))
        alike &= ~np.isin(labels, np.unique(labels[alike & low]))
        most = max(most, float(alike.sum()) / surface.px(1.0) ** 2)
    return most
