"""Look one piece over: read its photos, measure them, and ask every fault module.

The one place that joins the stages from photo to findings. It judges nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from grader.batch import PieceEntry, Shot
from grader.checks import check_photo, with_casts
from grader.errors import PhotoError
from grader.facts import PieceFacts
from grader.faults import Evidence, ViewEvidence, find_all
from grader.findings import Finding, PhotoReport, PieceSurvey, Problem, Zone
from grader.photo import Photo, read_photo
from grader.piece import Silhouette, cut_out
from grader.piece_scale import NOT_A_SIDE, piece_scale, smallest_judged_mm
from grader.relief import find_reliefs
from grader.skin import read_skin
from grader.surface import Surface, read_surface
from grader.target import Colour, Target, read_target
from grader.zones import Zones, common_clay, find_zones

ANALYSIS_VERSION = 1
"""Raised whenever the same photo may give other findings; kept with every record."""

_TURN = ("front", "right", "back", "left")


@dataclass(frozen=True, slots=True)
class _Look:
    """One photo, read and cut out."""

    shot: Shot
    photo: Photo
    target: Target
    silhouette: Silhouette
    surface: Surface


def survey_piece(
    entry: PieceEntry, *, marker_mm: float = 20.0, session_colour: Colour | None = None
) -> PieceSurvey:
    """Look over one piece.

    Parameters
    ----------
    entry : PieceEntry
    marker_mm : float, default 20
        Side of the marker's black square.
    session_colour : Colour, optional
        Chart of the session, for photos without their own.

    Returns
    -------
    PieceSurvey
        A photo that cannot be used is reported as such; nothing is raised for it.
    """
    looks: list[_Look] = []
    reports: list[PhotoReport] = []
    for shot in entry.shots:
        look, report = _look(shot, entry.facts, marker_mm, session_colour)
        reports.append(report)
        if look is not None and report.usable:
            looks.append(look)
    # One stand, one lamp: a photo with another tint among its sisters is told, not corrected.
    reports = list(with_casts(reports, {look.shot.name: look.target for look in looks}))
    views = _views(looks, entry.facts)
    evidence = Evidence(views, entry.facts.finish, entry.facts.decorated)
    findings: tuple[Finding, ...] = find_all(evidence) if views else ()
    return PieceSurvey(
        piece=entry.code, photos=tuple(reports), findings=findings, zones=_zones_seen(views)
    )


def _look(
    shot: Shot, facts: PieceFacts, marker_mm: float, session_colour: Colour | None
) -> tuple[_Look | None, PhotoReport]:
    try:
        photo = read_photo(shot.path, name=shot.name)
    except PhotoError as error:
        problem = Problem("unreadable", str(error), blocks=True)
        return None, PhotoReport(shot.name, shot.view, usable=False, problems=(problem,))
    height, width = photo.rgb.shape[:2]
    target = read_target(photo, marker_mm=marker_mm, session_colour=session_colour)
    silhouette = cut_out(photo.rgb, target.cards_px)
    if silhouette is None:
        report = PhotoReport(
            photo=shot.name,
            view=shot.view,
            size_px=(width, height),
            usable=False,
            problems=check_photo(photo, target, None, view=shot.view),
        )
        return None, report
    size = piece_scale(
        target.scale,
        silhouette,
        view=shot.view,
        size_px=(width, height),
        focal_35mm=photo.focal_35mm,
        height_mm=facts.height_mm,
    )
    near = size.near_px_per_mm
    surface = read_surface(
        photo.rgb, silhouette, target, photo=shot.name, view=shot.view, px_per_mm=near
    )
    problems = check_photo(photo, target, silhouette, view=shot.view, near_px_per_mm=near) + tuple(
        Problem("note", note) for note in photo.notes
    )
    report = PhotoReport(
        photo=shot.name,
        view=shot.view,
        size_px=(width, height),
        usable=not any(problem.blocks for problem in problems),
        problems=problems,
        px_per_mm=size.axis_px_per_mm,
        scale_from=size.source,
        colour_from=target.colour.source,
        chart_de00=target.colour.leave_one_out_de00,
        piece_bbox_px=silhouette.bbox_px,
        smallest_judged_mm=smallest_judged_mm(near),
    )
    return _Look(shot, photo, target, silhouette, surface), report


def _views(looks: Sequence[_Look], facts: PieceFacts) -> tuple[ViewEvidence, ...]:
    sides = [look for look in looks if look.shot.view not in NOT_A_SIDE]
    sides.sort(key=lambda look: _turn(look.shot.view))
    others = [look for look in looks if look.shot.view in NOT_A_SIDE]
    if not looks:
        return ()
    clay = common_clay([look.surface for look in (sides or others)])

    def zones_of(look: _Look, from_side: bool) -> Zones:
        return find_zones(look.surface, clay, decorated=facts.decorated, seen_from_side=from_side)

    side_zones = [zones_of(look, True) for look in sides]
    reliefs = find_reliefs([look.surface for look in sides], side_zones)
    views = [
        ViewEvidence(look.surface, zones, read_skin(look.surface, zones), relief, shade)
        for look, zones, (relief, shade) in zip(sides, side_zones, reliefs, strict=True)
    ]
    for look in others:
        zones = zones_of(look, False)
        ((relief, shade),) = find_reliefs([look.surface], [zones])
        views.append(ViewEvidence(look.surface, zones, None, relief, shade))
    return tuple(views)


def _turn(view: str) -> tuple[int, str]:
    return (_TURN.index(view), view) if view in _TURN else (len(_TURN), view)


def _zones_seen(views: Sequence[ViewEvidence]) -> frozenset[Zone]:
    seen: set[Zone] = set()
    for view in views:
        zones = view.zones
        if int(np.count_nonzero(zones.painted)) > 0.002 * max(1, int(np.count_nonzero(zones.wall))):
            seen.add("painted")
        if zones.wall.any():
            seen.add("clay")
        if zones.inside.any() or view.surface.view == "inside":
            seen.add("inside")
        if zones.foot.any() or view.surface.view == "foot":
            seen.add("foot")
    return frozenset(seen)
