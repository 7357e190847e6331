"""Say facts of many pieces at once, take that back, and carry them as CSV."""

from __future__ import annotations

import csv
import io
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from grader.errors import FactsError
from grader.facts import read_facts
from grader.lists import safe_text
from grader.record.clock import stamp
from grader.record.holding import regroup
from grader.record.now import propose, refresh
from grader.record.pieces import (
    SAID,
    add_firing,
    current_round,
    piece_id_of,
    say_facts,
    words_now,
)
from grader.record.rulebook import Rulebook, studio_rulebook
from grader.record.studio import Studio
from grader.record.words import KNOWN_NAMES, checked_word, words_of

FIRING_NAMES = ("date", "cone", "programme", "kiln", "changed")
"""What is said of a firing; other names are kept as they stand."""


@dataclass(frozen=True, slots=True)
class Firing:
    """One firing of the kiln.

    Attributes
    ----------
    code : str
    words : mapping of str to str
        What is known of it: `FIRING_NAMES` and others.
    pieces : int
        Pieces that were in it.
    """

    code: str
    words: Mapping[str, str]
    pieces: int


def set_facts(
    studio: Studio,
    codes: Iterable[str],
    words: Mapping[str, str],
    *,
    book: Rulebook | None = None,
) -> dict[str, list[str]]:
    """Say the same facts of many pieces; all of it is kept, or nothing.

    The grades are proposed anew; a piece waits for a new look where the analysis uses the fact.

    Parameters
    ----------
    studio : Studio
    codes : iterable of str
    words : mapping of str to str
        Name to value; an empty value takes a fact back. ``firing``, ``shelf``, ``place``,
        ``ring``, ``side``, ``kiln_height``, ``neighbours`` and ``done`` are said of the latest
        firing of each piece.
    book : Rulebook, optional
        The studio's rules where None.

    Returns
    -------
    dict of str to list of str
        For each piece, the names that changed.

    Raises
    ------
    FactsError
        A value that its name does not take.
    UnknownPieceError
    """
    checked = {name: checked_word(name, value) for name, value in words.items()}
    return set_facts_each(studio, dict.fromkeys(codes, checked), book=book)


def set_facts_each(
    studio: Studio,
    words: Mapping[str, Mapping[str, str]],
    *,
    source: str = SAID,
    book: Rulebook | None = None,
) -> dict[str, list[str]]:
    """Say facts of many pieces, for each its own; as `set_facts` otherwise."""
    checked = {
        code: {name: checked_word(name, value) for name, value in of_piece.items()}
        for code, of_piece in words.items()
    }
    book = book or studio_rulebook(studio)
    changed: dict[str, list[str]] = {}
    with studio.writing() as db:
        for code, of_piece in checked.items():
            piece_id = piece_id_of(db, code)
            round_ = current_round(db, piece_id)
            changed[code] = say_facts(db, piece_id, round_.id, of_piece, source=source)
            if changed[code]:
                propose(db, piece_id, book)
                refresh(db, piece_id)
    regroup(studio, changed, book)
    return changed


def take_table(
    studio: Studio, table: Path, *, book: Rulebook | None = None
) -> tuple[dict[str, list[str]], tuple[str, ...]]:
    """Say the facts of a CSV as `table_of_facts` writes it; empty cells change nothing.

    Parameters
    ----------
    studio : Studio
    table : Path
        Needs a column ``piece``.

    Returns
    -------
    tuple of (dict, tuple of str)
        For each piece, the names that changed; and the codes that the record does not know.

    Raises
    ------
    FactsError
        Naming row and column; nothing is changed then.
    """
    rows = {
        _without_guard(code): {
            name: _without_guard(value) for name, value in words_of(facts).items()
        }
        for code, facts in read_facts(table).items()
    }
    with studio.reading() as db:
        known = {
            code
            for code in rows
            if db.execute("SELECT 1 FROM pieces WHERE code = ?", (code,)).fetchone()
        }
    unknown = tuple(code for code in rows if code not in known)
    if not known:
        raise FactsError(
            "none of its pieces is in the record",
            where=table.name,
            remedy="Check the column `piece`, or add the photos first: grader add PHOTOS",
        )
    said = {code: of_piece for code, of_piece in rows.items() if code in known}
    return set_facts_each(studio, said, book=book), unknown


def table_of_facts(studio: Studio, codes: Sequence[str] | None = None) -> bytes:
    """Return the facts of pieces as CSV (RFC 4180, UTF-8), to fill in and read back.

    Parameters
    ----------
    studio : Studio
    codes : sequence of str, optional
        All pieces where None.
    """
    with studio.reading() as db:
        pieces = _pieces(db, codes)
        words = {code: words_now(db, piece_id, round_id) for code, piece_id, round_id in pieces}
    others = sorted({name for each in words.values() for name in each} - set(KNOWN_NAMES))
    names = [*KNOWN_NAMES, *others]
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(["piece", *map(safe_text, names)])
    for code, known in words.items():
        writer.writerow([safe_text(code), *(safe_text(known.get(name, "")) for name in names)])
    return text.getvalue().encode()


def set_firing(studio: Studio, code: str, words: Mapping[str, str]) -> Firing:
    """Say what is known of a firing: date, cone, programme, kiln, what was changed.

    Parameters
    ----------
    studio : Studio
    code : str
        As in the fact ``firing`` of its pieces; added where it is new.
    words : mapping of str to str
        An empty value takes a fact back.
    """
    code = checked_word("firing", code)
    if not code:
        raise FactsError("a firing needs a name", remedy="Write one, for instance F12")
    checked = {name: checked_word(name, value) for name, value in words.items()}
    with studio.writing() as db:
        firing_id = add_firing(db, code)
        now = _firing_words(db, firing_id)
        db.executemany(
            "INSERT INTO firing_facts (firing_id, name, value, said_at) VALUES (?, ?, ?, ?)",
            [
                (firing_id, name, value, stamp())
                for name, value in checked.items()
                if now.get(name, "") != value
            ],
        )
    return next(each for each in firings(studio) if each.code == code)


def firings(studio: Studio) -> tuple[Firing, ...]:
    """Return all firings, the latest added first."""
    with studio.reading() as db:
        counts = dict(
            db.execute(
                "SELECT value, count(*) FROM now_facts WHERE name = 'firing' GROUP BY value"
            ).fetchall()
        )
        return tuple(
            Firing(code, _firing_words(db, firing_id), counts.get(code, 0))
            for firing_id, code in db.execute("SELECT id, code FROM firings ORDER BY id DESC")
        )


def _firing_words(db: sqlite3.Connection, firing_id: int) -> dict[str, str]:
    rows = db.execute(
        "SELECT name, value FROM firing_facts WHERE firing_id = ? ORDER BY id", (firing_id,)
    )
    return {name: value for name, value in dict(rows.fetchall()).items() if value}


def _pieces(db: sqlite3.Connection, codes: Sequence[str] | None) -> list[tuple[str, int, int]]:
    if codes is None:
        return db.execute(
            "SELECT code, piece_id, round_id FROM now_pieces JOIN pieces ON id = piece_id "
            "ORDER BY sort_key, code"
        ).fetchall()
    ids = [(code, piece_id_of(db, code)) for code in codes]
    return [(code, piece_id, current_round(db, piece_id).id) for code, piece_id in ids]


def _without_guard(cell: str) -> str:
    """Take off the apostrophe that `safe_text` put before what looks like a formula."""
    return cell[1:] if cell.startswith("'") and safe_text(cell[1:]) == cell else cell
