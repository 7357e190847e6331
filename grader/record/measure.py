"""Read the photos of a refired piece again, to lay them over those from before."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from typing import TYPE_CHECKING

from grader.errors import GraderError
from grader.findings import PhotoReport
from grader.record.alignment import Alignment
from grader.record.mended import VIEW_AZIMUTH_DEG
from grader.record.pieces import PlacedPhoto, Round, photos_of
from grader.record.refires import previous_round
from grader.record.studio import Studio
from grader.record.surveys import load_survey

if TYPE_CHECKING:  # the image libraries behind it take a second to load
    from grader.record.walls import Wall

_Boxed = tuple[PlacedPhoto, tuple[int, int, int, int]]
"""A photo with the box (x, y, width, height) of the piece on it."""


def measure_alignment(studio: Studio, round_: Round) -> Alignment | None:
    """See how piece and camera stand on the photos of a refire, against those from before.

    Slow (a second or two a photo), so it is done outside any transaction.

    Returns
    -------
    Alignment or None
        None for a piece that was not refired.
    """
    with studio.reading() as db:
        before = previous_round(db, round_)
        if before is None:
            return None
        old, new = _boxed_sides(db, before), _boxed_sides(db, round_)
    from grader.record.align import align_walls
    from grader.record.walls import surface_only

    walls_before = surface_only(_walls(studio, old))
    walls_after = surface_only(_walls(studio, new)) if walls_before else {}
    return align_walls(walls_before, walls_after)


def _walls(studio: Studio, sides: Mapping[str, _Boxed]) -> dict[str, Wall]:
    from grader.photo import read_photo
    from grader.record.previews import working_file
    from grader.record.walls import unroll_wall
    from grader.target import read_target

    walls = {}
    for view, (placed, box) in sides.items():
        try:
            photo = read_photo(working_file(studio, placed.file, turn_deg=placed.turn_deg))
        except GraderError:
            continue
        wall = unroll_wall(photo.rgb, box)
        if wall is None:
            # The cards may have been taken for the piece. Finding them takes a second, so only now.
            wall = unroll_wall(photo.rgb, box, read_target(photo).cards_px)
        if wall is not None:
            walls[view] = wall
    return walls


def _boxed_sides(db: sqlite3.Connection, round_: Round) -> dict[str, _Boxed]:
    row = db.execute(
        "SELECT id FROM surveys WHERE round_id = ? ORDER BY id DESC LIMIT 1", (round_.id,)
    ).fetchone()
    if row is None:
        return {}
    stored = load_survey(db, row[0])
    reports: dict[int, PhotoReport] = dict(zip(stored.photo_ids, stored.survey.photos, strict=True))
    sides: dict[str, _Boxed] = {}
    for photo in photos_of(db, round_.id):
        report = reports.get(photo.id)
        if photo.view not in VIEW_AZIMUTH_DEG or report is None or not report.usable:
            continue
        if report.piece_bbox_px is not None:
            sides.setdefault(photo.view, (photo, report.piece_bbox_px))
    return sides
