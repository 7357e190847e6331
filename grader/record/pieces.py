"""Pieces, their firings, and the facts that the maker says of them."""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import cast

from grader.facts import PieceFacts
from grader.findings import SIDES_IN_TURN
from grader.record.clock import stamp
from grader.record.errors import UnknownPieceError
from grader.record.words import ROUND_NAMES, SURVEY_NAMES, facts_of

VIEW_ORDER = (*SIDES_IN_TURN, "inside", "top", "foot")
"""Order in which the views of a piece are shown."""

SAID = "said"
"""Source of a fact that the maker said to the program, other than by the table of a batch."""


@dataclass(frozen=True, slots=True)
class Round:
    """One firing of one piece: the first unload, or that after a refire.

    Attributes
    ----------
    id, piece_id : int
    code : str
        Of the piece.
    number : int
        Firings of the piece that the record holds before this one; 0 is the first.
    refires : int
        Refires before it: `number`, unless the maker said that there were more or fewer.
    batch_id : int
    because : str
        Why it was opened, in plain words.
    opened_at : str
    """

    id: int
    piece_id: int
    code: str
    number: int
    refires: int
    batch_id: int
    because: str
    opened_at: str


@dataclass(frozen=True, slots=True)
class PlacedPhoto:
    """A photo of the record where it now belongs.

    Attributes
    ----------
    id : int
    sha256, file : str
        As in `grader.record.photos.KeptPhoto`.
    name : str
        Name under which it came in.
    captured_at : str
        ISO 8601, the camera's local time; empty where unknown.
    round_id : int or None
        None where it was set aside.
    view : str
    turn_deg : int
        Clockwise turn that the maker asked for.
    """

    id: int
    sha256: str
    file: str
    name: str
    captured_at: str
    round_id: int | None
    view: str
    turn_deg: int


_ROUND_COLUMNS = """
rounds.id, rounds.piece_id, code, rounds.number,
coalesce((
  SELECT CAST(value AS INTEGER) + rounds.number - said.number FROM now_facts
  JOIN rounds AS said ON said.id = now_facts.round_id
  WHERE now_facts.piece_id = rounds.piece_id AND name = 'refires' AND value <> ''
    AND said.number <= rounds.number
  ORDER BY said.number DESC LIMIT 1
), rounds.number),
rounds.batch_id, because, opened_at
"""


def piece_id_of(db: sqlite3.Connection, code: str) -> int:
    """Return the id of a piece.

    Raises
    ------
    UnknownPieceError
    """
    row = db.execute("SELECT id FROM pieces WHERE code = ?", (code,)).fetchone()
    if row is None:
        near = db.execute(
            "SELECT code FROM pieces WHERE code LIKE ? ORDER BY code LIMIT 3", (code[:2] + "%",)
        ).fetchall()
        known = ", ".join(each[0] for each in near)
        raise UnknownPieceError(
            "no such piece is in the record",
            where=code,
            remedy=f"Similar codes: {known}"
            if known
            else "Add its photos first: grader add PHOTOS",
        )
    return int(row[0])


def find_or_add_piece(db: sqlite3.Connection, code: str) -> tuple[int, bool]:
    """Return the id of a piece, and whether it was added by this call."""
    row = db.execute("SELECT id FROM pieces WHERE code = ?", (code,)).fetchone()
    if row:
        return int(row[0]), False
    cursor = db.execute(
        "INSERT INTO pieces (code, sort_key, added_at) VALUES (?, ?, ?)",
        (code, sort_key(code), stamp()),
    )
    return cast(int, cursor.lastrowid), True


def sort_key(code: str) -> str:
    """Return a text that sorts ``K2`` before ``K10``, whatever the case."""
    return re.sub(r"\d+", lambda number: number[0].zfill(12), code.casefold())


def open_round(db: sqlite3.Connection, piece_id: int, batch_id: int, because: str) -> int:
    """Open the next firing of a piece."""
    number = db.execute(
        "SELECT coalesce(max(number) + 1, 0) FROM rounds WHERE piece_id = ?", (piece_id,)
    ).fetchone()[0]
    cursor = db.execute(
        "INSERT INTO rounds (piece_id, number, batch_id, because, opened_at) "
        "VALUES (?, ?, ?, ?, ?)",
        (piece_id, number, batch_id, because, stamp()),
    )
    return cast(int, cursor.lastrowid)


def rounds_of(db: sqlite3.Connection, piece_id: int) -> list[Round]:
    """Return the firings of a piece, oldest first."""
    rows = db.execute(
        f"SELECT {_ROUND_COLUMNS} FROM rounds JOIN pieces ON pieces.id = piece_id "
        "WHERE piece_id = ? ORDER BY number",
        (piece_id,),
    )
    return [Round(*row) for row in rows]


def current_round(db: sqlite3.Connection, piece_id: int) -> Round:
    """Return the latest firing of a piece that has photos, else the first."""
    rounds = rounds_of(db, piece_id)
    filled = {
        row[0]
        for row in db.execute(
            "SELECT DISTINCT round_id FROM now_photos JOIN rounds ON rounds.id = round_id "
            "WHERE piece_id = ?",
            (piece_id,),
        )
    }
    return next((each for each in reversed(rounds) if each.id in filled), rounds[0])


def round_by_id(db: sqlite3.Connection, round_id: int) -> Round:
    """Return one firing of a piece."""
    row = db.execute(
        f"SELECT {_ROUND_COLUMNS} FROM rounds JOIN pieces ON pieces.id = piece_id "
        "WHERE rounds.id = ?",
        (round_id,),
    ).fetchone()
    return Round(*row)


def photos_of(db: sqlite3.Connection, round_id: int) -> list[PlacedPhoto]:
    """Return the photos that now belong to a firing of a piece, in the order they came in."""
    rows = db.execute(
        f"SELECT {PHOTO_COLUMNS} FROM now_photos JOIN photos ON photos.id = photo_id "
        "WHERE round_id = ? ORDER BY photo_id",
        (round_id,),
    )
    return [PlacedPhoto(*row) for row in rows]


PHOTO_COLUMNS = (
    "photos.id, sha256, file, photos.name, coalesce(captured_at, ''), round_id, view, turn_deg"
)


def view_rank(view: str) -> tuple[int, str]:
    """Sort key of views: the show side first, the foot last, numbered views between."""
    return (VIEW_ORDER.index(view) if view in VIEW_ORDER else len(VIEW_ORDER), view)


def words_now(db: sqlite3.Connection, piece_id: int, round_id: int) -> dict[str, str]:
    """Return what is known of a piece and of one of its firings, name to words."""
    rows = db.execute(
        "SELECT name, value FROM now_facts WHERE piece_id = ? AND round_id IN (0, ?) "
        "AND value <> '' ORDER BY round_id, name",
        (piece_id, round_id),
    )
    return dict(rows.fetchall())


def facts_now(db: sqlite3.Connection, code: str, piece_id: int, round_id: int) -> PieceFacts:
    """Return what is known of a piece and of one of its firings, typed."""
    return facts_of(code, words_now(db, piece_id, round_id))


def say_facts(
    db: sqlite3.Connection,
    piece_id: int,
    round_id: int,
    words: Mapping[str, str],
    *,
    source: str,
) -> list[str]:
    """Add facts that differ from what is known; an empty value takes a fact back.

    Returns
    -------
    list of str
        Names that changed.
    """
    changed = []
    now = {
        (row[0], row[1]): row[2]
        for row in db.execute(
            "SELECT round_id, name, value FROM now_facts WHERE piece_id = ? AND round_id IN (0, ?)",
            (piece_id, round_id),
        )
    }
    for name, value in words.items():
        belongs = round_id if name in ROUND_NAMES else None
        if now.get((belongs or 0, name), "") == value:
            continue
        db.execute(
            "INSERT INTO piece_facts (piece_id, round_id, name, value, source, said_at) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            (piece_id, belongs, name, value, source, stamp()),
        )
        changed.append(name)
        if name == "firing" and value:
            add_firing(db, value)
    return changed


def news_of_table(
    db: sqlite3.Connection, piece_id: int, round_id: int, words: Mapping[str, str], *, source: str
) -> dict[str, str]:
    """Return the facts of a batch's table that the table did not say before.

    What the maker has corrected since then in the record must not be undone by reading the same
    table again.
    """
    rows = db.execute(
        "SELECT name, value FROM piece_facts WHERE piece_id = ? AND source = ? "
        "AND coalesce(round_id, ?) = ? ORDER BY id",
        (piece_id, source, round_id, round_id),
    )
    said_before = dict(rows.fetchall())
    return {name: value for name, value in words.items() if said_before.get(name) != value}


def add_firing(db: sqlite3.Connection, code: str) -> int:
    """Return the id of a firing, added where it is new."""
    db.execute(
        "INSERT INTO firings (code, added_at) VALUES (?, ?) ON CONFLICT DO NOTHING",
        (code, stamp()),
    )
    return int(db.execute("SELECT id FROM firings WHERE code = ?", (code,)).fetchone()[0])


CHART_VIEW = "chart"
"""View of a photo that shows no piece but the colour chart, for all photos of its batch."""


def charts_of(db: sqlite3.Connection, batch_id: int) -> list[PlacedPhoto]:
    """Return the photos of a batch that show the colour chart alone."""
    rows = db.execute(
        f"SELECT {PHOTO_COLUMNS} FROM now_photos JOIN photos ON photos.id = photo_id "
        "WHERE round_id IS NULL AND view = ? AND batch_id = ? ORDER BY photo_id",
        (CHART_VIEW, batch_id),
    )
    return [PlacedPhoto(*row) for row in rows]


def inputs_digest(
    photos: Iterable[PlacedPhoto],
    charts: Iterable[PlacedPhoto],
    words: Mapping[str, str],
    *,
    marker_mm: float,
) -> str:
    """Return a digest of all that an analysis looks at.

    Two firings with the same digest look the same to the same version of the analysis.
    """
    seen = [
        sorted([each.sha256, each.view, each.turn_deg] for each in photos),
        sorted(each.sha256 for each in charts),
        [[name, words.get(name, "")] for name in SURVEY_NAMES],
        marker_mm,
    ]
    return hashlib.sha256(json.dumps(seen).encode()).hexdigest()
