"""Facts of many pieces at once, firings, and CSV there and back."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from grader.errors import FactsError
from grader.facts import PieceFacts
from grader.record.bench import piece_view
from grader.record.errors import UnknownPieceError
from grader.record.facts import (
    firings,
    set_facts,
    set_firing,
    table_of_facts,
    take_table,
)
from grader.record.now import rebuild
from grader.record.studio import Studio
from grader.record.words import checked_word, facts_of, words_of
from tests.record.kit import BOOK, a_batch, add, contents, four_sides, three_pieces


@pytest.fixture
def filled(studio: Studio, tmp_path: Path) -> Studio:
    """Three pieces."""
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    return studio


def test_many_pieces_at_once(filled: Studio) -> None:
    changed = set_facts(
        filled, ["K01", "K02"], {"clay": "speckled", "shelf": "2", "ring": "outer"}, book=BOOK
    )
    assert changed == {"K01": ["clay", "shelf", "ring"], "K02": ["clay", "shelf", "ring"]}
    assert set_facts(filled, ["K01"], {"clay": "speckled"}, book=BOOK) == {"K01": []}
    assert piece_view(filled, "K02").words["ring"] == "outer"
    set_facts(filled, ["K01"], {"clay": ""}, book=BOOK)
    assert "clay" not in piece_view(filled, "K01").words


def test_the_verdict_follows_the_facts(filled: Studio) -> None:
    def price() -> float | None:
        verdict = piece_view(filled, "K03").verdict
        assert verdict is not None
        return verdict.verdict.price

    assert price() == 15.0  # half of 30 for a marked fault, as the default rules have it
    set_facts(filled, ["K03"], {"price": "50"}, book=BOOK)
    assert price() == 25.0
    set_facts(filled, ["K03"], {"price": ""}, book=BOOK)
    assert price() is None


def test_one_bad_word_changes_nothing(filled: Studio) -> None:
    before = contents(filled)
    for words in ({"height_mm": "tall"}, {"finish": "shiny"}, {"decorated": "perhaps"}):
        with pytest.raises(FactsError):
            set_facts(filled, ["K01", "K02"], {"clay": "white", **words}, book=BOOK)
    with pytest.raises(UnknownPieceError):
        set_facts(filled, ["K01", "K99"], {"clay": "white"}, book=BOOK)
    assert contents(filled) == before


def test_where_it_stood_belongs_to_the_firing(filled: Studio, tmp_path: Path) -> None:
    set_facts(filled, ["K02"], {"shelf": "1", "side": "door", "clay": "white"}, book=BOOK)
    add(filled, a_batch(tmp_path / "c", {"K02": {"front": ()}}), refire=True)
    set_facts(filled, ["K02"], {"shelf": "3", "done": "touched up"}, book=BOOK)
    now, before = piece_view(filled, "K02").words, piece_view(filled, "K02", number=0).words
    assert (now["shelf"], now.get("side"), now["clay"], now["done"]) == (
        "3",
        None,
        "white",
        "touched up",
    )
    assert (before["shelf"], before["side"], before.get("done")) == ("1", "door", None)


def test_refires_before_the_record_count(filled: Studio, tmp_path: Path) -> None:
    def proposed() -> tuple[int, str | None]:
        view = piece_view(filled, "K02")
        return view.round.refires, view.verdict.verdict.grade if view.verdict else None

    assert proposed() == (0, "refire")
    set_facts(filled, ["K02"], {"refires": "2"}, book=BOOK)
    assert proposed() == (2, "second")
    set_facts(filled, ["K02"], {"refires": "1"}, book=BOOK)
    # What is fired once more in the record counts on from there.
    again = {"K02": four_sides(front=["flake 900 600 1.0 0.9"])}
    add(filled, a_batch(tmp_path / "c", again), refire=True)
    assert proposed() == (2, "second")
    view = piece_view(filled, "K02")
    assert (view.round.number, view.round.refires) == (1, 2)
    assert view.verdict is not None and view.verdict.refires_done == 2
    set_facts(filled, ["K02"], {"refires": "0"}, book=BOOK)
    assert proposed() == (0, "refire")
    before = contents(filled)
    rebuild(filled)
    assert contents(filled) == before
    with pytest.raises(FactsError):
        set_facts(filled, ["K02"], {"refires": "twice"}, book=BOOK)


def test_a_table_that_counts_a_refire_opens_it(filled: Studio, tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "c", {"K02": four_sides()}, facts={"K02": {"refires": 1}})
    (taken,) = add(filled, batch).pieces
    assert taken.step == "refire"
    view = piece_view(filled, "K02")
    assert (view.round.number, view.round.refires) == (1, 1)
    assert "the table says" in view.round.because


def test_firings_and_what_was_changed(filled: Studio) -> None:
    set_facts(filled, ["K01", "K02"], {"firing": "F12"}, book=BOOK)
    firing = set_firing(filled, "F12", {"date": "2026-11-20", "cone": "6", "changed": "soak"})
    assert (firing.pieces, firing.words["cone"]) == (2, "6")
    set_firing(filled, "F12", {"changed": "", "cone": "5"})
    (firing,) = firings(filled)
    assert firing.words == {"date": "2026-11-20", "cone": "5"}


def test_the_table_is_csv_as_rfc_4180_has_it(filled: Studio) -> None:
    # RFC 4180, section 2: CRLF after each record (1, 2), a header (3), the same number of fields
    # throughout (4), quotes round fields with commas, quotes or line breaks (6), and a quote in
    # such a field doubled (7).
    set_facts(filled, ["K01"], {"design": 'newt, "big"', "maker's word": "a;b"}, book=BOOK)
    table = table_of_facts(filled)
    assert table.endswith(b"\r\n")
    assert b"\n" not in table.replace(b"\r\n", b"")
    assert b'"newt, ""big"""' in table
    rows = list(csv.reader(io.StringIO(table.decode(), newline=""), strict=True))
    assert {len(row) for row in rows} == {len(rows[0])}
    assert rows[0][0] == "piece"


def test_the_table_comes_back_unchanged(filled: Studio, tmp_path: Path) -> None:
    words = {"design": '=1+1, "x"', "glaze": "-12", "maker's word": "@home", "shelf": "2"}
    set_facts(filled, ["K01"], words, book=BOOK)
    table = tmp_path / "facts.csv"
    table.write_bytes(table_of_facts(filled))
    assert b"'=1+1" in table.read_bytes()
    before = contents(filled)
    changed, unknown = take_table(filled, table, book=BOOK)
    assert (set(map(tuple, changed.values())), unknown) == ({()}, ())
    assert contents(filled) == before


def test_a_table_that_was_filled_in_is_taken(filled: Studio, tmp_path: Path) -> None:
    table = tmp_path / "facts.csv"
    table.write_text("piece;clay;height mm;price\nK01;white;92,5;\nK99;red;;\nK02;;;24,50\n")
    changed, unknown = take_table(filled, table, book=BOOK)
    assert changed == {"K01": ["clay", "height_mm"], "K02": ["price"]}
    assert unknown == ("K99",)
    words = piece_view(filled, "K01").words
    assert (words["height_mm"], words["price"]) == ("92.5", "30")
    table.write_text("piece,clay\nK98,red\n")
    with pytest.raises(FactsError, match="none of its pieces"):
        take_table(filled, table, book=BOOK)


_TEXT = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z"), exclude_characters="\ufeff"),
    min_size=1,
    max_size=12,
)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40, deadline=None
)
@given(word=_TEXT)
def test_any_word_survives_the_table(filled: Studio, tmp_path: Path, word: str) -> None:
    set_facts(filled, ["K01"], {"design": word}, book=BOOK)
    kept = piece_view(filled, "K01").words["design"]
    table = tmp_path / "facts.csv"
    table.write_bytes(table_of_facts(filled, ["K01"]))
    set_facts(filled, ["K01"], {"design": "another"}, book=BOOK)
    take_table(filled, table, book=BOOK)
    assert piece_view(filled, "K01").words["design"] == kept


@given(
    st.builds(
        PieceFacts,
        piece=st.just("K01"),
        design=_TEXT | st.just(""),
        finish=st.sampled_from(["raw", "glazed", "coloured", None]),
        decorated=st.sampled_from([True, False, None]),
        painted_on=st.sampled_from(["greenware", "bisque", None]),
        use=st.sampled_from(["food", "plant", "decor", None]),
        height_mm=st.none() | st.floats(0.1, 3000),
        refires=st.none() | st.integers(0, 20),
        price=st.none() | st.floats(0, 1e6),
    )
)
def test_facts_become_words_and_facts_again(facts: PieceFacts) -> None:
    assert facts_of("K01", words_of(facts)) == facts


def test_words_are_kept_as_one_line() -> None:
    assert checked_word("design", "  a \n newt\t") == "a newt"
    assert checked_word("decorated", "YES") == "yes"
    for name in ("", " ", "a=b", "x" * 61, "a\nb"):
        with pytest.raises(FactsError):
            checked_word(name, "x")
