"""Take a batch into the record: photos first, so that nothing can be lost, then the looking.

Each piece is taken in whole or not at all, and a second run takes only what is new, so that a
stop at any point costs no more than the piece that was being worked on.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, cast

from grader.errors import UsageError
from grader.findings import View
from grader.record.clock import stamp
from grader.record.errors import told
from grader.record.holding import regroup
from grader.record.looking import Analysis, Looked, Progress, look_at_waiting
from grader.record.now import propose, refresh
from grader.record.opening import TABLE, Step, renumbered, round_for
from grader.record.photos import KeptPhoto, content_sha256, keep_photo, photo_file, sweep
from grader.record.pieces import (
    CHART_VIEW,
    current_round,
    find_or_add_piece,
    news_of_table,
    say_facts,
)
from grader.record.rulebook import Rulebook, studio_rulebook
from grader.record.studio import Studio, keep_copy
from grader.record.words import checked_word, words_of

if TYPE_CHECKING:  # the image libraries behind it take a second to load
    from grader.batch import Batch, PieceEntry, Shot


@dataclass(frozen=True, slots=True)
class TakenPiece:
    """What became of one piece of a batch.

    Attributes
    ----------
    code : str
    step : str
        ``new`` piece, ``more photos`` of the same firing, a ``refire``, all ``known`` before, or
        ``left out``.
    photos : int
        How many were taken in.
    notes : tuple of str
        In plain words.
    """

    code: str
    step: Step
    photos: int
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Added:
    """What a run of `add_batch` did.

    Attributes
    ----------
    batch_id : int or None
        None where nothing was new.
    pieces : tuple of TakenPiece
    looked : tuple of Looked
        The pieces that were analysed and graded.
    problems : tuple of str
        What was found wrong with the folder as a whole.
    """

    batch_id: int | None
    pieces: tuple[TakenPiece, ...]
    looked: tuple[Looked, ...] = ()
    problems: tuple[str, ...] = ()


def add_batch(
    studio: Studio,
    batch: Batch,
    *,
    refire: bool = False,
    analysis: Analysis | None = None,
    book: Rulebook | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Added:
    """Take a batch into the record, look at what is new, and grade it.

    Parameters
    ----------
    studio : Studio
    batch : Batch
        From `grader.batch.find_batch`.
    refire : bool
        True where the maker says that new photos of known pieces show them after a refire.
    analysis : Analysis, optional
        The real one where None.
    book : Rulebook, optional
        The studio's rules where None.
    workers : int, optional
        Processes that look side by side.
    progress : callable, optional

    Returns
    -------
    Added

    Raises
    ------
    RecordError
        The disk is full, the record is held by another program, and so on. What was taken in
        before stays; the same call goes on from there.
    """
    book = book or studio_rulebook(studio)
    taken = take_in(studio, batch, refire=refire, book=book)
    looked = look_at_waiting(
        studio, analysis=analysis, book=book, workers=workers, progress=progress
    )
    if taken.batch_id is not None:
        with studio.writing() as db:
            _end(db, taken.batch_id, taken.problems)
        keep_copy(studio)
    return Added(taken.batch_id, taken.pieces, looked, taken.problems)


def take_in(
    studio: Studio,
    batch: Batch,
    *,
    refire: bool = False,
    book: Rulebook | None = None,
    progress: Callable[[int, int, str], object] | None = None,
) -> Added:
    """Copy the photos of a batch into the record and place them, without looking at them yet.

    A batch of the browser is taken in so, corrected (`grader.record.grouping`), then looked at
    (`grader.record.looking`). Parameters as in `add_batch`.
    """
    book = book or studio_rulebook(studio)
    sweep(studio)
    problems = [problem.text for problem in batch.problems]
    folder = batch.folder.resolve()
    source = _Source(studio, folder.name, str(folder))
    _take_charts(studio, source, batch.charts)
    pieces = []
    for count, entry in enumerate(batch.pieces, start=1):
        if entry.shots:
            pieces.append(_take_piece(studio, source, entry, book, refire=refire))
        if progress is not None:
            progress(count, len(batch.pieces), entry.code)
    regroup(studio, source.changed, book)
    return Added(source.batch_id, tuple(pieces), (), tuple(problems))


def take_photos(
    studio: Studio,
    code: str,
    photos: Sequence[tuple[Path, View]],
    *,
    label: str,
    refire: bool = False,
) -> TakenPiece:
    """Copy photos of one piece into the record, as they are taken one by one.

    Parameters
    ----------
    studio : Studio
    code : str
        A new piece is made where it is new.
    photos : sequence of (Path, view)
    label : str
        Name of the batch that they belong to, for instance the day; it stays open until
        `end_batch`.
    refire : bool
        As in `add_batch`.
    """
    from grader.batch import PieceEntry, Shot
    from grader.facts import PieceFacts
    from grader.photo import read_capture_time

    code = checked_word("piece", code)
    if not code:
        raise UsageError("a piece needs a code", remedy="Write one, for instance K07")
    shots = tuple(
        Shot(f"{code}/{path.name}", path, view, read_capture_time(path)) for path, view in photos
    )
    entry = PieceEntry(code, PieceFacts(code), shots)
    source = _Source(studio, label, f"one by one: {label}")
    return _take_piece(studio, source, entry, studio_rulebook(studio), refire=refire)


def end_batch(studio: Studio, batch_id: int) -> None:
    """Say that a batch is complete: photos from the same folder open a new one after this."""
    with studio.writing() as db:
        _end(db, batch_id, ())


class _Source:
    """Where the photos come from; opens its batch in the record with the first new photo."""

    def __init__(self, studio: Studio, label: str, origin: str) -> None:
        self.label = label
        self.changed: dict[str, list[str]] = {}
        """Facts of known pieces that the table says otherwise now."""
        # Only to go on with a batch that was interrupted; the path itself is nobody's business.
        self.key = hashlib.sha256(origin.encode()).hexdigest()
        with studio.reading() as db:
            self.batch_id = self._unfinished(db)

    def opened(self, db: sqlite3.Connection) -> int:
        batch_id = self._unfinished(db)
        if batch_id is None:
            cursor = db.execute(
                "INSERT INTO batches (label, source_key, opened_at) VALUES (?, ?, ?)",
                (self.label, self.key, stamp()),
            )
            batch_id = cast(int, cursor.lastrowid)
        self.batch_id = batch_id
        return batch_id

    def _unfinished(self, db: sqlite3.Connection) -> int | None:
        row = db.execute(
            "SELECT id FROM batches WHERE source_key = ? AND NOT EXISTS "
            "(SELECT 1 FROM batch_ends WHERE batch_id = batches.id) ORDER BY id DESC LIMIT 1",
            (self.key,),
        ).fetchone()
        return int(row[0]) if row else None


def _take_piece(
    studio: Studio, source: _Source, entry: PieceEntry, book: Rulebook, *, refire: bool
) -> TakenPiece:
    fresh, notes = _fresh_shots(studio, entry)
    with studio.reading() as db:
        left_out = _gone(db, entry.code) if fresh else ""
    if left_out:
        return TakenPiece(entry.code, "left out", 0, (*notes, left_out))
    # The slow part, before the transaction: other windows go on working meanwhile.
    kept = [(shot, keep_photo(studio, shot.path)) for shot, _ in fresh]
    words = words_of(entry.facts)
    with studio.writing() as db:
        known = _known(db, [photo.sha256 for _, photo in kept])
        kept = [each for each in kept if each[1].sha256 not in known]
        if not kept:
            source.changed[entry.code] = _take_facts(db, entry.code, words, book)
            return TakenPiece(entry.code, "known", 0, notes)
        piece_id, is_new = find_or_add_piece(db, entry.code)
        shots = [shot for shot, _ in kept]
        round_id, step = round_for(
            db, source.opened, piece_id, is_new, [shot for shot, _ in kept], words, refire=refire
        )
        batch_id = source.opened(db)
        for shot, view in renumbered(db, round_id, shots):
            photo = next(photo for each, photo in kept if each is shot)
            _place(db, photo, shot, view, round_id, batch_id)
        said = news_of_table(db, piece_id, round_id, words, source=TABLE)
        say_facts(db, piece_id, round_id, said, source=TABLE)
        refresh(db, piece_id)
    return TakenPiece(entry.code, step, len(kept), notes)


def _take_charts(studio: Studio, source: _Source, charts: Sequence[Path]) -> None:
    """Keep photos of the chart alone; pieces of the batch that had none are looked at again."""
    from grader.batch import Shot

    fresh = []
    for path in charts:
        with told(path):
            digest = content_sha256(path)
        with studio.reading() as db:
            if digest not in _known(db, [digest]):
                fresh.append(path)
    kept = [(path, keep_photo(studio, path)) for path in fresh]
    if not kept:
        return
    with studio.writing() as db:
        known = _known(db, [photo.sha256 for _, photo in kept])
        batch_id = source.opened(db)
        for path, photo in kept:
            if photo.sha256 not in known:
                shot = Shot(path.name, path, CHART_VIEW)
                _place(db, photo, shot, CHART_VIEW, None, batch_id)
                known[photo.sha256] = (photo.file, "")
        rows = db.execute("SELECT piece_id FROM now_pieces WHERE batch_id = ?", (batch_id,))
        for (piece_id,) in rows.fetchall():
            refresh(db, piece_id)


def _fresh_shots(
    studio: Studio, entry: PieceEntry
) -> tuple[list[tuple[Shot, str]], tuple[str, ...]]:
    """Return the shots whose content is not in the record yet, each with its digest."""
    digests: list[tuple[Shot, str]] = []
    for shot in entry.shots:
        with told(shot.path):
            digests.append((shot, content_sha256(shot.path)))
    with studio.reading() as db:
        known = _known(db, [digest for _, digest in digests])
    fresh: list[tuple[Shot, str]] = []
    notes = []
    seen: set[str] = set()
    for shot, digest in digests:
        file, owner = known.get(digest, ("", ""))
        if digest in seen:
            notes.append(f"{shot.name} is the same photo as another one of this piece.")
        elif digest not in known:
            fresh.append((shot, digest))
        else:
            if owner and owner.casefold() != entry.code.casefold():
                notes.append(f"{shot.name} is in the record already, with piece {owner}.")
            if not photo_file(studio, file).is_file():
                keep_photo(studio, shot.path, file=file)
                notes.append(f"{shot.name} was missing in the studio folder and is back.")
        seen.add(digest)
    return fresh, tuple(notes)


def _known(db: sqlite3.Connection, digests: list[str]) -> dict[str, tuple[str, str]]:
    """Return file and piece of each photo whose content is in the record."""
    rows = db.execute(
        "SELECT sha256, file, coalesce(code, '') FROM photos "
        "JOIN now_photos ON photo_id = photos.id "
        "LEFT JOIN rounds ON rounds.id = round_id LEFT JOIN pieces ON pieces.id = piece_id "
        "WHERE sha256 IN (SELECT value FROM json_each(?))",
        (json.dumps(digests),),
    )
    return {digest: (file, code) for digest, file, code in rows}


def _gone(db: sqlite3.Connection, code: str) -> str:
    row = db.execute(
        "SELECT fate FROM now_pieces JOIN pieces ON id = piece_id WHERE code = ?", (code,)
    ).fetchone()
    if row is None or not row[0]:
        return ""
    how = {"sold": "was sold", "given": "was given away", "broken": "is broken"}[row[0]]
    return (
        f"{code} {how}, so its new photos were left out: give the new piece a code of its own, "
        f"or say that it is back (grader say {code} kept)."
    )


def _place(
    db: sqlite3.Connection,
    photo: KeptPhoto,
    shot: Shot,
    view: str,
    round_id: int | None,
    batch_id: int,
) -> None:
    captured = shot.captured_at.isoformat() if shot.captured_at else None
    cursor = db.execute(
        "INSERT INTO photos (sha256, file, name, bytes, captured_at, batch_id, added_at) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        (photo.sha256, photo.file, shot.name, photo.size_bytes, captured, batch_id, stamp()),
    )
    db.execute(
        "INSERT INTO placings (photo_id, round_id, view, turn_deg, placed_at) "
        "VALUES (?, ?, ?, 0, ?)",
        (cursor.lastrowid, round_id, view, stamp()),
    )


def _take_facts(
    db: sqlite3.Connection, code: str, words: dict[str, str], book: Rulebook
) -> list[str]:
    row = db.execute("SELECT id FROM pieces WHERE code = ?", (code,)).fetchone()
    if row is None:
        return []
    round_ = current_round(db, row[0])
    said = news_of_table(db, row[0], round_.id, words, source=TABLE)
    changed = say_facts(db, row[0], round_.id, said, source=TABLE)
    if changed:
        propose(db, row[0], book)
        refresh(db, row[0])
    return changed


def _end(db: sqlite3.Connection, batch_id: int, problems: tuple[str, ...]) -> None:
    done = db.execute("SELECT 1 FROM batch_ends WHERE batch_id = ?", (batch_id,)).fetchone()
    if not done:
        db.execute(
            "INSERT INTO batch_ends (batch_id, problems, ended_at) VALUES (?, ?, ?)",
            (batch_id, json.dumps(problems, ensure_ascii=False), stamp()),
        )
