"""What the analysis saw, written down and read back exactly."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, cast

from grader import __version__
from grader.findings import Finding, PhotoReport, PieceSurvey, Problem, Zone
from grader.record.clock import stamp

_SAME_PLACE_IOU = 0.3
"""Overlap of two boxes (intersection over union) on the same photo from which they are one place.
Two runs seldom draw the same outline; for two neighbouring specks boxes do not overlap at all."""

_FINDING_COLUMNS = (
    "fault, photo, view, bbox_px, outline_px, zone, diameter_mm, area_mm2, height_share, "
    "shift_de00, certainty, why, measures"
)


@dataclass(frozen=True, slots=True)
class StoredFinding:
    """A finding with its places in the record.

    Attributes
    ----------
    id : int
        Of this finding of this survey.
    place_id : int
        Of the first finding of the same place: what was judged there holds for later surveys.
    photo_id : int
    by_hand : bool
        True where the maker added it.
    finding : Finding
    """

    id: int
    place_id: int
    photo_id: int
    by_hand: bool
    finding: Finding


@dataclass(frozen=True, slots=True)
class StoredSurvey:
    """A survey with its places in the record.

    Attributes
    ----------
    id, round_id : int
    analysis : str
        Version of the analysis that made it.
    made_at : str
    survey : PieceSurvey
    findings : tuple of StoredFinding
        In the order of ``survey.findings``.
    photo_ids : tuple of int
        In the order of ``survey.photos``.
    """

    id: int
    round_id: int
    analysis: str
    made_at: str
    survey: PieceSurvey
    findings: tuple[StoredFinding, ...]
    photo_ids: tuple[int, ...]

    def photo_name(self, photo_id: int) -> str | None:
        """Return the name under which this survey speaks of a photo."""
        for known, report in zip(self.photo_ids, self.survey.photos, strict=True):
            if known == photo_id:
                return report.photo
        return None


def store_survey(
    db: sqlite3.Connection,
    *,
    round_id: int,
    survey: PieceSurvey,
    photo_ids: Mapping[str, int],
    analysis: str,
    inputs_sha256: str,
) -> int:
    """Add a survey to the history of a round.

    Parameters
    ----------
    db : sqlite3.Connection
        Inside a transaction.
    round_id : int
    survey : PieceSurvey
    photo_ids : mapping of str to int
        From the photo names that the survey uses.
    analysis : str
        Version of the analysis.
    inputs_sha256 : str
        Digest of what it looked at.

    Returns
    -------
    int
        Id of the survey; that of the earlier one where the same was seen before.
    """
    there = db.execute(
        "SELECT id FROM surveys WHERE round_id = ? AND inputs_sha256 = ? AND analysis = ?",
        (round_id, inputs_sha256, analysis),
    ).fetchone()
    if there:
        return int(there[0])
    known = _known_places(db, round_id)
    survey_id = cast(
        int,
        db.execute(
            "INSERT INTO surveys (round_id, analysis, grader, inputs_sha256, zones, made_at) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            (
                round_id,
                analysis,
                __version__,
                inputs_sha256,
                json.dumps(sorted(survey.zones)),
                stamp(),
            ),
        ).lastrowid,
    )
    db.executemany(
        "INSERT INTO photo_reports (survey_id, photo_id, name, view, width_px, height_px, usable, "
        "problems, px_per_mm, scale_from, colour_from, chart_de00, piece_bbox_px, "
        "smallest_judged_mm) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [(survey_id, photo_ids[each.photo], *_report_row(each)) for each in survey.photos],
    )
    for finding in survey.findings:
        photo_id = photo_ids[finding.photo]
        same_as = _same_place(known.get(photo_id, []), finding)
        insert_finding(db, finding, survey_id=survey_id, photo_id=photo_id, same_as=same_as)
    return survey_id


def insert_finding(
    db: sqlite3.Connection,
    finding: Finding,
    *,
    survey_id: int | None,
    photo_id: int,
    same_as: int | None,
) -> int:
    """Add one finding; `survey_id` is None for one that the maker added by hand."""
    row = _finding_row(finding)
    cursor = db.execute(
        f"INSERT INTO findings (survey_id, photo_id, same_as, {_FINDING_COLUMNS}) "
        f"VALUES (?, ?, ?{', ?' * len(row)})",
        (survey_id, photo_id, same_as, *row),
    )
    return cast(int, cursor.lastrowid)


def load_survey(db: sqlite3.Connection, survey_id: int) -> StoredSurvey:
    """Read a survey back, equal to the one that was stored."""
    round_id, analysis, zones, made_at = db.execute(
        "SELECT round_id, analysis, zones, made_at FROM surveys WHERE id = ?", (survey_id,)
    ).fetchone()
    piece = db.execute(
        "SELECT code FROM pieces JOIN rounds ON pieces.id = piece_id WHERE rounds.id = ?",
        (round_id,),
    ).fetchone()[0]
    reports = db.execute(
        "SELECT photo_id, name, view, width_px, height_px, usable, problems, px_per_mm, "
        "scale_from, colour_from, chart_de00, piece_bbox_px, smallest_judged_mm "
        "FROM photo_reports WHERE survey_id = ? ORDER BY id",
        (survey_id,),
    ).fetchall()
    found = tuple(
        stored_finding(row)
        for row in db.execute(
            f"SELECT id, same_as, photo_id, survey_id, {_FINDING_COLUMNS} "
            "FROM findings WHERE survey_id = ? ORDER BY id",
            (survey_id,),
        )
    )
    survey = PieceSurvey(
        piece=piece,
        photos=tuple(_report(row[1:]) for row in reports),
        findings=tuple(each.finding for each in found),
        zones=frozenset(cast("list[Zone]", json.loads(zones))),
    )
    return StoredSurvey(
        survey_id, round_id, analysis, made_at, survey, found, tuple(row[0] for row in reports)
    )


def load_findings(db: sqlite3.Connection, ids: Iterable[int]) -> dict[int, StoredFinding]:
    """Read findings by their ids, whatever survey they belong to."""
    wanted = list(ids)
    return {
        each.id: each
        for each in map(
            stored_finding,
            db.execute(
                f"SELECT id, same_as, photo_id, survey_id, {_FINDING_COLUMNS} FROM findings "
                f"WHERE id IN (SELECT value FROM json_each(?)) ORDER BY id",
                (json.dumps(wanted),),
            ),
        )
    }


def stored_finding(row: tuple[Any, ...]) -> StoredFinding:
    """Make a finding of the columns id, same_as, photo_id, survey_id and the rest in order."""
    found_id, same_as, photo_id, survey_id, fault, photo, view, bbox, outline, zone, *rest = row
    diameter_mm, area_mm2, height_share, shift_de00, certainty, why, measures = rest
    box = json.loads(bbox)
    finding = Finding(
        fault=fault,
        photo=photo,
        view=view,
        bbox_px=(box[0], box[1], box[2], box[3]),
        outline_px=tuple((x, y) for x, y in json.loads(outline)),
        zone=zone,
        diameter_mm=diameter_mm,
        area_mm2=area_mm2,
        height_share=height_share,
        shift_de00=shift_de00,
        certainty=certainty,
        why=why,
        measures=tuple((name, value, unit) for name, value, unit in json.loads(measures)),
    )
    return StoredFinding(found_id, same_as or found_id, photo_id, survey_id is None, finding)


def box_overlap(a: tuple[int, int, int, int], b: tuple[int, int, int, int]) -> float:
    """Return intersection over union of two boxes (x, y, width, height), 0..1."""
    width = min(a[0] + a[2], b[0] + b[2]) - max(a[0], b[0])
    height = min(a[1] + a[3], b[1] + b[3]) - max(a[1], b[1])
    if width <= 0 or height <= 0:
        return 0.0
    shared = width * height
    return shared / (a[2] * a[3] + b[2] * b[3] - shared)


def _known_places(db: sqlite3.Connection, round_id: int) -> dict[int, list[StoredFinding]]:
    rows = db.execute(
        f"SELECT id, same_as, photo_id, survey_id, {_FINDING_COLUMNS} FROM findings "
        "WHERE photo_id IN (SELECT photo_id FROM now_photos WHERE round_id = ?) ORDER BY id",
        (round_id,),
    )
    places: dict[int, list[StoredFinding]] = {}
    for each in map(stored_finding, rows):
        places.setdefault(each.photo_id, []).append(each)
    return places


def _same_place(known: list[StoredFinding], finding: Finding) -> int | None:
    best, place_id = _SAME_PLACE_IOU, None
    for each in known:
        if each.finding.fault != finding.fault:
            continue
        overlap = box_overlap(each.finding.bbox_px, finding.bbox_px)
        if overlap > best:
            best, place_id = overlap, each.place_id
    return place_id


def _report_row(report: PhotoReport) -> tuple[Any, ...]:
    problems = [[each.code, each.text, bool(each.blocks)] for each in report.problems]
    box = report.piece_bbox_px
    return (
        report.photo,
        report.view,
        int(report.size_px[0]),
        int(report.size_px[1]),
        int(report.usable),
        json.dumps(problems),
        _number(report.px_per_mm),
        report.scale_from,
        report.colour_from,
        _number(report.chart_de00),
        None if box is None else json.dumps([int(v) for v in box]),
        _number(report.smallest_judged_mm),
    )


def _report(row: tuple[Any, ...]) -> PhotoReport:
    name, view, width, height, usable, problems, px_per_mm, scale, colour, chart, box, least = row
    return PhotoReport(
        photo=name,
        view=view,
        size_px=(width, height),
        usable=bool(usable),
        problems=tuple(Problem(code, text, blocks) for code, text, blocks in json.loads(problems)),
        px_per_mm=px_per_mm,
        scale_from=scale,
        colour_from=colour,
        chart_de00=chart,
        piece_bbox_px=None
        if box is None
        else cast("tuple[int, int, int, int]", tuple(json.loads(box))),
        smallest_judged_mm=least,
    )


def _finding_row(finding: Finding) -> tuple[Any, ...]:
    # Plain numbers: SQLite and JSON know nothing of those of numpy. Doubles come back exactly.
    return (
        finding.fault,
        finding.photo,
        finding.view,
        json.dumps([int(v) for v in finding.bbox_px]),
        json.dumps([[int(x), int(y)] for x, y in finding.outline_px], separators=(",", ":")),
        finding.zone,
        _number(finding.diameter_mm),
        _number(finding.area_mm2),
        float(finding.height_share),
        _number(finding.shift_de00),
        float(finding.certainty),
        finding.why,
        json.dumps([[name, float(value), unit] for name, value, unit in finding.measures]),
    )


def _number(value: float | None) -> float | None:
    return None if value is None else float(value)
