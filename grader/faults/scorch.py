"""Scorch and one-sided browning of raw clay: the same browning, local or broad.

Both turn the clay redder, yellower and darker without an edge. What tells them apart is extent:
a scorch is a patch, a browned side faces one azimuth and runs up and down the wall.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.colour.difference import OBJECTED_DE00
from grader.faults.evidence import Evidence, ViewEvidence, finding, in_words
from grader.faults.soft import (
    HEMMED,
    STAYS,
    Direction,
    SkinField,
    core_of,
    depart,
    hemmed,
    left_by_light,
    on_grid,
    on_photo,
    regions,
    seen_beside,
    share_opposite,
    shift_of,
)
from grader.findings import Finding
from grader.piece import Mask
from grader.skin import COLUMNS, ROWS
from grader.surface import fill_from, grow

BROWN = Direction(red=0.5, blue=-0.5)
"""Browning raises log(R/G) and lowers log(B/G); tone is left out, since shade lowers it too."""

_SPREADS = 4.0
"""Spreads of sound skin that the middle of a scorch must stand above."""

_LEAST_SEED = 0.022
"""Least departure in the middle: about 1 dE00 in a mid-tone clay, what half of observers see. So
much must also be seen of a patch at the edge of one view by a view beside it, nearer its middle."""

_MOST_SEED = 0.1
"""Departure that stands for itself (4.5 dE00 in a mid-tone clay): where half of a piece is brown,
its spread is no noise."""

_DARKENING = (1.0, 6.0)
_REDDENING = (0.4, 2.4)
"""How far tone falls, and log(R/G) rises, for each unit of departure. In burnt clay L* falls by 3
to 15, a* and b* rise (common practice, no source): worked out for clays of L* 45 to 82 that makes a
fall of 1.4 to 5.4 and a rise of 0.8 to 2.3. A warm reflection darkens nothing, a shadow far more
than it colours, and dust or an outline that takes in a strip of table moves one channel alone."""

_LEFT = 1 / 3
"""A faint one is light where less than this of it is left after what want of light brings about on
the same piece. Of 60 scorches and browned sides 0.39 and more was left, of what the bevel of a
foot, facets and the shade of handles made 0.21 and less."""

_LEAST_MM2 = 18.0
"""A patch of 5 mm, the smallest scorch of the trade."""

_ACROSS_PAINT_MM = 10.0
"""So far from clay that is seen browning is taken to go on beneath paint: half a painted band."""

_BROAD_HEIGHT = 0.55
"""Share of the wall's height from which browning is no patch any more."""

_BEYOND_PATCH_CELLS = 3
"""So far round a scorch its soft edge goes on, and says nothing of a browned side beneath it."""

_EVEN_SEED = 2 * _LEAST_SEED
"""A browned side is even enough up and down the wall to show a scorch upon it where that need stand
out by no more than this: twice what half of observers see."""

_BROAD_MM = 42.0
"""Scorches are 5 to 40 mm wide (common practice, no source)."""

_LEVEL = 8.0
"""Browning is no narrow level band: so many times as wide as high, it is the shade in a hollow that
runs round the piece. Scorches were up to 4 times as wide as high, browning between painted bands
6 (31 pieces, tuned on)."""


def find(evidence: Evidence) -> list[Finding]:
    """Find scorches and browned sides; only raw clay has them.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    list of Finding
        At most one scorch and one browned side a photo.
    """
    if evidence.finish in ("glazed", "coloured") or not evidence.sides:
        return []
    field = depart(evidence.sides, BROWN, witnesses=2)
    found: list[Finding] = []
    for number in range(len(evidence.sides)):
        found += _of_view(evidence.sides, field, number)
    return found


def _of_view(views: Sequence[ViewEvidence], field: SkinField, number: int) -> list[Finding]:
    view = views[number]
    skin = view.skin
    assert skin is not None
    departure = field.departure[number]
    seed = float(np.clip(_SPREADS * field.noise, _LEAST_SEED, _MOST_SEED))
    patches: list[Mask] = []
    broad: list[Mask] = []
    cell_mm2 = skin.cell_mm[0] * skin.cell_mm[1]
    through, reached = _beneath_paint(
        view, departure, field.known[number], float(np.sqrt(cell_mm2))
    )
    for joined in regions(through, reached, seed, 0.45 * seed):
        region = joined & field.known[number]
        if not _is_strong(region, departure, seed, cell_mm2):
            continue
        if not _as_burnt(field.fields[number], departure, region):
            continue
        if _is_level(region, departure, skin.cell_mm):
            continue
        # No scorch is seen from both; a browned side lies left on the one, right on the other.
        if share_opposite(views, field, number, region) > STAYS:
            continue
        beside = seen_beside(views, field, number, region)
        if beside is not None and beside < _LEAST_SEED:
            continue
        is_broad = _is_broad(region, departure, skin.cell_mm)
        faint = float(np.quantile(departure[region], 0.9)) < _MOST_SEED
        if faint and left_by_light(field, number, region) < _LEFT:
            continue
        if not is_broad and faint and hemmed(field, number, region) > HEMMED:
            # Clay between brush strokes: the paint, thinned out at their edges, is as likely.
            continue
        if is_broad:
            patch = _patch_upon(
                field.fields[number], departure, region, field.known[number], skin.cell_mm
            )
            if patch.any():
                patches.append(patch)
                region = region & ~grow(patch, _BEYOND_PATCH_CELLS)
                if not _is_strong(region, departure, seed, cell_mm2):
                    continue
        (broad if is_broad else patches).append(region)
    out = []
    for kind, parts in (("scorch", patches), ("one_sided_browning", broad)):
        if parts:
            region = np.any(parts, axis=0)
            made = _report(view, field, number, region, kind == "scorch", seed)
            if made is not None:
                out.append(made)
    return out


def _is_strong(region: Mask, departure: NDArray[np.float32], seed: float, cell_mm2: float) -> bool:
    """Whether a region is large enough, and half of the smallest scorch of it strong; one strong
    cell is a ring or a grain of grog."""
    strong_mm2 = float((region & (departure > seed)).sum()) * cell_mm2
    return region.sum() * cell_mm2 >= _LEAST_MM2 and strong_mm2 >= 0.5 * _LEAST_MM2


def _patch_upon(
    fields: NDArray[np.float32],
    departure: NDArray[np.float32],
    region: Mask,
    known: Mask,
    cell_mm: tuple[float, float],
) -> Mask:
    """The largest patch that stands out of a broad region, which runs up and down the wall.

    What a browned side, or the light of a facet, does is much the same all the way up; a scorch
    upon it is not.
    """
    upright = np.ma.masked_array(np.dstack([departure, fields]), ~np.dstack([known] * 4))
    usual = np.ma.median(upright, axis=0).filled(0.0)
    rest = np.where(known[..., None], upright.data - usual, 0).astype(np.float32)
    along = rest[..., 0]
    spread = 1.4826 * float(np.median(np.abs(along[region])))
    seed = max(_SPREADS * spread, _LEAST_SEED)
    if seed > _EVEN_SEED:
        return np.zeros_like(region)
    cell_mm2 = cell_mm[0] * cell_mm[1]
    for patch in regions(along, known, seed, 0.45 * seed):
        around = grow(patch, _BEYOND_PATCH_CELLS) & ~patch
        if (
            _is_strong(patch, along, seed, cell_mm2)
            and not _is_broad(patch, along, cell_mm)
            and _as_burnt(rest[..., 1:], along, patch)
            and (patch & region).sum() > 0.5 * patch.sum()
            and known[around].mean() > 0.9
        ):
            return patch
    return np.zeros_like(region)


def _beneath_paint(
    view: ViewEvidence, departure: NDArray[np.float32], known: Mask, cell_mm: float
) -> tuple[NDArray[np.float32], Mask]:
    """Departure with what the clay around shows where paint hides it, and how far that reaches."""
    apart = cv2.distanceTransform((~known).astype(np.uint8), cv2.DIST_L2, 3) * cell_mm
    hidden = on_grid(view.zones.painted, view) > 0.5
    return fill_from(departure, known), known | (hidden & (apart < _ACROSS_PAINT_MM))


def _as_burnt(fields: NDArray[np.float32], departure: NDArray[np.float32], region: Mask) -> bool:
    """Whether the strong part of a region moves in tone and in both hues as burnt clay does."""
    core = core_of(departure, region)
    red, _, tone = (float(value) for value in np.median(fields[core], axis=0))
    along = float(np.median(departure[core]))
    darkens = _DARKENING[0] * along < -tone < _DARKENING[1] * along
    return darkens and _REDDENING[0] * along < red < _REDDENING[1] * along


def _is_broad(region: Mask, departure: NDArray[np.float32], cell_mm: tuple[float, float]) -> bool:
    wide_mm, tall_mm = _extent_mm(region, departure, cell_mm)
    tall = tall_mm / (ROWS * cell_mm[1])
    return tall > _BROAD_HEIGHT or max(tall_mm, wide_mm) > _BROAD_MM


def _is_level(region: Mask, departure: NDArray[np.float32], cell_mm: tuple[float, float]) -> bool:
    """Whether a region is a narrow level band, as the hollow over a foot or a ring makes it."""
    wide_mm, tall_mm = _extent_mm(region, departure, cell_mm)
    return wide_mm > _LEVEL * tall_mm


def _extent_mm(
    region: Mask, departure: NDArray[np.float32], cell_mm: tuple[float, float]
) -> tuple[float, float]:
    """Width and height at half strength, where noise does not reach."""
    strong = region & (departure > 0.5 * float(np.quantile(departure[region], 0.95)))
    return float(strong.any(0).sum()) * cell_mm[0], float(strong.any(1).sum()) * cell_mm[1]


def _report(
    view: ViewEvidence,
    field: SkinField,
    number: int,
    region: Mask,
    is_scorch: bool,
    seed: float,
) -> Finding | None:
    departure = field.departure[number]
    peak = float(np.quantile(departure[region], 0.9))
    placed = on_photo(view, region, departure, 0.4 * peak if is_scorch else 0.3 * peak)
    if placed is None:
        return None
    mask, corner = placed
    shift = shift_of(view, region & (departure > 0.5 * peak), field.fields[number])
    if shift < OBJECTED_DE00:
        return None
    certainty = field.trust * min(1.0, 0.5 + 0.5 * (peak - 0.6 * seed) / seed)
    against = "the other sides" if field.shared_light else "the rest of this side"
    if is_scorch:
        size = 2 * float(np.sqrt(mask.sum() / np.pi)) / view.surface.px_per_mm
        why = (
            f"A soft brown patch about {in_words(size, view)} wide, {shift:.1f} dE00 from the "
            f"clay at the same place on {against}."
        )
        return finding(view, "scorch", mask, corner, shift_de00=shift, certainty=certainty, why=why)
    cols = np.flatnonzero(region.any(0))
    share = 100.0 * len(cols) / COLUMNS
    why = (
        f"This side is browner than {against} by {shift:.1f} dE00, over {share:.0f} % of its "
        "width; the change has no edge."
    )
    return finding(
        view, "one_sided_browning", mask, corner, shift_de00=shift, certainty=certainty, why=why
    )
