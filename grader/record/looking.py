"""Look at what waits in the record: analyse, grade and compare, one piece after the other.

Nothing is held while a piece is looked at, and each piece is written down when it is done; so
the work can run beside the pages, be stopped at any point, and go on later.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from grader.findings import PieceSurvey
from grader.record.clock import stamp
from grader.record.measure import measure_alignment
from grader.record.now import digest_now, marker_mm, propose, refresh
from grader.record.photos import photo_file
from grader.record.pieces import (
    PlacedPhoto,
    Round,
    charts_of,
    current_round,
    facts_now,
    photos_of,
    piece_id_of,
    round_by_id,
    view_rank,
)
from grader.record.refires import keep_comparison, uncompared
from grader.record.rulebook import Rulebook, studio_rulebook
from grader.record.sisters import keep_likeness
from grader.record.studio import Studio
from grader.record.surveys import store_survey
from grader.sharing import Failed, each_result
from grader.verdict import Grade

if TYPE_CHECKING:
    from grader.batch import Batch, PieceEntry

Progress = Callable[[int, int, str], object]
"""Called with (pieces done, pieces in all, code of the piece just done)."""


def _nothing_in_common(batch: Batch) -> None:
    return None


@dataclass(frozen=True, slots=True)
class Analysis:
    """What looks at a piece.

    Attributes
    ----------
    version : str
        Kept with each survey; another one whenever the same photos may give other findings.
    look : callable
        From a `PieceEntry`, and what `session` found for its batch, to a `PieceSurvey`. Must be
        a module's function, or a partial of one, where several processes share the work.
    session : callable
        From a `Batch` to what its photos have in common, for instance the colours of the light
        by the one photo that shows the chart. Asked once for each batch.
    """

    version: str
    look: Callable[[PieceEntry, Any], PieceSurvey]
    session: Callable[[Batch], Any] = _nothing_in_common


@dataclass(frozen=True, slots=True)
class Looked:
    """What came of looking at one piece.

    Attributes
    ----------
    code : str
    grade : str or None
        Proposed; None where the analysis failed.
    trouble : str
        Why it failed, in plain words; else empty.
    why : str
        The first reason for the grade.
    """

    code: str
    grade: Grade | None
    trouble: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class _Task:
    """One firing of a piece that waits, as it is now."""

    round: Round
    entry: PieceEntry
    photo_ids: dict[str, int]
    inputs_sha256: str


def default_analysis(studio: Studio) -> Analysis:
    """Return the analysis of this program, set for the studio's own marker."""
    from grader.session import find_session_colour
    from grader.survey import ANALYSIS_VERSION

    with studio.reading() as db:
        side_mm = marker_mm(db)
    return Analysis(
        str(ANALYSIS_VERSION),
        partial(_survey, marker_mm=side_mm),
        partial(find_session_colour, marker_mm=side_mm),
    )


def waiting(studio: Studio) -> list[str]:
    """Return the codes of the pieces that wait to be looked at, in order."""
    with studio.reading() as db:
        return [
            row[0]
            for row in db.execute(
                "SELECT code FROM now_pieces JOIN pieces ON id = piece_id "
                "WHERE pending = 1 AND photos > 0 ORDER BY sort_key, code"
            )
        ]


def look_at_waiting(
    studio: Studio,
    *,
    codes: Sequence[str] | None = None,
    anew: bool = False,
    analysis: Analysis | None = None,
    book: Rulebook | None = None,
    workers: int | None = 1,
    progress: Progress | None = None,
    stop: Callable[[], bool] = bool,
) -> tuple[Looked, ...]:
    """Analyse and grade the pieces that wait; then hold each against its sisters.

    Parameters
    ----------
    studio : Studio
    codes : sequence of str, optional
        Only these; all that wait where None.
    anew : bool
        Also pieces that do not wait, if this version of the analysis has not seen them yet.
        Needs `codes`, or takes all pieces.
    analysis, book : optional
        Those of the program and of the studio where None.
    workers : int, optional
        Processes that look side by side; as many as the machine carries where None.
    progress : callable, optional
    stop : callable
        Asked after each piece; True ends the work, and what is done stays. The sisters are held
        together by the next call then.

    Returns
    -------
    tuple of Looked
        In the order in which they were done.
    """
    analysis = analysis or default_analysis(studio)
    book = book or studio_rulebook(studio)
    tasks = _tasks(studio, codes, analysis.version if anew else None)
    done: list[Looked] = []
    work, items = partial(_look, analysis.look), _with_sessions(studio, analysis, tasks)
    for position, result in each_result(work, items, workers=workers):
        task = tasks[position]
        done.append(_write_down(studio, task, result, analysis, book))
        for round_ in uncompared(studio, task.round.piece_id):
            _compare(studio, round_)
        if progress is not None:
            progress(len(done), len(tasks), task.round.code)
        if stop():
            return tuple(done)
    for round_ in uncompared(studio):
        _compare(studio, round_)
    from grader.record.holding import hold_together, unheld  # which looks at reference pieces

    batches = {task.round.batch_id for task in tasks} | set(unheld(studio))
    changed = hold_together(studio, sorted(batches), book, analysis)
    return tuple(_graded_now(studio, each) if each.code in changed else each for each in done)


def entry_of(
    studio: Studio, db: sqlite3.Connection, round_: Round
) -> tuple[PieceEntry, dict[str, int]]:
    """Return a firing of a piece as the analysis takes it, and the photo each name stands for."""
    from datetime import datetime

    from grader.batch import PieceEntry, Shot
    from grader.record.previews import working_file

    names: dict[str, int] = {}
    shots = []
    for photo in sorted(photos_of(db, round_.id), key=lambda each: (view_rank(each.view), each.id)):
        name = _name_within(names, photo)
        names[name] = photo.id
        path = working_file(studio, photo.file, turn_deg=photo.turn_deg)
        captured = datetime.fromisoformat(photo.captured_at) if photo.captured_at else None
        shots.append(Shot(name, path, photo.view, captured))
    facts = facts_now(db, round_.code, round_.piece_id, round_.id)
    return PieceEntry(round_.code, facts, tuple(shots)), names


def _name_within(names: dict[str, int], photo: PlacedPhoto) -> str:
    """Two folders may both have held a ``K07/front.jpg``: number the second one."""
    path = Path(photo.name)
    name, count = path.as_posix(), 2
    while name in names:
        name = path.with_name(f"{path.stem} ({count}){path.suffix}").as_posix()
        count += 1
    return name


def _tasks(studio: Studio, codes: Sequence[str] | None, anew_for: str | None) -> list[_Task]:
    with studio.reading() as db:
        if codes is not None:
            ids = [piece_id_of(db, code) for code in codes]
        else:
            rows = db.execute(
                "SELECT piece_id FROM now_pieces JOIN pieces ON id = piece_id "
                "WHERE photos > 0 AND (pending = 1 OR ?) ORDER BY sort_key, code",
                (anew_for is not None,),
            )
            ids = [row[0] for row in rows]
        tasks = []
        for piece_id in ids:
            round_ = current_round(db, piece_id)
            digest = digest_now(db, round_)
            seen = db.execute(
                "SELECT 1 FROM surveys WHERE round_id = ? AND inputs_sha256 = ? "
                "AND (? IS NULL OR analysis = ?)",
                (round_.id, digest, anew_for, anew_for),
            ).fetchone()
            if not seen:
                entry, names = entry_of(studio, db, round_)
                tasks.append(_Task(round_, entry, names, digest))
    return tasks


def _look(
    look: Callable[[PieceEntry, Any], PieceSurvey], task: tuple[PieceEntry, Any]
) -> PieceSurvey:
    return look(*task)


def _survey(entry: PieceEntry, session: Any, *, marker_mm: float) -> PieceSurvey:
    from grader.survey import survey_piece

    return survey_piece(entry, marker_mm=marker_mm, session_colour=session)


def _with_sessions(
    studio: Studio, analysis: Analysis, tasks: Sequence[_Task]
) -> list[tuple[PieceEntry, Any]]:
    """Return each entry with what the photos of its batch have in common."""
    found: dict[int, Any] = {}
    for batch_id in sorted({task.round.batch_id for task in tasks}):
        found[batch_id] = analysis.session(batch_of(studio, batch_id))
    return [(task.entry, found[task.round.batch_id]) for task in tasks]


def batch_of(studio: Studio, batch_id: int) -> Batch:
    """Return a batch of the record as it is now, looked at or not."""
    from grader.batch import Batch

    with studio.reading() as db:
        rounds = db.execute(
            "SELECT round_id FROM now_pieces JOIN pieces ON id = piece_id "
            "WHERE batch_id = ? AND photos > 0 ORDER BY sort_key, code",
            (batch_id,),
        ).fetchall()
        entries = [entry_of(studio, db, round_by_id(db, row[0]))[0] for row in rounds]
        charts = [photo_file(studio, each.file) for each in charts_of(db, batch_id)]
    return Batch(studio.folder, tuple(entries), charts=tuple(charts))


def _write_down(
    studio: Studio, task: _Task, result: PieceSurvey | Failed, analysis: Analysis, book: Rulebook
) -> Looked:
    piece_id, round_ = task.round.piece_id, task.round
    if isinstance(result, Failed):
        with studio.writing() as db:
            db.execute(
                "INSERT INTO troubles (round_id, analysis, inputs_sha256, text, met_at) "
                "VALUES (?, ?, ?, ?, ?)",
                (round_.id, analysis.version, task.inputs_sha256, str(result), stamp()),
            )
            refresh(db, piece_id)
        return Looked(round_.code, None, str(result))
    with studio.writing() as db:
        survey_id = store_survey(
            db,
            round_id=round_.id,
            survey=result,
            photo_ids=task.photo_ids,
            analysis=analysis.version,
            inputs_sha256=task.inputs_sha256,
        )
        if result.likeness is not None:
            keep_likeness(db, survey_id, result.likeness)
        if current_round(db, piece_id).id == round_.id:
            propose(db, piece_id, book)
        refresh(db, piece_id)
    return _graded_now(studio, Looked(round_.code, None))


def _graded_now(studio: Studio, looked: Looked) -> Looked:
    """The same piece with the grade that the rules propose now."""
    if looked.trouble:
        return looked
    with studio.reading() as db:
        proposed, why = db.execute(
            "SELECT proposed, why FROM now_pieces JOIN pieces ON id = piece_id WHERE code = ?",
            (looked.code,),
        ).fetchone()
    return replace(looked, grade=cast("Grade | None", proposed), why=why)


def _compare(studio: Studio, round_: Round) -> None:
    # Reads photos again, so not in the transaction of the survey, where other windows would wait.
    # After a stop in between, the next look finds that the comparison is missing.
    alignment = measure_alignment(studio, round_)
    if alignment is not None:
        with studio.writing() as db:
            keep_comparison(db, round_, alignment=alignment)
