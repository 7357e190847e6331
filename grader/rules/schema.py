"""What may stand in a rules file: every key, its kind, and what values are possible.

A check returns what is wrong with a value in plain words, or None.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from string import Formatter

from grader.findings import FAULT_NAMES, SIDES_IN_TURN
from grader.rules.model import ACTIONS

Check = Callable[[object], str | None]
Table = Mapping[str, "Check | Table"]

VIEWS = (*SIDES_IN_TURN, "inside", "foot", "top")
ANY_NAME = "*"
"""A key of `Table` that stands for any word of the studio's own."""


def number(low: float, high: float, unit: str = "") -> Check:
    """A number from `low` to `high`, both allowed."""

    def check(value: object) -> str | None:
        # bool is an int in Python; `true` in a file is no number.
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return f"must be a number{unit and f' of {unit}'}, not {_said(value)}"
        if not low <= value <= high:
            return f"must be from {low:g} to {high:g}{unit and f' {unit}'}, not {value:g}"
        return None

    return check


def whole(low: int, high: int) -> Check:
    """A whole number from `low` to `high`."""

    def check(value: object) -> str | None:
        if isinstance(value, bool) or not isinstance(value, int):
            return f"must be a whole number, not {_said(value)}"
        return None if low <= value <= high else f"must be from {low} to {high}, not {value}"

    return check


def flag(value: object) -> str | None:
    """True or false."""
    return None if isinstance(value, bool) else f"must be true or false, not {_said(value)}"


def words(value: object) -> str | None:
    """A text."""
    return None if isinstance(value, str) else f"must be a text in quotes, not {_said(value)}"


def sentence(value: object) -> str | None:
    """A text in which only ``{what}`` may be filled in."""
    wrong = words(value)
    if wrong:
        return wrong
    try:
        fields = {name for _, name, _, _ in Formatter().parse(str(value)) if name is not None}
    except ValueError:
        return "has a single { or }; write {{ or }} for the sign itself"
    unknown = sorted(fields - {"what"})
    return f"fills in {{{unknown[0]}}}; only {{what}} is known" if unknown else None


def one_of(*allowed: str) -> Check:
    """One of the given words."""

    def check(value: object) -> str | None:
        if value in allowed:
            return None
        return f"must be one of {', '.join(allowed)}, not {_said(value)}"

    return check


def some_of(*allowed: str) -> Check:
    """A list of the given words; a list of any words where none are given."""

    def check(value: object) -> str | None:
        if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
            return f"must be a list of texts, not {_said(value)}"
        strangers = [word for word in value if allowed and word not in allowed]
        if strangers:
            return f"holds {strangers[0]!r}, which is not one of {', '.join(allowed)}"
        return None

    return check


def _said(value: object) -> str:
    return "a table" if isinstance(value, dict) else repr(value)


_SHARE = number(0.0, 1.0)
# Generous bounds: they only catch slips such as centimetres for millimetres.
_MM = number(0.0, 1000.0, "mm")
_DE00 = number(0.0, 100.0, "dE00")
_ACTION = one_of(*ACTIONS)

_FAULT_CHANGES: dict[str, Check] = {
    "remark_below_de00": _DE00,
    "remark_below_mm": _MM,
    "marked_de00": _DE00,
    "marked_mm": _MM,
    "marked_area_mm2": number(0.0, 1e6, "mm2"),
    "marked_height_share": _SHARE,
    "marked_count": whole(1, 1000),
    "refire_most": whole(0, 1000),
    "slight": _ACTION,
    "marked": _ACTION,
    "safety": flag,
}
_WHERE: Table = {
    "use": some_of("food", "plant", "decor"),
    "zone": some_of("painted", "clay", "foot", "inside"),
    "view": some_of(*VIEWS),
    "finish": some_of("raw", "glazed", "coloured"),
    "sight": some_of("show", "hidden"),
    "longest_mm": _MM,
    **_FAULT_CHANGES,
}
_FAULT: Table = {
    "label": words,
    "plural": words,
    "cause": words,
    "remedy": words,
    "text": dict.fromkeys(ACTIONS, sentence),
    "where": {ANY_NAME: _WHERE},
    **_FAULT_CHANGES,
}

SCHEMA: Table = {
    "name": words,
    "views": {
        "required": some_of(*VIEWS),
        "advised": some_of(*VIEWS),
        "show": some_of(*VIEWS),
    },
    "photos": {"speck_mm": number(0.05, 10.0, "mm"), "floor_px": number(1.0, 50.0, "px")},
    "certainty": {"counts_from": _SHARE, "safety_from": _SHARE},
    "colour": {
        "widen_grey": number(1.0, 5.0),
        "widen_backdrop": number(1.0, 5.0),
        "widen_none": number(1.0, 5.0),
        "noise_de00": _DE00,
    },
    # A third refire is never allowed, whatever the studio's file says.
    "refire": {
        "most": whole(0, 2),
        "flat_forms": some_of(),
        "text": dict.fromkeys(("too_many", "spent", "spoiled"), sentence),
    },
    "use": {
        "food_forms": some_of(),
        "plant_forms": some_of(),
        "decor_forms": some_of(),
        "unknown": one_of("food", "plant", "decor"),
    },
    "seconds": {
        "slight": _SHARE,
        "marked": _SHARE,
        "several": _SHARE,
        "round_to": number(0.01, 1000.0),
    },
    "finish": {"coloured_judged": some_of(*FAULT_NAMES)},
    "faults": dict.fromkeys(FAULT_NAMES, _FAULT),
    "cautions": dict.fromkeys(
        (
            "unloading",
            "grinding",
            "kiln",
            "food",
            "crazing",
            "not_food",
            "flat",
            "dry",
            "again",
        ),
        words,
    ),
}
