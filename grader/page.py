"""The page of a batch: one HTML file that needs nothing else, to read, print and file away."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from math import cos, pi, sin

from grader.errors import PhotoError
from grader.facts import PieceFacts
from grader.findings import FAULT_NAMES, Finding, PhotoReport
from grader.labels import room_for_labels
from grader.lessons import Lessons, learn
from grader.lists import sold_as
from grader.marks import MARKS
from grader.photo import Photo, read_photo
from grader.pictures import Picture, close_up, close_up_box, piece_picture, sound_box
from grader.rules import Rules
from grader.templating import environment
from grader.verdict import Grade, GradedBatch, GradedPiece, WeighedFinding

# In the order in which the maker acts: photograph again while the piece is on the table, set
# aside for the kiln, label and price, put on the shelf.
_SECTIONS: tuple[tuple[Grade, str, str], ...] = (
    ("ungraded", "Ungraded", "Photograph these again before you put them away."),
    ("refire", "Refire", "Touch these up and fire them once more."),
    ("second", "Seconds", "Show and name the flaw when you sell them."),
    ("first", "Firsts", "Nothing that counts was found."),
)

# Sizes that keep twenty faulty pieces of four photos below 12 MB.
_LARGE_PX = 720
_SMALL_PX = 320
_CLOSE_UP_PX = 240
_CLOSE_UPS = 6

# The least size at which an outline is drawn, or a pit would vanish under its own line.
_LEAST_RING_PX = 12.0

# Pits are ringed, everything else that is small gets a diamond.
_RING_CORNERS = {"pit": 16}

# Half the height of a number label: readable when the picture is shown at 40 % of its size.
LABEL_HALF_PX = 20.0

# Lengths that a scale bar may have; the longest that fills less than half of the picture is used.
_BAR_MM = (0.5, 1, 2, 5, 10, 20, 50)


Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Place:
    """One outlined place on a shown picture, in pixels of that picture.

    ``label`` is where its number stands and ``anchor`` where the line to it ends; None for a
    place without a number.
    """

    number: int
    fault: str
    points: str
    counts: bool
    label: tuple[float, float] | None = None
    anchor: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Shown:
    """One photo as the page shows it."""

    photo: str
    view: str
    picture: Picture | None
    places: tuple[Place, ...]
    problems: tuple[str, ...]
    usable: bool
    large: bool


@dataclass(frozen=True, slots=True)
class CloseUp:
    """One place enlarged, and sound surface at the same scale."""

    number: int
    fault: str
    label: str
    view: str
    picture: Picture
    sound: Picture | None
    place: Place
    size: str
    shift: str
    severity: str
    weight: str
    certainty: str
    why: str
    bar_px: float
    bar_label: str


@dataclass(frozen=True, slots=True)
class PieceView:
    """One piece as the page shows it."""

    graded: GradedPiece
    facts: str
    sold_as: str
    shown: tuple[Shown, ...]
    close_ups: tuple[CloseUp, ...]
    more: int
    cautions: tuple[str, ...]


def batch_page(
    batch: GradedBatch,
    rules: Rules,
    *,
    today: date,
    progress: Callable[[int, int], object] | None = None,
) -> str:
    """The page of a graded batch.

    Parameters
    ----------
    batch : GradedBatch
        Its photos are read from its folder, one at a time.
    rules : Rules
        For the labels, causes and standing cautions.
    today : date
        Printed on the page.
    progress : callable, optional
        Called with (pieces done, pieces in all).

    Returns
    -------
    str
        HTML with every picture inside it. It asks for nothing from the network.
    """
    views: dict[Grade, list[PieceView]] = {grade: [] for grade, _, _ in _SECTIONS}
    for number, piece in enumerate(batch.pieces, start=1):
        views[piece.verdict.grade].append(_piece_view(batch, piece, rules))
        if progress is not None:
            progress(number, len(batch.pieces))
    return (
        environment()
        .get_template("batch.html")
        .render(
            batch=batch,
            label_scale=LABEL_HALF_PX / 10,
            title=batch.name or f"Batch {batch.folder.resolve().name}",
            today=today,
            sections=[(grade, name, advice, views[grade]) for grade, name, advice in _SECTIONS],
            lesson_lines=lesson_lines(learn(batch.pieces), rules),
            marks=MARKS,
            legend=[(fault, rules.faults[fault].label) for fault in FAULT_NAMES],
            faults=rules.faults,
            standing=[rules.cautions[key] for key in _STANDING],
        )
    )


_STANDING = ("unloading", "grinding", "kiln", "food", "crazing")


def lesson_lines(lessons: Lessons, rules: Rules) -> list[str]:
    """What a batch teaches, in sentences for the maker."""
    lines = []
    for rate in lessons.rates:
        label = rules.faults[rate.fault].plural
        lines.append(
            f"{label[:1].upper()}{label[1:]}: {rate.hits} of {rate.total} pieces that could have "
            f"them. From one batch the true share may be anything from {100 * rate.low:.0f} to "
            f"{100 * rate.high:.0f} %."
        )
    for one in lessons.patterns:
        label = rules.faults[one.fault].plural
        verdict = (
            f"A likely cause: it held in {one.firings} firings."
            if one.standing == "likely cause"
            else "Watch it in the next firing before you call it a cause."
        )
        lines.append(
            f"{label[:1].upper()}{label[1:]} {one.where}: {one.hits} of {one.total}, elsewhere "
            f"{one.other_hits} of {one.other_total}. By chance alone a difference like this comes "
            f"up {_odds(one.mid_p)}; {lessons.compared} comparisons were made. {verdict}"
        )
    if lessons.rates and not lessons.patterns:
        lines.append("No clay, shelf, place, glaze, form or design stands out.")
    if lessons.pieces and lessons.too_small:
        lines.append(
            f"With {lessons.pieces} pieces, a share of 30 % cannot be told from one of 10 %. "
            "Read this as a hint of where to look, not as a finding."
        )
    return lines


def _odds(chance: float) -> str:
    return f"{100 * chance:.0f} times in 100" if chance >= 0.01 else "less than once in 100"


def _piece_view(batch: GradedBatch, piece: GradedPiece, rules: Rules) -> PieceView:
    chosen = _chosen(piece.verdict.weighed)
    numbers = {id(one.finding): number for number, one in enumerate(chosen, start=1)}
    shown: list[Shown] = []
    close_ups: list[CloseUp] = []
    for report in piece.survey.photos:
        here = [one for one in piece.verdict.weighed if one.finding.photo == report.photo]
        here = [one for one in here if one.weight != "normal"]
        photo = _read(batch, report)
        shown.append(_shown(photo, report, here, numbers))
        if photo is not None:
            close_ups += [
                _close_up(photo, report, one, here, numbers[id(one.finding)], rules)
                for one in here
                if id(one.finding) in numbers
            ]
    standing = {rules.cautions[key] for key in _STANDING}
    outlined = sum(one.weight != "normal" for one in piece.verdict.weighed)
    return PieceView(
        graded=piece,
        facts=_facts_line(piece.facts),
        sold_as=sold_as(piece) if piece.verdict.grade == "second" else "",
        shown=tuple(shown),
        close_ups=tuple(sorted(close_ups, key=lambda one: one.number)),
        more=outlined - len(close_ups),
        cautions=tuple(text for text in piece.verdict.cautions if text not in standing),
    )


def _chosen(weighed: Sequence[WeighedFinding]) -> list[WeighedFinding]:
    """The places to enlarge: the weightiest of each fault in turn, so that none is left out."""
    ranked = sorted(
        (one for one in weighed if one.weight != "normal"),
        key=lambda one: (
            one.weight != "counts",
            one.severity != "marked",
            -(one.finding.diameter_mm or one.finding.height_share),
        ),
    )
    turn: dict[str, int] = {}
    order = []
    for one in ranked:
        turn[one.finding.fault] = turn.get(one.finding.fault, 0) + 1
        order.append((turn[one.finding.fault], one))
    return [one for _, one in sorted(order, key=lambda pair: pair[0])][:_CLOSE_UPS]


def _read(batch: GradedBatch, report: PhotoReport) -> Photo | None:
    try:
        return read_photo(batch.folder / report.photo, name=report.photo)
    except PhotoError:
        return None  # the report of the photo already says what is wrong with it


def _shown(
    photo: Photo | None,
    report: PhotoReport,
    here: Sequence[WeighedFinding],
    numbers: dict[int, int],
) -> Shown:
    picture = None
    places: tuple[Place, ...] = ()
    if photo is not None:
        longest = _LARGE_PX if here else _SMALL_PX
        picture = piece_picture(photo, report.piece_bbox_px, longest_px=longest)
        places = _places(picture, here, numbers)
    return Shown(
        photo=report.photo,
        view=report.view,
        picture=picture,
        places=places,
        problems=tuple(problem.text for problem in report.problems),
        usable=report.usable,
        large=bool(here),
    )


def _places(
    picture: Picture, here: Sequence[WeighedFinding], numbers: dict[int, int]
) -> tuple[Place, ...]:
    outlines = [_drawn(picture, one.finding) for one in here]
    rects = [
        (min(x for x, _ in o), min(y for _, y in o), max(x for x, _ in o), max(y for _, y in o))
        for o in outlines
    ]
    wanted = [index for index, one in enumerate(here) if id(one.finding) in numbers]
    size = (float(picture.width_px), float(picture.height_px))
    spots = dict(zip(wanted, room_for_labels(rects, wanted, size, LABEL_HALF_PX), strict=True))
    places = []
    for index, one in enumerate(here):
        spot = spots.get(index)
        places.append(
            Place(
                number=numbers.get(id(one.finding), 0),
                fault=one.finding.fault,
                points=_svg_points(outlines[index]),
                counts=one.weight == "counts",
                label=spot,
                anchor=None if spot is None else _nearest(outlines[index], spot),
            )
        )
    # Numbers lie on top of every outline.
    return tuple(sorted(places, key=lambda place: place.number))


def _nearest(outline: Sequence[Point], spot: Point) -> Point:
    return min(outline, key=lambda p: (p[0] - spot[0]) ** 2 + (p[1] - spot[1]) ** 2)


def _svg_points(outline: Sequence[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in outline)


def _drawn(picture: Picture, finding: Finding) -> list[Point]:
    return [picture.place(x + 0.5, y + 0.5) for x, y in _outline(finding, picture.zoom)]


def _outline(finding: Finding, zoom: float) -> list[Point]:
    x, y, w, h = finding.bbox_px
    if max(w, h) * zoom >= 2 * _LEAST_RING_PX:
        return [(float(px), float(py)) for px, py in finding.outline_px]
    # A small place gets a ring about it, with room to see what is inside.
    corners = _RING_CORNERS.get(finding.fault, 4)
    reach = max(_LEAST_RING_PX / zoom, max(w, h))
    angles = [2 * pi * corner / corners for corner in range(corners)]
    return [(x + w / 2 + reach * sin(a), y + h / 2 - reach * cos(a)) for a in angles]


def _close_up(
    photo: Photo,
    report: PhotoReport,
    one: WeighedFinding,
    here: Sequence[WeighedFinding],
    number: int,
    rules: Rules,
) -> CloseUp:
    finding = one.finding
    box = close_up_box(photo, finding)
    places = [other.finding for other in here]
    sound = sound_box(photo, report.piece_bbox_px, box, finding, places)
    picture = close_up(photo, box, zoom=_CLOSE_UP_PX / box[2])
    bar_mm = _bar_mm(report.px_per_mm, picture)
    return CloseUp(
        number=number,
        fault=finding.fault,
        label=rules.faults[finding.fault].label,
        view=finding.view,
        picture=picture,
        sound=None if sound is None else close_up(photo, sound, zoom=picture.zoom),
        place=Place(number, finding.fault, _svg_points(_drawn(picture, finding)), True),
        size=_size(finding),
        shift="" if finding.shift_de00 is None else f"{finding.shift_de00:.1f} dE00",
        severity=one.severity,
        weight=one.weight,
        certainty=f"{100 * finding.certainty:.0f} %",
        why=finding.why,
        bar_px=0.0 if bar_mm is None else bar_mm * (report.px_per_mm or 0.0) * picture.zoom,
        bar_label="" if bar_mm is None else f"{bar_mm:g} mm",
    )


def _bar_mm(px_per_mm: float | None, picture: Picture) -> float | None:
    if not px_per_mm:
        return None
    room = picture.width_px / 2 / (px_per_mm * picture.zoom)
    return max((mm for mm in _BAR_MM if mm <= room), default=None)


def _size(finding: Finding) -> str:
    if finding.diameter_mm is None:
        return f"{100 * finding.height_share:.0f} % of the height"
    return (
        f"{finding.diameter_mm:.1f} mm"
        if finding.diameter_mm < 10
        else (f"{finding.diameter_mm:.0f} mm")
    )


def _facts_line(facts: PieceFacts) -> str:
    finish = {"raw": "raw clay", "glazed": "clear glaze", "coloured": "coloured glaze"}
    parts = [
        facts.form,
        facts.design,
        facts.clay and f"{facts.clay} clay",
        finish.get(facts.finish or "", ""),
        facts.shelf and f"shelf {facts.shelf}",
        facts.place and f"place {facts.place}",
    ]
    return " · ".join(filter(None, parts))
