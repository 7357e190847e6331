"""Hand-made facts, photos and findings for the tests of the later stages."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

from grader.facts import PieceFacts
from grader.findings import FaultName, Finding, PhotoReport, PieceSurvey, Problem, View, Zone
from grader.rules import Rules, grade_piece, load_rules
from grader.verdict import GradedBatch, GradedPiece

SIDES: tuple[View, ...] = ("front", "right", "back", "left")


def a_photo(view: View, piece: str = "K01", **changes: Any) -> PhotoReport:
    """A good photo of one view: marker and chart in it, 10 px/mm."""
    values: dict[str, Any] = {
        "photo": f"{piece}/{view.replace(' ', '')}.jpg",
        "view": view,
        "size_px": (2000, 1500),
        "px_per_mm": 10.0,
        "scale_from": "marker",
        "colour_from": "chart",
        "chart_de00": 1.2,
        "piece_bbox_px": (600, 200, 800, 1000),
        "smallest_judged_mm": 0.5,
    }
    return PhotoReport(**(values | changes))


def four_sides(piece: str = "K01", **changes: Any) -> tuple[PhotoReport, ...]:
    """Good photos of the four sides."""
    return tuple(a_photo(view, piece, **changes) for view in SIDES)


def blocked(view: View, piece: str = "K01") -> PhotoReport:
    """A photo that cannot carry a verdict."""
    problem = Problem("out_of_focus", "out of focus: tap the piece before shooting", blocks=True)
    return a_photo(view, piece, usable=False, problems=(problem,))


def a_finding(
    fault: FaultName,
    view: View = "front",
    *,
    piece: str = "K01",
    zone: Zone = "painted",
    mm: float | None = 1.0,
    de00: float | None = 10.0,
    share: float = 0.05,
    certainty: float = 0.9,
    at: tuple[int, int] = (900, 600),
) -> Finding:
    """One finding; its outline is a square whose side is its diameter at 10 px/mm."""
    side = max(4, round(10 * (mm or 1.0)))
    x, y = at
    outline = ((x, y), (x + side, y), (x + side, y + side), (x, y + side))
    return Finding(
        fault=fault,
        photo=f"{piece}/{view.replace(' ', '')}.jpg",
        view=view,
        bbox_px=(x, y, side, side),
        outline_px=outline,
        zone=zone,
        diameter_mm=mm,
        area_mm2=None if mm is None else mm * mm,
        height_share=share,
        shift_de00=de00,
        certainty=certainty,
        why=f"A place that differs by {de00} dE00.",
    )


def a_survey(*findings: Finding, photos: tuple[PhotoReport, ...] | None = None) -> PieceSurvey:
    """A survey of piece K01 from four good sides, with the given findings."""
    return PieceSurvey("K01", four_sides() if photos is None else photos, tuple(findings))


def some_facts(**changes: Any) -> PieceFacts:
    """A painted beaker under clear glaze, for drinking, at full price 30."""
    values: dict[str, Any] = {
        "piece": "K01",
        "form": "beaker",
        "clay": "speckled",
        "finish": "glazed",
        "decorated": True,
        "use": "food",
        "price": 30.0,
    }
    return PieceFacts(**(values | changes))


def a_batch(
    *pieces: tuple[PieceFacts, PieceSurvey],
    folder: Path = Path("photos"),
    rules: Rules | None = None,
) -> GradedBatch:
    """A batch graded by the shipped rules."""
    rules = rules or load_rules()
    graded = tuple(
        GradedPiece(facts, survey, grade_piece(facts, survey, rules)) for facts, survey in pieces
    )
    return GradedBatch(folder, graded, rules.title)


def renamed(survey: PieceSurvey, piece: str) -> PieceSurvey:
    """The same survey for another piece."""

    def moved(name: str) -> str:
        return f"{piece}/{name.split('/')[-1]}"

    return PieceSurvey(
        piece,
        tuple(dataclasses.replace(photo, photo=moved(photo.photo)) for photo in survey.photos),
        tuple(dataclasses.replace(one, photo=moved(one.photo)) for one in survey.findings),
        survey.zones,
    )


def mixed_batch(folder: Path = Path("photos")) -> GradedBatch:
    """One piece of each grade, with facts that would be dangerous in a list or on a page."""
    flake = a_survey(a_finding("flake"), a_finding("flake", "right", at=(800, 500)))
    scorch = a_survey(
        a_finding("scorch", mm=22.04, de00=9.876, zone="clay"), a_finding("flake", mm=None)
    )
    return a_batch(
        (some_facts(piece="A1", design="newt"), renamed(a_survey(), "A1")),
        (some_facts(piece="=1+1", design="<b>moth</b>", price=24.0), renamed(scorch, "=1+1")),
        (some_facts(piece="C3", design="-reed", form="plate"), renamed(flake, "C3")),
        (
            some_facts(piece="D4", design="@snail"),
            renamed(a_survey(photos=(*four_sides()[:3], blocked("left"))), "D4"),
        ),
        folder=folder,
    )
