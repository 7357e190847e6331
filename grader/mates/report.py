"""What holding sisters against each other gives: notes for the maker, and new certainties."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from grader.findings import FaultName

FindingKey = tuple[str, FaultName, str, tuple[int, int, int, int]]
"""Piece, fault, photo and bbox_px: together they tell a finding."""

LEAST_SISTERS = 4
"""With three sisters the piece under test is the odd one out in one of four by chance alone."""

Kind = Literal[
    "browner", "paler", "shade", "one_sided", "paint", "painted_share", "painted_place", "shared"
]


@dataclass(frozen=True, slots=True)
class MateNote:
    """How a piece differs from its sisters, or what it has in common with them.

    Attributes
    ----------
    piece : str
    kind : str
        ``browner``, ``paler``, ``shade`` (a coloured glaze), ``one_sided``, ``paint``,
        ``painted_share``, ``painted_place``, ``shared`` (a flag that all sisters have).
    text : str
        A sentence for the maker.
    shift_de00 : float or None
        Against the median of the sisters.
    sisters : int
        How many it was held against; 0 for a reference piece alone.
    sure : bool
        False where it is only something to watch.
    """

    piece: str
    kind: Kind
    text: str
    shift_de00: float | None
    sisters: int
    sure: bool


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
