"""Putting photos right, without losing what was judged on them."""

from __future__ import annotations

from pathlib import Path

import pytest

from grader.errors import UsageError
from grader.record.bench import aside_photos, photo_by_id, piece_view
from grader.record.decisions import judge_finding
from grader.record.errors import RecordError
from grader.record.grouping import merge_pieces, move_photos, name_view, set_aside, turn_photo
from grader.record.looking import look_at_waiting, waiting
from grader.record.queries import piece_list
from grader.record.studio import Studio
from tests.record.kit import (
    ANALYSIS,
    BOOK,
    a_batch,
    add,
    contents,
    digest_of_folder,
    four_sides,
    three_pieces,
)


@pytest.fixture
def filled(studio: Studio, tmp_path: Path) -> Studio:
    """Three pieces."""
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    return studio


def look(studio: Studio) -> None:
    """Look at what waits."""
    look_at_waiting(studio, analysis=ANALYSIS, book=BOOK)


def test_a_photo_moves_with_what_was_judged_on_it(filled: Studio) -> None:
    front = piece_view(filled, "K02").photos[0]
    first = piece_view(filled, "K02").findings[0].stored
    judge_finding(filled, "K02", first.place_id, "wrong", book=BOOK)
    move_photos(filled, [front.id], "K01")
    assert waiting(filled) == ["K01", "K02"]
    look(filled)
    assert [len(piece_view(filled, code).photos) for code in ("K01", "K02")] == [5, 3]
    assert piece_view(filled, "K02").findings == ()
    moved = piece_view(filled, "K01")
    assert {each.stored.finding.fault for each in moved.findings} == {"flake"}
    # Moved back, it is as it was: nothing has to be looked at or judged again.
    move_photos(filled, [front.id], "K02")
    assert waiting(filled) == []
    assert {each.judged for each in piece_view(filled, "K02").findings} == {"wrong", ""}


def test_a_piece_is_split_by_moving_photos_to_a_new_code(filled: Studio) -> None:
    photos = piece_view(filled, "K01").photos
    move_photos(filled, [photos[2].id, photos[3].id], "K09")
    look(filled)
    assert [len(piece_view(filled, code).photos) for code in ("K01", "K09")] == [2, 2]
    assert [row.code for row in piece_list(filled)] == ["K01", "K02", "K03", "K09"]


def test_a_merged_piece_is_left_empty_and_out_of_the_lists(filled: Studio) -> None:
    merge_pieces(filled, "K03", "K01")
    look(filled)
    assert [row.code for row in piece_list(filled)] == ["K01", "K02"]
    assert len(piece_view(filled, "K01").photos) == 8
    with pytest.raises(UsageError, match="with itself"):
        merge_pieces(filled, "K01", "k01")


def test_photos_can_be_set_aside_and_taken_back(filled: Studio) -> None:
    photo = piece_view(filled, "K01").photos[0]
    set_aside(filled, [photo.id])
    assert [each.id for each in aside_photos(filled)] == [photo.id]
    move_photos(filled, [photo.id], "K01")
    assert waiting(filled) == []


def test_views_and_turns_call_for_a_new_look(filled: Studio) -> None:
    files = digest_of_folder(filled.photos)
    photo = piece_view(filled, "K01").photos[3]
    name_view(filled, photo.id, " Inside ")
    found = photo_by_id(filled, photo.id)
    assert found is not None
    assert found.view == "inside"
    assert waiting(filled) == ["K01"]
    look(filled)
    assert waiting(filled) == []
    name_view(filled, photo.id, "inside")
    assert waiting(filled) == []
    with pytest.raises(UsageError, match="quarter turn"):
        turn_photo(filled, photo.id, 45)
    assert digest_of_folder(filled.photos) == files


def test_an_unknown_photo_changes_nothing(filled: Studio) -> None:
    before = contents(filled)
    good = piece_view(filled, "K01").photos[0].id
    with pytest.raises(RecordError, match="not in the record"):
        move_photos(filled, [good, 999], "K02")
    with pytest.raises(RecordError):
        move_photos(filled, [999], "K10")
    with pytest.raises(UsageError):
        move_photos(filled, [], "K10")
    with pytest.raises(UsageError):
        move_photos(filled, [good], " ")
    assert contents(filled) == before


def test_a_new_refire_whose_photos_all_move_away_is_no_refire(
    filled: Studio, tmp_path: Path
) -> None:
    add(filled, a_batch(tmp_path / "c", {"K02": four_sides()}), refire=True)
    ids = [photo.id for photo in piece_view(filled, "K02").photos]
    assert piece_view(filled, "K02").round.number == 1
    move_photos(filled, ids, "K08")
    view = piece_view(filled, "K02")
    assert (view.round.number, view.pending) == (0, False)
    assert len(view.findings) == 2
