"""What refiring has really mended in this studio, per fault and remedy."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from grader.record.studio import Studio

AS_ADVISED = "as advised"
"""Remedy of a refire where the maker did not say what was done (the fact ``done``)."""


@dataclass(frozen=True, slots=True)
class MendedFigure:
    """What refiring did to one fault by one remedy, counted in pieces.

    One piece counts once for each fault, however many places it had: places of one piece mend or
    stay together, so that counting them one by one would claim more than is known.

    Attributes
    ----------
    fault, remedy : str
    pieces : int
        Refired with this fault and seen again.
    healed : int
        All places of the fault gone.
    better : int
        Some gone, none worse.
    unchanged : int
    worse : int
        Any place worse.
    """

    fault: str
    remedy: str
    pieces: int
    healed: int
    better: int
    unchanged: int
    worse: int

    @property
    def healed_range(self) -> tuple[float, float]:
        """95 % Wilson interval of the share healed, 0..1."""
        from grader.proportions import wilson  # scipy behind it takes a while to load

        return wilson(self.healed, self.pieces)

    @property
    def text(self) -> str:
        """The figure as advice quotes it."""
        fault = self.fault.replace("_", " ")
        how = "" if self.remedy == AS_ADVISED else f" after “{self.remedy}”"
        said = f"In your own record, {self.healed} of {self.pieces} with {fault} healed{how}"
        low, high = self.healed_range
        if self.pieces < _ENOUGH:
            return f"{said}: too few to count on yet."
        return f"{said} (the true share may lie anywhere from {low:.0%} to {high:.0%})."


_ENOUGH = 10
"""Pieces below which a share says next to nothing: 5 of 9 may be anything from 27 to 81 %."""


def mended_figures(studio: Studio) -> tuple[MendedFigure, ...]:
    """Count what refiring did in this studio, for each fault and remedy.

    Places that no photo showed again are left out; a fault that is new after the refire is in
    `new_after_refire`.
    """
    with studio.reading() as db:
        rows = db.execute(
            "SELECT round_id, state, fault, coalesce((SELECT value FROM now_facts "
            "  WHERE now_facts.round_id = comparisons.round_id AND name = 'done' "
            "  AND value <> '' LIMIT 1), ?) "
            "FROM marks JOIN comparisons ON comparisons.id = comparison_id "
            "WHERE comparison_id IN (SELECT max(id) FROM comparisons GROUP BY round_id) "
            "AND state IN ('healed', 'unchanged', 'worse')",
            (AS_ADVISED,),
        ).fetchall()
    pieces: dict[tuple[int, str, str], list[str]] = defaultdict(list)
    for round_id, state, fault, remedy in rows:
        pieces[round_id, fault, remedy].append(state)
    counted: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for (_, fault, remedy), states in pieces.items():
        counted[fault, remedy][_of_piece(states)] += 1
    return tuple(
        MendedFigure(
            fault,
            remedy,
            count.total(),
            count["healed"],
            count["better"],
            count["unchanged"],
            count["worse"],
        )
        for (fault, remedy), count in sorted(counted.items())
    )


def new_after_refire(studio: Studio) -> tuple[int, int]:
    """Return how many refired pieces came out with a fault that was not there, and of how many."""
    with studio.reading() as db:
        hit, trials = db.execute(
            "SELECT coalesce(sum(EXISTS (SELECT 1 FROM marks WHERE comparison_id = last.id "
            "AND state = 'new')), 0), count(*) "
            "FROM (SELECT max(id) AS id FROM comparisons GROUP BY round_id) AS last"
        ).fetchone()
    return int(hit), int(trials)


def own_advice(figures: Iterable[MendedFigure], faults: Iterable[str]) -> tuple[str, ...]:
    """Return the studio's own figures for some faults, as sentences beside the advice."""
    wanted = set(faults)
    return tuple(each.text for each in figures if each.fault in wanted)


def _of_piece(states: list[str]) -> str:
    if "worse" in states:
        return "worse"
    if all(state == "healed" for state in states):
        return "healed"
    return "better" if "healed" in states else "unchanged"
