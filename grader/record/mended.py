"""Which old fault is which new one, and what the refire did to it.

A finding's place on the piece is its height and its azimuth, both from the box of the piece on
the photo. Azimuth is 0 at the front, 90 on the side to the viewer's right, so that one place can
be followed from view to view.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from grader.findings import Finding, PhotoReport
from grader.record.alignment import UNKNOWN, Alignment

State = Literal["healed", "unchanged", "worse", "new", "not seen"]
STATES: tuple[State, ...] = ("healed", "unchanged", "worse", "new", "not seen")

VIEW_AZIMUTH_DEG = {"front": 0.0, "right": 90.0, "back": 180.0, "left": 270.0}

_OFF_KNOWN = (10.0, 0.06)
"""How far azimuth (degrees) and height (share of the piece) of one place may differ where the
alignment is measured: a degree or two of the turn itself, its steps in height, and what a wall
that is not round adds towards the edge of the picture."""

_OFF_UNKNOWN = (25.0, 0.12)
"""The same where the piece was only put back by eye (common practice, no source) and the camera
may have moved: 10 degrees more from above lift the middle of a pot by a tenth of its height."""

_SEEN_TO_DEG = 65.0
"""How far from the middle of a side view a place can still be judged."""

_WORSE_AREA = 1.5
"""Growth of the area from which a place is worse. A spot of 10 px measured a pixel too wide on
each side comes out 1.44 times as large, so less than this may be nothing."""

_WORSE_DE00 = 1.8
"""Growth of the colour shift from which a place is worse: half of all viewers object to such a
difference (Paravina et al. 2015, measured on dental ceramic)."""

# A mark that grows may be given another name by its new size.
_KIN = (
    frozenset({"scorch", "one_sided_browning"}),
    frozenset({"flake", "pit"}),
    frozenset({"flake", "streak"}),
    frozenset({"pit", "crawl"}),
)


@dataclass(frozen=True, slots=True)
class Mark:
    """What the refire did to one place.

    Attributes
    ----------
    state : {"healed", "unchanged", "worse", "new", "not seen"}
    fault : str
    before, after : int or None
        Positions in the lists of findings that were compared.
    text : str
        For the maker.
    """

    state: State
    fault: str
    before: int | None
    after: int | None
    text: str


@dataclass(frozen=True, slots=True)
class _Place:
    part: str
    azimuth_deg: float | None
    height: float
    reach_deg: float
    reach_height: float


def mark_places(
    before: Sequence[Finding],
    photos_before: Sequence[PhotoReport],
    after: Sequence[Finding],
    photos_after: Sequence[PhotoReport],
    *,
    alignment: Alignment = UNKNOWN,
) -> tuple[Mark, ...]:
    """Match the findings of two firings and say what became of each.

    Parameters
    ----------
    before, after : sequence of Finding
        Those that count, from the photos before and after the refire.
    photos_before, photos_after : sequence of PhotoReport
    alignment : Alignment
        How piece and camera stand on the later photos.

    Returns
    -------
    tuple of Mark
        One for each finding before, then one for each new one. A place that is gone counts as
        healed only where a usable photo shows it again, fine enough for its size.
    """
    old = [_place(each, photos_before, alignment, was_before=True) for each in before]
    new = [_place(each, photos_after, alignment, was_before=False) for each in after]
    pairs = _pairs(before, old, after, new, _OFF_KNOWN if alignment.known else _OFF_UNKNOWN)
    marks = []
    for index, finding in enumerate(before):
        if index in pairs:
            marks.append(_kept(index, finding, pairs[index], after[pairs[index]]))
        else:
            marks.append(_gone(index, finding, old[index], photos_after))
    matched = set(pairs.values())
    for index, finding in enumerate(after):
        if index not in matched:
            text = f"{_named(finding)}: was not there before the refire."
            marks.append(Mark("new", finding.fault, None, index, text))
    return tuple(marks)


def _place(
    finding: Finding, photos: Sequence[PhotoReport], alignment: Alignment, *, was_before: bool
) -> _Place:
    report = next((each for each in photos if each.photo == finding.photo), None)
    x, y, width, height = finding.bbox_px
    if report is None or report.piece_bbox_px is None:
        return _Place("unknown", None, 0.5, 180.0, 1.0)
    left, top, across, tall = report.piece_bbox_px
    from_middle = (x + width / 2 - left - across / 2) / (across / 2)
    down = (y + height / 2 - top) / tall
    reach = min(1.0, width / across)
    around = VIEW_AZIMUTH_DEG.get(finding.view)
    if around is None:
        # Seen along the axis (inside, foot, top) nobody knows how it lay: only the distance from
        # the middle stays. Numbered views have no known azimuth, but do have a height.
        if finding.view.startswith("view "):
            return _Place("wall", None, down, 180.0, height / tall)
        out = math.hypot(from_middle, 2 * down - 1)
        return _Place(finding.view, None, min(1.0, out), 180.0, height / tall)
    angle = math.degrees(math.asin(max(-1.0, min(1.0, from_middle))))
    level = (alignment.expected_level if was_before else alignment.level)(down, angle)
    turned = alignment.turned_deg if was_before else 0.0
    return _Place("wall", (around + angle + turned) % 360, level, 90 * reach, height / tall)


def _pairs(
    before: Sequence[Finding],
    old: Sequence[_Place],
    after: Sequence[Finding],
    new: Sequence[_Place],
    off: tuple[float, float],
) -> dict[int, int]:
    """Return the pairing, old to new, in which the most places meet and the distances are least."""
    if not before or not after:
        return {}
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    far = 1e3
    cost = np.full((len(before), len(after)), far)
    for i, (ours, place) in enumerate(zip(before, old, strict=True)):
        for j, (theirs, seen) in enumerate(zip(after, new, strict=True)):
            if _kin(ours.fault, theirs.fault) and (
                ours.view == theirs.view or place.part == "wall"
            ):
                distance = _distance(place, seen, off)
                if distance <= 1.0:
                    # One place seen on two photos shall meet itself on the same view.
                    other_view = 0.0 if ours.view == theirs.view else 0.5
                    other_name = 0.0 if ours.fault == theirs.fault else 0.5
                    cost[i, j] = distance + other_view + other_name
    rows, columns = linear_sum_assignment(cost)
    return {int(i): int(j) for i, j in zip(rows, columns, strict=True) if cost[i, j] < far}


def _distance(a: _Place, b: _Place, off: tuple[float, float]) -> float:
    """Distance of two places in units of what may be off; large places may be off by more."""
    if a.part != b.part:
        return math.inf
    off_deg, off_height = off
    height = abs(a.height - b.height) / (off_height + 0.25 * max(a.reach_height, b.reach_height))
    if a.azimuth_deg is None or b.azimuth_deg is None:
        return height
    between = abs((a.azimuth_deg - b.azimuth_deg + 180) % 360 - 180)
    around = between / (off_deg + 0.25 * max(a.reach_deg, b.reach_deg))
    return math.hypot(height, around)


def _kin(one: str, other: str) -> bool:
    return one == other or any(one in kin and other in kin for kin in _KIN)


def _kept(index: int, before: Finding, to: int, after: Finding) -> Mark:
    grown = _growth(before, after)
    darker = (
        after.shift_de00 - before.shift_de00
        if after.shift_de00 is not None and before.shift_de00 is not None
        else 0.0
    )
    if grown is not None and grown > _WORSE_AREA:
        text = f"{_named(before)}: still there, {grown:.1f} times as large."
        return Mark("worse", before.fault, index, to, text)
    if darker > _WORSE_DE00:
        text = f"{_named(before)}: still there, and stands out more (by {darker:.1f} dE00)."
        return Mark("worse", before.fault, index, to, text)
    less = " smaller" if grown is not None and grown < 1 / _WORSE_AREA else ""
    text = f"{_named(before)}: still there{',' if less else ''}{less}."
    return Mark("unchanged", before.fault, index, to, text)


def _growth(before: Finding, after: Finding) -> float | None:
    if before.area_mm2 and after.area_mm2:
        return after.area_mm2 / before.area_mm2
    if before.height_share and after.height_share:
        return (after.height_share / before.height_share) ** 2
    return None


def _gone(index: int, finding: Finding, place: _Place, photos: Sequence[PhotoReport]) -> Mark:
    showing = [each for each in photos if each.usable and _shows(each, finding, place)]
    if not showing:
        text = f"{_named(finding)}: no usable photo shows the place after the refire."
        return Mark("not seen", finding.fault, index, None, text)
    least = [each.smallest_judged_mm for each in showing if each.smallest_judged_mm is not None]
    # The floor is 3 px where 5 px are comfortable; below it a speck cannot be told from noise.
    if finding.diameter_mm and least and 0.6 * min(least) > finding.diameter_mm:
        text = f"{_named(finding)}: too small for the photos after the refire."
        return Mark("not seen", finding.fault, index, None, text)
    return Mark("healed", finding.fault, index, None, f"{_named(finding)}: gone.")


def _shows(report: PhotoReport, finding: Finding, place: _Place) -> bool:
    if place.azimuth_deg is None or report.view not in VIEW_AZIMUTH_DEG:
        return report.view == finding.view
    between = abs((place.azimuth_deg - VIEW_AZIMUTH_DEG[report.view] + 180) % 360 - 180)
    return between <= _SEEN_TO_DEG


def _named(finding: Finding) -> str:
    name = finding.fault.replace("_", " ").capitalize()
    size = f", {finding.diameter_mm:.1f} mm" if finding.diameter_mm is not None else ""
    return f"{name}{size}, {finding.view}"
