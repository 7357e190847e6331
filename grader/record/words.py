"""Facts as the record keeps them: words under a name, and back again as `PieceFacts`."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, get_args

from grader.errors import FactsError
from grader.facts import Finish, PieceFacts, Use, refires_of

ROUND_NAMES = frozenset(
    {"firing", "shelf", "place", "ring", "side", "kiln_height", "neighbours", "done", "refires"}
)
"""Facts of one firing of a piece, not of the piece: where it stood, what was done to it before
it went in (``done``, for a refire), and how often it had been fired again by then (``refires``,
where the record itself does not know of all of them)."""

SURVEY_NAMES = ("decorated", "finish", "height_mm", "painted_on")
"""Facts that the image analysis uses: a change of one of them calls for a new look."""

_LONGEST_NAME = 60
"""Letters of a column's heading; more is a sentence that slipped into the wrong cell."""

_FREE = ("design", "form", "clay", "glaze", "shelf", "place", "firing")
_NUMBERS = ("height_mm", "price")
_CHOICES: Mapping[str, tuple[str, ...]] = {
    "finish": get_args(Finish),
    "use": get_args(Use),
    "painted_on": ("greenware", "bisque"),
}
_YES_NO = {"yes": True, "no": False}

KNOWN_NAMES = (
    "design",
    "form",
    "clay",
    "finish",
    "decorated",
    "painted_on",
    "glaze",
    "use",
    "height_mm",
    "price",
    "firing",
    "shelf",
    "place",
    "ring",
    "side",
    "kiln_height",
    "neighbours",
    "done",
    "refires",
)
"""Names with a meaning, in the order in which tables show them. Others are kept as they stand."""


def words_of(facts: PieceFacts) -> dict[str, str]:
    """Return what is known of a piece as name and words, leaving out what nobody said."""
    words = {name: getattr(facts, name) for name in _FREE}
    words |= {name: getattr(facts, name) or "" for name in _CHOICES}
    if facts.decorated is not None:
        words["decorated"] = "yes" if facts.decorated else "no"
    for name in _NUMBERS:
        number = getattr(facts, name)
        words[name] = "" if number is None else number_words(number)
    words["refires"] = "" if facts.refires is None else str(facts.refires)
    for heading, value in facts.others.items():
        name = heading.strip().casefold().replace(" ", "_")
        words[name if name in ROUND_NAMES else heading] = value
    return {name: str(value) for name, value in words.items() if str(value)}


def facts_of(code: str, words: Mapping[str, str]) -> PieceFacts:
    """Return words as typed facts.

    Raises
    ------
    FactsError
        A word that its name does not take.
    """
    taken: dict[str, Any] = {}
    others: dict[str, str] = {}
    for name, value in words.items():
        if not value:
            continue
        if name in _FREE:
            taken[name] = value
        elif name in (*_CHOICES, *_NUMBERS, "decorated", "refires"):
            taken[name] = _typed(name, value)
        else:
            others[name] = value
    return PieceFacts(piece=code, others=others, **taken)


def checked_word(name: str, value: str) -> str:
    """Return a value as it is kept, or refuse it.

    Raises
    ------
    FactsError
    """
    value = " ".join(value.split())
    if not name.strip() or "=" in name or not name.isprintable() or len(name) > _LONGEST_NAME:
        raise FactsError(
            f"{name!r} is no name for a fact", remedy="Use a short word, for instance height_mm"
        )
    if not value:
        return ""
    typed = _typed(name, value)
    if isinstance(typed, bool):
        return "yes" if typed else "no"
    return number_words(typed) if isinstance(typed, float) else str(typed)


def number_words(number: float) -> str:
    """Return the shortest words that read back as the same number, without a needless ``.0``."""
    return repr(float(number)).removesuffix(".0")


def _typed(name: str, value: str) -> str | float | bool:
    if name == "refires":
        return refires_of(value, name)
    if name in _NUMBERS:
        try:
            number = float(value.replace(",", "."))
        except ValueError:
            number = math.nan
        if not math.isfinite(number) or number < 0 or (name == "height_mm" and number == 0):
            raise FactsError(
                f"{value!r} is no {'height in mm' if name == 'height_mm' else 'price'}",
                where=name,
                remedy="Write a plain number, for instance 92.5",
            )
        return number
    if name == "decorated":
        if value.lower() not in _YES_NO:
            raise FactsError(
                f"{value!r} is neither yes nor no", where=name, remedy="Write yes or no"
            )
        return _YES_NO[value.lower()]
    if name in _CHOICES:
        if value.lower() not in _CHOICES[name]:
            raise FactsError(
                f"{value!r} is not known",
                where=name,
                remedy=f"Write {' or '.join(_CHOICES[name])}",
            )
        return value.lower()
    return value
