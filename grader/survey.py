"""Look one piece over: read its photos, measure them, and ask every fault module.

The one place that joins the stages from photo to findings. It judges nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.batch import PieceEntry, Shot
from grader.checks import check_photo, with_casts
from grader.clay import common_clay
from grader.errors import PhotoError
from grader.facts import Finish, PieceFacts
from grader.faults import Evidence, ViewEvidence, find_all
from grader.findings import (
    OPPOSITE,
    SIDES_IN_TURN,
    Finding,
    PhotoReport,
    PieceSurvey,
    Problem,
    Zone,
    quarters_between,
)
from grader.mates import read_likeness
from grader.outline.agreement import (
    FEWEST_SIDES,
    LONG_SIDE_PX,
    Expected,
    expect,
    is_disputed,
    resized,
)
from grader.outline.still import OneStand
from grader.photo import read_photo
from grader.piece import COARSE_LONG_SIDE_PX, Silhouette, cut_out, cut_out_again
from grader.piece_scale import NOT_A_SIDE, piece_scale, smallest_judged_mm
from grader.relief import find_reliefs
from grader.skin import common_opening, read_skin
from grader.surface import Surface, read_surface
from grader.target import Colour, Target, read_target
from grader.zones import Zones, find_zones

ANALYSIS_VERSION = 24
"""Raised whenever the same photo may give other findings; kept with every record."""

_LOST_OUTLINE = 0.15
"""Chance below which an outline is taken for lost (of 22 photos in doubt that showed a soft fault,
all five below overlapped by less than 0.97, and four of the faults were false)."""


@dataclass(frozen=True, slots=True)
class _Look:
    """One photo that can be used."""

    target: Target
    surface: Surface
    silhouette: Silhouette
    marker_px_per_mm: float | None

    @property
    def small(self) -> NDArray[np.bool_]:
        """Outline at the size at which sides are laid over each other."""
        mask = self.silhouette.mask
        return resized(mask, LONG_SIDE_PX / max(mask.shape))

    @property
    def small_px_per_mm(self) -> float | None:
        """Scale of `small` by the marker; None without one."""
        if self.marker_px_per_mm is None:
            return None
        return self.marker_px_per_mm * LONG_SIDE_PX / max(self.silhouette.mask.shape)


@dataclass(frozen=True, slots=True)
class Gathered:
    """What the photos of one piece show, before anything is looked for.

    Attributes
    ----------
    photos : tuple of PhotoReport
    evidence : Evidence
        Without views where no photo can be used.
    """

    photos: tuple[PhotoReport, ...]
    evidence: Evidence


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
        With the likeness that its sisters are held against (`grader.mates`). A photo that cannot
        be used is reported as such; nothing is raised for it.
    """
    gathered = gather(entry, marker_mm=marker_mm, session_colour=session_colour)
    views = gathered.evidence.views
    findings: tuple[Finding, ...] = find_all(gathered.evidence) if views else ()
    return PieceSurvey(
        piece=entry.code,
        photos=gathered.photos,
        findings=findings,
        zones=_zones_seen(views),
        likeness=read_likeness(entry.code, gathered.evidence, findings, gathered.photos),
    )


def gather(
    entry: PieceEntry, *, marker_mm: float = 20.0, session_colour: Colour | None = None
) -> Gathered:
    """Read the photos of one piece, check them, and divide what can be used into zones.

    Parameters
    ----------
    entry, marker_mm, session_colour
        As in `survey_piece`.

    Returns
    -------
    Gathered
    """
    looks: dict[int, _Look] = {}
    reports: list[PhotoReport] = []
    stands = _stands(entry.shots)
    for number, shot in enumerate(entry.shots):
        look, report = _look(shot, entry.facts, marker_mm, session_colour, stands.get(number))
        reports.append(report)
        if look is not None and report.usable:
            looks[number] = look
    # Few outlines are disputed: reading those photos again costs less than holding all in memory.
    for number, expected in _disputed(looks).items():
        dispute = looks[number], expected
        look, report = _look(
            entry.shots[number],
            entry.facts,
            marker_mm,
            session_colour,
            stands.get(number),
            dispute,
        )
        if look is not None and report.usable:
            looks[number], reports[number] = look, report
    # One stand, one lamp: a photo with another tint among its sisters is told, not corrected.
    photos = with_casts(reports, {each.surface.photo: each.target for each in looks.values()})
    facts = entry.facts
    views = view_evidence(
        [look.surface for look in looks.values()], decorated=facts.decorated, finish=facts.finish
    )
    lost = frozenset(
        look.surface.photo for look in looks.values() if look.silhouette.certainty < _LOST_OUTLINE
    )
    return Gathered(photos, Evidence(views, facts.finish, facts.decorated, lost))


def _disputed(looks: Mapping[int, _Look]) -> dict[int, Expected]:
    """What the other sides lead one to expect, of each side whose outline is not that."""
    sides = {n: look for n, look in looks.items() if look.surface.view not in NOT_A_SIDE}
    if len(sides) < FEWEST_SIDES:
        return {}
    masks = [look.small for look in sides.values()]
    known = [look.small_px_per_mm for look in sides.values()]
    scales = [each for each in known if each is not None]
    names = [look.surface.view for look in sides.values()]
    opposite = [
        next(
            (at for at, other in enumerate(names) if quarters_between(name, other) == OPPOSITE),
            None,
        )
        for name in names
    ]
    expected = expect(masks, scales if len(scales) == len(masks) else None, opposite)
    return {
        number: each
        for number, mask, each in zip(sides, masks, expected, strict=True)
        if is_disputed(mask, each)
    }


def _stands(shots: Sequence[Shot]) -> dict[int, OneStand]:
    """The photo of each side, reduced, with those of the other sides."""
    seen: dict[int, NDArray[np.uint8]] = {}
    for number, shot in enumerate(shots):
        if shot.view not in NOT_A_SIDE:
            # A photo that cannot be read is reported when it is looked at.
            with suppress(PhotoError):
                seen[number] = read_photo(shot.path, least_long_side_px=COARSE_LONG_SIDE_PX).rgb
    return {
        number: OneStand(own, tuple(other for at, other in seen.items() if at != number))
        for number, own in seen.items()
    }


def _look(
    shot: Shot,
    facts: PieceFacts,
    marker_mm: float,
    session_colour: Colour | None,
    stand: OneStand | None,
    dispute: tuple[_Look, Expected] | None = None,
) -> tuple[_Look | None, PhotoReport]:
    try:
        photo = read_photo(shot.path, name=shot.name)
    except PhotoError as error:
        problem = Problem("unreadable", str(error), blocks=True)
        return None, PhotoReport(shot.name, shot.view, usable=False, problems=(problem,))
    height, width = photo.rgb.shape[:2]
    if dispute is None:
        target = read_target(photo, marker_mm=marker_mm, session_colour=session_colour)
        upright = shot.view not in NOT_A_SIDE
        silhouette = cut_out(photo.rgb, target.cards_px, upright=upright, stand=stand)
    else:
        first, expected = dispute
        target = first.target
        silhouette = cut_out_again(photo.rgb, first.silhouette, expected, target.cards_px, stand)
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
    scale = size.axis_px_per_mm if size.source == "marker" else None
    return _Look(target, surface, silhouette, scale), report


def view_evidence(
    surfaces: Sequence[Surface], *, decorated: bool | None, finish: Finish | None = None
) -> tuple[ViewEvidence, ...]:
    """Divide all photos of one piece into zones, sides first and in the order of turning.

    Parameters
    ----------
    surfaces : sequence of Surface
    decorated : bool or None
    finish : {"raw", "glazed", "coloured"} or None
        As the potter says.

    Returns
    -------
    tuple of ViewEvidence
    """
    sides = [surface for surface in surfaces if surface.view not in NOT_A_SIDE]
    sides.sort(key=lambda surface: _turn(surface.view))
    others = [surface for surface in surfaces if surface.view in NOT_A_SIDE]
    if not surfaces:
        return ()
    clay = common_clay(sides or others)

    def zones_of(surface: Surface, from_side: bool) -> Zones:
        return find_zones(
            surface,
            clay,
            decorated=decorated,
            seen_from_side=from_side,
            glazed=finish != "raw",
        )

    side_zones = [zones_of(surface, True) for surface in sides]
    reliefs = find_reliefs(sides, side_zones)
    opening = common_opening(side_zones)
    views = [
        ViewEvidence(surface, zones, read_skin(surface, zones, opening), relief, shade)
        for surface, zones, (relief, shade) in zip(sides, side_zones, reliefs, strict=True)
    ]
    for surface in others:
        zones = zones_of(surface, False)
        ((relief, shade),) = find_reliefs([surface], [zones])
        views.append(ViewEvidence(surface, zones, None, relief, shade))
    return tuple(views)


def _turn(view: str) -> tuple[int, str]:
    return (
        (SIDES_IN_TURN.index(view), view) if view in SIDES_IN_TURN else (len(SIDES_IN_TURN), view)
    )


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
