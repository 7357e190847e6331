"""The maker's word on a piece: grades, judgements on findings, sales, and taking it back.

Every call says which state it has seen (``seen``, the id of the last event of the piece that was
shown). Where something contrary was said meanwhile in another window, the new word is written
down too but *held*: the earlier one stays in force and is handed back, for the maker to choose.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from typing import get_args

from grader.errors import UsageError
from grader.findings import FAULT_NAMES, FaultName, Zone
from grader.record.drawn import drawn_finding
from grader.record.errors import RecordError
from grader.record.events import (
    FATES,
    Event,
    Kind,
    in_force,
    load_events,
)
from grader.record.now import survey_now
from grader.record.pieces import current_round, piece_id_of, words_now
from grader.record.rulebook import Rulebook, studio_rulebook
from grader.record.saying import Outcome, proposed_in, say
from grader.record.studio import Studio
from grader.record.surveys import insert_finding
from grader.verdict import GRADES, Grade

MENDED_STATES = ("healed", "unchanged", "worse", "not seen")


def decide_grade(
    studio: Studio,
    code: str,
    grade: Grade,
    *,
    reason: str = "",
    seen: int | None = None,
    window: str = "",
    book: Rulebook | None = None,
) -> Outcome:
    """Give a piece its grade: acceptance where it is the proposed one, else overruling.

    Parameters
    ----------
    studio : Studio
    code : str
    grade : {"first", "refire", "second", "ungraded"}
    reason : str
        Why the maker sees it otherwise.
    seen : int, optional
        Id of the state that was shown; the present one where None.
    window : str
        Where it is said, for the history.
    book : Rulebook, optional
        The studio's rules where None.

    Raises
    ------
    UnknownPieceError, RecordError, UsageError
    """
    if grade not in GRADES:
        raise UsageError(f"{grade!r} is no grade", remedy=f"Say one of: {', '.join(GRADES)}")
    with studio.writing() as db:
        return say(
            db, code, "accept", "grade", grade, reason=reason, seen=seen, window=window,
            book=book or studio_rulebook(studio),
        )  # fmt: skip


def accept_proposed(
    studio: Studio,
    seen: Mapping[str, int],
    *,
    window: str = "",
    book: Rulebook | None = None,
) -> dict[str, Outcome]:
    """Accept the proposed grade of many pieces at once.

    Parameters
    ----------
    studio : Studio
    seen : mapping of str to int
        Codes of the pieces, each with the state that was shown.

    Returns
    -------
    dict of str to Outcome
        Pieces without a proposal are left out.
    """
    book = book or studio_rulebook(studio)
    outcomes: dict[str, Outcome] = {}
    with studio.writing() as db:
        for code, state_id in seen.items():
            piece_id = piece_id_of(db, code)
            known = [each for each in load_events(db, piece_id) if each.id <= state_id]
            # What was shown, not what is proposed by now: `say` holds it where they differ.
            shown = proposed_in(known, current_round(db, piece_id))
            if shown:
                outcomes[code] = say(
                    db, code, "accept", "grade", shown.value, seen=state_id, window=window,
                    book=book,
                )  # fmt: skip
    return outcomes


def judge_finding(
    studio: Studio,
    code: str,
    place_id: int,
    word: str,
    *,
    reason: str = "",
    seen: int | None = None,
    window: str = "",
    book: Rulebook | None = None,
) -> Outcome:
    """Say that a finding is right, wrong, or a spot of the drawing; the grade is proposed anew.

    Parameters
    ----------
    studio : Studio
    code : str
    place_id : int
        As in `StoredFinding.place_id`.
    word : {"right", "wrong", "drawing"}
    """
    if word not in ("right", "wrong", "drawing"):
        raise UsageError(f"{word!r} is no judgement", remedy="Say right, wrong or drawing")
    kind: Kind = word  # type: ignore[assignment]
    with studio.writing() as db:
        _own_place(db, code, place_id)
        return say(
            db, code, kind, f"place:{place_id}", word, reason=reason, finding_id=place_id,
            seen=seen, window=window, book=book or studio_rulebook(studio),
        )  # fmt: skip


def add_missed(
    studio: Studio,
    code: str,
    *,
    photo_id: int,
    fault: FaultName,
    outline_px: Iterable[tuple[int, int]],
    zone: Zone = "clay",
    text: str = "",
    seen: int | None = None,
    window: str = "",
    book: Rulebook | None = None,
) -> Outcome:
    """Add a fault that the analysis missed, drawn by hand; the grade is proposed anew.

    Parameters
    ----------
    studio : Studio
    code : str
    photo_id : int
        The photo that it was drawn on.
    fault : str
        One of `grader.findings.FAULT_NAMES`.
    outline_px : iterable of (int, int)
        At least three points (x, y) of the upright, full-size photo.
    zone : {"painted", "clay", "foot", "inside"}
    text : str
        What the maker says of it.
    """
    if fault not in FAULT_NAMES:
        raise UsageError(f"{fault!r} is no fault", remedy=f"Say one of: {', '.join(FAULT_NAMES)}")
    if zone not in get_args(Zone):
        raise UsageError(f"{zone!r} is no zone", remedy=f"Say one of: {', '.join(get_args(Zone))}")
    outline = tuple((int(x), int(y)) for x, y in outline_px)
    if len(set(outline)) < 3:
        raise UsageError("a place needs at least three points", remedy="Draw round it")
    with studio.writing() as db:
        piece_id = piece_id_of(db, code)
        round_ = current_round(db, piece_id)
        survey_id, _ = survey_now(db, round_)
        if survey_id is None:
            raise RecordError(
                "its photos were not looked at yet",
                where=code,
                remedy="Let the analysis finish first: grader add",
            )
        finding = drawn_finding(db, survey_id, photo_id, fault, outline, zone, text)
        found_id = insert_finding(db, finding, survey_id=None, photo_id=photo_id, same_as=None)
        return say(
            db, code, "missed", f"hand:{found_id}", fault, reason=text, finding_id=found_id,
            seen=seen, window=window, book=book or studio_rulebook(studio),
        )  # fmt: skip


def say_fate(
    studio: Studio,
    code: str,
    fate: str,
    *,
    price: float | None = None,
    reason: str = "",
    seen: int | None = None,
    window: str = "",
) -> Outcome:
    """Say that a piece was sold, given away or broken, or that it is back in the studio.

    Parameters
    ----------
    fate : {"sold", "given", "broken", "kept"}
    price : float, optional
        What it fetched.
    """
    if fate not in FATES:
        raise UsageError(f"{fate!r} is not known", remedy=f"Say {', '.join(FATES)}")
    kind: Kind = fate  # type: ignore[assignment]
    with studio.writing() as db:
        db.execute("SAVEPOINT fate")
        outcome = say(db, code, kind, "fate", fate, reason=reason, seen=seen, window=window)
        if price is None or outcome.event.held:
            return outcome
        # The price goes before, so that taking back what was said last brings the piece back.
        db.execute("ROLLBACK TO fate")
        say(db, code, "price", "price", _price_words(price), seen=seen, window=window)
        return say(db, code, kind, "fate", fate, reason=reason, seen=seen, window=window)


def say_price(
    studio: Studio, code: str, price: float, *, seen: int | None = None, window: str = ""
) -> Outcome:
    """Say what a piece costs, or what it fetched."""
    words = _price_words(price)
    with studio.writing() as db:
        return say(db, code, "price", "price", words, seen=seen, window=window)


def say_note(studio: Studio, code: str, text: str, *, window: str = "") -> Outcome:
    """Write a note beside a piece."""
    with studio.writing() as db:
        return say(db, code, "note", "", text, window=window)


def say_reference(
    studio: Studio, code: str, yes: bool, *, seen: int | None = None, window: str = ""
) -> Outcome:
    """Say that a piece shows what a good one of its design looks like, or no longer does.

    Raises
    ------
    RecordError
        Nobody said of which design it is.
    """
    with studio.writing() as db:
        piece_id = piece_id_of(db, code)
        words = words_now(db, piece_id, current_round(db, piece_id).id)
        if yes and "design" not in words:
            raise RecordError(
                "of which design it is was not said, so it cannot stand for one",
                where=code,
                remedy=f"Say it first: grader set {code} design=NAME",
            )
        return say(
            db, code, "reference", "reference", "yes" if yes else "no", seen=seen, window=window
        )


def say_mended(
    studio: Studio,
    code: str,
    place_id: int,
    state: str,
    *,
    seen: int | None = None,
    window: str = "",
) -> Outcome:
    """Say what the refire did to an old finding, where the comparison got it wrong.

    Parameters
    ----------
    place_id : int
        Of the finding before the refire.
    state : {"healed", "unchanged", "worse", "not seen"}
    """
    if state not in MENDED_STATES:
        raise UsageError(f"{state!r} is not known", remedy=f"Say {', '.join(MENDED_STATES)}")
    with studio.writing() as db:
        _own_place(db, code, place_id)
        return say(
            db, code, "mended", f"mended:{place_id}", state, finding_id=place_id, seen=seen,
            window=window,
        )  # fmt: skip


def undo(
    studio: Studio,
    code: str,
    *,
    event_id: int | None = None,
    seen: int | None = None,
    window: str = "",
    book: Rulebook | None = None,
) -> Outcome:
    """Take back what was last said of a piece, or one event; the history keeps both.

    To take back an undoing, name the undoing's own event.

    Raises
    ------
    RecordError
        There is nothing to take back.
    """
    with studio.writing() as db:
        piece_id = piece_id_of(db, code)
        events = load_events(db, piece_id)
        target = _to_undo(events, event_id, seen, code)
        return say(
            db, code, "undo", target.subject, target.value, undoes=target, seen=seen,
            window=window, book=book or studio_rulebook(studio),
        )  # fmt: skip


def undo_last(studio: Studio, *, window: str | None = None) -> tuple[str, Outcome]:
    """Take back what was last said of any piece, in the named window or anywhere.

    Returns
    -------
    tuple of (str, Outcome)
        Code of the piece, and what became of it.

    Raises
    ------
    RecordError
        There is nothing to take back.
    """
    with studio.reading() as db:
        target = _last_in_force(db, window)
    if target is None:
        raise RecordError("there is nothing to take back", where=str(studio.folder))
    code, event_id = target
    return code, undo(studio, code, event_id=event_id, window=window or "")


def _to_undo(events: list[Event], event_id: int | None, seen: int | None, code: str) -> Event:
    counting = [each for each in in_force(events) if each.kind != "proposed"]
    if event_id is not None:
        for each in counting:
            if each.id == event_id:
                return each
        raise RecordError(
            f"event {event_id} is not in force, or of another piece",
            where=code,
            remedy="See: grader history " + code,
        )
    # What was shown is what shall be taken back, not what came later from another window.
    known = [each for each in counting if seen is None or each.id <= seen]
    said = [each for each in known if each.kind != "undo"]
    if not said:
        raise RecordError("there is nothing to take back", where=code)
    return said[-1]


def _last_in_force(db: sqlite3.Connection, window: str | None) -> tuple[str, int] | None:
    counting: dict[int, set[int]] = {}
    rows = db.execute(
        "SELECT events.id, piece_id, code FROM events JOIN pieces ON pieces.id = piece_id "
        "WHERE kind NOT IN ('proposed', 'undo') AND held = 0 AND (?1 IS NULL OR window = ?1) "
        "ORDER BY events.id DESC",
        (window,),
    )
    for event_id, piece_id, code in rows:
        if piece_id not in counting:
            counting[piece_id] = {each.id for each in in_force(load_events(db, piece_id))}
        if event_id in counting[piece_id]:
            return code, event_id
    return None


def _own_place(db: sqlite3.Connection, code: str, place_id: int) -> None:
    piece_id = piece_id_of(db, code)
    row = db.execute(
        "SELECT 1 FROM findings JOIN now_photos USING (photo_id) "
        "JOIN rounds ON rounds.id = now_photos.round_id WHERE findings.id = ? AND piece_id = ?",
        (place_id, piece_id),
    ).fetchone()
    if row is None:
        raise RecordError(
            f"this piece has no finding {place_id}",
            where=code,
            remedy=f"See: grader history {code}",
        )


def _price_words(price: float) -> str:
    if not 0 <= price < 1e9:
        raise UsageError(f"{price} is no price", remedy="Write a plain number, for instance 24.50")
    return f"{price:.2f}"
