"""What the rules say of a piece, and of the whole batch."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from grader.facts import PieceFacts
from grader.findings import FaultName, Finding, PieceSurvey

Grade = Literal["first", "refire", "second", "ungraded"]
Severity = Literal["slight", "marked"]
Weight = Literal["counts", "look", "remark", "normal"]

GRADES: tuple[Grade, ...] = ("first", "refire", "second", "ungraded")


@dataclass(frozen=True, slots=True)
class WeighedFinding:
    """A finding with the weight that the rules give it.

    Attributes
    ----------
    finding : Finding
    severity : {"slight", "marked"}
    rule : str
        Key of the rule that set the severity, for instance ``faults.scorch.marked_de00``.
    weight : {"counts", "look", "remark", "normal"}
        ``counts``: it had a say in the grade. ``look``: too uncertain to have one, the maker
        should look. ``remark``: real, but below what the rules call a fault. ``normal``: what
        this finish does by itself, so it is no finding of the result.
    """

    finding: Finding
    severity: Severity
    rule: str
    weight: Weight = "counts"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a grade was given: the rule that spoke, and the sentence for the maker.

    Attributes
    ----------
    fault : str or None
        The fault, or None where the reason is not a fault (a view missing, nothing found).
    rule : str
        Key of the rule in the rules file.
    text : str
    """

    fault: FaultName | None
    rule: str
    text: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """The proposed grade of one piece; the maker has the last word.

    Attributes
    ----------
    piece : str
    grade : {"first", "refire", "second", "ungraded"}
    reasons : tuple of Reason
        At least one; the weightiest first.
    cautions : tuple of str
        Safety first: food use, sharp edges, dust.
    remedies : tuple of str
        For a refire: what to touch up, and how to fire. Empty otherwise.
    weighed : tuple of WeighedFinding
        Every finding of the survey with its severity.
    price : float or None
        Suggested price of a second, from the price in the facts; None without one.
    discard : bool
        True where the piece should not be sold at all, not even as a second.
    decor_only : bool
        True where a second may be sold as decoration only, never for food or drink.
    """

    piece: str
    grade: Grade
    reasons: tuple[Reason, ...]
    cautions: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()
    weighed: tuple[WeighedFinding, ...] = ()
    price: float | None = None
    discard: bool = False
    decor_only: bool = False


@dataclass(frozen=True, slots=True)
class GradedPiece:
    """All that is known of one piece once the rules have spoken.

    Attributes
    ----------
    facts : PieceFacts
    survey : PieceSurvey
    verdict : Verdict
    refires_done : int
        How often the piece was refired before.
    """

    facts: PieceFacts
    survey: PieceSurvey
    verdict: Verdict
    refires_done: int = 0


@dataclass(frozen=True, slots=True)
class GradedBatch:
    """One unloaded batch, graded.

    Attributes
    ----------
    folder : Path
        Where the photos are; photo names are paths within it.
    pieces : tuple of GradedPiece
        In the order of the batch.
    rules_name : str
        Name and version of the rules that graded it.
    notes : tuple of str
        What was found wrong with the batch as a whole, in plain words.
    name : str
        What it is called in headings; empty where only its folder has a name.
    """

    folder: Path
    pieces: tuple[GradedPiece, ...]
    rules_name: str
    notes: tuple[str, ...] = ()
    name: str = ""

    def of_grade(self, grade: Grade) -> tuple[GradedPiece, ...]:
        """Pieces of one grade, in the order of the batch."""
        return tuple(piece for piece in self.pieces if piece.verdict.grade == grade)

    @property
    def complete(self) -> bool:
        """Whether every photo could be used and every piece graded."""
        return all(
            piece.verdict.grade != "ungraded" and all(p.usable for p in piece.survey.photos)
            for piece in self.pieces
        )
