"""The rules as typed values, once they are read and found sound."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from grader.facts import Use
from grader.findings import FaultName

Action = Literal["first", "refire", "second", "decor", "discard"]

ACTIONS: tuple[Action, ...] = ("first", "refire", "second", "decor", "discard")
"""What can be done with a fault, from the mildest to the hardest."""

LIMIT_KEYS = (
    "remark_below_de00",
    "remark_below_mm",
    "marked_de00",
    "marked_mm",
    "marked_area_mm2",
    "marked_height_share",
    "marked_count",
    "refire_most",
)
"""Numbers of a fault's table that an exception may replace."""


@dataclass(frozen=True, slots=True)
class Where:
    """One `where` table: where it holds, and what it changes there.

    Attributes
    ----------
    name : str
        The studio's own word for it.
    use, zone, view, finish, sight : frozenset of str
        Empty where it does not matter.
    longest_mm : float or None
        Holds for places up to this length only.
    changes : mapping of str to object
        Keys of the fault's table with other values.
    """

    name: str
    use: frozenset[str]
    zone: frozenset[str]
    view: frozenset[str]
    finish: frozenset[str]
    sight: frozenset[str]
    longest_mm: float | None
    changes: Mapping[str, object]

    @property
    def conditions(self) -> int:
        """How many conditions it has; the more, the more it says about the case at hand."""
        named = (self.use, self.zone, self.view, self.finish, self.sight)
        return sum(bool(words) for words in named) + (self.longest_mm is not None)


@dataclass(frozen=True, slots=True)
class FaultRule:
    """What the rules say of one fault.

    Attributes
    ----------
    label, plural : str
        The fault in the maker's words.
    limits : mapping of str to float
        Those of `LIMIT_KEYS` that are set.
    slight, marked : str
        One of `ACTIONS`.
    safety : bool
        True where even an uncertain finding counts.
    cause, remedy : str
    text : mapping of str to str
        A sentence for each action, with ``{what}``.
    exceptions : tuple of Where
        From the least to the most particular.
    """

    label: str
    plural: str
    limits: Mapping[str, float]
    slight: Action
    marked: Action
    safety: bool
    cause: str
    remedy: str
    text: Mapping[str, str]
    exceptions: tuple[Where, ...]


@dataclass(frozen=True, slots=True)
class Rules:
    """A whole rules file. Attributes are as in ``default.toml``, table and key joined by ``_``.

    Attributes
    ----------
    name : str
    version : str
        Short digest of every value: the same rules always have the same one.
    required, advised, show : tuple of str
        Views; see ``[views]``.
    speck_mm, floor_px : float
    counts_from, safety_from : float
        Certainties, 0..1.
    widen : mapping
        Factor for `remark_below_de00` by what the colours were corrected with.
    noise_de00 : float
    most_refires : int
    flat_forms : tuple of str
    refire_text : mapping of str to str
        Sentences for ``too_many``, ``spent`` and ``spoiled``.
    forms : mapping of use to words
    unknown_use : str
    price_slight, price_marked, price_several : float
        Shares of the full price, 0..1.
    round_to : float
        In the studio's currency.
    coloured_judged : tuple of str
    faults : mapping of fault to FaultRule
    cautions : mapping of str to str
    """

    name: str
    version: str
    required: tuple[str, ...]
    advised: tuple[str, ...]
    show: tuple[str, ...]
    speck_mm: float
    floor_px: float
    counts_from: float
    safety_from: float
    widen: Mapping[str | None, float]
    noise_de00: float
    most_refires: int
    flat_forms: tuple[str, ...]
    refire_text: Mapping[str, str]
    forms: Mapping[Use, tuple[str, ...]]
    unknown_use: Use
    price_slight: float
    price_marked: float
    price_several: float
    round_to: float
    coloured_judged: tuple[str, ...]
    faults: Mapping[FaultName, FaultRule]
    cautions: Mapping[str, str]

    @property
    def title(self) -> str:
        """Name and version, as results and lists quote them."""
        return f"{self.name} ({self.version})"
