"""The printed lists: every name as text, cautions once, the maker's word first."""

from __future__ import annotations

from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from grader.record.decisions import decide_grade, say_price
from grader.record.facts import set_facts
from grader.record.studio import Studio, init_studio
from grader.review.listed import list_html
from grader.rules import load_rules
from grader.verdict import Grade
from tests.record.kit import a_batch, add, three_pieces

RULES = load_rules(None)


class Reader(HTMLParser):
    """Collects tags and text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        self.text.append(data.strip())


def read(studio: Studio, grade: Grade) -> Reader:
    reader = Reader()
    page = list_html(
        studio, RULES, grade, batch_id=None, load="20 November", today=date(2026, 11, 20)
    )
    reader.feed(page)
    return reader


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    made = init_studio(tmp_path / "studio", name="Ormsedge Pottery")
    add(made, a_batch(tmp_path / "batch", three_pieces()))
    return made


def test_second_is_listed_with_reason_and_price(studio: Studio) -> None:
    decide_grade(studio, "K02", "second", reason="lifting at the rim")
    say_price(studio, "K02", 12.5)
    text = " ".join(read(studio, "second").text)
    assert "K02" in text and "K03" in text and "K01" not in text
    assert "lifting at the rim" in text
    assert "12.50" in text
    assert "Ormsedge Pottery" in text
    assert "2 pieces" in text


def test_refire_list_says_what_to_do_and_warns_of_dust(studio: Studio) -> None:
    text = " ".join(read(studio, "refire").text)
    assert "Touch up with the same underglaze" in text
    # Once, below the list, and not with every piece.
    assert text.count("respirator") == 1


def test_empty_list_says_so(studio: Studio) -> None:
    assert "Every piece could be graded." in read(studio, "ungraded").text


@settings(
    max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
@given(
    name=st.text(alphabet="<>&\"'=/.{}% bscript", min_size=1, max_size=40).filter(
        lambda text: bool(text.strip())
    )
)
def test_no_name_becomes_markup(studio: Studio, name: str) -> None:
    plain = read(studio, "second").tags
    set_facts(studio, ["K03"], {"design": name})
    reader = read(studio, "second")
    assert reader.tags == plain
    assert " ".join(name.split()) in reader.text
