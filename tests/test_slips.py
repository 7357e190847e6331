"""The printed page: what is on it must be read back by the program that printed it."""

from __future__ import annotations

import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from grader.errors import OutputError, UsageError
from grader.facts import PieceFacts
from grader.scale import find_markers
from grader.separator import find_slip_code
from grader.slips import parse_codes, write_slips

CODES = [PieceFacts("K07", design="newts", form="bowl"), PieceFacts("moth vase 2")]
_CELL_PX = 24


def _draw(path: str, modules: int, border: int = 4) -> np.ndarray:
    """Paint the rows of an SVG path of modules, as a printer would, shape (n, n, 3)."""
    picture = np.full((modules + 2 * border,) * 2, 255, dtype=np.uint8)
    for x, y, width in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", path):
        left = int(x) + border
        picture[int(y) + border, left : left + int(width)] = 0
    grown = picture.repeat(_CELL_PX, 0).repeat(_CELL_PX, 1)
    return np.repeat(grown[..., None], 3, axis=2)


def _page(tmp_path: Path, **options: float) -> str:
    path = tmp_path / "slips.html"
    write_slips(path, CODES, **options)
    return path.read_text(encoding="utf-8")


def _codes_on(page: str) -> list[tuple[str, str, int]]:
    """Return name, path and modules of each square code on the page."""
    found = re.findall(
        r'viewBox="0 0 (\d+) \d+" shape-rendering="crispEdges" role="img" '
        r'aria-label="square code of ([^"]*)"><path d="([^"]*)"',
        page,
    )
    return [(name, path, int(size)) for size, name, path in found]


def test_every_slip_is_read_back(tmp_path: Path) -> None:
    codes = _codes_on(_page(tmp_path))
    assert [name for name, _, _ in codes] == ["K07", "moth vase 2"]
    for name, path, size in codes:
        assert find_slip_code(_draw(path, size)) == name


@settings(max_examples=25, deadline=None)
@example("1")  # the pattern that the encoder chooses for it is not found by the reader
@given(st.text(st.characters(categories=("L", "N"), max_codepoint=0x24F), min_size=1, max_size=30))
def test_any_code_is_read_back(tmp_path_factory: pytest.TempPathFactory, code: str) -> None:
    path = tmp_path_factory.mktemp("slips") / "slips.html"
    write_slips(path, [PieceFacts(code)])
    ((_, modules, size),) = _codes_on(path.read_text(encoding="utf-8"))
    assert find_slip_code(_draw(modules, size)) == code


def test_the_printed_marker_is_found(tmp_path: Path) -> None:
    page = _page(tmp_path)
    white = re.findall(r'<path d="M0 0h6v6h-6z"/><path d="([^"]*)" fill="#fff"/>', page)
    numbers = []
    for path in white:
        # White modules on a black square on white paper.
        inner = 255 - _draw(path, 6, border=0)
        whole = cv2.copyMakeBorder(
            inner, 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=(255, 255, 255)
        )
        (marker,) = find_markers(whole)
        numbers.append(marker.number)
    assert numbers == [7, 40]


@pytest.mark.parametrize("side", [20.0, 32.5])
def test_lengths_are_in_millimetres(tmp_path: Path, side: float) -> None:
    page = _page(tmp_path, marker_mm=side)
    # One unit of every drawing that is measured is one millimetre.
    for view, width, height in re.findall(
        r'viewBox="([-\d. ]+)" width="([\d.]+)mm" height="([\d.]+)mm"', page
    ):
        _, _, across, down = (float(number) for number in view.split())
        assert (across, down) == (float(width), float(height))
    assert page.count("M0 0H100M") == 2  # the line on the cards and on the sheet of slips
    scales = {float(s) for s in re.findall(r"scale\(([\d.]+)\)\"><path d=\"M0 0h6v6", page)}
    assert scales == {side / 6}


def test_the_page_is_whole_and_asks_for_nothing_from_outside(tmp_path: Path) -> None:
    page = _page(tmp_path)
    assert not re.search(r"https?://|src=|url\(|@import|<script|<link", page)
    body = page[page.index("<body>") : page.index("</html>")]
    ET.fromstring(f"<html>{body}</html>")  # every tag is closed


def test_words_of_the_potter_are_escaped(tmp_path: Path) -> None:
    path = tmp_path / "slips.html"
    write_slips(path, [PieceFacts('<b onclick="x">&', design="<script>alert(1)</script>")])
    page = path.read_text(encoding="utf-8")
    assert "<script" not in page and "<b onclick" not in page
    assert "&lt;b onclick=" in page


def test_codes_from_the_command_line() -> None:
    def codes(*words: str) -> list[str]:
        return [piece.piece for piece in parse_codes(words)]

    assert codes("K07") == ["K07"]
    assert codes("K08-K11") == ["K08", "K09", "K10", "K11"]
    assert codes("K08-10", "K09") == ["K08", "K09", "K10"]
    assert codes("1..3", "moth vase") == ["1", "2", "3", "moth vase"]
    assert codes("A1-B3") == ["A1-B3"]
    for wrong in ("K9-K2", "K1-K9000"):
        with pytest.raises(UsageError):
            parse_codes([wrong])


def test_what_cannot_be_printed_is_said(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="too long"):
        write_slips(tmp_path / "a.html", [PieceFacts("K" * 41)])
    with pytest.raises(UsageError, match="too many"):
        write_slips(tmp_path / "a.html", [PieceFacts(f"K{n}") for n in range(501)])
    with pytest.raises(OutputError):
        write_slips(tmp_path / "gone" / "a.html", CODES)
    assert not list(tmp_path.rglob("*.html"))


@pytest.mark.browser
def test_a_browser_prints_it_to_size(tmp_path: Path) -> None:
    """Print to PDF, and find the marker on the card with the size that it should have."""
    chromium, rasteriser = shutil.which("chromium"), shutil.which("pdftoppm")
    if chromium is None or rasteriser is None:
        pytest.skip("no chromium or pdftoppm")
    path = tmp_path / "slips.html"
    write_slips(path, CODES)
    flags = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync"]
    subprocess.run(
        [chromium, *flags, "--no-pdf-header-footer", f"--print-to-pdf={tmp_path / 'a.pdf'}", path],
        check=True,
        capture_output=True,
        timeout=120,
    )
    dots_per_inch = 200
    subprocess.run(
        [rasteriser, "-r", str(dots_per_inch), "-png", tmp_path / "a.pdf", tmp_path / "p"],
        check=True,
        timeout=120,
    )
    sides = []
    for sheet in sorted(tmp_path.glob("p*.png")):
        picture = cv2.cvtColor(cv2.imread(str(sheet)), cv2.COLOR_BGR2RGB)
        for marker in find_markers(picture):
            area = cv2.contourArea(marker.corners_px.astype(np.float32))
            sides.append(np.sqrt(area) / dots_per_inch * 25.4)
    assert len(sides) == 2
    assert np.allclose(sides, 20.0, rtol=0.01)
