"""Work beside the pages: it ends by itself, says what went wrong, and leaves its results."""

from __future__ import annotations

from pathlib import Path

import pytest

from grader.record.bench import piece_view
from grader.record.looking import waiting
from grader.record.studio import Studio, init_studio
from grader.review import background
from grader.review.advice import advise, missing_views
from grader.review.intake import take_folder
from grader.review.photo_advice import kept_advice
from grader.review.printing import make_page, page_file
from grader.review.working import is_looking, looking, make_previews, start_looking
from grader.rules import load_rules
from tests.review.bench_kit import a_pot, seen_studio


@pytest.fixture
def waiting_studio(tmp_path: Path) -> Studio:
    for view in ("front", "back"):
        folder = tmp_path / "photos" / "K01"
        folder.mkdir(parents=True, exist_ok=True)
        a_pot(folder / f"{view}.jpg", size=(320, 240), mark=view)
    studio = init_studio(tmp_path / "studio")
    take_folder(studio, str(tmp_path / "photos"), refire=False)
    return studio


def test_what_waits_is_looked_at_in_a_process_of_its_own(waiting_studio: Studio) -> None:
    assert looking(waiting_studio).waits == ("K01",)
    start_looking(waiting_studio)
    assert is_looking(waiting_studio)
    start_looking(waiting_studio)  # a second press does not begin it twice
    background.wait("grader.review.working", [str(waiting_studio.folder)], 120)
    state = looking(waiting_studio)
    assert (state.running, state.waits, state.trouble) == (False, (), "")
    view = piece_view(waiting_studio, "K01")
    assert view.verdict is not None
    # The copies for the bench lie ready.
    assert len(list(waiting_studio.previews.rglob("*.webp"))) == 4


def test_work_on_a_damaged_record_says_so_once(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    studio = init_studio(folder)
    studio.record.write_bytes(b"not a record")
    start_looking(studio)
    background.wait("grader.review.working", [str(folder)], 60)
    said = background.trouble("grader.review.working", str(folder))
    assert "damaged" in said
    assert background.trouble("grader.review.working", str(folder)) == ""


def test_advice_is_there_before_the_full_look(waiting_studio: Studio) -> None:
    photo = piece_view(waiting_studio, "K01").photos[0]
    assert kept_advice(waiting_studio, photo) is None
    advise(waiting_studio, "K01")
    said = kept_advice(waiting_studio, photo)
    assert said is not None
    assert any("No marker found" in each.text for each in said)
    assert waiting(waiting_studio) == ["K01"]


@pytest.mark.parametrize("spoilt", ["{", "[1]", '[["dark"]]', "null", '["Too dark."]'])
def test_spoilt_advice_is_as_none(waiting_studio: Studio, spoilt: str) -> None:
    advise(waiting_studio, "K01")
    photo = piece_view(waiting_studio, "K01").photos[0]
    assert kept_advice(waiting_studio, photo) is not None
    for file in waiting_studio.previews.rglob("*-advice-*.json"):
        file.write_text(spoilt)
    assert kept_advice(waiting_studio, photo) is None


def test_missing_sides_are_named(waiting_studio: Studio) -> None:
    photos = list(piece_view(waiting_studio, "K01").photos)
    said = missing_views(photos, load_rules(None))
    assert "The right side was not photographed." in said
    assert not [text for text in said if "front" in text]


def test_page_of_the_load_is_made_from_the_record(tmp_path: Path) -> None:
    studio = seen_studio(
        tmp_path, {"K01": (("front", "pit", 150, 100, 2.0, 0.9),)}, size=(320, 240)
    )
    make_previews(studio, "K01")
    page = make_page(studio, 1)
    assert page == page_file(studio, 1)
    text = page.read_text("utf-8")
    assert "K01" in text and "data:image/jpeg" in text
