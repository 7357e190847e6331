"""What was said of a piece, one event after the other, and what holds when all is said.

Events are only ever added. To undo is to add an event that takes the force from an earlier one;
to undo that gives the force back. An event that was said without having seen a contrary one is
*held*: it is kept and shown, but has no force.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal, cast, get_args

from grader.record.clock import stamp
from grader.verdict import Grade

Kind = Literal[
    "proposed",  # the rules spoke
    "accept",  # the maker agrees with the proposed grade
    "overrule",  # the maker gives another grade
    "right",  # this finding is a fault
    "wrong",  # there is nothing there
    "drawing",  # this spot belongs to the drawing
    "missed",  # a fault that the analysis missed, drawn by hand
    "mended",  # what the refire did to an old finding
    "price",
    "sold",
    "given",
    "broken",
    "kept",  # back in the studio: neither sold nor given
    "reference",  # show this piece as what a good one of its design looks like
    "note",
    "undo",
]
KINDS: tuple[Kind, ...] = get_args(Kind)

JUDGEMENTS = frozenset({"right", "wrong", "drawing", "missed"})
FATES = ("sold", "given", "broken", "kept")


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that was said.

    Attributes
    ----------
    id : int
        Later events have higher ids, over all pieces.
    piece_id, round_id : int
    kind : str
        One of `KINDS`.
    subject : str
        What it is about; of several events with one subject the last one holds. Empty for a note.
    value, reason : str
    finding_id, verdict_id, undoes : int or None
    seen_id : int
        The last event that was known where this one was said.
    held : bool
        True where it has no force, since it contradicts one that was not known.
    window : str
        Where it was said.
    said_at : str
    """

    id: int
    piece_id: int
    round_id: int
    kind: Kind
    subject: str
    value: str
    reason: str
    finding_id: int | None
    verdict_id: int | None
    undoes: int | None
    seen_id: int
    held: bool
    window: str
    said_at: str


@dataclass(frozen=True, slots=True)
class Standing:
    """What holds of one firing of a piece, when all is said.

    Attributes
    ----------
    grade : str or None
        The maker's, None while undecided.
    reason : str
        The maker's, for the grade.
    grade_event : Event or None
        The one that decided.
    judged : dict of int to str
        From a place (`StoredFinding.place_id`) to ``right``, ``wrong`` or ``drawing``.
    by_hand : tuple of int
        Ids of findings that the maker added, in order.
    mended : dict of int to str
        From a place before the refire to what the maker says of it.
    fate : str
        ``sold``, ``given``, ``broken`` or empty.
    price : float or None
        Asked or got, as the maker said.
    reference : bool
    notes : tuple of str
    """

    grade: Grade | None = None
    reason: str = ""
    grade_event: Event | None = None
    judged: dict[int, str] = field(default_factory=dict)
    by_hand: tuple[int, ...] = ()
    mended: dict[int, str] = field(default_factory=dict)
    fate: str = ""
    price: float | None = None
    reference: bool = False
    notes: tuple[str, ...] = ()


def in_force(events: Iterable[Event]) -> list[Event]:
    """Return the events that count, oldest first: not held, not undone."""
    undone: set[int] = set()
    kept: list[Event] = []
    # Newest first: whether an event is undone depends on later ones only.
    for event in sorted(events, key=lambda each: each.id, reverse=True):
        if event.held or event.id in undone:
            continue
        if event.kind == "undo" and event.undoes is not None:
            undone.add(event.undoes)
        kept.append(event)
    return kept[::-1]


def standing(events: Iterable[Event], round_id: int) -> Standing:
    """Work out what holds for one firing of a piece.

    Parameters
    ----------
    events : iterable of Event
        All of one piece.
    round_id : int
        Grades and judgements of other firings do not count; price and fate are the piece's.
    """
    last: dict[str, Event] = {}
    here: dict[str, Event] = {}
    notes: list[str] = []
    for event in in_force(events):
        if event.kind == "note":
            notes.append(event.value)
        elif event.subject and event.kind not in ("undo", "proposed"):
            last[event.subject] = event
            if event.round_id == round_id:
                here[event.subject] = event
    grade = here.get("grade")
    fate, price, reference = last.get("fate"), last.get("price"), last.get("reference")
    return Standing(
        grade=cast(Grade, grade.value) if grade else None,
        reason=grade.reason if grade else "",
        grade_event=grade,
        judged={
            cast(int, event.finding_id): event.kind
            for key, event in here.items()
            if key.startswith("place:")
        },
        by_hand=tuple(
            cast(int, event.finding_id) for key, event in here.items() if key.startswith("hand:")
        ),
        mended={
            cast(int, event.finding_id): event.value
            for key, event in here.items()
            if key.startswith("mended:")
        },
        fate=fate.kind if fate and fate.kind != "kept" else "",
        price=float(price.value) if price and price.value else None,
        reference=bool(reference and reference.value == "yes"),
        notes=tuple(notes),
    )


def load_events(db: sqlite3.Connection, piece_id: int) -> list[Event]:
    """Read all events of a piece, oldest first."""
    rows = db.execute(f"SELECT {_COLUMNS} FROM events WHERE piece_id = ? ORDER BY id", (piece_id,))
    return [_event(row) for row in rows]


def add_event(
    db: sqlite3.Connection,
    *,
    piece_id: int,
    round_id: int,
    kind: Kind,
    subject: str,
    seen_id: int,
    value: str = "",
    reason: str = "",
    finding_id: int | None = None,
    verdict_id: int | None = None,
    undoes: int | None = None,
    held: bool = False,
    window: str = "",
) -> Event:
    """Add an event; the caller holds the transaction."""
    said_at = stamp()
    cursor = db.execute(
        f"INSERT INTO events ({_COLUMNS.removeprefix('id, ')}) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            piece_id,
            round_id,
            kind,
            subject,
            value,
            reason,
            finding_id,
            verdict_id,
            undoes,
            seen_id,
            int(held),
            window,
            said_at,
        ),
    )
    return Event(
        cast(int, cursor.lastrowid),
        piece_id,
        round_id,
        kind,
        subject,
        value,
        reason,
        finding_id,
        verdict_id,
        undoes,
        seen_id,
        held,
        window,
        said_at,
    )


_COLUMNS = (
    "id, piece_id, round_id, kind, subject, value, reason, finding_id, verdict_id, undoes, "
    "seen_id, held, window, said_at"
)


def _event(row: tuple[object, ...]) -> Event:
    values = dict(zip(_COLUMNS.split(", "), row, strict=True))
    return Event(**{**values, "held": bool(values["held"])})  # type: ignore[arg-type]
