"""The lists as a spreadsheet would read them."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.lists import lists_of, safe_text
from tests.pieces import a_batch, a_finding, a_survey, mixed_batch, some_facts


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


def test_each_piece_stands_on_the_list_of_its_grade() -> None:
    lists = lists_of(mixed_batch())
    assert [row["piece"] for row in rows(lists["seconds.csv"])] == ["'=1+1"]
    assert [row["piece"] for row in rows(lists["refire.csv"])] == ["C3"]
    assert [row["piece"] for row in rows(lists["firsts.csv"])] == ["A1"]


def test_a_second_has_its_reason_and_price() -> None:
    (second,) = rows(lists_of(mixed_batch())["seconds.csv"])
    assert second["sell_as"] == "second"
    assert (second["full_price"], second["price"]) == ("24", "12")
    assert second["faults"] == "scorch, flake"
    assert "22 mm" in second["reasons"]


def test_a_refire_says_what_to_do() -> None:
    (refire,) = rows(lists_of(mixed_batch())["refire.csv"])
    assert "Touch up" in refire["work"]
    assert refire["refires_done"] == "0"
    assert "flat ware" in refire["cautions"]


def test_unsafe_ware_is_not_priced() -> None:
    batch = a_batch((some_facts(), a_survey(a_finding("crack"))))
    (second,) = rows(lists_of(batch)["seconds.csv"])
    assert (second["sell_as"], second["price"]) == ("do not sell", "")


def test_an_empty_list_keeps_its_header() -> None:
    assert lists_of(a_batch())["seconds.csv"].startswith(b"piece,design,form,sell_as,")


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_text_is_taken_for_a_formula(start: str) -> None:
    assert safe_text(start + "1") == "'" + start + "1"


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"], exclude_characters="\0")))
def test_any_text_survives_and_none_starts_a_formula(text: str) -> None:
    batch = a_batch((some_facts(design=text), a_survey()))
    (row,) = rows(lists_of(batch)["firsts.csv"])
    assert row["design"].removeprefix("'") == text.removeprefix("'")
    assert not row["design"].startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
