"""A phone in real Chromium: from the QR code to a photo in the record, and nothing goes elsewhere.

Skipped where Chromium or Playwright is missing.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from grader.record.queries import piece_list
from grader.record.studio import Studio
from tests.review.running import WATCH, Running, running
from tests.review.server import a_studio

pytest.importorskip("playwright.sync_api")
pytest.importorskip("axe_playwright_python.sync_playwright")

from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Browser, ConsoleMessage, ViewportSize, sync_playwright

CHROMIUM = shutil.which("chromium")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed"),
]

SAMPLE = Path(__file__).parent.parent.parent / "sample_images" / "M01"
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PHONE: ViewportSize = {"width": 390, "height": 844}
LAPTOP: ViewportSize = {"width": 1366, "height": 768}
OPENED = "import webbrowser\nwebbrowser.open = lambda url: print('Opened', url, flush=True)\n"


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    return a_studio(tmp_path_factory.mktemp("shared"))


@pytest.fixture(scope="module")
def command(studio: Studio) -> Iterator[Running]:
    words = ["review", str(studio.folder), "--port", "0", "--share", "--address", "127.0.0.1"]
    with running(words, change=WATCH + OPENED) as started:
        yield started


class Phone:
    """One page of a browser that keeps account of what it asks for."""

    def __init__(self, browser: Browser, command: Running, *, script: bool = True) -> None:
        self.command = command
        context = browser.new_context(viewport=PHONE, has_touch=True, java_script_enabled=script)
        self.page = context.new_page()
        self.asked: list[str] = []
        self.trouble: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("pageerror", lambda error: self.trouble.append(str(error)))
        self.page.on("console", self._heard)

    def _heard(self, message: ConsoleMessage) -> None:
        # The page that asks for the code is an answer 403, which Chromium calls an error.
        if message.type == "error" and "403" not in message.text:
            self.trouble.append(message.text)

    def go(self, path: str) -> None:
        self.page.goto(self.command.address + path)

    def enter(self) -> None:
        self.go(f"/shoot#{self.command.code}")
        self.page.wait_for_selector("text=Code of a new piece")

    def take(self, view: str, photo: Path) -> None:
        with self.page.expect_navigation():
            self.page.set_input_files(f'form:has([value="{view}"]) input[type=file]', photo)

    def check(self) -> None:
        """What holds on every page."""
        assert not self.trouble
        assert all(
            url.startswith((self.command.address, "data:", "blob:")) for url in self.asked
        ), self.asked
        for size in (PHONE, LAPTOP):
            self.page.set_viewport_size(size)
            assert self.page.evaluate("document.documentElement.scrollWidth") <= size["width"]
            found = Axe().run(self.page)
            assert found.violations_count == 0, found.generate_report()
        self.page.set_viewport_size(PHONE)


@pytest.fixture
def phone(chromium: Browser, command: Running) -> Iterator[Phone]:
    one = Phone(chromium, command)
    yield one
    one.page.context.close()


def test_from_the_qr_code_to_a_photo_in_the_record(phone: Phone, studio: Studio) -> None:
    page = phone.page
    phone.go("/shoot")
    assert page.inner_text("h1") == "The code, please"
    phone.check()
    phone.enter()
    assert page.url == phone.command.address + "/shoot"  # the code does not stay in the address
    phone.check()
    page.fill("#code", "<b>x</b>")
    page.click("text=Begin with it")
    assert page.inner_text("h1") == "<b>x</b>"
    phone.check()
    big = page.locator(".take.big .button").bounding_box()
    assert big is not None and big["height"] >= 72 and big["y"] + big["height"] < PHONE["height"]
    phone.take("front", SAMPLE / "front.jpg")
    assert page.inner_text("#state") == "Front is kept."
    assert "The photo is good." in page.inner_text("main")
    assert "Next: right" in page.inner_text("main")
    shown = page.locator(".big-picture")
    assert shown.evaluate("image => image.complete && image.naturalWidth") == 1600
    phone.check()
    page.click("summary")
    page.select_option("#side", "foot")
    page.set_input_files("#chosen", SAMPLE / "foot.jpg")
    phone.check()
    with page.expect_navigation():
        page.click("text=Keep this photo")
    assert page.inner_text("#state") == "Foot is kept."
    rows = {row.code: row.photos for row in piece_list(studio)}
    assert rows["<b>x</b>"] == 2


def test_the_whole_way_without_script(chromium: Browser, command: Running) -> None:
    phone = Phone(chromium, command, script=False)
    page = phone.page
    phone.go("/shoot")
    page.fill("#code", command.code)
    page.click("button")
    page.fill("#code", "=1+1")
    page.click("text=Begin with it")
    form = page.locator("form.take.big")
    form.locator("input[type=file]").set_input_files(SAMPLE / "back.jpg")
    form.locator("text=Keep").click()
    assert page.inner_text("h1") == "=1+1"
    assert "Front is kept." in page.inner_text("main")
    page.context.close()


def test_a_wrong_code_is_said_calmly(phone: Phone) -> None:
    wrong = f"{(int(phone.command.code) + 1) % 1_000_000:06d}"
    phone.go("/shoot")
    phone.page.fill("#code", wrong)
    phone.page.click("button")
    assert "That is not the code." in phone.page.inner_text("[role=alert]")
    phone.check()
    phone.go("/photo/1")
    assert "The code, please" in phone.page.content()


def test_what_is_no_photo_is_said(phone: Phone, tmp_path: Path) -> None:
    phone.enter()
    phone.go("/shoot/piece?code=K01")
    note = tmp_path / "note.jpg"
    note.write_text("no photo")
    phone.trouble.clear()
    phone.take("right", note)
    assert "not a photo that can be read" in phone.page.inner_text("[role=alert]")
    phone.trouble = [text for text in phone.trouble if "400" not in text]
    phone.check()


def test_the_keyboard_alone_reaches_the_camera(phone: Phone) -> None:
    # The browser reports its file dialogs only once somebody listens; begun with the key press,
    # that now and then comes too late for it.
    phone.page.on("filechooser", lambda _: None)
    phone.enter()
    phone.go("/shoot/piece?code=K02")
    for _ in range(6):
        phone.page.keyboard.press("Tab")
        if phone.page.evaluate("document.activeElement.id") == "photo-front":
            break
    with phone.page.expect_file_chooser() as chooser:
        phone.page.keyboard.press("Space")
    assert not chooser.value.is_multiple()


def test_the_pages_lead_to_the_camera(chromium: Browser, command: Running) -> None:
    phone = Phone(chromium, command)
    phone.enter()
    phone.page.click("text=Review the pieces")
    phone.page.get_by_role("link", name="Unload").first.wait_for(timeout=60_000)
    phone.go("/unload")
    phone.page.get_by_text("/shoot", exact=False).first.wait_for(timeout=60_000)
    assert f"{command.address}/shoot" in phone.page.inner_text("main, .stMain")
    phone.page.context.close()


def test_the_browser_of_this_machine_need_not_type(chromium: Browser, command: Running) -> None:
    opened = command.said(r"^Opened (http://127\.0\.0\.1:\d+/#[\w-]{32})$")[1]
    page = chromium.new_page()
    page.goto(opened)
    page.wait_for_selector("header", timeout=60_000)  # of the pages, so their websocket is open
    assert page.url == f"{command.address}/"
    assert page.context.request.get(f"{command.address}/photo/1").status == 200
    again = chromium.new_page()
    again.goto(opened)
    again.wait_for_selector("[role=alert]")
    assert again.context.request.get(f"{command.address}/photo/1").status == 403
    page.context.close()
    again.context.close()
    assert "REACHED" not in command.text
