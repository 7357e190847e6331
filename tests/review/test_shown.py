"""Pieces as the bench is told of them."""

from __future__ import annotations

import gc
import json
import math
import tracemalloc
from pathlib import Path

import pytest

from grader.record.decisions import decide_grade, judge_finding, say_reference
from grader.record.queries import piece_list
from grader.record.studio import Studio, init_studio
from grader.review.said import Sitting, carry_out
from grader.review.shown import (
    area_words,
    facts_line,
    in_session_order,
    queue,
    queue_row,
    shown_piece,
    size_words,
    sure_words,
)
from grader.review.sound import SoundPlaces, SoundTask
from grader.rules import load_rules
from tests.record.kit import a_batch, add, four_sides, three_pieces

RULES = load_rules(None)


class NoSearch(SoundPlaces):
    """Photos of these tests have no pixels: nothing is searched."""

    def ask(self, tasks: object) -> None:
        assert all(isinstance(task, SoundTask) for task in tasks)  # type: ignore[attr-defined]


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    made = init_studio(tmp_path / "studio", name="Ormsedge Pottery")
    pieces = three_pieces() | {"K04": four_sides(front=["pit 800 500 2 0.3"])}
    add(made, a_batch(tmp_path / "batch", pieces))
    return made


def test_uncertain_pieces_come_first_and_decided_ones_last(studio: Studio) -> None:
    decide_grade(studio, "K03", "second")
    codes = [row.code for row in queue(studio, None, also={"K03"})]
    assert codes[0] == "K04"  # too unsure to count: a look changes most
    assert codes.index("K02") < codes.index("K01") < codes.index("K03")
    assert "K03" not in [row.code for row in queue(studio, None)]


def test_overruled_piece_comes_before_what_is_clear(studio: Studio) -> None:
    decide_grade(studio, "K02", "second")
    codes = [row.code for row in queue(studio, piece_batch(studio))]
    assert codes.index("K02") < codes.index("K01")


def piece_batch(studio: Studio) -> int:
    with studio.reading() as db:
        return int(db.execute("SELECT max(id) FROM batches").fetchone()[0])


def test_piece_stays_where_it_was_in_the_list_when_it_is_decided(studio: Studio) -> None:
    batch_id = piece_batch(studio)
    order: list[str] = []
    before = [row.code for row in in_session_order(queue(studio, batch_id), order)]
    decide_grade(studio, before[0], "second")
    assert [row.code for row in in_session_order(queue(studio, batch_id), order)] == before


def test_piece_is_plain_values_with_addresses_and_no_pixels(studio: Studio) -> None:
    shown = shown_piece(studio, "K02", RULES, NoSearch(studio))
    text = json.dumps(shown)
    assert len(text) < 20_000
    assert shown["proposed"] == "refire"
    assert [photo["view"] for photo in shown["photos"]] == ["front", "right", "back", "left"]
    for photo in shown["photos"]:
        assert photo["full"].startswith(f"/photo/{photo['id']}")
        assert photo["screen"].startswith(f"/photo/{photo['id']}/1600")
    finding = shown["findings"][0]
    assert finding["size"] == "1.0 mm"
    assert finding["sure"] == "clear"
    # Not known yet is told apart from "there is none".
    assert "sound_px" not in finding
    x, _, side, _ = finding["loupe_px"]
    assert x <= finding["box_px"][0] and side >= finding["box_px"][2]
    assert json.dumps(queue_row(piece_list(studio)[0]))


def test_judged_finding_is_shown_with_the_word(studio: Studio) -> None:
    first = shown_piece(studio, "K02", RULES, NoSearch(studio))["findings"][0]
    judge_finding(studio, "K02", first["place"], "drawing")
    again = shown_piece(studio, "K02", RULES, NoSearch(studio))
    assert again["findings"][0]["judged"] == "drawing"
    assert again["undo"] == "place judged: the drawing"


def test_reference_piece_of_the_same_design_is_offered(studio: Studio) -> None:
    assert shown_piece(studio, "K02", RULES, NoSearch(studio))["pattern"] is None
    say_reference(studio, "K01", True)
    pattern = shown_piece(studio, "K02", RULES, NoSearch(studio))["pattern"]
    assert pattern["code"] == "K01"
    assert len(pattern["photos"]) == 4
    # A piece is no reference for itself.
    assert shown_piece(studio, "K01", RULES, NoSearch(studio))["pattern"] is None


def test_a_ragged_place_is_told_with_both_its_measures() -> None:
    """A flake 16 mm long with the area of a disc of 5.3 mm."""
    assert area_words(16.0, math.pi * 5.3**2 / 4) == "22 mm², as much as a disc of 5.3 mm"
    assert area_words(1.0, math.pi / 4) == ""
    assert area_words(None, None) == ""
    assert area_words(3.0, 0.0) == ""


def test_sizes_and_certainties_in_words() -> None:
    assert size_words(0.44, 0.01) == "0.4 mm"
    assert size_words(9.97, 0.1) == "10 mm"
    assert size_words(36.4, 0.3) == "36 mm"
    assert size_words(None, 0.25) == "25% of the height (no scale)"
    assert [sure_words(value) for value in (0.2, 0.5, 0.9)] == ["unsure", "likely", "clear"]


def test_facts_are_said_once() -> None:
    words = {"design": "egg cup", "form": "egg cup", "finish": "raw", "shelf": "2"}
    assert facts_line(words) == ["egg cup", "raw clay", "shelf 2"]


def test_memory_stays_flat_over_five_hundred_pieces(studio: Studio) -> None:
    sitting, sound = Sitting("browser test"), NoSearch(studio)
    codes = ["K01", "K02", "K03", "K04"]

    def review(number: int) -> None:
        code = codes[number % 4]
        shown = shown_piece(studio, code, RULES, sound)
        acts: list[dict[str, object]] = [
            {"number": 1, "do": "grade", "code": code, "grade": "second", "seen": shown["state"]},
            {"number": 2, "do": "undo", "code": code},
        ]
        carry_out(studio, sitting, {"load": f"load {number % 3}", "acts": acts})
        sitting.done.clear()

    for number in range(20):
        review(number)
    gc.collect()
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    # 125 rounds over the same four pieces would let their histories grow and hide a leak in
    # theirs; so the words are few and what remains is the sitting's own.
    for number in range(500):
        shown_piece(studio, codes[number % 4], RULES, sound)
        if number % 25 == 0:
            review(number)
    gc.collect()
    grown = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    # Less than one decoded preview: nothing of the 500 pieces is kept.
    assert grown < 500_000
