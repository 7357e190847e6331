"""The keys of the bench: one table, from which the page acts, the help shows and the docs speak.

``c`` and ``r`` are left alone, since the page's framework takes them for itself. Digits give the
grades in the order of the shelf: first is 1, second is 2, and the kiln once more is 3.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Place = Literal["finding", "piece", "photo", "always"]


@dataclass(frozen=True, slots=True)
class Key:
    """One thing that the keyboard does on the bench.

    Attributes
    ----------
    act : str
        Stable short name.
    keys : tuple of str
        As browsers name them in ``KeyboardEvent.key``, lower case letters.
    label : str
        What it does, in the maker's words.
    place : {"finding", "piece", "photo", "always"}
        What it acts on; the help is ordered by it.
    """

    act: str
    keys: tuple[str, ...]
    label: str
    place: Place


KEYS: tuple[Key, ...] = (
    Key("next_finding", ("n", "ArrowDown"), "next place", "finding"),
    Key("previous_finding", ("b", "ArrowUp"), "place before", "finding"),
    Key("right", ("a",), "agree: it is a fault (Shift: all of its kind here)", "finding"),
    Key("wrong", ("w",), "wrong: nothing there (Shift: all)", "finding"),
    Key("drawing", ("d",), "it is the drawing (Shift: all)", "finding"),
    Key("missed", ("m",), "mark a missed place", "photo"),
    Key("zoom", ("z",), "close to the place, or all of the piece", "photo"),
    Key("closer", ("+", "="), "closer", "photo"),
    Key("farther", ("-",), "farther away", "photo"),
    Key("next_view", ("v",), "next view", "photo"),
    Key("outlines", ("o",), "outlines off or on", "photo"),
    Key("pattern", ("p",), "beside the reference piece", "photo"),
    Key("accept", ("Enter",), "agree with the proposed grade", "piece"),
    Key("first", ("1",), "first", "piece"),
    Key("second", ("2",), "second", "piece"),
    Key("refire", ("3",), "refire", "piece"),
    Key("next_piece", ("ArrowRight",), "next piece", "piece"),
    Key("previous_piece", ("ArrowLeft",), "piece before", "piece"),
    Key("undo", ("u",), "take back what was said last", "always"),
    Key("help", ("?", "h"), "these keys", "always"),
)


def key_table() -> list[dict[str, object]]:
    """Return the keys as plain values for the page."""
    return [
        {"act": key.act, "keys": list(key.keys), "label": key.label, "place": key.place}
        for key in KEYS
    ]
