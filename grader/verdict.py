"""What the rules say of a piece."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from grader.findings import FaultName, Finding

Grade = Literal["first", "refire", "second", "ungraded"]
Severity = Literal["slight", "marked"]

GRADES: tuple[Grade, ...] = ("first", "refire", "second", "ungraded")


@dataclass(frozen=True, slots=True)
class WeighedFinding:
    """A finding with the weight that the rules give it.

    Attributes
    ----------
    finding : Finding
    severity : {"slight", "marked"}
    rule : str
        Key of the rule that set the severity, for instance ``fault.scorch.marked_mm``.
    """

    finding: Finding
    severity: Severity
    rule: str


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
        At least one.
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
    """

    piece: str
    grade: Grade
    reasons: tuple[Reason, ...]
    cautions: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()
    weighed: tuple[WeighedFinding, ...] = ()
    price: float | None = None
    discard: bool = False
