"""Shadow, and table, that a cut took for a part of the piece.

Where another cut of the same photo leaves a part out, the part is held against the table and the
piece near it. A shadow has the chromaticity of the table and is darker than it; where table and
piece are too alike in chromaticity, and deep in shadow, it is as much darker as shadows are, far
darker than the piece and without a sharp edge to the table.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader import channels
from grader.outline.cut import SURE, cut
from grader.outline.likeness import like_table, spread_about
from grader.outline.parts import beyond_mirror, connected_parts, rim_of
from grader.outline.regions import Mask, Regions, Values, weighted_quantiles
from grader.outline.surroundings import (
    EDGE_COST,
    SHADOW_DEPTH,
    Evidence,
    changes,
    odds_blind_to_shade,
    stays,
)

_LEAST_SHARE, _BROAD, _MOST_SHARE = 0.004, 0.04, 0.15
_MOST_ONE_SIDED, _MOST_BLIND = 0.4, 0.5
"""Of the piece: smaller parts change no measurement, one that fades is told from noise, larger ones
are no shadow beside it, unless they lie on one side only, or a cut to which darkness is no
difference leaves them out."""

_BLIND = 0.03
"""Weight of a pixel's log odds in that cut: a shadow is large, and of one colour."""

_UPPER_ROWS = (0.1, 0.5)
"""Part of the height in which the axis of the piece is read: shadow lies lower."""

_LOW_ROWS, _LOW_FROM = 0.75, 0.6
"""Share of the height below which a shadow meets its piece, and below which most of it lies."""

_NEAR = 0.12
"""Reach (share of the photo) within which table and piece are taken for those beside the part."""

_FEWEST = 4
"""Regions of either from which a colour is known."""

_TELLS, _DOES_NOT_TELL = 0.85, 0.8
"""Share of the squared difference between table and piece that is no noise and no spread."""

_LIKE_TABLE = 0.2
"""So far beyond the middle between piece (-0.5) and table (0.5) a part is table."""

_OFF_TABLE = 0.22
"""Log-chromaticity by which what lies beyond the table, seen from the piece, is neither: shadow has
the colour of the table, or is tinted by the light that the piece throws, toward the piece. A milky
foot or white paint on red clay is paler than any table that it stands on."""

_OTHER_HUE = 0.25
"""Log-chromaticity by which a part that lies beyond the table, seen from the piece, differs from
the piece, even where that is painted: twice what warm and cool light make of one clay."""

_ITS_OWN, _AS_NEAR = 0.3, 0.5
"""Share of the piece that has the chromaticity of a part (nearer to it by the second than table
is): the foot below a painted band is of the clay above it, whatever lies beside it."""

_SINGLE, _LOW, _ON_CARD = 0.6, 0.6, 0.05
_SHADED, _NOT_PIECE = 0.25, -0.2
_SURELY_SINGLE, _NEARER, _TOLD = 0.8, 0.2, 0.4
"""A part of which the first share has no counterpart on the other side and the second lies as low
as shadows do, that borders on a card along the third share of its outline, is darker than the table
and has not just the colour of the piece: pots stand on the table and lean on nothing, so that it is
the shadow between the two. Away from cards it must be lone and low in the fourth share, nearer to
the table in colour, and the colours must be told apart."""

_LEAST_SHADE = 0.1
_DEEP_SHADE, _FAR_DARKER = 0.5, 1.0
"""Log light by which any shadow is darker than its table, a deep one is, and a deep one is darker
than the piece beside it."""

_SOFT, _BLURRED = 3.0, 2.2
"""Mean cost of a border that is no sharp edge (a chance of one in twenty), or hardly one (one in
nine); paint at the outline has a sharp one."""

_PENUMBRA = 0.55
"""Share of its darkness that a shadow gains from one region to the next at its border: so wide is a
penumbra even in low sun (0.4 to 0.5); across the outline of a piece two thirds and more change at
once."""

_FADES, _DARKER, _NO_EDGE = 0.25, 0.05, 0.1
"""Log light by which what fades all round into the table is darker than table and piece, and share
of its border up to which it has no edge at all. A piece ends on an edge, and what is painted on it
begins at one; the shadow on the table has neither."""


_WITNESSED = 0.02
"""Share of the piece from which a part that stays while the piece is turned is none of it, whatever
its colour."""


@dataclass(frozen=True, slots=True)
class _Part:
    """A part of a cut, as it compares with what lies near it.

    `like_table` is -0.5 where it looks like the piece and 0.5 like the table; `sure` the share of
    the difference between the two that is no noise; `of_piece` the share of the piece that has its
    colour; `off_piece` and `off_table` log-chromaticity, `over_table` and `over_piece` log light,
    `outer_cost` that of a pixel of its border and `outer_step` the log light between the regions
    that meet there, `with_edge` the share of its border, to the table or to the piece, that is an
    edge; `on_card` the share that is the outline of a card; `share` its size, `single` that of it
    which has no counterpart on the other side, and `low` that which lies low; `to_frame` whether it
    runs on to the margin; `changes` and `stays` whether it does so from side to side.
    """

    regions: NDArray[np.int64]
    of_piece: float
    like_table: float
    sure: float
    off_piece: float
    off_table: float
    over_table: float
    over_piece: float
    outer_cost: float
    outer_step: float
    with_edge: float
    on_card: float
    share: float
    single: float
    low: float
    to_frame: bool
    changes: bool
    stays: bool


def without_shadow(
    regions: Regions, evidence: Evidence, chosen: Mask, others: Sequence[Mask]
) -> Mask:
    """Take out of a cut what another cut leaves out and what is shadow.

    Parameters
    ----------
    regions : Regions
    evidence : Evidence
    chosen : ndarray of bool, shape (n,)
    others : sequence of ndarray of bool, each shape (n,)
        Other cuts of the same photo.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    out = chosen.copy()
    seen: set[bytes] = set()
    for part in _broad(regions, evidence, chosen):
        out[part.regions] = False
    chosen = out.copy()
    single = regions.share_of(beyond_mirror(chosen[regions.labels], _UPPER_ROWS))
    cuts = [(other, _MOST_SHARE) for other in others]
    cuts.append((chosen & ~_one_sided(regions, chosen, single > 0.5), _MOST_ONE_SIDED))
    for other, most in cuts:
        for part in _left_out(regions, evidence, chosen, other, seen, most, single):
            if _is_none_of_it(part):
                out[part.regions] = False
    return out


def _broad(regions: Regions, evidence: Evidence, chosen: Mask) -> Iterator[_Part]:
    """Shadows too large for other cuts to leave them out: of a flared bowl, or in low sun."""
    odds = odds_blind_to_shade(regions, evidence)
    blind = cut(regions, evidence, _BLIND * np.clip(odds, -SURE, SURE))
    single = np.zeros(regions.count)
    for part in _left_out(regions, evidence, chosen, blind, set(), _MOST_BLIND, single):
        large = part.share > _MOST_SHARE and part.over_table < -_SHADED
        # The outline of a piece would be sharp, whatever its colour.
        soft = part.outer_cost > _BLURRED and part.outer_step < _PENUMBRA * -part.over_table
        if large and soft and part.sure > _DOES_NOT_TELL and _is_none_of_it(part):
            yield part


def _one_sided(regions: Regions, chosen: Mask, single: Mask) -> Mask:
    """What is nearer to the table in colour and has no counterpart on the other side."""
    body = np.flatnonzero(chosen & ~single)
    table = _near(regions, body, np.flatnonzero(~chosen & (regions.card_share <= 0.5)))
    if min(len(body), len(table)) < _FEWEST:
        return np.zeros_like(chosen)
    piece, around = _look(regions, body)[:2], _look(regions, table)[:2]
    change = around - piece
    away = (regions.look[:, :2] - 0.5 * (piece + around)) @ change
    low = _lower(regions, chosen, _LOW_ROWS)
    nearer = chosen & single & (away > 0)
    out = np.zeros_like(chosen)
    # A handle may have the table's colour too, but does not reach down to it.
    for part in connected_parts(regions, nearer):
        out[part] = low[part].any()
    return out


def _lower(regions: Regions, chosen: Mask, share: float) -> Mask:
    """Regions below so much of the height of a cut."""
    rows = regions.place[chosen, 1]
    return np.asarray(regions.place[:, 1] > rows.min() + share * np.ptp(rows))


def _is_none_of_it(part: _Part) -> bool:
    if part.changes:
        return False
    if part.stays and part.share > _WITNESSED:
        return True
    if part.sure > _TELLS and part.like_table > 0.5 and part.off_table > _OFF_TABLE:
        return False
    if _lies_beside(part):
        return True
    if part.of_piece > _ITS_OWN:
        return False
    if part.to_frame and part.sure > _TELLS and part.like_table > _LIKE_TABLE:
        # No shadow, but a streak of the table that hangs on the piece.
        return True
    if not -SHADOW_DEPTH < part.over_table < -_LEAST_SHADE:
        return False
    if part.sure > _TELLS:
        return part.like_table > _LIKE_TABLE
    if part.like_table > 0.5 and part.off_piece > _OTHER_HUE and part.outer_cost > _BLURRED:
        return True
    if part.share > _BROAD and part.with_edge < _NO_EDGE and part.outer_cost > _SOFT:
        return part.over_table < -_FADES and part.over_piece < -_DARKER
    deep = part.over_table < -_DEEP_SHADE and part.over_piece < -_FAR_DARKER
    unknown = part.sure < _DOES_NOT_TELL and abs(part.like_table) < 0.5
    return deep and unknown and part.outer_cost > _SOFT


def _lies_beside(part: _Part) -> bool:
    """Whether a part has no counterpart, lies low and is no lighter than a shadow may be."""
    if part.over_table > -_SHADED or part.like_table < _NOT_PIECE:
        return False
    if part.on_card > _ON_CARD and part.single > _SINGLE and part.low > _LOW:
        return True
    lone = min(part.single, part.low) > _SURELY_SINGLE
    return lone and part.like_table > _NEARER and part.sure > _TOLD


def _left_out(
    regions: Regions,
    evidence: Evidence,
    chosen: Mask,
    other: Mask,
    seen: set[bytes],
    most_share: float,
    single: Values,
) -> Iterator[_Part]:
    """Parts of a cut that another leaves out, where table and piece beside them are known."""
    area = regions.area_px
    size = float(area[chosen].sum())
    table_at = np.flatnonzero(~chosen & (regions.card_share <= 0.5))
    low = _lower(regions, chosen, _LOW_FROM)
    for part in connected_parts(regions, chosen & ~other):
        own = float(area[part].sum())
        if not _LEAST_SHARE < own / size < most_share or part.tobytes() in seen:
            continue
        seen.add(part.tobytes())
        rim, beyond = rim_of(regions, part)
        outer = ~chosen[beyond]
        table = _near(regions, part, table_at)
        rest = chosen.copy()
        rest[part] = False
        piece = _near(regions, part, np.flatnonzero(rest))
        if not outer.any() or outer.all() or min(len(table), len(piece)) < _FEWEST:
            continue
        here, around, beside = (_look(regions, where) for where in (part, table, piece))
        chroma = regions.look[:, :2]
        spread = sum(
            spread_about(chroma[where], middle[:2])
            for where, middle in ((table, around), (piece, beside))
        )
        like, sure = like_table(here[:2], beside[:2], around[:2], spread)
        edges, length = evidence.edge_cost[rim], regions.border_px[rim]
        light = np.abs(regions.step[rim, 2])
        on_edge = length * (edges < EDGE_COST)
        away = np.hypot(*(chroma[rest] - here[:2]).T)
        close = away < _AS_NEAR * np.hypot(*(around[:2] - here[:2]))
        yield _Part(
            regions=part,
            of_piece=float(area[rest] @ close) / max(1.0, size - own),
            like_table=like,
            off_piece=float(np.hypot(*(here[:2] - beside[:2]))),
            off_table=float(np.hypot(*(here[:2] - around[:2]))),
            sure=sure,
            over_table=float(here[2] - around[2]),
            over_piece=float(here[2] - beside[2]),
            to_frame=bool((evidence.fixed[beyond] & (regions.card_share[beyond] <= 0.5)).any()),
            outer_cost=float(edges[outer] @ length[outer]) / float(length[outer].sum()),
            outer_step=float(weighted_quantiles(light[outer], length[outer], (0.5,))[0]),
            with_edge=max(
                float(on_edge[to].sum()) / max(1.0, float(length[to].sum()))
                for to in (outer, ~outer)
            ),
            on_card=float(length[regions.card_share[beyond] > 0.5].sum()) / float(length.sum()),
            share=own / size,
            single=float(area[part] @ single[part]) / own,
            low=float(area[part] @ low[part]) / own,
            changes=changes(regions, evidence, part),
            stays=stays(regions, evidence, part),
        )


def _near(
    regions: Regions, part: NDArray[np.int64], candidates: NDArray[np.int64]
) -> NDArray[np.int64]:
    apart = channels.largest(np.abs(regions.place[candidates][:, None] - regions.place[part][None]))
    return candidates[apart.min(1, initial=np.inf) < _NEAR]


def _look(regions: Regions, where: NDArray[np.int64]) -> Values:
    """Median over the pixels of log(R/G), log(B/G) and log light, shape (3,)."""
    look, area = regions.look[where, :3], regions.area_px[where]
    return np.concatenate([weighted_quantiles(each, area, (0.5,)) for each in look.T])
