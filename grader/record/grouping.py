"""Put photos right: which piece they show, from which side, and which way is up.

The photos themselves are never changed. A piece whose photos change waits for a new look; what
was judged on a photo holds on, since places are known by photo.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable

from grader.errors import UsageError
from grader.record.clock import stamp
from grader.record.errors import RecordError
from grader.record.now import refresh
from grader.record.pieces import (
    current_round,
    find_or_add_piece,
    open_round,
    photos_of,
    piece_id_of,
)
from grader.record.studio import Studio
from grader.record.words import checked_word


def move_photos(studio: Studio, photo_ids: Iterable[int], code: str) -> None:
    """Give photos to a piece; a new piece is made where the code is new.

    This splits a piece, too: move some of its photos to a new code.

    Raises
    ------
    RecordError
        A photo is not in the record.
    """
    ids = list(dict.fromkeys(photo_ids))
    code = checked_word("piece", code)
    if not code:
        raise UsageError("a piece needs a code", remedy="Write one, for instance K07")
    with studio.writing() as db:
        batch_id = _batch_of(db, ids)
        piece_id, is_new = find_or_add_piece(db, code)
        if is_new:
            round_id = open_round(db, piece_id, batch_id, "photos moved here")
        else:
            round_id = current_round(db, piece_id).id
        _place(db, ids, round_id=round_id)
        refresh(db, piece_id)


def merge_pieces(studio: Studio, code: str, into: str) -> None:
    """Give all photos of a piece's latest firing to another piece; the first is then empty."""
    with studio.reading() as db:
        piece_id = piece_id_of(db, code)
        if piece_id == piece_id_of(db, into):
            raise UsageError("a piece cannot be merged with itself", where=code)
        ids = [each.id for each in photos_of(db, current_round(db, piece_id).id)]
    move_photos(studio, ids, into)


def set_aside(studio: Studio, photo_ids: Iterable[int]) -> None:
    """Take photos away from their pieces; they stay in the record."""
    with studio.writing() as db:
        _place(db, list(photo_ids), round_id=None)


def name_view(studio: Studio, photo_id: int, view: str) -> None:
    """Say which side a photo shows: front, right, back, left, inside, foot, top, ..."""
    view = checked_word("view", view).lower()
    if not view:
        raise UsageError("a view needs a name", remedy="Write front, right, back, left, inside ...")
    with studio.writing() as db:
        _place(db, [photo_id], view=view)


def turn_photo(studio: Studio, photo_id: int, turn_deg: int) -> None:
    """Turn a photo clockwise, counted from how the camera says it is upright.

    Parameters
    ----------
    turn_deg : {0, 90, 180, 270}
    """
    if turn_deg not in (0, 90, 180, 270):
        raise UsageError(f"{turn_deg} is no quarter turn", remedy="Use 0, 90, 180 or 270")
    with studio.writing() as db:
        _place(db, [photo_id], turn_deg=turn_deg)


_SAME = -1


def _place(
    db: sqlite3.Connection,
    photo_ids: list[int],
    *,
    round_id: int | None = _SAME,
    view: str | None = None,
    turn_deg: int | None = None,
) -> None:
    """Add placings that change only what is named, and refresh the pieces concerned."""
    pieces: set[int] = set()
    for photo_id in photo_ids:
        row = db.execute(
            "SELECT round_id, view, turn_deg FROM now_photos WHERE photo_id = ?", (photo_id,)
        ).fetchone()
        if row is None:
            raise RecordError(
                f"photo {photo_id} is not in the record", remedy="Load the page again"
            )
        target = row[0] if round_id == _SAME else round_id
        now = (target, view or row[1], row[2] if turn_deg is None else turn_deg)
        if now == row:
            continue
        db.execute(
            "INSERT INTO placings (photo_id, round_id, view, turn_deg, placed_at) "
            "VALUES (?, ?, ?, ?, ?)",
            (photo_id, *now, stamp()),
        )
        for each in (row[0], target):
            if each is not None:
                found = db.execute("SELECT piece_id FROM rounds WHERE id = ?", (each,))
                pieces.add(found.fetchone()[0])
    for piece_id in pieces:
        refresh(db, piece_id)


def _batch_of(db: sqlite3.Connection, photo_ids: list[int]) -> int:
    if not photo_ids:
        raise UsageError("no photo was named", remedy="Choose at least one")
    row = db.execute("SELECT batch_id FROM photos WHERE id = ?", (photo_ids[0],)).fetchone()
    if row is None:
        raise RecordError(
            f"photo {photo_ids[0]} is not in the record", remedy="Load the page again"
        )
    return int(row[0])
