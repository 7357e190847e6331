"""A load at a glance: counts, headings, and each piece on the sheet."""

from __future__ import annotations

from pathlib import Path

import pytest

from grader.record.decisions import decide_grade
from grader.record.queries import batches, piece_list
from grader.record.studio import Studio, init_studio
from grader.review.choice import load_name
from grader.review.page_clean import clean_item
from grader.review.page_load import groups, sheet_item, summary
from grader.rules import load_rules
from tests.record.kit import a_batch, add, three_pieces

RULES = load_rules(None)


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    made = init_studio(tmp_path / "studio")
    add(made, a_batch(tmp_path / "20 November", three_pieces()))
    return made


def test_counts_are_those_of_the_record(studio: Studio) -> None:
    decide_grade(studio, "K02", "second")
    counted = summary(batches(studio)[0], piece_list(studio), RULES)
    assert {each["grade"]: (each["count"], each["mine"]) for each in counted["grades"]} == {
        "first": (1, 0),
        "refire": (0, 0),
        "second": (2, 1),
        "ungraded": (0, 0),
    }
    assert (counted["pieces"], counted["waits"]) == (3, 2)
    assert {each["fault"]: each["pieces"] for each in counted["faults"]} == {
        "flake": 1,
        "scorch": 1,
    }
    # Each bar has a shape and a word: it is not told by colour.
    assert all(each["path"] and each["label"] for each in counted["faults"])


def test_pieces_stand_under_their_grade_fault_or_design(studio: Studio) -> None:
    def titles(by: str) -> list[tuple[str, list[str]]]:
        rows = piece_list(studio, order="fault" if by == "fault" else "grade")
        return [
            (each["title"], [item["code"] for item in each["items"]])
            for each in groups(rows, by, RULES)
        ]

    assert titles("grade") == [("Refire", ["K02"]), ("Second", ["K03"]), ("First", ["K01"])]
    assert dict(titles("fault")) == {
        "Flake in the paint": ["K02"],
        "Scorch mark": ["K03"],
        "No fault": ["K01"],
    }
    assert titles("design") == [("newt", ["K02", "K03", "K01"])]
    assert titles("code")[0][0] == ""


def test_overruled_piece_says_so(studio: Studio) -> None:
    decide_grade(studio, "K02", "second")
    row = next(row for row in piece_list(studio) if row.code == "K02")
    assert sheet_item(row)["note"] == "you say second, the rules refire"
    assert not sheet_item(row)["waits"]


def test_clean_piece_shows_every_view_and_its_state(studio: Studio) -> None:
    row = next(row for row in piece_list(studio) if row.code == "K01")
    item = clean_item(studio, row)
    assert [photo["view"] for photo in item["photos"]] == ["front", "right", "back", "left"]
    assert item["state"] == row.state_id


def test_load_is_named_with_its_day_and_what_waits(studio: Studio) -> None:
    name = load_name(batches(studio)[0])
    assert name.startswith("20 November (")
    assert name.endswith("3 pieces, 3 without your word)")
