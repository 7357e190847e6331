"""What holding sisters against each other gives: notes for the maker, and new certainties."""

from __future__ import annotations

from dataclasses import dataclass

from grader.findings import FaultName, MateNote

FindingKey = tuple[str, FaultName, str, tuple[int, int, int, int]]
"""Piece, fault, photo and bbox_px: together they tell a finding."""

LEAST_SISTERS = 4
"""With three sisters the piece under test is the odd one out in one of four by chance alone."""


@dataclass(frozen=True, slots=True)
class Adjustment:
    """A new certainty for one finding.

    Attributes
    ----------
    piece, fault, photo : str
    bbox_px : tuple of int
        These four tell the finding.
    certainty : float
        0..1; at 0 the finding is to be dropped.
    why : str
        A sentence to add to the finding's own.
    """

    piece: str
    fault: FaultName
    photo: str
    bbox_px: tuple[int, int, int, int]
    certainty: float
    why: str


@dataclass(frozen=True, slots=True)
class MateReport:
    """What holding the sisters against each other gave."""

    notes: tuple[MateNote, ...] = ()
    adjustments: tuple[Adjustment, ...] = ()


_WORDS = {4: "four", 5: "five", 6: "six", 7: "seven", 8: "eight", 9: "nine", 10: "ten"}


def sisters_in_words(number: int) -> str:
    """A number of sisters, small ones as a word."""
    return _WORDS.get(number, str(number))
