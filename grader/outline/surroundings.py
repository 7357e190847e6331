"""How far each region stands out from table and wall, and how likely each border is the outline.

Table and wall are known where the piece is not: along the left, right and upper edge of the
photo. A region is compared with the most similar of these places, nearer ones first, so that a
horizon, a shelf or a brick wall need no model of their own. A shadow darkens but keeps the colour
and has no sharp edge; both are allowed for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph

from grader.outline.regions import Mask, Regions, Values
from grader.outline.still import OneStand, weigh_still

MARGIN_SHARE = 0.03
"""Width of the margins that are taken for surroundings, as a share of the photo."""

_SPREAD_FLOOR = np.array([0.010, 0.010, 0.025, 0.15, 0.15])
"""Least spread credited to neighbouring places of one surface (natural log units): JPEG noise."""

SHADOW_DEPTH, SHADOW_WEIGHT = 1.2, 0.35
"""Darker by up to 1.2 (a factor of 3.3) counts a third: so far a shadow goes on a lit table."""

EDGE_COST = 1.5
"""Cost below which a border is an edge: a chance of more than a fifth of being the outline."""

_NEAR = (0.5, 0.12)
"""Distance (shares of width, height) that counts like one spread: rows of a photo are of one
surface more often than columns are."""

_EVIDENCE = 3
"""The fourth most similar place decides, so that three odd ones prove nothing."""

_NO_EDGE = 2.0
"""Steps of fewer spreads are no obstacle on the way from the margin inwards."""

_CHANGES, _STAYS = 0.5, -1.0
"""Mean log odds by what changes from side to side, above which a part of a cut is piece, and below
which it is not. Of parts of 2 % of a piece and more that were, a quarter lay below the first and a
twenty-fifth below the second; of those that were not, a quarter lay above the first."""

# Fitted by logistic regression on half of 400 pictures with known outlines: path-traced pots on
# paper, wood, linen and slate, and pots set before photographed brick, grass and gravel.
_PIECE = np.array([1.615, 0.865, 0.695, 0.191, -5.332, -1.294, -1.815])
_EDGE = np.array([0.402, 0.023, 0.940, 0.531, 0.309, -1.311, 0.872, -6.865])


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the surroundings say of regions and borders.

    Attributes
    ----------
    fixed : ndarray of bool, shape (n,)
        Margins and cards, which are no piece.
    spread : ndarray of float, shape (5,)
        Spread of `Regions.look` between neighbouring places of the margins.
    unlike : ndarray of float, shape (n, 6)
        Measures of how a region stands out, for weighing.
    log_odds : ndarray of float, shape (n,)
        For being the piece.
    way_in : ndarray of float, shape (n,)
        Log of the edges that have to be crossed from the margin to here, spreads.
    edge_cost : ndarray of float, shape (m,)
        Cost for one pixel of outline along a border, 0.05 (surely an edge) to 8.
    still : ndarray of float, shape (n,)
        Log odds for being the piece by what changes between its sides (`still`); 0 where only
        this photo is known. Part of `log_odds`.
    """

    fixed: Mask
    spread: Values
    unlike: Values
    log_odds: Values
    way_in: Values
    edge_cost: Values
    still: Values


def weigh_surroundings(
    regions: Regions, cards: Mask, stand: OneStand | None = None
) -> Evidence | None:
    """Compare all regions with those along the margins.

    Parameters
    ----------
    regions : Regions
    cards : ndarray of bool, shape (h, w)
        Pixels covered by marker and chart.
    stand : OneStand, optional
        This photo with those of the other sides.

    Returns
    -------
    Evidence or None
        None where cards cover all of the margins.
    """
    on_card = regions.card_share > 0.5
    seeds = (regions.share_of(_margins(cards)) > 0.5) & ~on_card
    if np.count_nonzero(seeds) < 2 * (_EVIDENCE + 1):
        return None
    first, second = regions.pairs.T
    among = seeds[first] & seeds[second]
    spread = _SPREAD_FLOOR
    if np.count_nonzero(among) > 20:
        # 1.4826 medians are one standard deviation of a normal spread.
        spread = np.maximum(spread, 1.4826 * np.median(np.abs(regions.step[among]), axis=0))
    places = np.flatnonzero(seeds)
    chroma, light, texture = squared_differences(regions, places, spread, darker=SHADOW_WEIGHT)
    far = apart(regions, places, _NEAR)
    unlike_colour = nearest(chroma + light + far, _EVIDENCE)
    unlike_all = nearest(chroma + light + 0.5 * texture + far, _EVIDENCE)
    unlike_texture = nearest(texture + far, _EVIDENCE)
    way_in = np.log1p(_way_in(regions, seeds, spread))
    # Half the width or height from the middle is 1.
    off = np.hypot(*((regions.place - 0.5) / 0.5).T)
    unlike = np.stack(
        [
            np.log1p(unlike_colour),
            np.log1p(unlike_all),
            np.log1p(unlike_texture),
            way_in,
            off,
            off**2,
        ],
        axis=1,
    )
    fixed = seeds | on_card
    still = np.zeros(regions.count) if stand is None else weigh_still(regions, fixed, stand)
    return Evidence(
        fixed=fixed,
        spread=spread,
        unlike=unlike,
        log_odds=_odds(unlike) + still,
        way_in=way_in,
        edge_cost=_edge_cost(regions, spread, unlike_colour),
        still=still,
    )


def changes(regions: Regions, evidence: Evidence, part: NDArray[np.int64]) -> bool:
    """Whether a part changes from side to side, so that it is no table and no shadow."""
    return _still(regions, evidence, part) > _CHANGES


def stays(regions: Regions, evidence: Evidence, part: NDArray[np.int64]) -> bool:
    """Whether a part stays as it was while the piece is turned, so that it is none of it."""
    return _still(regions, evidence, part) < _STAYS


def _still(regions: Regions, evidence: Evidence, part: NDArray[np.int64]) -> float:
    area = regions.area_px[part]
    return float(area @ evidence.still[part]) / max(1.0, float(area.sum()))


def odds_blind_to_shade(regions: Regions, evidence: Evidence) -> Values:
    """Log odds of being the piece where a shadow on the table costs nothing, shape (n,).

    Parameters
    ----------
    regions : Regions
    evidence : Evidence
    """
    places = np.flatnonzero(evidence.fixed & (regions.card_share <= 0.5))
    chroma, light, _ = squared_differences(regions, places, evidence.spread, darker=0.0)
    unlike = evidence.unlike.copy()
    # Texture is told apart by light, too: it has no say here.
    far = apart(regions, places, _NEAR)
    unlike[:, :2] = np.log1p(nearest(chroma + light + far, _EVIDENCE))[:, None]
    return _odds(unlike) + evidence.still


def _odds(unlike: Values) -> Values:
    return np.asarray(unlike @ _PIECE[:-1] + _PIECE[-1])


def _margins(cards: Mask) -> Mask:
    height, width = cards.shape
    across, down = max(4, round(MARGIN_SHARE * width)), max(4, round(MARGIN_SHARE * height))
    margins = np.zeros(cards.shape, bool)
    margins[:, :across] = margins[:, -across:] = margins[:down] = True
    return margins & ~cards


def squared_differences(
    regions: Regions, examples: NDArray[np.int64], spread: Values, *, darker: float = 1.0
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Squared differences, in spreads, of all regions from some of them.

    Parameters
    ----------
    regions : Regions
    examples : ndarray of int, shape (k,)
    spread : ndarray of float, shape (5,)
    darker : float, optional
        Weight of being darker by no more than a shadow is, 0..1.

    Returns
    -------
    tuple of ndarray of float32, each shape (n, k)
        Of chromaticity, of light, and of texture.
    """
    look = (regions.look / spread).astype(np.float32)
    red, blue, light, grain, weave = (np.subtract.outer(row, row[examples]) for row in look.T)
    if darker < 1.0:
        within = np.clip(light, -SHADOW_DEPTH / float(spread[2]), 0.0)
        light = light - (1.0 - darker) * within
    return red**2 + blue**2, light**2, grain**2 + weave**2


def apart(
    regions: Regions, examples: NDArray[np.int64], near: tuple[float, float]
) -> NDArray[np.float32]:
    """Squared distance of all regions from some of them, shape (n, k).

    It is counted in `near`, shares of the photo across and down.
    """
    across, down = (
        np.subtract.outer(row, row[examples]) / np.float32(reach)
        for row, reach in zip(regions.place.astype(np.float32).T, near, strict=True)
    )
    return np.asarray(across**2 + down**2)


def nearest(squares: NDArray[np.floating], rank: int) -> Values:
    """Root of the smallest but `rank` of each row."""
    rank = min(rank, squares.shape[1] - 1)
    return np.sqrt(np.partition(squares, rank, axis=1)[:, rank]).astype(np.float64)


def _way_in(regions: Regions, seeds: Mask, spread: Values) -> Values:
    """Sum of the steps on the easiest way from the margin to each region."""
    strength = np.sqrt(((regions.step[:, :3] / spread[:3]) ** 2).sum(1))
    cost = np.maximum(0.0, strength - _NO_EDGE) + 0.02
    start = regions.count
    begins = np.flatnonzero(seeds)
    first, second = regions.pairs.T
    origin = np.full(len(begins), start)
    graph = sparse.csr_matrix(
        (
            np.concatenate([cost, cost, np.full(len(begins), 1e-6)]),
            (np.concatenate([first, second, origin]), np.concatenate([second, first, begins])),
        ),
        shape=(start + 1, start + 1),
    )
    way = csgraph.dijkstra(graph, directed=True, indices=start)[:start]
    return np.where(np.isfinite(way), way, 0.0)


def _edge_cost(regions: Regions, spread: Values, unlike: Values) -> Values:
    """Minus log of the probability that a border is the outline of a piece."""
    step = np.abs(regions.step)
    first, second = regions.pairs.T
    low = np.minimum(unlike[first], unlike[second])
    high = np.maximum(unlike[first], unlike[second])
    # An edge between two places that both differ from the surroundings lies within the piece.
    measures = np.stack(
        [
            np.log1p(np.hypot(step[:, 0] / spread[0], step[:, 1] / spread[1])),
            np.log1p(step[:, 2] / spread[2]),
            np.log1p(np.hypot(step[:, 3] / spread[3], step[:, 4] / spread[4])),
            np.log1p(100 * np.hypot(step[:, 0], step[:, 1])),
            np.log1p(40 * step[:, 2]),
            np.log1p(low),
            np.log1p(high),
        ],
        axis=1,
    )
    odds = measures @ _EDGE[:-1] + _EDGE[-1]
    return np.asarray(np.clip(np.logaddexp(0.0, -odds), 0.05, 8.0))
