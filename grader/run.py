"""Grade a whole folder: find the pieces, survey each, let the rules speak."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import cv2

from grader.batch import Batch, PieceEntry, find_batch
from grader.errors import GraderError
from grader.findings import PhotoReport, PieceSurvey, Problem
from grader.rules import Rules, grade_piece
from grader.session import find_session_colour
from grader.survey import survey_piece
from grader.verdict import GradedBatch, GradedPiece

Progress = Callable[[int, int, str], object]
"""Called with (pieces done, pieces in all, code of the piece just done)."""

Survey = Callable[[PieceEntry], PieceSurvey]

# Working memory of one photo of 12 million pixels at the 60 bytes a pixel that the reading
# module names, doubled for the analysis.
_BYTES_A_WORKER = 1_500_000_000

# Starting a worker costs about two seconds of imports: not worth it for fewer pieces.
_LEAST_PIECES_FOR_WORKERS = 3


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
    pieces = tuple(
        GradedPiece(entry.facts, seen, grade_piece(entry.facts, seen, rules))
        for entry, seen in zip(batch.pieces, surveys, strict=True)
    )
    notes = tuple(problem.text for problem in batch.problems)
    return GradedBatch(batch.folder, pieces, rules.title, notes)


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
    count = min(workers or _workers_for_this_machine(), len(entries))
    if count < 2 or (workers is None and len(entries) < _LEAST_PIECES_FOR_WORKERS):
        surveys = []
        for number, entry in enumerate(entries, start=1):
            surveys.append(_survey(survey, entry))
            _tell(progress, number, len(entries), entry.code)
        return surveys
    return _side_by_side(entries, survey, count, progress)


def _side_by_side(
    entries: Sequence[PieceEntry], survey: Survey, workers: int, progress: Progress | None
) -> list[PieceSurvey]:
    done: dict[str, PieceSurvey] = {}
    try:
        with _pool(workers) as pool:
            jobs = {pool.submit(_survey, survey, _portable(entry)): entry for entry in entries}
            try:
                for job in as_completed(jobs):
                    done[jobs[job].code] = job.result()
                    _tell(progress, len(done), len(entries), jobs[job].code)
            except BaseException:
                pool.shutdown(wait=False, cancel_futures=True)
                raise
    except BrokenProcessPool:
        # A worker died outright (no memory, a crash in a library). One at a time shows whose
        # photos did it, and the others get their survey all the same.
        for entry in entries:
            if entry.code not in done:
                done[entry.code] = _survey_alone(survey, entry)
                _tell(progress, len(done), len(entries), entry.code)
    return [done[entry.code] for entry in entries]


def _survey_alone(survey: Survey, entry: PieceEntry) -> PieceSurvey:
    try:
        with _pool(1) as pool:
            return pool.submit(_survey, survey, _portable(entry)).result()
    except BrokenProcessPool:
        return _failed(entry, "its analysis was ended by the system, perhaps for want of memory")


def _survey(survey: Survey, entry: PieceEntry) -> PieceSurvey:
    try:
        return survey(entry)
    except GraderError as error:
        return _failed(entry, str(error).rstrip("."))
    except Exception as error:
        # A fault of ours on one piece must not cost the maker the rest of the batch. It is said
        # with its kind, the piece stays ungraded, and the run ends with a code of its own.
        return _failed(entry, f"its analysis failed ({type(error).__name__}: {error})")


def _failed(entry: PieceEntry, why: str) -> PieceSurvey:
    problem = Problem("analysis_failed", f"This piece could not be judged: {why}.", blocks=True)
    reports = tuple(
        PhotoReport(shot.name, shot.view, usable=False, problems=(problem,)) for shot in entry.shots
    )
    return PieceSurvey(entry.code, reports)


def _portable(entry: PieceEntry) -> PieceEntry:
    """The entry without the potter's own columns: no photo is judged by them, and their
    read-only mapping cannot be sent to another process."""
    return replace(entry, facts=replace(entry.facts, others={}))


def _tell(progress: Progress | None, done: int, total: int, code: str) -> None:
    if progress is not None:
        progress(done, total, code)


def _pool(workers: int) -> ProcessPoolExecutor:
    # "spawn" works alike on every system, and forking a process with threads is unsafe.
    return ProcessPoolExecutor(workers, get_context("spawn"), initializer=_start_worker)


def _start_worker() -> None:
    # The pieces already share the cores out; threads of their own would fight over them.
    cv2.setNumThreads(1)
    # Ctrl-C reaches every process of the terminal: workers end at once, without a traceback.
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _workers_for_this_machine() -> int:
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return max(1, min(cores or 1, _free_memory() // _BYTES_A_WORKER))


def _free_memory() -> int:
    """Bytes of memory that are free, or plenty where the system does not say."""
    try:
        return os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, OSError, ValueError):
        return 64 * _BYTES_A_WORKER
