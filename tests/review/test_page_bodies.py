"""The pages without a browser: what they say when empty, full, or in trouble."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from grader.record.bench import piece_view
from grader.record.decisions import decide_grade
from grader.record.studio import Studio, init_studio
from grader.review import page_unload
from grader.review.share import SHARED_VARIABLE
from grader.review.state import open_workshop
from grader.review.working import Looking
from tests.record.kit import a_batch, add, three_pieces

PAGES = ("page_bench", "page_unload", "page_clean", "page_load", "page_lists", "page_refires")


def a_page(name: str, folder: Path) -> AppTest:
    """Run the body of one page."""
    script = (
        "from pathlib import Path\n"
        f"from grader.review import {name}\n"
        "from grader.review.state import open_workshop\n"
        f"{name}.show(open_workshop(Path({str(folder)!r})))\n"
    )
    return AppTest.from_string(script, default_timeout=60).run()


def words(page: AppTest) -> str:
    """All that a page says in plain elements."""
    parts = [*page.markdown, *page.header, *page.subheader, *page.text, *page.error, *page.success]
    return "\n".join(str(each.value) for each in parts)


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    made = init_studio(tmp_path / "studio", name="Ormsedge Pottery")
    add(made, a_batch(tmp_path / "20 November", three_pieces()))
    return made


@pytest.mark.parametrize("name", PAGES)
def test_page_of_an_empty_studio_teaches(name: str, tmp_path: Path) -> None:
    page = a_page(name, tmp_path / "new")
    assert not page.exception
    said = words(page)
    assert "Unload" in said or "clean piece" in said


@pytest.mark.parametrize("name", PAGES)
def test_page_of_a_looked_at_load_runs(name: str, studio: Studio) -> None:
    page = a_page(name, studio.folder)
    assert not page.exception
    assert not page.error


@pytest.mark.parametrize("name", ["page_unload", "page_refires", "page_bench"])
def test_cautions_stand_where_they_belong(name: str, tmp_path: Path) -> None:
    said = words(a_page(name, tmp_path / "new"))
    assert ("gloves" in said) or ("respirator" in said)


def test_pages_as_a_whole_open_on_the_bench(studio: Studio) -> None:
    script = (
        "from pathlib import Path\n"
        "from grader.review.pages import main\n"
        f"main(Path({str(studio.folder)!r}))\n"
    )
    page = AppTest.from_string(script, default_timeout=60).run()
    assert not page.exception
    assert page.session_state["bench_order"] == ["K02", "K03", "K01"]


def test_damaged_record_is_told_with_a_remedy_and_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    folder.mkdir()
    (folder / "record.sqlite").write_bytes(b"not a record")
    script = (
        "from pathlib import Path\n"
        "from grader.review.pages import main\n"
        f"main(Path({str(folder)!r}))\n"
    )
    page = AppTest.from_string(script, default_timeout=60).run()
    assert not page.exception
    said = words(page)
    assert "damaged" in said
    assert "Copy the whole folder first" in said
    assert (folder / "record.sqlite").read_bytes() == b"not a record"


def test_facts_are_said_of_all_pieces_at_once(studio: Studio) -> None:
    page = a_page("page_unload", studio.folder)
    next(each for each in page.text_input if each.label == "Clay").input("toasty")
    next(each for each in page.selectbox if each.label == "Made for").select("plant")
    next(each for each in page.button if each.label == "Say it of these pieces").click().run()
    assert not page.exception
    for code in ("K01", "K02", "K03"):
        facts = piece_view(studio, code).words
        assert (facts["clay"], facts["use"], facts["design"]) == ("toasty", "plant", "newt")


def test_wrong_fact_is_told_and_nothing_is_changed(studio: Studio) -> None:
    script = (
        "from pathlib import Path\n"
        "from grader.review import page_unload, pages\n"
        "from grader.review.state import open_workshop\n"
        f"pages.guarded(page_unload.show, open_workshop(Path({str(studio.folder)!r})))()\n"
    )
    page = AppTest.from_string(script, default_timeout=60).run()
    next(each for each in page.text_input if each.label == "Full price").input("a lot")
    next(each for each in page.button if each.label == "Say it of these pieces").click().run()
    assert not page.exception
    assert "'a lot' is no price" in words(page)
    assert "Write a plain number" in words(page)
    assert piece_view(studio, "K01").words["price"] == "30"


def test_folder_that_is_not_there_is_told(studio: Studio) -> None:
    script = (
        "from pathlib import Path\n"
        "from grader.review import page_unload, pages\n"
        "from grader.review.state import open_workshop\n"
        f"pages.guarded(page_unload.show, open_workshop(Path({str(studio.folder)!r})))()\n"
    )
    page = AppTest.from_string(script, default_timeout=60).run()
    page.text_input(key="folder").input("/nowhere/at/all").run()
    next(each for each in page.button if each.label == "Take that folder in").click().run()
    assert not page.exception
    assert "there is no such folder" in words(page)


def test_a_piece_of_another_load_is_put_on_the_bench_with_its_load(
    studio: Studio, tmp_path: Path
) -> None:
    add(studio, a_batch(tmp_path / "21 November", {"N1": three_pieces()["K01"]}))
    script = (
        "from pathlib import Path\n"
        "import streamlit as st\n"
        "from grader.review import page_bench\n"
        "from grader.review.state import open_workshop\n"
        "st.session_state.setdefault('wanted_piece', 'K02')\n"
        f"page_bench.show(open_workshop(Path({str(studio.folder)!r})))\n"
    )
    page = AppTest.from_string(script, default_timeout=60).run()
    assert not page.exception
    assert page.session_state["load"] == 1
    assert page.session_state["bench_order"] == ["K02", "K03", "K01"]


def test_the_way_to_the_bench_is_one_button_before_and_after_the_end_of_the_look(
    studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    def way(*, running: bool) -> str:
        monkeypatch.setattr(page_unload, "looking", lambda _: Looking(running, (), ""))
        page = a_page("page_unload", studio.folder)
        (button,) = [each for each in page.button if each.label.startswith("To the bench")]
        return str(button.proto.id)

    assert way(running=True) == way(running=False)


def test_the_way_to_the_phone_is_told(studio: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(SHARED_VARIABLE, raising=False)
    assert "grader review --share" in words(a_page("page_unload", studio.folder))
    monkeypatch.setenv(SHARED_VARIABLE, "http://192.168.7.5:8741/shoot")
    said = words(a_page("page_unload", studio.folder))
    assert "http://192.168.7.5:8741/shoot" in said
    assert "--share" not in said
    monkeypatch.setattr(page_unload, "_is_here", lambda: False)
    phone = a_page("page_unload", studio.folder)
    assert '<a href="/shoot">' in "".join(each.proto.body for each in phone.get("html"))


def test_one_workshop_serves_all_windows(studio: Studio) -> None:
    assert open_workshop(studio.folder) is open_workshop(studio.folder)


def test_lists_say_how_many_wait_for_a_word(studio: Studio) -> None:
    decide_grade(studio, "K01", "first")
    assert "The grade of 2 of 3 pieces is only proposed" in words(
        a_page("page_lists", studio.folder)
    )
