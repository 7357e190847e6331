"""Lists, in their orders and pages."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from grader.record.bench import piece_view
from grader.record.decisions import decide_grade, say_note
from grader.record.facts import set_facts
from grader.record.queries import batches, piece_list, review_list
from grader.record.studio import Studio
from grader.record.timeline import _together, timeline
from tests.record.kit import BOOK, MORNING, a_batch, add, four_sides, three_pieces


@pytest.fixture
def filled(studio: Studio, tmp_path: Path) -> Studio:
    """Two batches; K10 is in doubt, K2 is cracked."""
    add(studio, a_batch(tmp_path / "b", three_pieces(), facts={"K02": {"design": "moth"}}))
    more = {
        "K10": four_sides(front=["scorch 800 500 20 0.4"]),
        "K2": four_sides(left=["crack 900 500 30 0.9", "flake 800 300 1 0.9"]),
    }
    add(studio, a_batch(tmp_path / "c", more, facts={"K2": {"firing": "F7"}}))
    return studio


def codes(rows: object) -> list[str]:
    """Codes of rows."""
    return [row.code for row in rows]  # type: ignore[attr-defined]


def test_codes_sort_as_people_count(filled: Studio) -> None:
    assert codes(piece_list(filled)) == ["K01", "K02", "K2", "K03", "K10"]


def test_the_orders(filled: Studio) -> None:
    assert codes(piece_list(filled, order="latest"))[0] == "K2"
    assert codes(piece_list(filled, order="grade"))[0] == "K02"
    assert codes(piece_list(filled, order="design"))[0] == "K02"
    assert [row.faults for row in piece_list(filled, order="fault")] == [
        ("crack", "flake"),
        ("flake",),
        ("scorch",),
        ("scorch",),
        (),
    ]
    assert codes(review_list(filled)) == ["K10", "K02", "K2", "K03", "K01"]
    decide_grade(filled, "K10", "first", book=BOOK)
    assert codes(piece_list(filled, order="review"))[-1] == "K10"
    assert "K10" not in codes(review_list(filled))


def test_lists_can_be_narrowed(filled: Studio) -> None:
    later, earlier = batches(filled)
    assert codes(piece_list(filled, batch_id=later.id)) == ["K2", "K10"]
    assert codes(review_list(filled, batch_id=earlier.id)) == ["K02", "K03", "K01"]
    assert codes(piece_list(filled, firing="F7")) == ["K2"]
    assert codes(piece_list(filled, grade="second")) == ["K2", "K03"]
    assert batches(filled, batch_id=later.id) == (later,)


def test_pages_of_a_list_make_up_the_whole(filled: Studio) -> None:
    pages = [row for start in range(0, 6, 2) for row in piece_list(filled, most=2, after=start)]
    assert tuple(pages) == piece_list(filled)


def test_a_discard_is_told_apart(filled: Studio) -> None:
    rows = {row.code: row for row in piece_list(filled)}
    assert (rows["K2"].grade, rows["K2"].discard) == ("second", True)
    assert (rows["K03"].discard, rows["K03"].price) == (False, 15.0)


def test_the_bench_shows_views_in_order_and_findings_by_view(filled: Studio) -> None:
    view = piece_view(filled, "K2")
    assert [photo.view for photo in view.photos] == ["front", "right", "back", "left"]
    assert [each.stored.finding.fault for each in view.findings] == ["flake", "crack"]
    assert {report.view for report in view.reports.values()} == {"front", "right", "back", "left"}
    assert view.verdict is not None
    assert view.can_undo is None
    decide_grade(filled, "K2", "second", book=BOOK)
    undoable = piece_view(filled, "K2").can_undo
    assert undoable is not None
    assert undoable.value == "second"


def test_an_earlier_firing_can_be_shown(filled: Studio, tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "d", {"K02": four_sides()}, taken=MORNING + timedelta(days=3))
    add(filled, batch, refire=True)
    assert piece_view(filled, "K02").findings == ()
    earlier = piece_view(filled, "K02", number=0)
    assert len(earlier.findings) == 2
    assert earlier.verdict is not None
    assert earlier.verdict.verdict.grade == "refire"


def test_the_history_tells_everything_in_order(filled: Studio) -> None:
    set_facts(filled, ["K02"], {"shelf": "2"}, book=BOOK)
    say_note(filled, "K02", "nice tail")
    decide_grade(filled, "K02", "second", reason="too many", book=BOOK)
    lines = timeline(filled, "K02")
    assert [line.at for line in lines] == sorted(line.at for line in lines)
    texts = [line.text for line in lines]
    assert texts[0] == "first unload (first photos)"
    for text in (
        "photos: front (5), right (6), back (7), left (8)",
        "design moth, form beaker, finish glazed, decorated yes, price 30 (pieces.csv)",
        "looked at: 2 findings (analysis test 1)",
        "the rules propose refire (verdict 2)",
        "shelf 2 (said)",
        "note: nice tail",
        "you decided: second: too many",
    ):
        assert text in texts


def test_what_is_said_in_one_go_stays_one_line_over_the_turn_of_a_second() -> None:
    said = [
        ("2026-11-20T09:15:02.998Z", "", "design moth", " (pieces.csv)"),
        ("2026-11-20T09:15:03.001Z", "", "form beaker", " (pieces.csv)"),
        ("2026-11-20T09:15:03.002Z", "", "shelf 2", " (said)"),
        ("2026-11-20T09:15:05.000Z", "", "shelf 3", " (said)"),
    ]
    told = [(line.at, line.text) for line in _together(said)]
    assert told == [
        ("2026-11-20T09:15:02.998Z", "design moth, form beaker (pieces.csv)"),
        ("2026-11-20T09:15:03.002Z", "shelf 2 (said)"),
        ("2026-11-20T09:15:05.000Z", "shelf 3 (said)"),
    ]
