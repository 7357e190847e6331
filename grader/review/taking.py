"""Photos taken into a piece one by one: what is missing, taking one in, what to do better."""

from __future__ import annotations

import re
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from grader.batch import DEFAULT_VIEW_ORDER
from grader.errors import OutputError, UsageError
from grader.findings import Problem, View
from grader.record.add import end_batch, take_photos
from grader.record.bench import photo_by_id, piece_view
from grader.record.errors import UnknownPieceError
from grader.record.events import load_events, standing
from grader.record.grouping import set_aside
from grader.record.looking import entry_of
from grader.record.now import marker_mm
from grader.record.photos import content_sha256
from grader.record.pieces import (
    PlacedPhoto,
    current_round,
    photos_of,
    piece_id_of,
    round_by_id,
    view_rank,
)
from grader.record.queries import batches
from grader.record.studio import Studio
from grader.record.words import checked_word
from grader.review.photo_advice import advice_on, keep_advice
from grader.rules import load_rules

LONGEST_CODE = 60
"""Signs in the code of a piece: what fits on a slip in two lines."""

_CHECKER = ThreadPoolExecutor(1, thread_name_prefix="check")
"""Who decodes and checks photos, one at a time, since one of 12 megapixels takes some hundred MB
meanwhile; always the same thread, as for the copies (`grader.review.routes`)."""

# Kinds that are taken, by how their files begin, and the ending that says so.
_ENDINGS: tuple[tuple[re.Pattern[bytes], str], ...] = (
    (re.compile(rb"\xff\xd8\xff"), ".jpg"),
    (re.compile(rb"\x89PNG\r\n\x1a\n"), ".png"),
    (re.compile(rb"RIFF....WEBP", re.DOTALL), ".webp"),
    (re.compile(rb"II\*\x00|MM\x00\*|II\+\x00|MM\x00\+"), ".tif"),
    (re.compile(rb"....ftyp", re.DOTALL), ".heic"),
)


@dataclass(frozen=True, slots=True)
class PieceShots:
    """A piece and the sides of it that were photographed.

    Attributes
    ----------
    code : str
    photos : tuple of PlacedPhoto
        Of its latest firing, in view order; empty for a piece that is new.
    missing : tuple of str
        Views without which it cannot be graded.
    advised : tuple of str
        Further views that are missing and would help.
    refire : bool
        True while it is put aside for a refire, which new photos then follow.
    """

    code: str
    photos: tuple[PlacedPhoto, ...]
    missing: tuple[View, ...]
    advised: tuple[View, ...]
    refire: bool = False

    @property
    def following(self) -> View | None:
        """The side to photograph next; None when all that is asked for is there."""
        return next(iter((*self.missing, *self.advised)), None)


@dataclass(frozen=True, slots=True)
class OpenBatch:
    """The batch that is being photographed.

    Attributes
    ----------
    id : int or None
        None where nothing was taken in yet.
    label : str
    complete : bool
    pieces : tuple of PieceShots
    others : tuple of (int, str)
        Id and label of the batches before and after it, the latest first.
    """

    id: int | None
    label: str
    complete: bool
    pieces: tuple[PieceShots, ...]
    others: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Taken:
    """A photo that is in the record now.

    Attributes
    ----------
    photo : PlacedPhoto
    problems : tuple of Problem
        What the photo checks say.
    """

    photo: PlacedPhoto
    problems: tuple[Problem, ...]


def advice_of(studio: Studio, piece: PieceShots) -> dict[int, tuple[Problem, ...]]:
    """Return what is said of each photo of a piece that was looked at, by its id."""
    if not piece.photos:
        return {}
    reports = piece_view(studio, piece.code).reports
    said = {photo.id: advice_on(studio, photo, reports.get(photo.id)) for photo in piece.photos}
    return {number: problems for number, problems in said.items() if problems is not None}


def sides_again(studio: Studio, piece: PieceShots) -> tuple[View, ...]:
    """Return the sides that should be photographed again."""
    said = advice_of(studio, piece)
    return tuple(
        photo.view
        for photo in piece.photos
        if any(problem.blocks for problem in said.get(photo.id, ()))
    )


def open_batch(studio: Studio, batch_id: int | None = None, *, most_others: int = 6) -> OpenBatch:
    """Return a batch as it is photographed, the latest one where none is named."""
    known = batches(studio)
    chosen = next((each for each in known if batch_id in (None, each.id)), None)
    if chosen is None:
        return OpenBatch(None, _today(), False, ())
    required, advised = _asked_for(studio)
    photos: dict[str, list[PlacedPhoto]] = {}
    with studio.reading() as db:
        rows = db.execute(
            "SELECT round_id, code FROM now_pieces JOIN pieces ON id = piece_id "
            "WHERE batch_id = ? AND photos > 0 ORDER BY sort_key, code",
            (chosen.id,),
        ).fetchall()
        for round_id, code in rows:
            photos[code] = photos_of(db, round_id)
    pieces = tuple(_shots(code, found, required, advised) for code, found in photos.items())
    others = [(each.id, each.label) for each in known if each.id != chosen.id]
    return OpenBatch(chosen.id, chosen.label, chosen.complete, pieces, tuple(others[:most_others]))


def piece_shots(studio: Studio, code: str) -> PieceShots:
    """Return a piece with its photos; without any where the code is new.

    Raises
    ------
    UsageError, FactsError
        This is no code.
    """
    code = checked_word("piece", code)
    if not code or len(code) > LONGEST_CODE:
        raise UsageError(
            f"a piece needs a code of at most {LONGEST_CODE} signs",
            remedy="Write one, for instance K07",
        )
    required, advised = _asked_for(studio)
    with studio.reading() as db:
        try:
            piece_id = piece_id_of(db, code)
        except UnknownPieceError:
            return _shots(code, [], required, advised)
        round_ = current_round(db, piece_id)
        shots = _shots(round_.code, photos_of(db, round_.id), required, advised)
        said = standing(load_events(db, piece_id), round_.id)
        return replace(shots, refire=said.grade == "refire")


def following_code(codes: Sequence[str]) -> str:
    """Return the code after the last one, ``K08`` after ``K07``; empty where there is none.

    Codes without a number at their end have no following one.
    """
    found = re.fullmatch(r"(.*?)(\d{1,9})", codes[-1]) if codes else None
    if found is None:
        return ""
    taken = {code.casefold() for code in codes}
    number = int(found[2]) + 1
    while (code := f"{found[1]}{number:0{len(found[2])}d}").casefold() in taken:
        number += 1
    return code


def take(studio: Studio, code: str, view: View, file: Path, *, instead: int | None = None) -> Taken:
    """Take one photo into a piece, and check it.

    Parameters
    ----------
    studio : Studio
    code : str
        A new piece is made where it is new.
    view : str
        One of `DEFAULT_VIEW_ORDER`.
    file : Path
        In a folder of its own; renamed, and copied into the studio folder.
    instead : int, optional
        Id of the photo that this one replaces. That one is set aside, not lost.

    Raises
    ------
    PhotoError
        It is no photo; nothing was changed.
    UsageError, RecordError
        It is in the record already, or the piece was sold.
    """

    code = piece_shots(studio, code).code
    if view not in DEFAULT_VIEW_ORDER:
        raise UsageError(f"{view!r} is no side of a piece", remedy="Load the page again")
    _CHECKER.submit(_read, file).result()
    named = file.with_name(view + _ending(file))
    file.rename(named)
    taken = take_photos(studio, code, [(named, view)], label=_today())
    if taken.photos == 0:
        raise UsageError(" ".join(taken.notes) or "This photo is in the record already")
    photo = _by_content(studio, content_sha256(named))
    if instead is not None and _same_side(studio, photo, instead):
        set_aside(studio, [instead])
    problems = _problems(studio, photo)
    with suppress(OutputError):  # the photo itself is kept, and can be checked again
        keep_advice(studio, {photo: problems})
    return Taken(photo, problems)


def finish(studio: Studio, batch_id: int) -> None:
    """Say that all pieces of a batch are photographed.

    Raises
    ------
    UsageError
        There is no such batch.
    """
    if all(each.id != batch_id for each in batches(studio)):
        raise UsageError("there is no such batch", remedy="Load the page again")
    end_batch(studio, batch_id)


def _today() -> str:
    return date.today().isoformat()


def _asked_for(studio: Studio) -> tuple[tuple[View, ...], tuple[View, ...]]:
    file = studio.rules_file
    rules = load_rules(file if file.is_file() else None)
    return rules.required, rules.advised


def _shots(
    code: str,
    photos: Sequence[PlacedPhoto],
    required: Sequence[View],
    advised: Sequence[View],
) -> PieceShots:
    there = {photo.view for photo in photos}
    return PieceShots(
        code,
        tuple(sorted(photos, key=lambda photo: (view_rank(photo.view), photo.id))),
        tuple(view for view in required if view not in there),
        tuple(view for view in advised if view not in there),
    )


def _read(file: Path) -> None:
    """See that a file is a photo."""
    from grader.photo import read_photo

    read_photo(file, name="the photo")  # and lets the pixels go at once


def _ending(file: Path) -> str:
    with file.open("rb") as opened:
        head = opened.read(16)
    return next((ending for kind, ending in _ENDINGS if kind.match(head)), "")


def _by_content(studio: Studio, sha256: str) -> PlacedPhoto:
    with studio.reading() as db:
        (photo_id,) = db.execute("SELECT id FROM photos WHERE sha256 = ?", (sha256,)).fetchone()
    photo = photo_by_id(studio, photo_id)
    assert photo is not None
    return photo


def _same_side(studio: Studio, photo: PlacedPhoto, other_id: int) -> bool:
    """Only a photo of the same side in the same firing is replaced: not that of before a refire."""
    other = photo_by_id(studio, other_id)
    return (
        other is not None
        and other.id != photo.id
        and (other.round_id, other.view) == (photo.round_id, photo.view)
    )


def _problems(studio: Studio, photo: PlacedPhoto) -> tuple[Problem, ...]:
    """Check a photo of the record with what is known of its piece."""
    from grader.checkup import look_at_photos

    assert photo.round_id is not None
    with studio.reading() as db:
        entry, names = entry_of(studio, db, round_by_id(db, photo.round_id))
        side_mm = marker_mm(db)
    shots = tuple(shot for shot in entry.shots if names[shot.name] == photo.id)
    looking = _CHECKER.submit(look_at_photos, replace(entry, shots=shots), marker_mm=side_mm)
    survey = looking.result()
    return tuple(problem for report in survey.photos for problem in report.problems)
