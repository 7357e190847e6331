"""Grade a whole folder: find pieces, survey each, hold sisters together, let the rules speak."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from grader.batch import Batch, PieceEntry, find_batch
from grader.facts import PieceFacts
from grader.findings import PhotoReport, PieceSurvey, Problem
from grader.mates import held_together
from grader.rules import Rules, grade_piece
from grader.session import find_session_colour
from grader.sharing import Failed, each_result
from grader.survey import survey_piece
from grader.verdict import GradedBatch, GradedPiece

Progress = Callable[[int, int, str], object]
"""Called with (pieces done, pieces in all, code of the piece just done)."""

Survey = Callable[[PieceEntry], PieceSurvey]


def grade_folder(
    folder: Path,
    rules: Rules,
    *,
    marker_mm: float = 20.0,
    workers: int | None = None,
    progress: Progress | None = None,
) -> GradedBatch:
    """Grade one unloaded batch from its folder of photos.

    Parameters
    ----------
    folder : Path
    rules : Rules
    marker_mm : float, default 20
        Side of the printed marker.
    workers : int, optional
        Processes that survey pieces side by side; as many as the machine can carry by default.
    progress : callable, optional

    Returns
    -------
    GradedBatch

    Raises
    ------
    BatchError, FactsError
        Where the folder or its list of pieces cannot be worked on at all. A photo that cannot
        be used, or a piece that cannot be analysed, is a problem within the result instead.
    """
    batch = find_batch(folder)
    return grade_batch(batch, rules, marker_mm=marker_mm, workers=workers, progress=progress)


def grade_batch(
    batch: Batch,
    rules: Rules,
    *,
    marker_mm: float = 20.0,
    workers: int | None = None,
    progress: Progress | None = None,
) -> GradedBatch:
    """Grade a batch whose pieces are found; parameters as in `grade_folder`."""
    colour = find_session_colour(batch, marker_mm=marker_mm)
    survey = partial(survey_piece, marker_mm=marker_mm, session_colour=colour)
    surveys = survey_entries(batch.pieces, survey, workers=workers, progress=progress)
    facts = {entry.code: entry.facts for entry in batch.pieces}
    pieces = tuple(
        _graded(entry.facts, seen, rules)
        for entry, seen in zip(batch.pieces, held_together(surveys, facts), strict=True)
    )
    notes = tuple(problem.text for problem in batch.problems)
    return GradedBatch(batch.folder, pieces, rules.title, notes)


def _graded(facts: PieceFacts, seen: PieceSurvey, rules: Rules) -> GradedPiece:
    # A piece of which nobody said so was not refired before.
    refires = facts.refires or 0
    verdict = grade_piece(facts, seen, rules, refires_done=refires)
    return GradedPiece(facts, seen, verdict, refires_done=refires)


def survey_entries(
    entries: Sequence[PieceEntry],
    survey: Survey,
    *,
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[PieceSurvey]:
    """Survey pieces side by side; what fails for one piece does not stop the others.

    Parameters
    ----------
    entries : sequence of PieceEntry
    survey : callable
        From a piece to its survey; a function that other processes can import.
    workers : int, optional
    progress : callable, optional

    Returns
    -------
    list of PieceSurvey
        In the order of `entries`.
    """
    surveys: dict[int, PieceSurvey] = {}
    for position, result in each_result(survey, list(map(_portable, entries)), workers=workers):
        entry = entries[position]
        surveys[position] = _failed(entry, result) if isinstance(result, Failed) else result
        if progress is not None:
            progress(len(surveys), len(entries), entry.code)
    return [surveys[position] for position in range(len(entries))]


def _failed(entry: PieceEntry, why: str) -> PieceSurvey:
    problem = Problem("analysis_failed", f"This piece could not be judged. {why}", blocks=True)
    reports = tuple(
        PhotoReport(shot.name, shot.view, usable=False, problems=(problem,)) for shot in entry.shots
    )
    return PieceSurvey(entry.code, reports)


def _portable(entry: PieceEntry) -> PieceEntry:
    """The entry without the potter's own columns: no photo is judged by them, and their
    read-only mapping cannot be sent to another process."""
    return replace(entry, facts=replace(entry.facts, others={}))
