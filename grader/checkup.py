"""Checking the photos of a batch before the pieces are put away: only the photos, not the pots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from grader.batch import DEFAULT_VIEW_ORDER, Batch, PieceEntry, find_batch
from grader.checks import check_photo, check_views, with_casts
from grader.errors import PhotoError
from grader.findings import SIDES_IN_TURN, PhotoReport, PieceSurvey, Problem, View
from grader.photo import read_photo
from grader.piece import cut_out
from grader.piece_scale import piece_scale, smallest_judged_mm
from grader.run import Progress, survey_entries
from grader.scale import DEFAULT_MARKER_MM
from grader.target import Target, read_target


@dataclass(frozen=True, slots=True)
class PieceCheck:
    """What is wrong with the photos of one piece.

    Attributes
    ----------
    piece : str
    photos : tuple of PhotoReport
        Every photo, with its problems; in view order.
    problems : tuple of Problem
        Of the piece as a whole: sides that no usable photo shows.
    """

    piece: str
    photos: tuple[PhotoReport, ...]
    problems: tuple[Problem, ...]

    @property
    def ready(self) -> bool:
        """Whether the piece can be graded from these photos."""
        return not any(problem.blocks for problem in self.problems)


@dataclass(frozen=True, slots=True)
class BatchCheck:
    """What is wrong with the photos of a batch.

    Attributes
    ----------
    pieces : tuple of PieceCheck
    problems : tuple of Problem
        Of the folder as a whole.
    """

    pieces: tuple[PieceCheck, ...]
    problems: tuple[Problem, ...]


def run_check(
    folder: Path,
    *,
    facts_file: Path | None = None,
    view_order: Sequence[View] = DEFAULT_VIEW_ORDER,
    required: Sequence[View] = SIDES_IN_TURN,
    advised: Sequence[View] = (),
    marker_mm: float = DEFAULT_MARKER_MM,
    workers: int | None = None,
    progress: Progress | None = None,
) -> BatchCheck:
    """Check the photos of a folder.

    Parameters
    ----------
    folder, facts_file, view_order
        As in `grader.batch.find_batch`.
    required, advised : sequence of str
        Views that must, and that should, be photographed; from the rules.
    marker_mm : float
        Side of the printed marker.
    workers, progress
        As in `grader.run.grade_folder`.

    Returns
    -------
    BatchCheck

    Raises
    ------
    BatchError, FactsError
        The folder or its list of pieces cannot be worked on.
    """
    batch = find_batch(folder, facts_file=facts_file, view_order=view_order)
    look = partial(look_at_photos, marker_mm=marker_mm)
    surveys = survey_entries(batch.pieces, look, workers=workers, progress=progress)
    pieces = tuple(
        PieceCheck(
            survey.piece,
            survey.photos,
            check_views([p.view for p in survey.photos if p.usable], required, advised),
        )
        for survey in surveys
    )
    return BatchCheck(pieces, (*batch.problems, *_of_the_session(batch, surveys)))


def look_at_photos(entry: PieceEntry, *, marker_mm: float = DEFAULT_MARKER_MM) -> PieceSurvey:
    """Read and check the photos of one piece, without looking for faults.

    Returns
    -------
    PieceSurvey
        Without findings.
    """
    reports: list[PhotoReport] = []
    targets: dict[str, Target] = {}
    for shot in entry.shots:
        try:
            photo = read_photo(shot.path, name=shot.name)
        except PhotoError as error:
            problem = Problem("unreadable", str(error), blocks=True)
            reports.append(PhotoReport(shot.name, shot.view, usable=False, problems=(problem,)))
            continue
        target = read_target(photo, marker_mm=marker_mm)
        targets[shot.name] = target
        silhouette = cut_out(photo.rgb, target.cards_px)
        size_px = (photo.rgb.shape[1], photo.rgb.shape[0])
        report = PhotoReport(
            photo=shot.name,
            view=shot.view,
            size_px=size_px,
            colour_from=target.colour.source,
            chart_de00=target.colour.leave_one_out_de00,
            piece_bbox_px=None if silhouette is None else silhouette.bbox_px,
        )
        near = None
        if silhouette is not None:
            size = piece_scale(
                target.scale,
                silhouette,
                view=shot.view,
                size_px=size_px,
                focal_35mm=photo.focal_35mm,
                height_mm=entry.facts.height_mm,
            )
            near = size.near_px_per_mm
            report = replace(
                report,
                px_per_mm=size.axis_px_per_mm,
                scale_from=size.source,
                smallest_judged_mm=smallest_judged_mm(near),
            )
        problems = check_photo(photo, target, silhouette, view=shot.view, near_px_per_mm=near)
        usable = not any(problem.blocks for problem in problems)
        reports.append(replace(report, usable=usable, problems=problems))
    return PieceSurvey(entry.code, with_casts(reports, targets))


def _of_the_session(batch: Batch, surveys: Sequence[PieceSurvey]) -> tuple[Problem, ...]:
    photos = [photo for survey in surveys for photo in survey.photos]
    if not photos or batch.charts or any(photo.colour_from == "chart" for photo in photos):
        return ()
    text = (
        "No photo shows a colour chart: one photo of the chart in the same light would make "
        "colours surer for the whole session."
    )
    return (Problem("no_chart", text),)
