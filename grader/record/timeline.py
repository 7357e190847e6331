"""The history of a piece as lines that a person reads."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from grader.record.events import Event, in_force, load_events
from grader.record.pieces import piece_id_of, rounds_of
from grader.record.studio import Studio

_WORDS = {
    "accept": "you accepted: {value}",
    "overrule": "you decided: {value}",
    "right": "finding {finding}: right",
    "wrong": "finding {finding}: wrong, nothing there",
    "drawing": "finding {finding}: belongs to the drawing",
    "missed": "finding {finding}: {value}, added by hand",
    "mended": "finding {finding} after the refire: {value}, as you said",
    "price": "price {value}",
    "sold": "sold",
    "given": "given away",
    "broken": "broken",
    "kept": "back in the studio",
    "reference": "reference piece: {value}",
    "note": "note: {value}",
    "undo": "event {undoes} taken back",
    "proposed": "the rules propose {value} (verdict {verdict})",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the history.

    Attributes
    ----------
    at : str
        UTC, ISO 8601.
    text : str
    number : int or None
        Of the event, for `grader.record.decisions.undo`; None where there is nothing to undo.
    in_force : bool
        False for what was taken back or held.
    """

    at: str
    text: str
    number: int | None = None
    in_force: bool = True


def timeline(studio: Studio, code: str) -> tuple[Line, ...]:
    """Return all that happened to a piece, oldest first.

    Raises
    ------
    UnknownPieceError
    """
    with studio.reading() as db:
        piece_id = piece_id_of(db, code)
        lines = [*_rounds(db, piece_id), *_photos(db, piece_id), *_facts(db, piece_id)]
        lines += [*_surveys(db, piece_id), *_events(load_events(db, piece_id))]
    # Stable: what happened in the same moment stays in the order above.
    return tuple(sorted(lines, key=lambda line: line.at))


def _rounds(db: sqlite3.Connection, piece_id: int) -> Iterator[Line]:
    for each in rounds_of(db, piece_id):
        what = f"refire {each.number}" if each.number else "first unload"
        yield Line(each.opened_at, f"{what} ({each.because})")


def _photos(db: sqlite3.Connection, piece_id: int) -> Iterator[Line]:
    rows = db.execute(
        "SELECT placed_at, photo_id, view, turn_deg, number FROM placings "
        "JOIN rounds ON rounds.id = round_id WHERE piece_id = ? ORDER BY placings.id",
        (piece_id,),
    )
    said = []
    for at, photo_id, view, turn_deg, number in rows:
        turned = f" turned by {turn_deg} degrees" if turn_deg else ""
        after = f" after refire {number}" if number else ""
        said.append((at, f"photos{after}: ", f"{view} ({photo_id}){turned}", ""))
    yield from _together(said)


def _facts(db: sqlite3.Connection, piece_id: int) -> Iterator[Line]:
    rows = db.execute(
        "SELECT said_at, name, value, source FROM piece_facts WHERE piece_id = ? ORDER BY id",
        (piece_id,),
    )
    said = []
    for at, name, value, source in rows:
        word = name.replace("_", " ")
        said.append((at, "", f"{word} {value}" if value else f"{word} taken back", f" ({source})"))
    yield from _together(said)


def _together(said: Iterable[tuple[str, str, str, str]]) -> Iterator[Line]:
    """Tell on one line what was said in one go: same head and tail, within a second of the last."""
    goes: list[list[tuple[str, str, str, str]]] = []
    for each in said:
        last = goes[-1][-1] if goes else None
        if last and (last[1], last[3]) == (each[1], each[3]) and _seconds(last[0], each[0]) < 1.0:
            goes[-1].append(each)
        else:
            goes.append([each])
    for words in goes:
        at, head, _, tail = words[0]
        yield Line(at, head + ", ".join(each[2] for each in words) + tail)


def _seconds(before: str, after: str) -> float:
    return (datetime.fromisoformat(after) - datetime.fromisoformat(before)).total_seconds()


def _surveys(db: sqlite3.Connection, piece_id: int) -> Iterator[Line]:
    rows = db.execute(
        "SELECT made_at, analysis, number, (SELECT count(*) FROM findings "
        "WHERE survey_id = surveys.id) FROM surveys JOIN rounds ON rounds.id = round_id "
        "WHERE piece_id = ? ORDER BY surveys.id",
        (piece_id,),
    )
    for at, analysis, number, findings in rows:
        after = f" after refire {number}" if number else ""
        yield Line(at, f"looked at{after}: {findings} findings (analysis {analysis})")


def _events(events: list[Event]) -> Iterator[Line]:
    counting = {each.id for each in in_force(events)}
    for each in events:
        text = _WORDS[each.kind].format(
            value=each.value,
            finding=each.finding_id,
            undoes=each.undoes,
            verdict=each.verdict_id,
        )
        if each.reason:
            text += f": {each.reason}"
        if each.held:
            text += " (said without knowing what was said before)"
        number = None if each.kind == "proposed" else each.id
        yield Line(each.said_at, text, number, each.id in counting)
