"""What only looks like a crack, a crawl or a streak: form, text, brush, and a glaze's own ways."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from grader.faults import Evidence, crack, crawl, streak
from grader.findings import Finding
from tests.faults import made

Picture = NDArray[np.float64]
Find = Callable[[Evidence], list[Finding]]


def _all(picture: Picture, **how: object) -> list[Finding]:
    evidence = made.seen(picture, **how)  # type: ignore[arg-type]
    return [found for module in (crack, crawl, streak) for found in module.find(evidence)]


@pytest.mark.parametrize("clay", [made.BUFF, made.RED])
@pytest.mark.parametrize("depth", [0.3, 0.5])
def test_text_pressed_into_the_clay(clay: tuple[float, float, float], depth: float) -> None:
    picture = made.pressed(made.wall(clay), made.text_cover("SALT", (6, 32), 9.0), depth)
    picture = made.pressed(picture, made.text_cover("No 7", (10, 46), 7.0), depth)
    assert _all(picture, finish="raw", decorated=False) == []
    assert _all(picture, finish="glazed", decorated=None) == []


def test_painted_text() -> None:
    for colour in (made.BROWN, made.COBALT, made.BLACK):
        picture = made.lay(made.wall(), made.text_cover("SALT", (6, 32), 9.0), colour)
        assert _all(picture, decorated=True) == []


def test_a_carved_line_round_the_piece() -> None:
    for top in (15, 40):
        groove = made.line([(0, top), (made.WIDE_MM, top + 0.4)], 1.4)
        picture = made.pressed(made.wall(), groove, 0.5)
        assert _all(picture, decorated=False) == []


def test_the_root_of_a_handle() -> None:
    # The handle is lit and throws a soft shadow; where it meets the wall lies a dark soft line.
    right, down = made.places_mm()
    handle = (np.abs(right - 26) < 5) & (down > 12) & (down < 44)
    away = np.maximum(np.abs(right - 26) - 5, 0) + np.maximum(np.maximum(12 - down, down - 44), 0)
    picture = made.wall() * np.where(handle, 1.15, 1.0)[..., None]
    shadow = np.where(handle, 0, 0.35 * np.exp(-away / 3))
    root = 0.2 * np.exp(-((away / 0.5) ** 2)) * ~handle
    assert _all(picture * (1 - np.clip(shadow + root, 0, 1))[..., None]) == []


def test_the_shadow_of_a_handle() -> None:
    right, down = made.places_mm()
    away = np.abs(right - 24 - 0.2 * (down - 20))
    for soft in (0.6, 2.0):
        shade = 0.45 / (1 + np.exp((away - 3) / soft * 2.5))
        assert _all(made.wall() * (1 - shade)[..., None]) == []


def test_the_dark_inside_behind_the_rim() -> None:
    _, down = made.places_mm()
    inside = (down < 9)[..., None]
    crest = np.exp(-(((down - 10.2) / 0.7) ** 2))[..., None]
    picture = made.wall() * np.where(inside, 0.18, 1.0) * (1 + 0.35 * crest)
    assert _all(picture, decorated=None) == []


def test_the_shadow_under_a_foot_ring() -> None:
    _, down = made.places_mm()
    for width in (0.5, 1.2):
        shade = 0.8 * np.exp(-(((down - made.HIGH_MM) / width) ** 2))
        assert _all(made.wall() * (1 - shade)[..., None]) == []


@pytest.mark.parametrize("glaze", [(0.09, 0.12, 0.30), (0.10, 0.16, 0.11), (0.28, 0.15, 0.05)])
def test_a_coloured_glaze_breaks_dark_and_flows(glaze: tuple[float, float, float]) -> None:
    # It thins to iron brown over throwing rings and runs into darker tongues.
    right, down = made.places_mm()
    ring = np.exp(-((((down + 0.5 * np.sin(right / 6)) % 8 - 4) / 0.6) ** 2))
    picture = made.lay(made.wall(glaze), 0.7 * ring, (0.09, 0.05, 0.03))
    edge = 34 + 5 * np.sin(right / 4) + 2 * np.sin(right / 1.9)
    tongue = 1 / (1 + np.exp((edge - down) / 0.8))
    picture = made.lay(picture, 0.5 * tongue, np.array(glaze) * 0.5)
    assert _all(picture, finish="coloured", decorated=False) == []


def test_a_reactive_glaze_breaks_into_pale_islands() -> None:
    picture = made.wall((0.09, 0.12, 0.30))
    for number, (x, y) in enumerate([(10, 12), (24, 18), (36, 14), (16, 34), (32, 40), (24, 50)]):
        shape = made.island((x, y), 5.0, number)
        soft = np.clip(1.0 - 0.7 * made.ring_round(shape, 2.0) - (shape < 0.5), 0, 1)
        picture = made.lay(picture, 0.35 * soft, (0.30, 0.36, 0.45))
    assert _all(picture, finish="coloured", decorated=False) == []


def test_no_streaks_are_sought_in_a_coloured_glaze() -> None:
    _, down = made.places_mm()
    thin = 0.4 * (0.5 + 0.5 * np.cos(2 * np.pi * down / 6))
    cover = made.box(0, 16, made.WIDE_MM, 46) * (1 - thin)
    evidence = made.seen(made.lay(made.wall(), cover, made.COBALT), finish="coloured")
    assert streak.find(evidence) == []


@pytest.mark.parametrize("colour", [made.COBALT, made.BROWN, made.BLACK])
def test_chequers(colour: tuple[float, float, float]) -> None:
    picture = made.wall()
    for row in range(7):
        for col in range(7):
            if (row + col) % 2:
                left, top = 3 + 6 * col, 8 + 6 * row
                picture = made.lay(picture, made.box(left, top, left + 6, top + 6), colour)
    assert _all(picture, decorated=True) == []


@pytest.mark.parametrize("colour", [made.COBALT, made.BROWN, made.BLACK])
def test_spirals(colour: tuple[float, float, float]) -> None:
    turn = np.linspace(0.5, 6 * np.pi, 240)
    swirl = np.column_stack([np.cos(turn), np.sin(turn)]) * (0.5 + 0.75 * turn)[:, None]
    picture = made.wall()
    for middle in ((24, 18), (24, 46)):
        picture = made.lay(picture, made.line(np.array(middle) + 0.8 * swirl, 1.2), colour)
    assert _all(picture, decorated=True) == []


@pytest.mark.parametrize("colour", [made.COBALT, made.OCHRE, made.BROWN])
def test_the_marks_of_a_brush_in_a_whole_coat(colour: tuple[float, float, float]) -> None:
    # Bristles leave fine lines in a coat; they bare a tenth of the clay and are under 1 mm apart.
    right, down = made.places_mm()
    rng = np.random.default_rng(4)
    waves = sum(
        rng.uniform(0.3, 1) * np.cos(2 * np.pi * down / pitch + right / 15 + rng.uniform(0, 6))
        for pitch in (0.6, 0.8, 1.0, 1.3)
    )
    cover = made.box(0, 16, made.WIDE_MM, 46) * (0.94 + 0.02 * waves)
    assert _all(made.lay(made.wall(), np.clip(cover, 0, 1), colour), decorated=True) == []


def _cracked() -> Picture:
    return made.crack(made.wall(), width_mm=0.6)


def _crawled() -> Picture:
    shape = made.island((22.0, 28.0), 8.0, 4)
    bare = np.array(made.BUFF) * (1.17, 1.18, 1.29)
    picture = made.wall() * (1 - 0.4 * made.ring_round(shape, 0.7)[..., None])
    return made.lay(picture, shape, bare)


def _streaked() -> Picture:
    right, down = made.places_mm()
    thin = 0.5 * (0.5 + 0.5 * np.cos(2 * np.pi * (down + 0.4 * np.sin(right / 9)) / 6))
    return made.lay(made.wall(), made.box(0, 14, made.WIDE_MM, 48) * (1 - thin), made.COBALT)


@pytest.mark.parametrize(
    ("find", "draw"), [(crack.find, _cracked), (crawl.find, _crawled), (streak.find, _streaked)]
)
@pytest.mark.parametrize(
    "how",
    [
        {"light": (0.4, 0.4, 0.4)},
        {"light": (1.2, 1.2, 1.2)},
        {"light": (1.15, 1.0, 0.75)},
        {"fewer": 2, "noise": 0.01},
        {"noise": 0.03},
        {"blur_px": 1.3},
    ],
    ids=["dimmer", "brighter", "warmer", "half the pixels", "noisier", "softer"],
)
def test_however_it_is_photographed_the_fault_stays(
    find: Find, draw: Callable[[], Picture], how: dict[str, object]
) -> None:
    (plain,) = find(made.seen(draw()))
    (other,) = find(made.seen(draw(), **how))  # type: ignore[arg-type]
    assert other.certainty > 0.5
    # How far a soft band reaches depends on the grain in which it ends.
    loose = 0.4 if find is streak.find else 0.25
    assert other.diameter_mm == pytest.approx(plain.diameter_mm, rel=loose)
    scale = 1 if "fewer" not in how else 2
    x, y, width, height = other.bbox_px
    middle = np.array([x + width / 2, y + height / 2]) * scale
    x, y, width, height = plain.bbox_px
    assert middle == pytest.approx(
        np.array([x + width / 2, y + height / 2]), abs=max(3 * made.PX_PER_MM, loose * width / 2)
    )


@pytest.mark.parametrize(
    ("find", "draw"), [(crack.find, _cracked), (crawl.find, _crawled), (streak.find, _streaked)]
)
def test_mirrored_and_painted_out(find: Find, draw: Callable[[], Picture]) -> None:
    (plain,) = find(made.seen(draw()))
    (other,) = find(made.seen(made.mirrored(draw())))
    assert other.diameter_mm == pytest.approx(plain.diameter_mm, rel=0.15)
    assert other.certainty == pytest.approx(plain.certainty, abs=0.25)
    assert find(made.seen(made.wall())) == []
