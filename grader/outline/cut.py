"""Cutting regions apart along the cheapest outline, by minimum cut of a graph.

References
----------
Y. Boykov and M.-P. Jolly, "Interactive graph cuts for optimal boundary and region segmentation
of objects in N-D images", ICCV 2001. https://doi.org/10.1109/ICCV.2001.937505
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph

from grader.outline.regions import Mask, Regions, Values
from grader.outline.surroundings import (
    SHADOW_WEIGHT,
    Evidence,
    apart,
    nearest,
    squared_differences,
)

Ties = tuple[NDArray[np.int64], Values]
"""Pairs of regions, shape (m, 2), and a number for each pair, shape (m,)."""

_STEPS = 50.0
"""Costs are whole numbers for the cut: a fiftieth is the finest difference."""

SURE = 6.0
"""Log odds beyond which more evidence changes nothing."""

_BY_LIKENESS = (
    (0.01, -3.0),
    (0.01, 0.0),
    (0.03, -1.5),
    (0.03, 1.5),
    (0.10, -1.5),
    (0.10, 0.0),
    (0.10, 1.5),
    (0.10, 3.0),
)
"""Weight of a pixel's log odds against a pixel of outline, and the odds asked for. A weave asks
for a smooth outline and a piece in the table's colour for less difference; which it is, the
choice between the results tells."""

_BY_EDGES = ((0.06, 0.9), (0.12, 0.9), (0.25, 0.6))
"""Worth of a pixel in the middle, and distance from the middle at which it ends: the strongest
closed outline round the middle, whatever the colours are."""

_AGAIN = 0.08
"""Weight of a pixel's log odds once piece and surroundings are known from each other."""

_EXAMPLES = 110
"""Places of piece and of surroundings that are compared with; more change nothing."""

_EVIDENCE = 4
"""The fifth most similar place decides, so that a few odd ones prove nothing."""

_OWN_REACH = 0.03
"""Places so near (share of the photo) are no evidence, or each would prove itself."""

_WITNESS = 1.6
"""Weight of what changes from side to side against what was learned from a first cut: that repeats
the mistakes of the cut, the other sides do not."""

# Fitted like the weights in `surroundings`, on the first cuts of the same pictures.
_KNOWN = np.array([-2.14, 0.64, 0.46, -1.0, 0.96, 0.73, 0.92, 0.01, -2.28, -1.06, -0.89])


def first_cuts(regions: Regions, evidence: Evidence) -> list[Mask]:
    """Cut with several balances of colour and edge.

    Returns
    -------
    list of ndarray of bool, shape (n,)
        Regions of the piece, each result different from the others; empty where nothing stands
        out.
    """
    off = evidence.unlike[:, 4]
    worths = [
        weight * np.clip(evidence.log_odds - asked, -SURE, SURE) for weight, asked in _BY_LIKENESS
    ]
    worths += [weight * np.clip(1.0 - off / reach, -3.0, 1.0) for weight, reach in _BY_EDGES]
    found: list[Mask] = []
    for worth in worths:
        chosen = cut(regions, evidence, worth)
        if chosen.any() and not any(alike(regions, chosen, other) for other in found):
            found.append(chosen)
    return found


def learn_from(
    regions: Regions, evidence: Evidence, chosen: Mask, doubtful: Mask | None = None
) -> Values | None:
    """Log odds of each region when piece and surroundings are taken from a first cut.

    Parameters
    ----------
    regions : Regions
    evidence : Evidence
    chosen : ndarray of bool, shape (n,)
    doubtful : ndarray of bool, shape (n,), optional
        Regions from which neither is learned.

    Returns
    -------
    ndarray of float, shape (n,), or None
        None where either is too small to learn from.
    """
    usable = regions.card_share <= 0.5
    if doubtful is not None:
        usable &= ~doubtful
    piece = np.flatnonzero(chosen & usable)
    around = np.flatnonzero(~chosen & usable)
    if min(len(piece), len(around)) < 8:
        return None
    piece = piece[:: max(1, len(piece) // _EXAMPLES)]
    around = around[:: max(1, len(around) // _EXAMPLES)]
    to_piece = np.log1p(_distance(regions, piece, evidence.spread, (0.25, 0.25), shadow=False))
    to_around = np.log1p(_distance(regions, around, evidence.spread, (0.3, 0.12), shadow=False))
    to_shadow = np.log1p(_distance(regions, around, evidence.spread, (0.3, 0.12), shadow=True))
    measures = np.column_stack(
        [to_piece, to_shadow, to_around, to_piece - to_shadow, evidence.unlike]
    )
    return np.asarray(measures @ _KNOWN[:-1] + _KNOWN[-1] + _WITNESS * evidence.still)


def cut_again(
    regions: Regions, evidence: Evidence, log_odds: Values, ties: Ties | None = None
) -> Mask:
    """Cut with the log odds that `learn_from` gave.

    Parameters
    ----------
    regions : Regions
    evidence : Evidence
    log_odds : ndarray of float, shape (n,)
        Of each pixel of a region, that it belongs to the piece.
    ties : tuple of ndarray, optional
        Log odds that pairs of regions belong to the same.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    if ties is not None:
        ties = ties[0], _AGAIN * ties[1]
    return cut(regions, evidence, _AGAIN * np.clip(log_odds, -SURE, SURE), ties)


def alike(regions: Regions, one: Mask, other: Mask) -> bool:
    """Whether two results overlap to 99.5 %."""
    area = regions.area_px
    return bool(area[one & other].sum() > 0.995 * area[one | other].sum())


def cut(regions: Regions, evidence: Evidence, worth: Values, ties: Ties | None = None) -> Mask:
    """Regions with the highest worth minus the cost of their outline; the one nearest the middle.

    Parameters
    ----------
    regions : Regions
    evidence : Evidence
    worth : ndarray of float, shape (n,)
        Of each pixel of a region, when it is taken for the piece.
    ties : tuple of ndarray, optional
        What it costs to part two regions that need not be neighbours.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    count = regions.count
    source, sink = count, count + 1
    gain = np.where(evidence.fixed, -1e4, worth * regions.area_px)
    gains = np.clip(np.round(gain * _STEPS), -1e7, 1e7).astype(np.int32)
    costs = np.round(evidence.edge_cost * regions.border_px * _STEPS).astype(np.int32)
    taken, left = np.flatnonzero(gains > 0), np.flatnonzero(gains < 0)
    if not taken.size:
        return np.zeros(count, bool)
    first, second = regions.pairs.T
    if ties is not None:
        first, second = np.concatenate([regions.pairs, ties[0]]).T
        costs = np.concatenate([costs, np.round(ties[1] * _STEPS).astype(np.int32)])
    graph = sparse.csr_matrix(
        (
            np.concatenate([costs, costs, gains[taken], -gains[left]]),
            (
                np.concatenate([first, second, np.full(len(taken), source), left]),
                np.concatenate([second, first, taken, np.full(len(left), sink)]),
            ),
        ),
        shape=(count + 2, count + 2),
        dtype=np.int32,
    )
    flow = csgraph.maximum_flow(graph, source, sink, method="dinic").flow
    rest = graph - flow
    rest.data[rest.data < 0] = 0
    rest.eliminate_zeros()
    reached = csgraph.breadth_first_order(rest, source, return_predecessors=False)
    chosen = np.zeros(count + 2, bool)
    chosen[reached] = True
    return _one_piece(regions, chosen[:count])


def _one_piece(regions: Regions, chosen: Mask) -> Mask:
    if not chosen.any():
        return chosen
    first, second = regions.pairs[chosen[regions.pairs].all(1)].T
    links = sparse.csr_matrix(
        (np.ones(len(first)), (first, second)), shape=(regions.count, regions.count)
    )
    parts, part = csgraph.connected_components(links, directed=False)
    off = ((regions.place - 0.5) ** 2).sum(1)
    weight = regions.area_px * chosen * np.exp(-off / (2 * 0.25**2))
    total = np.bincount(part, weights=weight, minlength=parts)
    return np.asarray(chosen & (part == int(total.argmax())))


def _distance(
    regions: Regions,
    examples: NDArray[np.int64],
    spread: Values,
    near: tuple[float, float],
    *,
    shadow: bool,
) -> Values:
    darker = SHADOW_WEIGHT if shadow else 1.0
    chroma, light, texture = squared_differences(regions, examples, spread, darker=darker)
    squares = chroma + 0.5 * (light + texture) + apart(regions, examples, near)
    squares[apart(regions, examples, (1.0, 1.0)) < _OWN_REACH**2] = 1e6
    return nearest(squares, _EVIDENCE)
