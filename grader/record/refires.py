"""Before and after: what each refire did, and what refiring has mended in this studio so far."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, replace
from typing import cast

from grader.findings import Finding
from grader.record.alignment import Alignment
from grader.record.clock import stamp
from grader.record.events import load_events, standing
from grader.record.figures import AS_ADVISED
from grader.record.mended import Mark, State, mark_places
from grader.record.pieces import (
    PlacedPhoto,
    Round,
    current_round,
    photos_of,
    piece_id_of,
    round_by_id,
    rounds_of,
    view_rank,
)
from grader.record.studio import Studio
from grader.record.surveys import StoredFinding, load_findings, load_survey
from grader.record.verdicts import StoredVerdict, load_verdict

_METHOD = "1"
"""Kept with each comparison; raised whenever the same findings may be marked otherwise."""


@dataclass(frozen=True, slots=True)
class PlaceMark:
    """What a refire did to one place, with both findings.

    Attributes
    ----------
    state : {"healed", "unchanged", "worse", "new", "not seen"}
    fault, text : str
    before, after : StoredFinding or None
    """

    state: State
    fault: str
    text: str
    before: StoredFinding | None
    after: StoredFinding | None


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """Two firings of a piece side by side.

    Attributes
    ----------
    code : str
    before, after : Round
    remedy : str
        What was done to the piece in between.
    alignment : Alignment
        How piece and camera stood on the later photos.
    views : tuple of (str, tuple of PlacedPhoto, tuple of PlacedPhoto)
        Each view with its photos before and after.
    marks : tuple of PlaceMark
    """

    code: str
    before: Round
    after: Round
    remedy: str
    alignment: Alignment
    views: tuple[tuple[str, tuple[PlacedPhoto, ...], tuple[PlacedPhoto, ...]], ...]
    marks: tuple[PlaceMark, ...]


def previous_round(db: sqlite3.Connection, round_: Round) -> Round | None:
    """Return the firing before, if there is one that was looked at."""
    earlier = [each for each in rounds_of(db, round_.piece_id) if each.number < round_.number]
    for each in reversed(earlier):
        if _last_verdict(db, each.id) is not None:
            return each
    return None


def uncompared(studio: Studio, piece_id: int | None = None) -> list[Round]:
    """Return the refired firings whose photos were looked at, but not compared with before."""
    with studio.reading() as db:
        rows = db.execute(
            "SELECT round_id, survey_id FROM now_pieces "
            "WHERE number > 0 AND pending = 0 AND survey_id IS NOT NULL "
            "AND (? IS NULL OR piece_id = ?)",
            (piece_id, piece_id),
        ).fetchall()
        missing = []
        for round_id, survey_id in rows:
            round_ = round_by_id(db, round_id)
            before = previous_round(db, round_)
            if (
                before is not None
                and not db.execute(
                    "SELECT 1 FROM comparisons WHERE round_id = ? AND after_survey_id = ? "
                    "AND before_survey_id = (SELECT survey_id FROM verdicts WHERE round_id = ? "
                    "ORDER BY id DESC LIMIT 1)",
                    (round_id, survey_id, before.id),
                ).fetchone()
            ):
                missing.append(round_)
    return missing


def keep_comparison(
    db: sqlite3.Connection, round_: Round, *, alignment: Alignment | None = None
) -> int | None:
    """Compare a firing with the one before, and write it down where it says something new.

    Parameters
    ----------
    db : sqlite3.Connection
        Inside a transaction, after the verdict of the firing.
    round_ : Round
    alignment : Alignment, optional
        As measured just now; else that of the last comparison of the same photos.

    Returns
    -------
    int or None
        Id of the comparison that now holds; None while the photos were not compared yet.
    """
    before_round = previous_round(db, round_)
    after_id = _last_verdict(db, round_.id)
    if before_round is None or after_id is None:
        return None
    before_id = _last_verdict(db, before_round.id)
    assert before_id is not None  # previous_round saw to it
    before, after = load_verdict(db, before_id), load_verdict(db, after_id)
    surveys = (before.survey_id, after.survey_id)
    last = _last_comparison(db, round_.id)
    if last is not None and last.surveys == surveys:
        alignment = alignment or last.alignment
    if alignment is None:
        return None  # still to be measured: see `uncompared`
    rows = _rows(db, round_, before, after, alignment)
    known = (last.surveys, last.alignment, _stored_rows(db, last.id)) if last is not None else None
    if last is not None and known == (surveys, alignment, rows):
        return last.id
    cursor = db.execute(
        f"INSERT INTO comparisons (round_id, before_survey_id, after_survey_id, method, made_at, "
        f"{_ALIGNMENT}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            round_.id,
            *surveys,
            _METHOD,
            stamp(),
            alignment.turned_deg,
            int(alignment.known),
            alignment.agreement,
            alignment.sag_before,
            alignment.sag_after,
            alignment.stretch,
            alignment.shift,
        ),
    )
    comparison_id = cast(int, cursor.lastrowid)
    db.executemany(
        "INSERT INTO marks (comparison_id, position, state, fault, before_id, after_id, text) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        [(comparison_id, position, *row) for position, row in enumerate(rows)],
    )
    return comparison_id


def before_and_after(studio: Studio, code: str, *, number: int | None = None) -> BeforeAfter | None:
    """Return two firings of a piece side by side.

    Parameters
    ----------
    studio : Studio
    code : str
    number : int, optional
        Which refire; the last one where None.

    Returns
    -------
    BeforeAfter or None
        None where the piece was not refired, or not looked at since.
    """
    with studio.reading() as db:
        piece_id = piece_id_of(db, code)
        round_ = current_round(db, piece_id)
        if number is not None:
            chosen = [each for each in rounds_of(db, piece_id) if each.number == number]
            if not chosen:
                return None
            round_ = chosen[0]
        last = _last_comparison(db, round_.id)
        before = previous_round(db, round_)
        if last is None or before is None:
            return None
        marks = _stored_rows(db, last.id)
        wanted = [each for mark in marks for each in (mark[2], mark[3]) if each is not None]
        found = load_findings(db, wanted)
        return BeforeAfter(
            code=round_.code,
            before=before,
            after=round_,
            remedy=_remedy(db, round_.id),
            alignment=last.alignment,
            views=_side_by_side(photos_of(db, before.id), photos_of(db, round_.id)),
            marks=tuple(
                PlaceMark(
                    cast(State, state),
                    fault,
                    text,
                    found[before_id] if before_id is not None else None,
                    found[after_id] if after_id is not None else None,
                )
                for state, fault, before_id, after_id, text in marks
            ),
        )


_Row = tuple[str, str, int | None, int | None, str]
"""State, fault, finding before, finding after, text."""


def _rows(
    db: sqlite3.Connection,
    round_: Round,
    before: StoredVerdict,
    after: StoredVerdict,
    alignment: Alignment,
) -> list[_Row]:
    old, old_ids = _that_count(before)
    new, new_ids = _that_count(after)
    survey_before = load_survey(db, before.survey_id)
    # What was there before, but was no fault (a spot of the drawing, a remark), is not new now.
    known = [each for each in survey_before.findings if each.id not in set(old_ids)]
    marks = mark_places(
        [*old, *(each.finding for each in known)],
        survey_before.survey.photos,
        new,
        load_survey(db, after.survey_id).survey.photos,
        alignment=alignment,
    )
    said = standing(load_events(db, round_.piece_id), round_.id).mended
    place_of = {each.id: each.place_id for each in load_findings(db, old_ids).values()}
    rows: list[_Row] = []
    for mark in marks:
        if mark.before is not None and mark.before >= len(old):
            continue
        before_id = old_ids[mark.before] if mark.before is not None else None
        after_id = new_ids[mark.after] if mark.after is not None else None
        word = said.get(place_of[before_id]) if before_id is not None else None
        if word is not None and word != mark.state:
            mark = _as_said(mark, cast(State, word))
        rows.append((mark.state, mark.fault, before_id, after_id, mark.text))
    return rows


def _as_said(mark: Mark, state: State) -> Mark:
    head = mark.text.split(":", 1)[0]
    return replace(mark, state=state, text=f"{head}: {state}, as you said.")


def _that_count(stored: StoredVerdict) -> tuple[list[Finding], list[int]]:
    """Findings that had a say in the verdict, or called for a look."""
    chosen = [
        (each.finding, found_id)
        for each, found_id in zip(stored.verdict.weighed, stored.finding_ids, strict=True)
        if each.weight in ("counts", "look")
    ]
    return [finding for finding, _ in chosen], [found_id for _, found_id in chosen]


def _stored_rows(db: sqlite3.Connection, comparison_id: int) -> list[_Row]:
    return db.execute(
        "SELECT state, fault, before_id, after_id, text FROM marks WHERE comparison_id = ? "
        "ORDER BY position",
        (comparison_id,),
    ).fetchall()


@dataclass(frozen=True, slots=True)
class _Comparison:
    id: int
    surveys: tuple[int, int]
    alignment: Alignment


_ALIGNMENT = "turned_deg, turned_known, agreement, sag_before, sag_after, stretch, shift"


def _last_comparison(db: sqlite3.Connection, round_id: int) -> _Comparison | None:
    row = db.execute(
        f"SELECT id, before_survey_id, after_survey_id, {_ALIGNMENT} FROM comparisons "
        "WHERE round_id = ? ORDER BY id DESC LIMIT 1",
        (round_id,),
    ).fetchone()
    if row is None:
        return None
    turned_deg, known, *rest = row[3:]
    return _Comparison(row[0], (row[1], row[2]), Alignment(turned_deg, bool(known), *rest))


def _last_verdict(db: sqlite3.Connection, round_id: int) -> int | None:
    row = db.execute(
        "SELECT id FROM verdicts WHERE round_id = ? ORDER BY id DESC LIMIT 1", (round_id,)
    ).fetchone()
    return int(row[0]) if row else None


def _remedy(db: sqlite3.Connection, round_id: int) -> str:
    row = db.execute(
        "SELECT value FROM now_facts WHERE round_id = ? AND name = 'done' AND value <> ''",
        (round_id,),
    ).fetchone()
    return str(row[0]) if row else AS_ADVISED


def _side_by_side(
    before: list[PlacedPhoto], after: list[PlacedPhoto]
) -> tuple[tuple[str, tuple[PlacedPhoto, ...], tuple[PlacedPhoto, ...]], ...]:
    views = sorted({each.view for each in (*before, *after)}, key=view_rank)
    return tuple(
        (
            view,
            tuple(each for each in before if each.view == view),
            tuple(each for each in after if each.view == view),
        )
        for view in views
    )
