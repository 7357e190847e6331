"""Photos taken one by one: into the right piece, at once into the record, replaced but not lost."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.batch import PieceEntry
from grader.errors import FactsError, OutputError, PhotoError, UsageError
from grader.findings import PhotoReport, PieceSurvey, Problem
from grader.record.bench import aside_photos, photo_by_id
from grader.record.decisions import decide_grade, say_fate
from grader.record.looking import Analysis, look_at_waiting
from grader.record.photos import photo_file
from grader.record.queries import batches, piece_list
from grader.record.studio import Studio, init_studio
from grader.review import taking
from grader.review.page_unload import sorter_data
from grader.review.photo_advice import keep_advice
from grader.review.taking import (
    advice_of,
    finish,
    following_code,
    open_batch,
    piece_shots,
    sides_again,
    take,
)
from grader.rules import load_rules
from tests.review.server import a_picture


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    return init_studio(tmp_path / "studio")


def incoming(folder: Path, seed: int, *, kind: str = ".jpg") -> Path:
    """A photo as it comes in: without a telling name, in a folder of its own."""
    own = folder / f"in{seed}"
    own.mkdir()
    return a_picture(own / f"x{kind}", seed=seed).rename(own / "tmp1234")


def test_a_photo_goes_into_a_new_piece(studio: Studio, tmp_path: Path) -> None:
    taken = take(studio, "K07", "front", incoming(tmp_path, 1))
    assert (taken.photo.name, taken.photo.view) == ("K07/front.jpg", "front")
    assert photo_file(studio, taken.photo.file).is_file()
    assert all(isinstance(problem, Problem) for problem in taken.problems)
    assert taken.problems  # noise is no pot
    (batch,) = batches(studio)
    assert (batch.label, batch.complete) == (date.today().isoformat(), False)
    shots = piece_shots(studio, "K07")
    assert shots.missing == ("right", "back", "left")
    assert set(shots.advised) == {"inside", "foot"}
    assert shots.following == "right"


@pytest.mark.parametrize("kind", [".jpg", ".png", ".webp", ".tiff", ".heic"])
def test_the_ending_tells_what_it_is(studio: Studio, tmp_path: Path, kind: str) -> None:
    taken = take(studio, "K07", "foot", incoming(tmp_path, 1, kind=kind))
    assert taken.photo.file.endswith({".tiff": ".tif"}.get(kind, kind))


def test_what_is_no_photo_changes_nothing(studio: Studio, tmp_path: Path) -> None:
    whole = incoming(tmp_path, 1).read_bytes()
    for content in (b"", b"%PDF-1.7", b"<svg/>", whole[: len(whole) // 2]):
        (tmp_path / "tmp").write_bytes(content)
        with pytest.raises(PhotoError):
            take(studio, "K07", "front", tmp_path / "tmp")
    assert batches(studio) == ()


def test_a_side_that_is_none_is_refused(studio: Studio, tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        take(studio, "K07", "../front", incoming(tmp_path, 1))


def test_taken_again_the_first_one_is_set_aside(studio: Studio, tmp_path: Path) -> None:
    first = take(studio, "K07", "front", incoming(tmp_path, 1)).photo
    other = take(studio, "K07", "back", incoming(tmp_path, 2)).photo
    again = take(studio, "K07", "front", incoming(tmp_path, 3), instead=first.id).photo
    assert [photo.id for photo in piece_shots(studio, "K07").photos] == [again.id, other.id]
    assert [photo.id for photo in aside_photos(studio)] == [first.id]
    assert photo_file(studio, first.file).is_file()


@pytest.mark.parametrize("instead", ["other side", "other piece", "itself", "unknown"])
def test_only_the_same_side_is_replaced(studio: Studio, tmp_path: Path, instead: str) -> None:
    back = take(studio, "K07", "back", incoming(tmp_path, 1)).photo
    other = take(studio, "K08", "front", incoming(tmp_path, 2)).photo
    number = {"other side": back.id, "other piece": other.id, "itself": 3, "unknown": 999}[instead]
    take(studio, "K07", "front", incoming(tmp_path, 3), instead=number)
    assert aside_photos(studio) == ()


def test_the_same_photo_twice_is_said(studio: Studio, tmp_path: Path) -> None:
    photo = incoming(tmp_path, 1)
    (tmp_path / "copy").mkdir()
    copy = Path(shutil.copy(photo, tmp_path / "copy" / "tmp"))
    take(studio, "K07", "front", photo)
    with pytest.raises(UsageError, match="in the record already"):
        take(studio, "K07", "back", copy)


def test_a_sold_piece_takes_no_more(studio: Studio, tmp_path: Path) -> None:
    take(studio, "K07", "front", incoming(tmp_path, 1))
    say_fate(studio, "K07", "sold")
    with pytest.raises(UsageError, match="was sold"):
        take(studio, "K07", "back", incoming(tmp_path, 2))


def test_a_piece_put_aside_for_a_refire_says_so(studio: Studio, tmp_path: Path) -> None:
    front = take(studio, "K07", "front", incoming(tmp_path, 1)).photo
    assert not piece_shots(studio, "K07").refire
    decide_grade(studio, "K07", "refire")
    assert piece_shots(studio, "K07").refire
    # Without capture times these count as another session, so as taken after the refire.
    after = take(studio, "K07", "front", incoming(tmp_path, 2), instead=front.id).photo
    shots = piece_shots(studio, "K07")
    assert [photo.id for photo in shots.photos] == [after.id]
    assert aside_photos(studio) == ()  # the photo from before the refire stays where it is


def test_the_latest_batch_is_shown_and_others_can_be_named(studio: Studio, tmp_path: Path) -> None:
    assert open_batch(studio).id is None
    take(studio, "K07", "front", incoming(tmp_path, 1))
    first = open_batch(studio)
    assert [piece.code for piece in first.pieces] == ["K07"]
    assert first.id is not None
    finish(studio, first.id)
    finish(studio, first.id)  # said twice is said once
    take(studio, "K10", "front", incoming(tmp_path, 2))
    take(studio, "K9", "front", incoming(tmp_path, 3))
    latest = open_batch(studio)
    assert [piece.code for piece in latest.pieces] == ["K9", "K10"]
    assert latest.others == ((first.id, first.label),)
    assert open_batch(studio, first.id).complete
    assert open_batch(studio, 999).id is None
    with pytest.raises(UsageError):
        finish(studio, 999)


@pytest.mark.parametrize("code", ["<b>x</b>", "=1+1", "../../x", "K 07", "Ü7", "%2e%2e", "'; --"])
def test_odd_codes_are_only_words(studio: Studio, tmp_path: Path, code: str) -> None:
    before = {path for path in tmp_path.rglob("*") if "studio" not in path.parts}
    photo = incoming(tmp_path, 1)
    taken = take(studio, code, "front", photo)
    assert [row.code for row in piece_list(studio)] == [code]
    assert piece_shots(studio, code).code == code
    assert photo_file(studio, taken.photo.file).parent.parent == studio.photos
    after = {path for path in tmp_path.rglob("*") if "studio" not in path.parts}
    assert after - before == {photo.parent, photo.parent / "front.jpg"}


@pytest.mark.parametrize("code", ["", "   ", "x" * 500])
def test_what_is_no_code_is_refused(studio: Studio, code: str) -> None:
    with pytest.raises((UsageError, FactsError)):
        piece_shots(studio, code)


@pytest.mark.parametrize(
    ("codes", "following"),
    [
        ([], ""),
        (["K07"], "K08"),
        (["K09"], "K10"),
        (["K99"], "K100"),
        (["K08", "K07"], "K09"),
        (["newt"], ""),
        (["A1", "B7"], "B8"),
    ],
)
def test_the_following_code(codes: list[str], following: str) -> None:
    assert following_code(codes) == following


@given(codes=st.lists(st.text(max_size=12), max_size=6))
def test_the_following_code_is_always_new(codes: list[str]) -> None:
    code = following_code(codes)
    assert code == "" or code.casefold() not in {each.casefold() for each in codes}


def test_advice_outlives_the_program_and_is_told_on_both_sides(
    studio: Studio, tmp_path: Path
) -> None:
    taken = take(studio, "K07", "front", incoming(tmp_path, 1))
    assert taken.problems
    piece = piece_shots(studio, "K07")
    assert advice_of(studio, piece) == {taken.photo.id: taken.problems}
    data = sorter_data(studio, load_rules(None), None)
    (thumb,) = data["pieces"][0]["photos"]
    assert thumb["problems"] == [problem.text for problem in taken.problems]


def test_a_full_disk_loses_the_advice_and_not_the_photo(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OutputError("no space left")

    monkeypatch.setattr(taking, "keep_advice", full)
    photo = take(studio, "K07", "front", incoming(tmp_path, 1)).photo
    assert photo_by_id(studio, photo.id) == photo
    assert advice_of(studio, piece_shots(studio, "K07")) == {}


BLURRED = Problem("out_of_focus", "Out of focus.", blocks=True)


def look(entry: PieceEntry, session: object = None) -> PieceSurvey:
    """A survey that finds the back out of focus."""
    return PieceSurvey(
        entry.code,
        tuple(
            PhotoReport(shot.name, shot.view, problems=(BLURRED,) if shot.view == "back" else ())
            for shot in entry.shots
        ),
    )


def test_advice_of_the_survey_is_shown_until_the_photo_is_taken_again(
    studio: Studio, tmp_path: Path
) -> None:
    front = take(studio, "K07", "front", incoming(tmp_path, 1)).photo
    back = take(studio, "K07", "back", incoming(tmp_path, 2)).photo
    keep_advice(studio, {front: (Problem("dark", "Too dark."),)})
    look_at_waiting(studio, analysis=Analysis("test 1", look))
    piece = piece_shots(studio, "K07")
    assert advice_of(studio, piece) == {front.id: (), back.id: (BLURRED,)}
    assert sides_again(studio, piece) == ("back",)
    again = take(studio, "K07", "back", incoming(tmp_path, 3), instead=back.id).photo
    keep_advice(studio, {again: ()})
    assert sides_again(studio, piece_shots(studio, "K07")) == ()
