"""The likeness of drawn pots: read, kept as text, and held against each other."""

from __future__ import annotations

import pickle

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from grader.errors import GraderError
from grader.faults import Evidence
from grader.findings import PhotoReport
from grader.mates import Likeness, compare_mates, from_json, read_likeness, to_json
from grader.survey import view_evidence
from tests.drawn import BLUE, CLAY, draw_pot, island
from tests.mates.made import some_facts
from tests.pieces import a_finding

SIZE = (900, 1100)
BROWNER = tuple(np.array(CLAY) * (1.03, 0.98, 0.90))
DARK = (0.05, 0.045, 0.04)


def _dot(x: float, y: float, seed: int = 0) -> NDArray[np.float32]:
    """A dark spot of 1.8 mm on the wall of a drawn pot; it has 8 px/mm."""
    return cv2.GaussianBlur(island(SIZE, x, y, 14, seed).astype(np.float32), (0, 0), 0.8)


def _piece(
    code: str,
    seed: int,
    dot: tuple[float, float] | None = None,
    clay: tuple[float, ...] = CLAY,
    band: tuple[float, float, float] | None = BLUE,
    flagged: bool = False,
) -> Likeness:
    """A pot with its spot on the front."""
    names = ("front", "right") if flagged else ("front",)
    layers = {} if dot is None else {"dot": (_dot(*dot, seed), DARK)}
    surfaces = [
        draw_pot(
            clay=clay,  # type: ignore[arg-type]
            band=band,
            layers=layers if view == "front" else {},  # type: ignore[arg-type]
            seed=10 * seed + number,
            exposure=1 + 0.03 * (seed % 3),
        ).surface(view=view)
        for number, view in enumerate(names)
    ]
    views = view_evidence(surfaces, decorated=True)
    findings = []
    if flagged and dot is not None:
        at = (round(dot[0]) - 7, round(dot[1]) - 7)
        found = a_finding("pit", piece="X1", mm=1.4, at=at)
        findings = [found]
    reports = [PhotoReport(f"X1/{view}.jpg", view, colour_from="chart") for view in names]
    return read_likeness(code, Evidence(views, "glazed", True), findings, reports)


@pytest.fixture(scope="module")
def batch() -> list[Likeness]:
    """Six pots of one design: K1 has a spot where its sisters have theirs, and K6 is browner."""
    middle = [(560, 250), (575, 262), (548, 245), (566, 240), (557, 260), (580, 252)]
    return [
        _piece(f"K{n}", n, middle[n - 1], BROWNER if n == 6 else CLAY, flagged=n == 1)
        for n in range(1, 7)
    ]


def test_clay_paint_and_place_are_read(batch: list[Likeness]) -> None:
    first = batch[0]
    assert [side.view for side in first.sides] == ["front", "right"]
    assert first.colour_from == "chart"
    assert first.clay == pytest.approx(
        (np.log(CLAY[0] / CLAY[1]), np.log(CLAY[2] / CLAY[1])), abs=0.015
    )
    (paint,) = first.paints
    assert paint.light == pytest.approx(np.array(BLUE) / CLAY, abs=0.06)
    cells = first.sides[0].painted_cells()
    rows = np.flatnonzero(cells.mean(1) > 0.8) / len(cells)
    # The band is 180 px high, at 8 px/mm.
    band = 180 / 8 / first.sides[0].high_mm
    assert len(rows) / len(cells) == pytest.approx(band, abs=0.04)
    assert first.painted_share == pytest.approx(band, abs=0.05)


def test_a_spot_is_read_at_its_place(batch: list[Likeness]) -> None:
    front = batch[0].sides[0]
    assert front.wide_mm == pytest.approx(70, rel=0.08)
    (mark,) = (each for each in front.marks if each.size_mm > 1)
    assert mark.size_mm == pytest.approx(1.8, abs=0.5)
    assert max(mark.light) < 0.5
    assert mark.across == pytest.approx(0.5 + 10 / 560, abs=0.03)
    (flag,) = front.flags
    assert flag.mark == mark
    assert not batch[0].sides[1].flags


def test_sisters_tell_the_drawing_and_the_browner_one(batch: list[Likeness]) -> None:
    facts = some_facts(*(f"K{number}" for number in range(1, 7)))
    flag = batch[0].sides[0].flags[0]
    report = compare_mates(batch, facts, {("K1", "pit", flag.photo, flag.bbox_px): 0.9})
    (change,) = report.adjustments
    assert change.piece == "K1" and change.certainty == 0.0
    odd = {note.piece: note.kind for note in report.notes if note.sure}
    assert odd == {"K6": "browner"}


def test_a_spot_of_one_alone_stays(batch: list[Likeness]) -> None:
    alone = _piece("K7", 7, (420, 690), flagged=True)
    flag = alone.sides[0].flags[0]
    assert flag.mark is not None
    facts = some_facts(*(f"K{number}" for number in range(2, 8)))
    key = ("K7", flag.fault, flag.photo, flag.bbox_px)
    assert compare_mates([alone, *batch[1:]], facts, {key: 0.9}).adjustments == ()


def test_it_is_small_and_can_be_kept(batch: list[Likeness]) -> None:
    text = to_json(batch[0])
    assert len(text) < 40_000
    assert from_json(text) == batch[0]
    assert pickle.loads(pickle.dumps(batch[0])) == batch[0]


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"version": 2}', '{"version": 2, "sides": 3}'])
def test_damaged_text_is_refused(text: str) -> None:
    with pytest.raises(GraderError, match="cannot be read"):
        from_json(text)


def test_another_version_is_refused() -> None:
    with pytest.raises(GraderError, match="another version"):
        from_json('{"version": 0, "piece": "K1"}')


def test_without_sides_it_is_empty() -> None:
    empty = read_likeness("K1", Evidence((), "raw", False))
    assert empty.sides == () and empty.clay is None and empty.turn is None
    facts = some_facts(*(f"K{number}" for number in range(1, 7)))
    others = [read_likeness(code, Evidence((), "raw", False)) for code in facts if code != "K1"]
    assert compare_mates([empty, *others], facts).notes == ()
