"""The choice between several cuts, and how sure it is.

A good cut runs along strong edges all round, leaves nothing outside that stands out, takes in
nothing that looks like the surroundings, and is compact. How much each of these counts was fitted
to pictures with known outlines; the result is the chance that the outline is right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.outline.cut import alike, cut_again, first_cuts, learn_from
from grader.outline.parts import fill_bays, mirrored, open_gaps, without_whiskers
from grader.outline.regions import Mask, Regions, Values, weighted_quantiles
from grader.outline.shade import without_shadow
from grader.outline.surroundings import EDGE_COST, Evidence

_TRIED_AGAIN = 3
"""So many of the first cuts are worth learning from."""

_SETTLED = 0.8
"""A last cut that overlaps the chosen one by less has lost it; a handle is less than a fifth."""

_RIVAL = 0.9
"""Cuts that overlap by less cannot both be right: a tenth of a piece is a foot or a handle."""

_MISLED, _GOOD = 0.5, 0.7
_PLAUSIBLE, _AS_LIKELY = 0.6, 1.0
"""Where the chosen cut is less sure than the first, and no cut is as likely as the second, piece
and table may be too alike to learn one from the other. Then all first cuts together are taken that
are as likely as the likeliest but for the last (log odds), if that has the third: each of them lost
another part of the piece."""

_ENCLOSES, _CREDIBLE, _FAR_LIKELIER = 1.5, 0.15, 20.0
"""A cut half as large again round another wins if it is credible at all, and the other has not so
many times its odds: the edges of a painted band are stronger than those of the pot that it runs
round."""

_PATCH_SHARE = 1 / 50
"""Share of the photo of one independent witness of stillness: the regions of one board, or of the
moving shadow of a handle, some fifty, change together."""

# Log odds that a cut overlaps the truth to 0.95 or so; fitted as in `surroundings`.
_AT_FIRST = np.array(
    [
        0.000,
        0.000,
        -0.521,
        0.000,
        -0.100,
        0.000,
        -0.125,
        -1.217,
        -14.845,
        -1.819,
        0.401,
        -0.912,
        0.000,
        -0.413,
        -0.796,
        10.518,
    ]
)
_IN_THE_END = np.array(
    [
        0.000,
        0.000,
        -0.697,
        0.000,
        0.000,
        0.000,
        0.000,
        -1.017,
        0.000,
        -1.662,
        0.170,
        -0.810,
        0.000,
        0.000,
        -0.687,
        -25.456,
        -8.428,
        0.020,
        -0.004,
        9.721,
    ]
)


@dataclass(frozen=True, slots=True)
class Choice:
    """The cut that was chosen.

    Attributes
    ----------
    regions : ndarray of bool, shape (n,)
    certainty : float
        0..1, chance that the outline is right.
    edge_cost : float
        Mean cost of a pixel of the outline.
    """

    regions: Mask
    certainty: float
    edge_cost: float


def choose_cut(regions: Regions, evidence: Evidence) -> Choice | None:
    """Cut a piece out in several ways and choose.

    Returns
    -------
    Choice or None
        None where nothing stands out at all.
    """
    tried = [(each, measure_cut(regions, evidence, each)) for each in first_cuts(regions, evidence)]
    tried.sort(
        key=lambda pair: -_log_odds(pair[1], _AT_FIRST) - _stillness(regions, evidence, pair[0])
    )
    likely = tried[:_TRIED_AGAIN] + _larger(regions, tried)
    chosen: list[tuple[Mask, Values]] = []
    for first, measures in likely:
        known = learn_from(regions, evidence, first)
        if known is None:
            continue
        chosen.append((first, np.append(measures, measure_known(regions, evidence, first, known))))
        second = cut_again(regions, evidence, known)
        if second.any() and not any(alike(regions, second, other) for other, _ in chosen):
            measures = measure_cut(regions, evidence, second)
            known_measures = measure_known(regions, evidence, second, known)
            chosen.append((second, np.append(measures, known_measures)))
    if not chosen:
        return None
    still = [_stillness(regions, evidence, mask) for mask, _ in chosen]
    stillest = max(still)
    chances = [_chance(each, by - stillest) for (_, each), by in zip(chosen, still, strict=True)]
    best = pick(regions, [mask for mask, _ in chosen], chances)
    mask, chance, alone = _settle(regions, evidence, chosen[best][0], stillest)
    mask = fill_bays(regions, evidence, open_gaps(regions, evidence, mask))
    cost = float(measure_cut(regions, evidence, mask)[_MEAN_COST])
    # A cut that did not hold when looked at again is as doubtful as what came of it.
    unrivalled = _unrivalled(regions, mask, chance, chosen, chances)
    # How it stands to others by what changes says which is taken, and not how right that is.
    certainty = min(_chance(chosen[best][1], 0.0), alone) * unrivalled
    misled = min(chances[best], chance) * unrivalled < _MISLED and max(chances) < _GOOD
    if misled and _log_odds(tried[0][1], _AT_FIRST) > _PLAUSIBLE:
        together = _first_together(regions, evidence, tried) | mask
        mask = fill_bays(regions, evidence, open_gaps(regions, evidence, together))
    # What leaves out a shadow is no rival to what took it for the piece.
    others = [each for each, _ in tried + chosen]
    mask = without_whiskers(regions, without_shadow(regions, evidence, mask, others))
    return Choice(mask, certainty, cost)


def _first_together(regions: Regions, evidence: Evidence, tried: list[tuple[Mask, Values]]) -> Mask:
    odds = np.array([_log_odds(measures, _AT_FIRST) for _, measures in tried])
    still = np.array([_stillness(regions, evidence, mask) for mask, _ in tried])
    likely = odds > odds.max() - _AS_LIKELY
    # A table may be as like the piece as it will, but it does not turn with it.
    likely &= still > still[likely].max() - _AS_LIKELY
    return np.any([mask for (mask, _), each in zip(tried, likely, strict=True) if each], axis=0)


def _larger(regions: Regions, tried: list[tuple[Mask, Values]]) -> list[tuple[Mask, Values]]:
    """The likeliest of the other cuts that lies round the likeliest of all."""
    if not tried:
        return []
    area, inner = regions.area_px, tried[0][0]
    size = float(area[inner].sum())
    for mask, measures in tried[_TRIED_AGAIN:]:
        if area[mask & inner].sum() > 0.9 * size and area[mask].sum() > _ENCLOSES * size:
            return [(mask, measures)]
    return []


def _settle(
    regions: Regions, evidence: Evidence, chosen: Mask, stillest: float
) -> tuple[Mask, float, float]:
    """Cut once more from what was chosen, which by now shows handles for what they are.

    What the last cut adds is believed. What it takes away may be a shadow, or a foot of the
    table's colour: it goes only where that makes the outline a likelier one.

    Returns
    -------
    tuple of ndarray of bool, shape (n,), and two floats
        The cut, the chance that it is right, and that chance without what changes.
    """
    known = learn_from(regions, evidence, chosen)
    if known is None:
        return chosen, 0.0, 0.0

    def looked_at(mask: Mask) -> tuple[Mask, float, float]:
        measures = measure_cut(regions, evidence, mask)
        measures = np.append(measures, measure_known(regions, evidence, mask, known))
        still = min(0.0, _stillness(regions, evidence, mask) - stillest)
        return mask, _chance(measures, still), _chance(measures, 0.0)

    again, area = cut_again(regions, evidence, known), regions.area_px
    if area[again & chosen].sum() < _SETTLED * area[again | chosen].sum():
        return looked_at(chosen)
    return max(looked_at(again), looked_at(again | chosen), key=lambda way: way[1])


def _unrivalled(
    regions: Regions,
    mask: Mask,
    chance: float,
    others: list[tuple[Mask, Values]],
    chances: list[float],
) -> float:
    """Chance of a cut against the likeliest that ends elsewhere, when one of the two is right."""
    area = regions.area_px
    size = float(area[mask].sum())
    rival = 0.0
    for (other, _), likely in zip(others, chances, strict=True):
        common = float(area[mask & other].sum())
        apart = common < _RIVAL * float(area[mask | other].sum())
        # A painted band within the pot is no rival: see `_ENCLOSES`.
        within = common > 0.9 * area[other].sum() and size > _ENCLOSES * area[other].sum()
        if apart and not within:
            rival = max(rival, likely)
    for_it, for_rival = _odds(chance), _odds(rival)
    return for_it / max(1e-9, for_it + for_rival)


def pick(regions: Regions, masks: list[Mask], chances: list[float]) -> int:
    """The likeliest cut, or a much larger credible one round it."""
    area = regions.area_px
    best = int(np.argmax(chances))
    for number in np.argsort([area[mask].sum() for mask in masks]):
        inner, outer = masks[best], masks[number]
        encloses = area[inner & outer].sum() > 0.9 * area[inner].sum()
        larger = area[outer].sum() > _ENCLOSES * area[inner].sum()
        beside = _odds(chances[best]) < _FAR_LIKELIER * _odds(chances[number])
        if encloses and larger and beside and chances[number] > _CREDIBLE:
            best = int(number)
    return best


def _odds(chance: float) -> float:
    return chance / max(1e-9, 1.0 - chance)


def _chance(measures: Values, still: float) -> float:
    return float(1 / (1 + np.exp(-_log_odds(measures, _IN_THE_END) - still)))


def _stillness(regions: Regions, evidence: Evidence, chosen: Mask) -> float:
    """Log odds of a cut by what changes from side to side, but for a constant."""
    free = chosen & ~evidence.fixed
    return float(evidence.still[free] @ regions.area_px[free]) / (
        _PATCH_SHARE * regions.labels.size
    )


def _log_odds(measures: Values, weights: NDArray[np.float64]) -> float:
    return float(measures @ weights[:-1] + weights[-1])


_MEAN_COST = 4
"""Place of the mean cost among the measures of a cut."""


def measure_cut(regions: Regions, evidence: Evidence, chosen: Mask) -> Values:
    """Measures of a cut by its edges and by the surroundings, shape (15,)."""
    area, odds = regions.area_px, evidence.log_odds
    first, second = regions.pairs.T
    on_outline = chosen[first] != chosen[second]
    cost, length = evidence.edge_cost[on_outline], regions.border_px[on_outline]
    total, size = float(length.sum()), float(area[chosen].sum())
    begins, ends = first[on_outline], second[on_outline]
    outer = np.where(chosen[begins], ends, begins)
    inner = np.where(chosen[begins], begins, ends)
    free = length * (regions.card_share[outer] <= 0.5)
    free_total = max(1e-9, float(free.sum()))
    around = float(evidence.way_in[outer] @ free) / free_total
    outside = ~chosen & ~evidence.fixed
    strong = evidence.edge_cost < EDGE_COST
    movable = ~evidence.fixed[first] & ~evidence.fixed[second]
    left_out = strong & ~chosen[first] & ~chosen[second] & movable
    taken_in = strong & chosen[first] & chosen[second]
    return np.array(
        [
            around,
            float(evidence.way_in[inner] @ free) / free_total - around,
            float(np.clip(odds[outer], -6, 6) @ free) / free_total,
            float(free[odds[outer] > 0].sum()) / free_total,
            float(cost @ length) / total,
            *weighted_quantiles(cost, length, (0.5, 0.75, 0.9)),
            float(area[chosen & (odds < -2)].sum()) / size,
            min(2.0, float(area[outside & (odds > 1)].sum()) / size),
            np.log(size / area.sum()),
            total / np.sqrt(size),
            _symmetry(regions, chosen),
            min(3.0, float(regions.border_px[left_out].sum()) / total),
            min(3.0, float(regions.border_px[taken_in].sum()) / total),
        ]
    )


def measure_known(regions: Regions, evidence: Evidence, chosen: Mask, known: Values) -> Values:
    """Measures of a cut by what was learned from one, shape (4,)."""
    area, sure = regions.area_px, np.clip(known, -6, 6)
    outside = ~chosen & ~evidence.fixed
    size = float(area[chosen].sum())
    return np.array(
        [
            float(area[chosen & (known < 0)].sum()) / size,
            min(2.0, float(area[outside & (known > 0)].sum()) / size),
            float((area * sure)[chosen].sum()) / size,
            float((area * sure)[outside].sum()) / max(1.0, float(area[outside].sum())),
        ]
    )


def _symmetry(regions: Regions, chosen: Mask) -> float:
    """Overlap with its mirror image about its own upright axis, at a quarter of the size."""
    mask = chosen[regions.labels[::4, ::4]]
    width = mask.shape[1]
    weight = regions.area_px * chosen
    middle = float(weight @ regions.place[:, 0]) / float(weight.sum())
    other = mirrored(mask, (0, round(2 * middle * width) - width), False)
    both = float(np.count_nonzero(mask & other))
    return both / max(1.0, float(np.count_nonzero(mask | other)))
