"""Lists from the record: the maker's word first."""

from __future__ import annotations

from pathlib import Path

import pytest

from grader.lists import lists_of
from grader.record.bench import piece_view
from grader.record.decisions import decide_grade, say_fate, say_price
from grader.record.graded import BY_MAKER, graded_batch
from grader.record.grouping import turn_photo
from grader.record.studio import Studio
from tests.record.kit import BOOK, a_batch, add, four_sides, three_pieces


@pytest.fixture
def filled(studio: Studio, tmp_path: Path) -> Studio:
    """Three pieces: first, refire, second."""
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    return studio


def test_it_is_the_batch_as_the_rules_see_it_until_something_is_decided(filled: Studio) -> None:
    batch = graded_batch(filled)
    assert [piece.verdict.grade for piece in batch.pieces] == ["first", "refire", "second"]
    assert batch.rules_name == BOOK.title
    for piece in batch.pieces:
        for photo in piece.survey.photos:
            assert (batch.folder / photo.photo).is_file()
        names = {photo.photo for photo in piece.survey.photos}
        assert {finding.photo for finding in piece.survey.findings} <= names


def test_it_is_called_by_studio_and_batch(filled: Studio) -> None:
    filled.set_setting("name", "Ormsedge Pottery")
    assert graded_batch(filled).name == "Ormsedge Pottery"
    assert graded_batch(filled, batch_id=1).name == "Ormsedge Pottery · b"


def test_the_makers_grade_stands_with_its_reason_first(filled: Studio) -> None:
    decide_grade(filled, "K02", "second", reason="The newt lost its tail", book=BOOK)
    say_price(filled, "K02", 12)
    batch = graded_batch(filled)
    (piece,) = (piece for piece in batch.pieces if piece.facts.piece == "K02")
    verdict = piece.verdict
    assert (verdict.grade, verdict.price, verdict.remedies) == ("second", 12.0, ())
    assert (verdict.reasons[0].rule, verdict.reasons[0].text) == (
        BY_MAKER,
        "Graded second by hand. The newt lost its tail",
    )
    seconds = lists_of(batch)["seconds.csv"].decode()
    assert "K02" in seconds
    assert "The newt lost its tail" in seconds


def test_what_has_left_the_studio_is_left_out(filled: Studio) -> None:
    say_fate(filled, "K03", "sold", price=15)
    assert [piece.facts.piece for piece in graded_batch(filled).pieces] == ["K01", "K02"]
    assert len(graded_batch(filled, in_studio=False).pieces) == 3
    assert [p.facts.piece for p in graded_batch(filled, codes=["K02"]).pieces] == ["K02"]


def test_calling_a_cracked_piece_a_second_does_not_put_it_on_sale(
    studio: Studio, tmp_path: Path
) -> None:
    add(studio, a_batch(tmp_path / "b", {"K07": four_sides(left=["crack 900 500 30 0.9"])}))
    decide_grade(studio, "K07", "second", book=BOOK)
    (piece,) = graded_batch(studio).pieces
    assert piece.verdict.discard
    decide_grade(studio, "K07", "first", reason="It is a scratch in the lens", book=BOOK)
    (piece,) = graded_batch(studio).pieces
    assert not piece.verdict.discard
    # What speaks against it still stands on the list, and so do the cautions.
    assert piece.verdict.cautions
    assert any(reason.fault == "crack" for reason in piece.verdict.reasons)


def test_own_figures_go_with_the_work_to_do(studio: Studio, tmp_path: Path) -> None:
    flaked = four_sides(front=["flake 900 600 1.0 0.9"])
    add(studio, a_batch(tmp_path / "b", {"K01": flaked}))
    add(studio, a_batch(tmp_path / "c", {"K01": four_sides()}), refire=True)
    add(studio, a_batch(tmp_path / "d", {"K02": flaked}))
    batch = graded_batch(studio)
    assert batch.pieces[0].refires_done == 1
    assert "1 of 1 with flake healed" in batch.pieces[1].verdict.remedies[-1]


def test_a_turned_photo_is_named_by_its_turned_copy(filled: Studio) -> None:
    photo = piece_view(filled, "K01").photos[0]
    turn_photo(filled, photo.id, 90)
    names = [report.photo for report in graded_batch(filled, codes=["K01"]).pieces[0].survey.photos]
    assert names[0] == f"previews/{photo.sha256[:2]}/{photo.sha256}-turned-90.png"
