"""A finding that the maker draws by hand, measured as far as the photo allows."""

from __future__ import annotations

import sqlite3

from grader.errors import UsageError
from grader.findings import FaultName, Finding, Zone
from grader.record.errors import RecordError
from grader.record.surveys import load_survey


def drawn_finding(
    db: sqlite3.Connection,
    survey_id: int,
    photo_id: int,
    fault: FaultName,
    outline: tuple[tuple[int, int], ...],
    zone: Zone,
    text: str,
) -> Finding:
    """Return a finding with the size that its outline has on the photo.

    Parameters
    ----------
    db : sqlite3.Connection
    survey_id : int
        The survey that knows the photo and its scale.
    photo_id : int
    fault : str
    outline : tuple of (int, int)
        At least three points (x, y) of the upright, full-size photo.
    zone : str
    text : str
        What the maker says of it.

    Raises
    ------
    RecordError
        The photo is not one of the piece's.
    UsageError
        The outline leaves the photo.
    """
    stored = load_survey(db, survey_id)
    name = stored.photo_name(photo_id)
    report = next((each for each in stored.survey.photos if each.photo == name), None)
    if report is None or name is None:
        raise RecordError(
            f"photo {photo_id} does not belong to this piece",
            where=stored.survey.piece,
            remedy="Draw it on one of the piece's own photos",
        )
    xs, ys = [x for x, _ in outline], [y for _, y in outline]
    width, height = report.size_px
    if min(xs) < 0 or min(ys) < 0 or (width and max(xs) > width) or (height and max(ys) > height):
        raise UsageError("the place lies outside the photo", where=name, remedy="Draw it again")
    box = (min(xs), min(ys), max(1, max(xs) - min(xs)), max(1, max(ys) - min(ys)))
    scale = report.px_per_mm
    tall = report.piece_bbox_px[3] if report.piece_bbox_px else height
    return Finding(
        fault=fault,
        photo=name,
        view=report.view,
        bbox_px=box,
        outline_px=outline,
        zone=zone,
        diameter_mm=_longest_px(outline) / scale if scale else None,
        area_mm2=_area_px2(outline) / scale**2 if scale else None,
        height_share=min(1.0, box[3] / tall) if tall else 0.0,
        shift_de00=None,
        certainty=1.0,
        why=text or "Added by hand.",
    )


def _longest_px(outline: tuple[tuple[int, int], ...]) -> float:
    return max(
        float(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5) for a in outline for b in outline
    )


def _area_px2(outline: tuple[tuple[int, int], ...]) -> float:
    # The surveyor's formula: half the sum of cross products along a closed outline.
    following = (*outline[1:], outline[0])
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(outline, following, strict=True))) / 2
