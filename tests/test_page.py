"""The page of a batch: whole, safe, offline, and no wider than a phone."""

from __future__ import annotations

import html
import re
import shutil
import subprocess
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from grader.lessons import learn
from grader.page import batch_page, lesson_lines
from grader.rules import load_rules
from grader.verdict import GradedBatch
from tests.pieces import SIDES, a_batch, a_finding, a_survey, mixed_batch, some_facts

RULES = load_rules()
TODAY = date(2026, 11, 25)
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Photos of the mixed batch; those of D4 are missing."""
    folder = tmp_path_factory.mktemp("Load 7")
    grain = np.random.default_rng(7).integers(0, 24, (1500, 2000, 3), np.uint8)
    grain[200:1200, 600:1400] += np.array((180, 150, 110), np.uint8)
    for piece in ("A1", "=1+1", "C3", "K01"):
        (folder / piece).mkdir()
        for side in SIDES:
            Image.fromarray(grain).save(folder / piece / f"{side}.jpg", quality=70)
    return folder


@pytest.fixture(scope="module")
def page(folder: Path) -> str:
    return batch_page(mixed_batch(folder), RULES, today=TODAY)


def test_every_piece_stands_under_its_grade_with_its_reasons(page: str) -> None:
    order = [page.index(f'<section id="{grade}">') for grade in ("ungraded", "refire", "second")]
    assert order == sorted(order)
    second = page[page.index('<section id="second">') : page.index('<section id="first">')]
    assert "Scorch mark, 22 mm, colour difference 9.9 dE00 (front)" in second
    assert "faults.scorch.marked" in second
    assert "too near an element" in second
    refire = page[order[1] : order[2]]
    assert "Touch up with the same underglaze" in refire
    assert RULES.cautions["flat"] in refire


def test_the_cautions_stand_on_the_page(page: str) -> None:
    text = html.unescape(page)
    for word in ("gloves", "respirator", "silica", "electrician", "ISO 6486", "local codes"):
        assert word in text


def test_names_are_text_and_never_markup(page: str) -> None:
    assert "&lt;b&gt;moth&lt;/b&gt;" in page
    assert "<b>moth" not in page
    assert "=1+1" in page


def test_the_page_asks_for_nothing_from_outside(page: str) -> None:
    assert "<script" not in page
    sources = re.findall(r'(?:src|href|action|data)="([^"]*)"', page)
    assert sources
    assert all(source.startswith(("data:image/jpeg;base64,", "#")) for source in sources)
    assert "url(" not in page and "@import" not in page and "://" not in page


def test_every_tag_is_closed_and_every_picture_has_words(page: str) -> None:
    class Balance(HTMLParser):
        void = frozenset({"meta", "img", "br"})

        def __init__(self) -> None:
            super().__init__()
            self.open: list[str] = []
            self.pictures = 0

        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            if tag == "img":
                self.pictures += 1
                assert dict(attrs).get("alt")
            if tag not in self.void:
                self.open.append(tag)

        def handle_endtag(self, tag: str) -> None:
            assert self.open.pop() == tag

    balance = Balance()
    balance.feed(page)
    assert balance.open == []
    # Three pieces of four photos; a close-up and its sound surface for four places.
    assert balance.pictures == 12 + 2 * 4


def test_each_place_is_outlined_numbered_and_enlarged(page: str) -> None:
    second = page[page.index('<section id="second">') : page.index('<section id="first">')]
    assert second.count('class="closeup"') == 2
    assert second.count('class="label"') == 2
    assert ">10 mm</text>" in second


def test_a_missing_photo_is_said_and_does_not_stop_the_page(page: str) -> None:
    ungraded = page[page.index('<section id="ungraded">') : page.index('<section id="refire">')]
    assert ungraded.count("no picture") == 4
    assert "tap the piece before shooting" in ungraded


def test_many_places_are_outlined_but_only_a_few_enlarged(folder: Path) -> None:
    pits = [a_finding("pit", at=(700 + 40 * i, 500), mm=0.8) for i in range(12)]
    batch = a_batch((some_facts(), a_survey(*pits, a_finding("crack", "back"))), folder=folder)
    page = batch_page(batch, RULES, today=TODAY)
    assert page.count('class="under"') == 13 + 6
    assert page.count('class="closeup"') == 6
    assert "7 more places are outlined" in page
    assert re.search(r"place \d enlarged: crack", page)


def test_an_empty_batch_has_a_page(tmp_path: Path) -> None:
    page = batch_page(GradedBatch(tmp_path, (), RULES.title), RULES, today=TODAY)
    assert "nothing to compare" in page


def test_progress_counts_every_piece(folder: Path) -> None:
    seen: list[tuple[int, int]] = []
    batch_page(mixed_batch(folder), RULES, today=TODAY, progress=lambda *step: seen.append(step))
    assert seen == [(1, 4), (2, 4), (3, 4), (4, 4)]


def test_twenty_faulty_pieces_stay_below_twelve_megabytes(folder: Path) -> None:
    pits = [a_finding("pit", side, at=(700 + 60 * i, 500)) for side in SIDES for i in range(3)]
    one = a_batch((some_facts(), a_survey(*pits)), folder=folder)
    assert 20 * len(batch_page(one, RULES, today=TODAY)) < 12_000_000


def test_lessons_are_said_in_words_and_call_nothing_a_cause_after_one_batch() -> None:
    hit = (some_facts(shelf="top"), a_survey(a_finding("flake")))
    miss = (some_facts(shelf="top"), a_survey())
    other = (some_facts(shelf="low"), a_survey())
    batch = a_batch(*[hit] * 5, *[miss] * 5, *[other] * 10)
    text = " ".join(lesson_lines(learn(batch.pieces), RULES))
    assert "on the shelf top: 5 of 10, elsewhere 0 of 10" in text
    assert "2 times in 100" in text
    assert "Watch it" in text
    assert "cannot be told" in text
    assert "likely cause" not in text


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium installed")
@pytest.mark.parametrize("width", [390, 1366])
def test_the_page_is_no_wider_than_the_window(page: str, tmp_path: Path, width: int) -> None:
    wrapper = tmp_path / "wrapper.html"
    wrapper.write_text(
        f'<iframe id="f" width="{width}" height="900" srcdoc="{html.escape(page)}"></iframe>'
        "<script>onload = () => { const d = document.getElementById('f').contentDocument;"
        "document.title = d.documentElement.scrollWidth + ' ' + d.images.length; }</script>",
        encoding="utf-8",
    )
    command = [str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom"]
    profile = f"--user-data-dir={tmp_path / 'profile'}"
    quiet = ["--no-first-run", "--disable-background-networking", "--virtual-time-budget=8000"]
    done = subprocess.run(
        [*command, profile, *quiet, wrapper.as_uri()],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    title = re.search(r"<title>(\d+) (\d+)</title>", done.stdout)
    assert title is not None
    # The frame's own border of 2 px on each side lies outside its width.
    assert int(title[1]) <= width
    assert int(title[2]) == page.count("<img ")


@pytest.mark.parametrize(
    ("name", "heading"),
    [("", "Batch Load 7"), ("<b>x</b> · Load 7", "&lt;b&gt;x&lt;/b&gt; · Load 7")],
)
def test_the_page_is_headed_by_the_name_of_its_batch(
    tmp_path: Path, name: str, heading: str
) -> None:
    batch = GradedBatch(tmp_path / "Load 7", (), RULES.title, name=name)
    page = batch_page(batch, RULES, today=TODAY)
    assert f"<title>{heading}, graded {TODAY.isoformat()}</title>" in page
    assert f"<h1>{heading}</h1>" in page
