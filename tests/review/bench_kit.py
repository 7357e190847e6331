"""A studio whose photos can be seen, with findings as a test wants them, and a window on it."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from zlib import crc32

import numpy as np
from PIL import Image, ImageDraw

from grader.batch import Batch, PieceEntry, Shot
from grader.facts import PieceFacts
from grader.findings import Finding, PhotoReport, PieceSurvey
from grader.record.add import add_batch
from grader.record.looking import Analysis
from grader.record.studio import Studio, init_studio

CHROMIUM = Path("/usr/bin/chromium")
VIEWS = ("front", "right", "back", "left")

Spot = tuple[str, str, int, int, float, float]
"""View, fault, x, y of its upper left corner, size in mm, certainty."""

PX_PER_MM = 10.0


def a_pot(path: Path, *, size: tuple[int, int], mark: str, spots: Sequence[Spot] = ()) -> None:
    """Write a picture of a beaker with dark spots; `mark` makes its content its own."""
    width, height = size
    rng = np.random.default_rng(crc32(mark.encode()))
    # Grain at a quarter of the size: a photo must not be a plain field, nor slow to make.
    grain = rng.integers(-8, 9, (height // 4, width // 4, 1), dtype=np.int16)
    base = np.clip(150 + grain + np.zeros((1, 1, 3), np.int16), 0, 255).astype(np.uint8)
    image = Image.fromarray(base).resize(size)
    pen = ImageDraw.Draw(image)
    pen.rectangle((width * 0.3, height * 0.15, width * 0.7, height * 0.85), fill=(205, 186, 160))
    for _, _, x, y, size_mm, _ in spots:
        side = size_mm * PX_PER_MM
        pen.ellipse((x, y, x + side, y + side), fill=(60, 45, 35))
    image.save(path, quality=88)
    with path.open("ab") as file:
        file.write(mark.encode())  # after the end of the picture, where no reader looks


def look_at_spots(
    entry: PieceEntry,
    session: object = None,
    *,
    spots: dict[str, tuple[Spot, ...]],
    size: tuple[int, int],
) -> PieceSurvey:
    """Find what the test put on the piece."""
    reports, findings = [], []
    width, height = size
    box = (round(width * 0.3), round(height * 0.15), round(width * 0.4), round(height * 0.7))
    for shot in entry.shots:
        reports.append(
            PhotoReport(
                shot.name, shot.view, size_px=size, px_per_mm=PX_PER_MM, scale_from="marker",
                colour_from="chart", chart_de00=1.2, piece_bbox_px=box, smallest_judged_mm=0.5,
            )
        )  # fmt: skip
        for view, fault, x, y, size_mm, certainty in spots.get(entry.code, ()):
            if view != shot.view:
                continue
            side = round(size_mm * PX_PER_MM)
            corners = ((x, y), (x + side, y), (x + side, y + side), (x, y + side))
            findings.append(
                Finding(
                    fault=fault,  # type: ignore[arg-type]
                    photo=shot.name, view=view, bbox_px=(x, y, side, side), outline_px=corners,
                    zone="painted" if fault == "flake" else "clay", diameter_mm=size_mm,
                    area_mm2=size_mm**2, height_share=side / box[3], shift_de00=9.0,
                    certainty=certainty, why=f"A {fault} of {size_mm} mm, made for a test.",
                )
            )  # fmt: skip
    return PieceSurvey(entry.code, tuple(reports), tuple(findings), frozenset({"clay", "painted"}))


def seen_studio(
    folder: Path,
    pieces: dict[str, tuple[Spot, ...]],
    *,
    size: tuple[int, int] = (1600, 1200),
    photos: Sequence[Path] = (),
    views: Sequence[str] = VIEWS,
    facts: dict[str, Any] | None = None,
) -> Studio:
    """Make a studio with pieces that were looked at.

    Parameters
    ----------
    folder : Path
    pieces : dict
        Code to what is found on it.
    size : tuple of int
        (width, height) of the photos.
    photos : sequence of Path
        Pictures to take in turn instead of drawn beakers; of the size named.
    views : sequence of str
    facts : dict
        Facts of all pieces, beyond the usual.
    """
    studio = init_studio(folder / "studio", name="Ormsedge Pottery")
    add_seen(studio, folder / "source", pieces, size=size, photos=photos, views=views, facts=facts)
    return studio


def add_seen(
    studio: Studio,
    source: Path,
    pieces: dict[str, tuple[Spot, ...]],
    *,
    size: tuple[int, int] = (1600, 1200),
    photos: Sequence[Path] = (),
    views: Sequence[str] = VIEWS,
    facts: dict[str, Any] | None = None,
    refire: bool = False,
) -> None:
    """Add pieces that were looked at, as in `seen_studio`; after a refire where said."""
    entries = []
    count = 0
    for number, (code, spots) in enumerate(pieces.items()):
        shots = []
        for view in views:
            path = source / f"{number}" / f"{view}.jpg"
            path.parent.mkdir(parents=True, exist_ok=True)
            if photos:
                shutil.copyfile(photos[count % len(photos)], path)
                with path.open("ab") as file:
                    file.write(f"{source.name} {number} {view}".encode())
            else:
                here = [spot for spot in spots if spot[0] == view]
                a_pot(path, size=size, mark=f"{source.name} {number} {view}", spots=here)
            shots.append(Shot(f"{number}/{view}.jpg", path, view, None))
            count += 1
        known: dict[str, Any] = {
            "design": f"design {number % 3}", "form": "beaker", "finish": "glazed",
            "decorated": True, "use": "food", "price": 30.0,
        }  # fmt: skip
        entries.append(
            PieceEntry(code, PieceFacts(piece=code, **(known | (facts or {}))), tuple(shots))
        )
    look = partial(look_at_spots, spots=pieces, size=size)
    batch = Batch(source, tuple(entries))
    add_batch(studio, batch, analysis=Analysis("test 1", look), workers=1, refire=refire)


@dataclass
class Window:
    """A browser window that counts key presses and remembers every address that it asked for.

    Attributes
    ----------
    page : playwright page
    base : str
    presses : int
    asked : list of str
    errors : list of str
        What the page's own scripts complained of.
    """

    page: Any
    base: str
    presses: int = 0
    asked: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def press(self, key: str) -> None:
        """Press a key, and count it."""
        self.presses += 1
        self.page.keyboard.press(key)

    def go(self, address: str = "", *, until: str = "h2") -> None:
        """Open a page and wait until it shows something."""
        self.page.goto(f"{self.base}/{address}")
        self.page.locator(until).first.wait_for()

    def until(self, holds: Callable[[], bool]) -> None:
        """Wait until something holds outside of the page, for instance in the record."""
        ends = time.monotonic() + PATIENCE_MS / 1000
        while not holds():
            assert time.monotonic() < ends, "it did not come to hold"
            self.page.wait_for_timeout(100)

    def calm(self) -> None:
        """Wait until the page is all there: nothing is being made anew, nothing fades in."""
        self.page.wait_for_function(_CALM)

    @property
    def foreign(self) -> list[str]:
        """Addresses of other machines; there must be none."""
        own = urlsplit(self.base).netloc
        inside = ("data", "blob", "about")
        return [
            address
            for address in self.asked
            if urlsplit(address).netloc != own and urlsplit(address).scheme not in inside
        ]

    def touch(self, *steps: Sequence[tuple[float, float]]) -> None:
        """Put fingers down, move them, and lift them again.

        Parameters
        ----------
        *steps : sequence of (x, y)
            Where each finger is, in CSS pixels of the window, one step after the other.
        """
        hand = self.page.context.new_cdp_session(self.page)
        for number, fingers in enumerate(steps):
            points = [{"x": x, "y": y, "id": one} for one, (x, y) in enumerate(fingers)]
            kind = "touchMove" if number else "touchStart"
            hand.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        hand.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        hand.detach()

    def evaluate(self, script: str, value: Any = None) -> Any:
        """Run a script in the page."""
        return self.page.evaluate(script, value)


# What is made anew is shown paler meanwhile and comes back softly; the bench asks once more for
# what is still being worked out. A quarter of a second without any of it is calm.
_CALM = """async () => {
  const ends = performance.now() + 250;
  while (performance.now() < ends) {
    const still = document.querySelector("[data-test-script-state='notRunning']")
      && !document.querySelector("[data-stale='true'], [aria-busy='true']")
      && !document.getAnimations().some((each) => each.playState === "running");
    if (!still) return false;
    await new Promise((done) => requestAnimationFrame(done));
  }
  return true;
}"""

PATIENCE_MS = 120_000
"""How long a window waits for what must come, however busy the machine is."""

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@contextmanager
def chromium() -> Iterator[Any]:
    """Start Debian's Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), args=list(FLAGS))
        yield browser
        browser.close()


@contextmanager
def window(
    browser: Any,
    base: str,
    *,
    width: int = 1366,
    height: int = 768,
    scheme: str = "light",
    touch: bool = False,
) -> Iterator[Window]:
    """Open a window of its own, with no memory of another one but the pages' scripts.

    All windows of a browser share its cache: to read the framework's scripts anew for each would
    take longer than most tests.
    """
    context = browser.contexts[0] if browser.contexts else browser.new_context()
    context.clear_cookies()
    # Playwright's own half minute is not enough where other tests keep the machine busy.
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.set_viewport_size({"width": width, "height": height})
    page.emulate_media(color_scheme=scheme)
    if touch:
        hand = context.new_cdp_session(page)
        hand.send("Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 2})
    seen = Window(page, base)
    page.on("request", lambda request: seen.asked.append(request.url))
    page.on("websocket", lambda socket: seen.asked.append(socket.url.replace("ws", "http", 1)))
    page.on("pageerror", lambda error: seen.errors.append(str(error)))
    yield seen
    page.close()
