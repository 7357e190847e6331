"""Pits on made walls, held against iron specks that are as large and as dark."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from grader.faults import pit
from tests.faults import made

Picture = NDArray[np.float64]
FINER = made.blank().shape[1] / made.WIDE_MM


def _dots(
    picture: Picture,
    places_mm: NDArray[np.float64],
    *,
    wide_mm: float,
    left: float | tuple[float, float, float],
    soft_mm: float,
    lip: float = 0.0,
) -> Picture:
    """Dark dots that leave a share of the light, with soft rims, in a lighter ring if wanted."""
    taken = 1 - np.asarray(left)
    dark = made.blank()
    ring = made.blank()
    for x, y in places_mm:
        middle = (round(x * FINER), round(y * FINER))
        cv2.circle(ring, middle, round(wide_mm * FINER), 1.0, -1)
        cv2.circle(dark, middle, round(wide_mm / 2 * FINER), 1.0, -1)
    dark = cv2.GaussianBlur(dark, (0, 0), soft_mm * FINER)
    ring = cv2.GaussianBlur(ring, (0, 0), 0.1 * FINER)
    return np.asarray(picture * (1 + lip * ring[..., None]) * (1 - taken * dark[..., None]))


def _scattered(
    count: int, seed: int, box: tuple[float, float, float, float]
) -> NDArray[np.float64]:
    """Places at least 2.5 mm apart within (left, top, right, bottom) in mm."""
    rng = np.random.default_rng(seed)
    out: list[NDArray[np.float64]] = []
    while len(out) < count:
        at = rng.uniform(box[:2], box[2:])
        if all(np.hypot(*(at - other)) > 2.5 for other in out):
            out.append(at)
    return np.array(out)


ALL_OVER = (5.0, 6.0, 43.0, 54.0)


def test_a_patch_of_many_pits_is_not_taken_for_a_speckled_clay() -> None:
    places = _scattered(32, 0, (12, 14, 36, 46))
    front = _dots(made.wall(), places, wide_mm=0.8, left=0.03, soft_mm=0.05)
    others = [made.wall(seed=seed) for seed in (1, 2, 3)]
    found = pit.find(made.seen(front, *others))
    assert {each.fault for each in found} == {"pit"}
    assert len(found) > 0.8 * len(places)


def test_specks_all_round_are_the_clay() -> None:
    walls = [
        _dots(
            made.wall(seed=seed),
            _scattered(40, seed, ALL_OVER),
            wide_mm=0.8,
            left=0.25,
            soft_mm=0.2,
        )
        for seed in range(4)
    ]
    assert pit.find(made.seen(*walls)) == []


def test_a_light_lip_tells_pits_among_specks() -> None:
    specks = [_scattered(40, seed, ALL_OVER) for seed in range(4)]
    walls = [
        _dots(made.wall(seed=seed), places, wide_mm=0.8, left=0.25, soft_mm=0.2)
        for seed, places in enumerate(specks)
    ]
    free = _grid_away_from(specks[0])
    walls[0] = _dots(walls[0], free[:5], wide_mm=1.0, left=0.1, soft_mm=0.12, lip=0.35)
    found = pit.find(made.seen(*walls))
    assert len(found) >= 4
    for each in found:
        assert each.view == "front"
        x, y = made.place_mm(each)
        assert np.hypot(*(free[:5] - (x, y)).T).min() < 1.0
        # A crater is as large as its ring, 2 mm, not as the hole in it.
        assert each.diameter_mm is not None
        assert 1.4 < each.diameter_mm < 2.6


def _specks_like(dot: pit._Dot) -> pit._Specks:
    """Specks of the size of a dot that are like it, but for two spreads less dark."""
    return pit._Specks(
        rim=pit._Usual(0.0, pit._rim(dot), 0.4),
        depth=pit._Usual(0.0, dot.spot.peak - 0.4, 0.2),
        lip=pit._Usual(0.0, dot.lip, 0.01),
        ring=pit._Usual(0.0, dot.ring.tone, 0.01),
        black=pit._Usual(0.0, dot.black, 0.02),
        wall=pit._Usual(0.0, dot.wall.level, 0.01),
    )


@pytest.mark.parametrize(
    ("turn_deg", "lighter", "is_pit"), [(360, 0.22, True), (150, 0.22, False), (360, 0.0, False)]
)
def test_a_ring_further_out_is_the_crater_of_a_burst_bubble(
    turn_deg: int, lighter: float, is_pit: bool
) -> None:
    """Its hole is hardly sharper than specks are, and a glint beside it closes no ring."""
    hole, ring = np.array([[20.0, 30.0]]), made.blank()
    middle, radius = (round(20 * FINER), round(30 * FINER)), round(1.1 * FINER)
    cv2.ellipse(ring, middle, (radius, radius), 0, 0, turn_deg, 1.0, round(0.25 * FINER))
    ring = cv2.GaussianBlur(ring, (0, 0), 0.05 * FINER)
    wall = _dots(made.wall(), hole, wide_mm=0.8, left=0.08, soft_mm=0.14)
    wall = np.asarray(wall * (1 + lighter * ring[..., None]))
    (dot,) = pit._dark_dots(made.seen(wall).views[0])
    assert dot.ring.is_plain == is_pit
    # Specks of its size: a spread and a half less sharp, two less dark, and without a ring.
    usual = replace(
        _specks_like(dot),
        rim=pit._Usual(0.0, pit._rim(dot) - 0.6, 0.4),
        ring=pit._Usual(0.0, 0.02, 0.01),
    )
    excess = pit._excess(dot, usual)
    assert (excess is not None) == is_pit
    _, _, area_px = pit._crater(dot)
    wide_mm = 2 * np.sqrt(area_px / np.pi) / dot.view.surface.px_per_mm
    assert wide_mm == pytest.approx(2.5 if is_pit else dot.size_mm, abs=0.35)


def _ringed(turn_deg: int, lighter: float) -> Picture:
    """A wall with specks, and a small hole among them in a ring seen aslant, half as high."""
    wall = _dots(made.wall(), _grid_away_from(PIT_AT)[:40], wide_mm=0.8, left=IRON, soft_mm=0.2)
    ring = made.blank()
    axes = (round(1.3 * FINER), round(0.65 * FINER))
    middle = (round(PIT_AT[0, 0] * FINER), round(PIT_AT[0, 1] * FINER))
    cv2.ellipse(ring, middle, axes, 0, 0, turn_deg, 1.0, round(0.25 * FINER))
    ring = cv2.GaussianBlur(ring, (0, 0), 0.1 * FINER)
    wall = np.asarray(wall * (1 + lighter * ring[..., None]))
    return _dots(wall, PIT_AT, wide_mm=0.7, left=0.02, soft_mm=0.15)


PIT_AT = np.array([[20.0, 30.0]])


@pytest.mark.parametrize(("turn_deg", "lighter", "found"), [(360, 0.25, 1), (270, 0.25, 0)])
def test_a_ring_seen_aslant_walls_a_pit_in_among_specks(
    turn_deg: int, lighter: float, found: int
) -> None:
    """A gap in the ring, and it is a glint."""
    others = [
        _dots(
            made.wall(seed=seed),
            _scattered(40, seed, ALL_OVER),
            wide_mm=0.8,
            left=IRON,
            soft_mm=0.2,
        )
        for seed in (1, 2, 3)
    ]
    pits = pit.find(made.seen(_ringed(turn_deg, lighter), *others))
    assert len(pits) == found
    for each in pits:
        assert made.place_mm(each) == pytest.approx(tuple(PIT_AT[0]), abs=0.5)
        # As wide as the ring with its breadth, not as the hole.
        assert each.diameter_mm == pytest.approx(2 * (1.3 + 0.25), abs=0.35)


@pytest.mark.parametrize(("burnt", "is_pit"), [(0.0, True), (1.2, False)])
def test_a_ring_that_burns_out_is_a_glint_beside_a_speck(burnt: float, is_pit: bool) -> None:
    right, down = made.places_mm()
    glint = np.exp(-(((down - 29) / 0.5) ** 2) - ((right - 20) / 4) ** 2)
    picture = _ringed(360, 0.25) * (1 + burnt * glint[..., None])
    dots = pit._dark_dots(made.seen(picture).views[0])
    dot = max(dots, key=lambda each: each.wall.level)
    assert dot.wall.level > 0.05
    # Nothing but its ring tells it from the specks.
    usual = replace(_specks_like(dot), wall=pit._Usual(0.0, 0.0, 0.01))
    assert (pit._excess(dot, usual) is not None) == is_pit


def test_a_patch_that_two_sides_of_four_show_does_not_make_a_clay_speckled() -> None:
    pits = [_scattered(count, count, (12, 14, 36, 46)) for count in (12, 9)]
    holed = [
        _dots(made.wall(seed=k), places, wide_mm=0.8, left=0.03, soft_mm=0.05)
        for k, places in enumerate(pits)
    ]
    plain = [
        _dots(made.wall(seed=k), _scattered(4, k, ALL_OVER), wide_mm=0.8, left=0.3, soft_mm=0.2)
        for k in (2, 3)
    ]
    found = pit.find(made.seen(holed[0], plain[0], plain[1], holed[1]))
    assert len(found) > 0.8 * sum(len(places) for places in pits)
    assert {each.view for each in found} == {"front", "left"}


IRON = (0.30, 0.21, 0.13)


@pytest.mark.parametrize(("left", "are_pits"), [(0.15, True), (IRON, False)])
def test_a_hole_takes_all_colours_alike_and_iron_takes_the_blue(
    left: float | tuple[float, float, float], are_pits: bool
) -> None:
    walls = [made.wall(seed=seed) for seed in range(4)]
    specks = [_scattered(40, seed, ALL_OVER) for seed in range(4)]
    for number, places in enumerate(specks):
        # Some bleed more than others: how sharp a speck may be is not sharply bounded.
        for part, soft_mm in enumerate((0.14, 0.16, 0.18, 0.20, 0.22, 0.24)):
            some = places[part::6]
            walls[number] = _dots(walls[number], some, wide_mm=0.8, left=IRON, soft_mm=soft_mm)
    free = _grid_away_from(specks[0])[:5]
    walls[0] = _dots(walls[0], free, wide_mm=0.8, left=left, soft_mm=0.125)
    found = pit.find(made.seen(*walls))
    assert all(np.hypot(*(free - made.place_mm(each)).T).min() < 1.0 for each in found)
    assert len(found) >= 4 if are_pits else not found


DARK_GLAZE = (0.06, 0.035, 0.025)


@pytest.mark.parametrize(("lip", "left", "are_pits"), [(1.0, 0.3, True), (0.0, 0.6, False)])
def test_on_dark_glaze_the_ring_tells_a_hole_that_is_hardly_darker(
    lip: float, left: float, are_pits: bool
) -> None:
    places = np.array([[20.0, 20.0], [26.0, 34.0]])
    wall = _dots(made.wall(DARK_GLAZE), places, wide_mm=1.0, left=left, soft_mm=0.06, lip=lip)
    others = [made.wall(DARK_GLAZE, seed=seed) for seed in (1, 2, 3)]
    found = pit.find(made.seen(wall, *others, finish="coloured"))
    assert len(found) == (2 if are_pits else 0)


def test_two_holes_in_one_crater_are_one_pit() -> None:
    places = np.array([[20.0, 20.0], [26.0, 34.0]])
    wall = _dots(made.wall(DARK_GLAZE), places, wide_mm=1.0, left=0.3, soft_mm=0.06, lip=1.0)
    upper, lower = pit._dark_dots(made.seen(wall, finish="coloured").views[0])
    beside = replace(upper, spot=replace(upper.spot, peak=0.9 * upper.spot.peak))
    kept = pit._one_a_crater([(beside, 1.0), (upper, 1.0), (lower, 1.0)])
    assert len(kept) == 2
    assert kept[0][0] is upper
    assert kept[1][0] is lower


@pytest.mark.parametrize(("x_mm", "is_pit"), [(43.0, True), (24.0, False)])
def test_a_round_hole_looks_long_where_the_wall_turns_away(x_mm: float, is_pit: bool) -> None:
    hole = made.ellipse((x_mm, 30.0), 0.4, 1.3)
    wall = made.lay(made.wall(made.WHITE_CLAY), hole, made.SLOT)
    others = [made.wall(made.WHITE_CLAY, seed=seed) for seed in (1, 2, 3)]
    assert bool(pit.find(made.seen(wall, *others))) is is_pit


def _grid_away_from(taken: NDArray[np.float64]) -> NDArray[np.float64]:
    rows, cols = np.mgrid[10:52:3, 8:42:3]
    places = np.column_stack([cols.ravel(), rows.ravel()]).astype(float)
    away = np.hypot(*(places[:, None] - taken[None]).transpose(2, 0, 1)).min(1)
    return np.asarray(places[np.argsort(-away)])


@pytest.mark.parametrize(("in_a_patch", "are_pits"), [(True, True), (False, False)])
def test_on_a_clay_without_specks_faint_dots_count_where_they_come_in_a_patch(
    in_a_patch: bool, are_pits: bool
) -> None:
    """On dark clay a hole is hardly darker than a fleck of iron; flecks lie on all sides."""
    dots = _scattered(12, 4, (12, 14, 36, 46))
    shares = [dots, dots[:0], dots[:0], dots[:0]] if in_a_patch else np.split(dots, 4)
    sides = [
        _dots(made.wall(made.BROWN, seed=seed), places, wide_mm=0.8, left=0.45, soft_mm=0.05)
        for seed, places in enumerate(shares)
    ]
    found = pit.find(made.seen(*sides, decorated=False))
    assert {each.view for each in found} == ({"front"} if are_pits else set())
    assert len(found) >= 0.8 * len(dots) if are_pits else not found


@pytest.mark.parametrize("in_a_row", [True, False])
def test_one_more_of_a_row_of_painted_dots_is_no_pit(in_a_row: bool) -> None:
    """It is smaller than what counts as paint by itself."""
    sides = [made.wall(seed=seed) for seed in range(4)]
    if in_a_row:
        for number, side in enumerate(sides):
            for x in (10, 18, 26):
                side = made.lay(side, made.ellipse((x, 30), 2.1, 2.1), made.BLACK)
            sides[number] = side
    sides[0] = made.lay(sides[0], made.ellipse((34, 30), 1.5, 1.5), made.BLACK)
    found = pit.find(made.seen(*sides))
    assert (found == []) == in_a_row


@pytest.mark.parametrize(("colour", "is_pit"), [((0.02, 0.02, 0.07), False), (made.BLACK, True)])
def test_a_blue_dot_is_no_pit_however_dark(
    colour: tuple[float, float, float], is_pit: bool
) -> None:
    """A hole is black or has the colour of the clay."""
    sides = [made.wall(seed=seed) for seed in range(4)]
    sides[0] = made.lay(sides[0], made.ellipse((24, 30), 1.2, 1.2), colour)
    found = pit.find(made.seen(*sides))
    assert bool(found) == is_pit


@pytest.mark.parametrize("in_a_row", [True, False])
def test_a_painted_dot_that_the_turn_of_the_wall_makes_slim_is_one_of_its_row(
    in_a_row: bool,
) -> None:
    """The lens mixes it with the clay, so that its colour lies on the way to that of the others."""
    brown = np.array((0.13, 0.07, 0.02))
    sides = [made.wall(made.WHITE_CLAY, seed=seed) for seed in range(4)]
    if in_a_row:
        for number, side in enumerate(sides):
            for x in (10, 18, 26):
                side = made.lay(side, made.ellipse((x, 30), 2.0, 2.0), brown)
            sides[number] = side
    mixed = 0.92 * brown + 0.08 * np.array(made.WHITE_CLAY)
    sides[0] = made.lay(sides[0], made.ellipse((43.0, 30.0), 0.9, 1.7), mixed)
    found = pit.find(made.seen(*sides))
    assert (found == []) == in_a_row


@pytest.mark.parametrize("runs_on", [True, False])
def test_the_tip_of_a_stroke_is_no_pit(runs_on: bool) -> None:
    """Where it is too fine for the zones of paint it may be found as a dot by itself."""
    others = [made.wall(seed=seed) for seed in (1, 2, 3)]
    tip = made.lay(made.wall(), made.ellipse((24, 20), 1.0, 1.2), made.BLACK)
    (dot,) = pit._dark_dots(made.seen(tip, *others).views[0])
    below = made.line([(24, 20 if runs_on else 22.5), (24, 40)], 0.6)
    (view, *_) = made.seen(made.lay(tip, below, made.BLACK), *others).views
    rows = np.arange(len(view.zones.paint))[:, None]
    paint = (view.surface.tone < view.zones.clay_tone - 1) & (rows > dot.spot.peak_at[0] + 18)
    view = replace(view, zones=replace(view.zones, paint=paint))
    assert pit._ends_a_stroke(replace(dot, view=view)) == runs_on


@pytest.mark.parametrize("pits", [0, 1])
def test_iron_specks_between_deep_throwing_rings_are_learned_from(pits: int) -> None:
    """Else only the darkest are seen among the shade of the rings, and those look like pits."""
    _, down = made.places_mm()
    rings = np.exp(0.4 * np.cos(2 * np.pi * down / 3.4))[..., None]
    sides = []
    for seed in range(4):
        side = made.wall(seed=seed)
        groups = np.array_split(_scattered(60, seed, ALL_OVER), 4)
        for places, wide_mm in zip(groups, (0.45, 0.6, 0.75, 0.9), strict=True):
            side = _dots(side, places, wide_mm=wide_mm, left=(0.5, 0.42, 0.34), soft_mm=0.14)
        if pits and seed == 0:
            hole = np.array([[22.0, 27.3]])
            side = _dots(side, hole, wide_mm=1.0, left=0.05, soft_mm=0.03, lip=0.25)
        sides.append(np.asarray(side * rings))
    evidence = made.seen(*sides)
    assert sum(len(pit._dark_dots(view)) for view in evidence.views) > 200
    assert len(pit.find(evidence)) == pits


@pytest.mark.parametrize(("pupil_mm", "white_mm"), [(1.4, 4.6), (1.8, 5.2), (1.4, 6.0)])
def test_the_white_of_an_eye_is_wider_than_any_crater(pupil_mm: float, white_mm: float) -> None:
    """The only eye on a piece, so that no other tells that it is drawn."""
    walls = [made.wall(made.ORANGE, seed=seed) for seed in range(4)]
    front = made.lay(walls[0], made.ellipse((24, 30), 22, 16), (0.15, 0.25, 0.08))
    front = made.lay(front, made.ellipse((24, 30), white_mm, 1.1 * white_mm), (0.8, 0.79, 0.76))
    front = made.lay(front, made.island((24, 30), pupil_mm, seed=1), (0.07, 0.07, 0.07))
    assert pit.find(made.seen(front, *walls[1:], decorated=True)) == []
