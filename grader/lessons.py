"""What a batch teaches: which faults came, and whether they keep to a clay, a shelf, a glaze.

One load is small. Whatever stands out is to be watched; it is called a likely cause only when
it holds after correction for everything that was compared, and in two firings.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from grader.facts import PieceFacts
from grader.findings import FAULT_NAMES, FaultName
from grader.proportions import fisher_mid_p, holm, shrunk, wilson
from grader.verdict import GradedPiece

Standing = Literal["watch", "likely cause"]

# What is compared, and how it is said of a piece.
_FACTORS = {
    "clay": "of {} clay",
    "painted_on": "painted on {}",
    "glaze": "under the glaze {}",
    "shelf": "on the shelf {}",
    "place": "at the place {}",
    "form": "of the form {}",
    "design": "of the design {}",
}

# With two pieces on either side, not even 2 of 2 against 0 of 2 says anything (mid-p 0.25).
_LEAST_PIECES = 3

# The usual level; it is corrected for the number of comparisons before "cause" is said.
_LEVEL = 0.05

_FIRINGS_FOR_A_CAUSE = 2


@dataclass(frozen=True, slots=True)
class FaultRate:
    """How often one fault came, among the pieces that could have it.

    Attributes
    ----------
    fault : str
    hits, total : int
        Pieces with it, and pieces that could have it.
    low, high : float
        95 % Wilson interval of the share, 0..1.
    """

    fault: FaultName
    hits: int
    total: int
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Pattern:
    """A fault that keeps to one group of pieces more than chance would have it.

    Attributes
    ----------
    fault : str
    factor, level : str
        For instance ``shelf`` and ``top``.
    hits, total, other_hits, other_total : int
        Pieces with the fault and pieces, within the group and outside it.
    mid_p, corrected_p : float
        Fisher's exact mid-p, and the same after Holm over all comparisons of the batch.
    likely_share : float
        Share within the group, drawn toward the overall one; 0..1.
    firings : int
        Firings in which the group had the larger share.
    standing : {"watch", "likely cause"}
    """

    fault: FaultName
    factor: str
    level: str
    hits: int
    total: int
    other_hits: int
    other_total: int
    mid_p: float
    corrected_p: float
    likely_share: float
    firings: int
    standing: Standing

    @property
    def where(self) -> str:
        """The group in words, for instance ``on the shelf top``."""
        return _FACTORS[self.factor].format(self.level)


@dataclass(frozen=True, slots=True)
class Lessons:
    """What a batch teaches.

    Attributes
    ----------
    rates : tuple of FaultRate
        Faults that came, the most frequent first.
    patterns : tuple of Pattern
        The least likely to be chance first; empty where nothing stands out.
    compared : int
        How many comparisons were made.
    pieces : int
        Pieces that were graded.
    too_small : bool
        True where even a share of 30 % against one of 10 % could not be told apart.
    """

    rates: tuple[FaultRate, ...]
    patterns: tuple[Pattern, ...]
    compared: int
    pieces: int
    too_small: bool


def learn(pieces: Iterable[GradedPiece]) -> Lessons:
    """Look for patterns among graded pieces.

    Parameters
    ----------
    pieces : iterable of GradedPiece
        Of one batch or of several; ungraded ones are left out.

    Returns
    -------
    Lessons
    """
    graded = [piece for piece in pieces if piece.verdict.grade != "ungraded"]
    seen = [(piece.facts, _faults_of(piece)) for piece in graded]
    rates = [rate for fault in FAULT_NAMES if (rate := _rate(fault, seen)).hits]
    found = [
        pattern
        for rate in rates
        for factor in _FACTORS
        for pattern in _compare(rate.fault, factor, seen)
    ]
    corrected = holm([one.mid_p for one in found])
    patterns = [
        _settled(one, value)
        for one, value in zip(found, corrected, strict=True)
        if one.mid_p < _LEVEL and one.hits * one.other_total > one.other_hits * one.total
    ]
    return Lessons(
        rates=tuple(sorted(rates, key=lambda rate: -rate.hits)),
        patterns=tuple(sorted(patterns, key=lambda one: one.mid_p)),
        compared=len(found),
        pieces=len(graded),
        too_small=_too_small(len(graded)),
    )


Seen = Sequence[tuple[PieceFacts, frozenset[FaultName]]]


def _faults_of(piece: GradedPiece) -> frozenset[FaultName]:
    return frozenset(one.finding.fault for one in piece.verdict.weighed if one.weight == "counts")


def _can_have(fault: FaultName, facts: PieceFacts) -> bool:
    """Whether a piece can have the fault at all; where nobody said, it can."""
    if fault in ("flake", "streak"):
        return facts.decorated is not False
    if fault in ("scorch", "one_sided_browning"):
        return facts.finish in ("raw", None)
    if fault in ("pool_tint", "pit", "crawl"):
        return facts.finish != "raw"
    return True


def _rate(fault: FaultName, seen: Seen) -> FaultRate:
    with_it = [
        fault in faults for facts, faults in seen if _can_have(fault, facts) or fault in faults
    ]
    hits, total = sum(with_it), len(with_it)
    low, high = wilson(hits, total) if total else (0.0, 1.0)
    return FaultRate(fault, hits, total, low, high)


def _compare(fault: FaultName, factor: str, seen: Seen) -> list[Pattern]:
    """Each level of a factor against all others of which the level is known."""
    cases = [
        (level, facts.firing, fault in faults)
        for facts, faults in seen
        if (level := str(getattr(facts, factor) or "")) and _can_have(fault, facts)
    ]
    overall = sum(hit for _, _, hit in cases) / len(cases) if cases else 0.0
    levels = dict.fromkeys(level for level, _, _ in cases)
    patterns = []
    for level in levels:
        inside = [(firing, hit) for one, firing, hit in cases if one == level]
        outside = [(firing, hit) for one, firing, hit in cases if one != level]
        if min(len(inside), len(outside)) < _LEAST_PIECES:
            continue
        hits, other_hits = (sum(hit for _, hit in side) for side in (inside, outside))
        if len(levels) == 2 and hits * len(outside) < other_hits * len(inside):
            continue  # with two levels the other one makes the same comparison
        patterns.append(
            Pattern(
                fault=fault,
                factor=factor,
                level=level,
                hits=hits,
                total=len(inside),
                other_hits=other_hits,
                other_total=len(outside),
                mid_p=fisher_mid_p(hits, len(inside), other_hits, len(outside)),
                corrected_p=1.0,
                likely_share=shrunk(hits, len(inside), overall),
                firings=_firings_with_it(inside, outside),
                standing="watch",
            )
        )
    return patterns


def _firings_with_it(inside: list[tuple[str, bool]], outside: list[tuple[str, bool]]) -> int:
    """Firings in which the group had the fault, and a larger share of it than the others."""
    shares: dict[str, list[list[bool]]] = defaultdict(lambda: [[], []])
    for number, side in enumerate((inside, outside)):
        for firing, hit in side:
            if firing:
                shares[firing][number].append(hit)
    return sum(
        bool(ours and others) and sum(ours) * len(others) > sum(others) * len(ours)
        for ours, others in shares.values()
    )


def _settled(pattern: Pattern, corrected: float) -> Pattern:
    sure = corrected < _LEVEL and pattern.firings >= _FIRINGS_FOR_A_CAUSE
    standing: Standing = "likely cause" if sure else "watch"
    return replace(pattern, corrected_p=corrected, standing=standing)


def _too_small(pieces: int) -> bool:
    half = pieces // 2
    if half < _LEAST_PIECES:
        return True
    return fisher_mid_p(round(0.3 * half), half, round(0.1 * half), half) >= _LEVEL
