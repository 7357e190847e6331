"""Crawling: bare islands found and measured, and paint, light and specks left alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from grader.faults import crack, crawl, find_all
from grader.faults.islands import Island
from grader.findings import Finding
from tests.faults import made

GLAZED = np.array(made.BUFF)
BARE = GLAZED * np.array([1.17, 1.18, 1.29])
"""Bare clay is a sixth lighter than under clear glaze, and paler (about 5 L*, 3 b*)."""


def _found(*pictures: NDArray[np.float64], **how: object) -> list[Finding]:
    return crawl.find(made.seen(*pictures, **how))  # type: ignore[arg-type]


def _crawled(
    picture: NDArray[np.float64],
    centre_mm: tuple[float, float] = (22.0, 28.0),
    size_mm: float = 7.0,
    bare: NDArray[np.float64] = BARE,
    seed: int = 4,
) -> NDArray[np.float64]:
    """Draw the glaze back: bare clay, the dark foot of the roll, its pale crest."""
    shape = made.island(centre_mm, size_mm, seed)
    picture = made.lay(picture, 0.5 * made.ring_round(shape, 2.0), bare * 0.95)
    picture = picture * (1 - 0.4 * made.ring_round(shape, 0.7)[..., None])
    return made.lay(picture, shape, bare)


@pytest.mark.parametrize("size_mm", [3.0, 5.0, 9.0, 15.0, 22.0])
def test_an_island_is_found_with_its_size(size_mm: float) -> None:
    (found,) = _found(_crawled(made.wall(), size_mm=size_mm))
    assert found.fault == "crawl"
    assert found.certainty > 0.5
    measured = {key: value for key, value, _ in found.measures}["diameter"]
    assert measured == pytest.approx(size_mm, rel=0.15, abs=0.3)
    assert made.place_mm(found) == pytest.approx((22, 28), abs=0.2 * size_mm + 0.5)
    assert (found.shift_de00 or 0) > 2
    assert "bare clay" in found.why


def test_an_island_without_a_rim_is_less_sure() -> None:
    flat = made.lay(made.wall(), made.island((22, 28), 8), GLAZED * 1.12)
    (found,) = _found(flat)
    (rimmed,) = _found(_crawled(made.wall(), size_mm=8))
    assert found.certainty < rimmed.certainty


def test_two_islands_are_two_findings() -> None:
    picture = _crawled(_crawled(made.wall(), (14, 20), 6), (32, 42), 8, seed=5)
    assert len(_found(picture)) == 2


def test_an_island_painted_out_is_gone() -> None:
    picture = made.lay(_crawled(made.wall()), made.box(14, 20, 30, 36), made.BUFF)
    assert _found(picture) == []


@pytest.mark.parametrize("seed", range(3))
def test_a_clean_wall_has_none(seed: int) -> None:
    assert _found(made.wall(seed=seed)) == []
    assert _found(made.specks(made.wall(seed=seed), 8, seed=seed)) == []


@pytest.mark.parametrize("light", [(0.5, 0.5, 0.5), (1.15, 1.15, 1.15), (1.15, 1.0, 0.8)])
def test_brighter_or_warmer_light_changes_nothing(light: tuple[float, float, float]) -> None:
    picture = _crawled(made.wall())
    (plain,), (lit,) = _found(picture), _found(picture, light=light)
    assert lit.certainty == pytest.approx(plain.certainty, abs=0.2)
    assert lit.diameter_mm == pytest.approx(plain.diameter_mm, abs=0.8)


def test_mirrored_it_is_the_same() -> None:
    picture = _crawled(made.wall())
    (plain,), (other,) = _found(picture), _found(made.mirrored(picture))
    assert other.diameter_mm == pytest.approx(plain.diameter_mm, abs=0.6)


def test_an_island_in_paint_is_found() -> None:
    band = made.lay(made.wall(), made.box(0, 14, made.WIDE_MM, 46), made.COBALT)
    (found,) = _found(_crawled(band, size_mm=6), decorated=True)
    assert found.diameter_mm == pytest.approx(6.5, abs=1.5)


def test_an_island_that_borders_on_a_dark_stroke_is_found() -> None:
    """The step to the paint is not that to the glaze: it makes no island uneven."""
    stroke = made.lay(made.wall(), made.line([(27, 18), (28, 36)], 4.0), (0.16, 0.09, 0.06))
    (found,) = _found(_crawled(stroke, size_mm=9, bare=GLAZED * 1.18))
    assert found.certainty > 0.5
    assert found.diameter_mm == pytest.approx(10, abs=1.5)


def test_clay_under_a_coloured_glaze_is_found() -> None:
    glaze = made.wall((0.09, 0.12, 0.30))
    (found,) = _found(_crawled(glaze, bare=BARE), finish="coloured", decorated=False)
    assert (found.shift_de00 or 0) > 12


@pytest.mark.parametrize(("foot", "shown"), [(0.9, True), (0.25, False)])
def test_a_coloured_glaze_of_the_colour_of_the_clay_shows_an_island_by_its_roll(
    foot: float, shown: bool
) -> None:
    """A shallow line round an even place is how such a glaze breaks."""
    shape = made.island((22, 28), 7.0, 4)
    glaze = made.lay(made.wall(), made.ring_round(shape, 1.25), GLAZED * 1.6)
    glaze = made.lay(glaze, made.ring_round(shape, 0.65), GLAZED * (1 - foot))
    rolled = made.lay(glaze, shape, GLAZED * 1.02)
    found = _found(rolled, finish="coloured", decorated=False)
    assert bool(found) == shown
    # Signs are pressed into clay, too: by its roll alone no island is sure.
    assert all(each.certainty < 0.7 for each in found)


@pytest.mark.parametrize(
    ("foot", "paler", "found"), [(0.45, 1.09, 1), (0.45, 1.0, 0), (0.24, 1.12, 1), (0.24, 1.0, 0)]
)
def test_bare_clay_hardly_lighter_shows_by_its_closed_roll(
    foot: float, paler: float, found: int
) -> None:
    """Without the step the same roll is a sign pressed into the clay."""
    shape = made.island((22, 28), 3.4, 4)
    picture = made.wall() * (1 - foot * made.ring_round(shape, 0.7)[..., None])
    islands = _found(made.lay(picture, shape, GLAZED * paler))
    assert len(islands) == found
    assert all(0.3 < each.certainty < 0.7 for each in islands)


def test_clay_whose_red_burns_out_still_shows_its_island() -> None:
    red = np.array((0.78, 0.27, 0.10))
    picture = _crawled(made.wall((0.78, 0.27, 0.10)), bare=red * (1.15, 1.2, 1.4))
    (found,) = _found(picture, light=(1.3, 1.3, 1.3))
    assert found.certainty > 0.5


def test_bare_red_clay_that_is_lighter_but_no_paler_is_found() -> None:
    red = (0.45, 0.17, 0.07)
    (found,) = _found(_crawled(made.wall(red), bare=1.28 * np.array(red)))
    assert found.certainty > 0.5


@pytest.mark.parametrize("words", ["BOD", "R 8", "OKA"])
def test_letters_pressed_into_the_clay_under_a_coloured_glaze_are_none(words: str) -> None:
    picture = made.pressed(made.wall(), made.text_cover(words, (8, 34), 9.0))
    assert _found(picture, finish="coloured", decorated=False) == []


def test_raw_ware_has_no_glaze_to_crawl() -> None:
    assert _found(_crawled(made.wall()), finish="raw") == []


@pytest.mark.parametrize("colour", [made.COBALT, made.BLACK, made.OCHRE, (0.79, 0.78, 0.73)])
def test_painted_dots_and_eyes_are_none(colour: tuple[float, float, float]) -> None:
    picture = made.wall()
    for x, y, size in ((12, 15, 3), (30, 18, 5), (16, 38, 8), (34, 42, 2.5)):
        picture = made.lay(picture, made.ellipse((x, y), size, size), colour)
        picture = made.lay(picture, made.ellipse((x, y), 0.4 * size, 0.4 * size), made.BLACK)
    assert _found(picture, decorated=True) == []


def test_the_clay_left_between_painted_squares_is_none() -> None:
    picture = made.wall()
    for row in range(5):
        for col in range(4):
            if (row + col) % 2:
                left, top = 5 + 9 * col, 8 + 9 * row
                picture = made.lay(picture, made.box(left, top, left + 9, top + 9), made.BROWN)
    assert _found(picture, decorated=True) == []


@pytest.mark.parametrize(("paler", "found"), [(1.0, False), (1.15, True)])
def test_among_paint_an_island_must_look_other_than_glazed_clay(
    paler: float, found: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the turn of the wall the fit of the clay may be darker than the clay itself."""
    fence = made.lay(made.wall(), made.box(16.5, 22.5, 27.5, 33.5), made.BROWN)
    evidence = made.seen(made.lay(fence, made.box(18, 24, 26, 32), GLAZED * paler), decorated=True)
    (view,) = evidence.views
    island = next(each for _, each in crawl._islands(view, False) if 7 < each.diameter_mm < 11)
    bare = crawl.Bare(island, certainty=0.8, rim=0.8, step=0.8)
    monkeypatch.setattr(crawl, "bare_islands", lambda *_, **__: [bare])
    assert bool(crawl.find(evidence)) == found


def test_flakes_are_none() -> None:
    band = made.lay(made.wall(), made.box(0, 14, made.WIDE_MM, 46), made.COBALT)
    for x, y, size in ((12, 22, 1.2), (24, 30, 2.0), (33, 38, 2.8)):
        band = made.lay(band, made.island((x, y), size, seed=int(x)), made.BUFF)
    assert _found(band, decorated=True) == []


def test_a_soft_veil_is_none() -> None:
    rows, cols = np.mgrid[0 : made.blank().shape[0], 0 : made.blank().shape[1]]
    away = np.hypot(rows / 28 - 40, cols / 28 - 22)
    veil = 0.4 * np.exp(-((away / 8) ** 4))
    assert _found(made.lay(made.wall(), veil, (0.6, 0.62, 0.66))) == []


def test_what_stays_in_place_while_the_piece_turns_is_light() -> None:
    picture = _crawled(made.wall())
    assert _found(picture, picture, picture, picture) == []
    assert len(_found(picture, made.wall(), made.wall(), made.wall())) == 1


def test_the_foot_of_the_roll_is_no_crack() -> None:
    picture = _crawled(made.wall(), size_mm=14)
    picture = made.lay(picture, 0.7 * made.ring_round(made.island((22, 28), 14, 4), 0.6), made.SLOT)
    seen = made.seen(picture)
    assert [each.fault for each in crack.find(seen)] == ["crawl"]
    assert [each.fault for each in find_all(seen)] == ["crawl"]


def test_a_drawn_eye_that_a_phone_has_sharpened_is_none() -> None:
    picture = made.lay(made.wall(made.WHITE_CLAY), made.ellipse((24, 30), 26, 22), made.COBALT)
    white = made.ellipse((24, 30), 8, 10)
    halo = made.ring_round(white, 0.6)
    picture = made.lay(picture * (1 - 0.3 * halo[..., None]), white, (0.80, 0.80, 0.78))
    assert _found(picture, decorated=True) == []
    picture = made.lay(picture, made.ellipse((24, 30), 3.5, 5), made.BLACK)
    assert _found(picture, decorated=True) == []


def test_at_the_silhouette_an_island_is_left_to_the_next_view() -> None:
    assert _found(_crawled(made.wall(), (45.0, 30), 3.0)) == []
    assert _found(_crawled(made.wall(), (36, 30), 3.0))


@pytest.mark.parametrize(("dark_share", "shown"), [(0.0, False), (0.3, True)])
def test_a_bright_rim_needs_the_dark_foot_of_a_roll(dark_share: float, shown: bool) -> None:
    """Light strokes on dark clay shut in a patch of it as brightly as a lit roll does."""
    count = 40
    outside = np.tile([-2.0, 0.3, -0.3], (count, 1))
    dark = np.arange(count) < dark_share * count
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    island = Island(
        outline=100 + 20 * np.column_stack([np.cos(turn), np.sin(turn)]),
        core=(np.array([100]), np.array([100])),
        diameter_mm=6.0,
        height=3.3,
        inside=np.array([-1.9, 0.3, -0.3]),
        outside=outside,
        darkest=np.where(dark, -2.4, -2.0),
        lightest=np.full(count, -1.4),
        fence_chroma=np.tile([0.3, -0.3], (count, 1)),
        grain=0.01,
    )
    share, _ = crawl._rim(island)
    assert share == pytest.approx(0.85 if shown else 0.0)


@pytest.mark.parametrize(
    ("size_mm", "step", "trusted"), [(2.1, 0.08, True), (1.5, 0.08, False), (2.1, 0.01, False)]
)
def test_within_a_closed_roll_an_island_may_be_small(
    size_mm: float, step: float, trusted: bool
) -> None:
    count = 40
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    island = Island(
        outline=100 + 8 * np.column_stack([np.cos(turn), np.sin(turn)]),
        core=(np.array([100]), np.array([100])),
        diameter_mm=size_mm,
        height=2.3,
        inside=np.array([-1.0 + step, 0.3, -0.3]),
        outside=np.tile([-1.0, 0.3, -0.3], (count, 1)),
        darkest=np.full(count, -1.25),
        lightest=np.full(count, -0.9),
        fence_chroma=np.tile([0.3, -0.3], (count, 1)),
        grain=0.005,
    )
    rim, depth = crawl._rim(island)
    assert (crawl._shut(island, rim, depth) > 0.5) == trusted


@pytest.mark.parametrize(("below_mm", "found"), [(-0.5, False), (4.0, True)])
def test_an_island_half_within_the_opening_is_light_on_the_lip(
    below_mm: float, found: bool
) -> None:
    evidence = made.seen(_crawled(made.wall(), size_mm=4.0))
    (view,) = evidence.views
    # The wall begins 2 mm below the upper edge of the picture.
    rows = np.arange(len(view.surface.mask)) < (2 + 28 - 2 - below_mm) * made.PX_PER_MM
    zones = replace(view.zones, inside=view.surface.mask & rows[:, None])
    seen = replace(view, zones=zones)
    sure = [each for each in crawl.find(replace(evidence, views=(seen,))) if each.certainty > 0.5]
    assert bool(sure) == found


GLINT = (1.0, 1.0, 1.0)


@pytest.mark.parametrize(
    ("colour", "decorated", "found"),
    [(made.BUFF, False, True), (made.BUFF, True, False), (GLINT, False, False)],
)
def test_pale_clay_in_a_dark_glaze_needs_no_rim(
    colour: tuple[float, float, float], decorated: bool, found: bool
) -> None:
    """Nor need it be large; a painted dot looks the same, and a glint has the hue of the lamp."""
    dark = made.wall((0.035, 0.025, 0.022))
    spot = made.lay(dark, made.island((22, 28), 2.8, seed=4), colour)
    seen = _found(spot, finish="coloured", decorated=decorated)
    assert [each.fault for each in seen] == ["crawl"] * found
    assert all("times as light" in each.why for each in seen)


@pytest.mark.parametrize(("shine", "found"), [(True, False), (False, True)])
def test_the_light_of_a_lamp_upon_a_coloured_glaze_is_no_clay(shine: bool, found: bool) -> None:
    """It adds its own hue to that of the glaze: dichromatic reflection (Shafer 1985)."""
    blue = np.array([0.02, 0.05, 0.17])
    spot = made.lay(
        made.wall(tuple(blue)), made.island((22, 28), 4.5), blue + 0.4 if shine else made.BUFF
    )
    seen = _found(spot, finish="coloured", decorated=False)
    assert [each.fault for each in seen] == ["crawl"] * found


@pytest.mark.parametrize("seed", range(2))
def test_the_crests_of_throwing_rings_between_painted_squares_are_no_islands(seed: int) -> None:
    """Grooves and paint shut them in, and they are as light as bare clay."""
    clay, ochre, square_mm = (0.55, 0.33, 0.17), (0.48, 0.26, 0.06), 5
    right, down = made.places_mm()
    in_ring = (down + 0.5 * np.sin(right / 9) + 1.3 * seed) % 6.0 - 3.0
    rings = 1.15 - 0.47 * np.exp(-((in_ring / 1.6) ** 2))
    waver = down + 0.8 * np.sin(right / 4)
    squares = ((right + 2 + seed) // square_mm + waver // square_mm) % 2
    drawn = made.lay(made.wall(clay, seed=seed), squares, ochre) * rings[..., None]
    assert _found(drawn, decorated=True) == []


@pytest.mark.parametrize(("bare", "size_mm", "kept"), [(0, 2.8, 0), (1, 2.8, 1), (0, 8.0, 1)])
def test_what_is_light_by_the_crest_of_a_ring_is_no_island(
    bare: int, size_mm: float, kept: int
) -> None:
    """Where the light is that of the ring all along; what is wide is judged by other signs."""
    _, down = made.places_mm()
    fine = 0.3 * (np.abs(down - 28) > 12) * np.cos(2 * np.pi * down / 2.2)
    rings = np.exp(fine + 0.17 * np.cos(2 * np.pi * (down - 28) / 5))
    spot = made.ellipse((22, 28), 2.8, 2.8)
    picture = made.lay(made.wall(), bare * spot, GLAZED * 1.3) * rings[..., None]
    (view,) = made.seen(picture).views
    tone = view.surface.tone
    middle = (np.array([22.0, 28.0]) + made.MARGIN_MM) * made.PX_PER_MM - view.surface.origin_px
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    round_it = np.column_stack([np.cos(turn), np.sin(turn)])
    row, col = np.indices(tone.shape)
    rows, cols = np.nonzero(np.hypot(col - middle[0], row - middle[1]) < 0.8 * made.PX_PER_MM)
    at = tone[rows, cols]
    island = Island(
        outline=middle + 0.5 * size_mm * made.PX_PER_MM * round_it,
        core=(rows, cols),
        diameter_mm=size_mm,
        height=2.3,
        inside=np.array([np.median(at), 0.3, -0.3]),
        outside=np.tile([np.median(at) - 0.2, 0.3, -0.3], (40, 1)),
        darkest=np.full(40, np.median(at) - 0.3),
        lightest=np.full(40, np.median(at)),
        fence_chroma=np.tile([0.3, -0.3], (40, 1)),
        grain=0.01,
    )
    (left,) = crawl._without_crests(view, [crawl.Bare(island, 0.8, 0.9, 0.2)])
    assert left.certainty == pytest.approx(0.8 * kept, abs=0.1)


@pytest.mark.parametrize(
    ("clay", "share", "taken"),
    [
        ((0.47, 0.16, 0.08), 0.4, True),
        ((0.47, 0.16, 0.08), 0.6, False),
        ((0.62, 0.5, 0.36), 0.4, False),
    ],
)
def test_a_mirrored_window_beside_bare_clay_is_taken_off(
    clay: tuple[float, float, float], share: float, taken: bool
) -> None:
    """It adds its own light to that of the glaze: dichromatic reflection (Shafer 1985).

    Pale clay has nearly the hue of the window, and an island in a gap of it stays as it is seen.
    """
    count = 40
    glaze = np.tile(clay, (count, 1)) * np.random.default_rng(1).normal(1, 0.01, (count, 1))
    mirrored = glaze + 0.05 * (np.arange(count) < share * count)[:, None]
    chroma = np.log(mirrored[:, [0, 2]] / mirrored[:, 1:2])
    tone = np.log(mirrored).mean(-1)
    bare = np.log(np.array(clay) * 1.2)
    island = Island(
        outline=np.zeros((count, 2)),
        core=(np.array([0]), np.array([0])),
        diameter_mm=9.0,
        height=2.3,
        inside=np.array([bare.mean(), bare[0] - bare[1], bare[2] - bare[1]]),
        outside=np.column_stack([tone, chroma]),
        darkest=tone - 0.2,
        lightest=tone,
        fence_chroma=chroma,
        grain=0.005,
    )
    assert np.quantile(island.steps, 0.15) < np.log(1.2) - 0.05
    steps = crawl._without_sheen(island).steps
    if taken:
        np.testing.assert_allclose(steps, np.log(1.2), atol=0.05)
    else:
        np.testing.assert_array_equal(steps, island.steps)


@pytest.mark.parametrize(("hole", "found"), [(True, 0), (False, 1)])
def test_the_lit_part_of_a_drain_hole_is_no_bare_clay(hole: bool, found: int) -> None:
    """Its other part lies in the dark, a fourth as light as the glaze round it."""
    glaze = made.wall((0.04, 0.06, 0.17))
    opening = made.ellipse((22, 28), 11.0, 11.0)
    lit = opening * made.box(0, 0, 44, 30.5)
    picture = made.lay(glaze, made.ring_round(lit, 0.8), (0.02, 0.03, 0.08))
    if hole:
        picture = made.lay(picture, opening, (0.01, 0.01, 0.015))
    evidence = made.seen(made.lay(picture, lit, (0.12, 0.07, 0.05)), finish="coloured")
    foot = replace(evidence.views[0], skin=None)
    seen = crawl.find(replace(evidence, decorated=False, views=(foot,)))
    assert [each.fault for each in seen] == ["crawl"] * found
