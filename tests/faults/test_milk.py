"""Dense milk at the foot of red clay is told from white paint by its place and its colour."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from grader.faults import Evidence, ViewEvidence, pool_tint
from grader.faults.milk import change_beside, pool_below, pools_at_foot, pools_with_soft_edge
from tests.faults import made

Picture = NDArray[np.float64]

MILK = (0.62, 0.60, 0.64)
WHITE = (0.78, 0.76, 0.70)


def _laid(
    covers: Sequence[NDArray[np.float32] | None], colour: tuple[float, float, float] = MILK
) -> list[Picture]:
    walls = [made.wall(made.RED, seed=seed) for seed in range(len(covers))]
    return [
        wall if cover is None else made.lay(wall, cover, colour)
        for wall, cover in zip(walls, covers, strict=True)
    ]


def _pools(walls: Sequence[Picture]) -> list[bool]:
    return [pool is not None for pool in pools_at_foot(made.seen(*walls).sides)]


AT_FOOT = made.box(8, 48, 36, 60)
SLIVER = made.box(38, 50, 45, 60)


def test_a_dense_pool_at_the_foot_is_found_on_the_sides_that_show_it() -> None:
    walls = _laid([AT_FOOT, SLIVER, None, None])
    assert _pools(walls) == [True, True, False, False]
    found = pool_tint.find(made.seen(*walls))
    assert {each.view for each in found} >= {"front"}
    front = next(each for each in found if each.view == "front")
    assert front.bbox_px[3] == pytest.approx(12 * made.PX_PER_MM, rel=0.3)
    assert (front.shift_de00 or 0) > 20


@pytest.mark.parametrize(
    ("covers", "colour"),
    [
        ([AT_FOOT] * 4, MILK),  # dipped in white all round
        ([made.ellipse((24, 30), 20, 16), None, None, None], MILK),  # in mid-air
        ([made.line([(20, 20), (24, 40), (20, 60)], 3.0), None, None, None], MILK),  # a stalk
        ([AT_FOOT, None, None, None], made.COBALT),
        ([AT_FOOT, None, None, None], made.BLACK),
        ([AT_FOOT, None], MILK),  # how it goes round is not known
    ],
)
def test_paint_is_none(
    covers: Sequence[NDArray[np.float32] | None], colour: tuple[float, float, float]
) -> None:
    walls = _laid(covers, colour)
    if covers[0] is not None and float(covers[0][: len(covers[0]) // 3].max()) > 0:
        # A stalk carries its flower above the foot.
        walls[0] = made.lay(walls[0], made.ellipse((20, 20), 14, 10), colour)
    assert not any(_pools(walls))


@pytest.mark.parametrize("handle", [True, False])
def test_what_is_missing_on_one_side_only_goes_round_behind_a_handle(handle: bool) -> None:
    """Where there is none, a pool is as large as three sides of the piece."""
    *beside, front = made.seen(*_laid([AT_FOOT, AT_FOOT, AT_FOOT, None])).sides
    front = dataclasses.replace(front, shade=np.full_like(front.shade, handle))
    found = pools_at_foot([*beside, front])
    assert [pool is not None for pool in found] == [not handle] * 3 + [False]


@pytest.mark.parametrize(
    ("colour", "found"),
    [(0.65 * np.array(made.ORANGE) + 0.35 * np.array(MILK), True), ((0.75, 0.5, 0.1), False)],
)
def test_thin_milk_on_orange_clay_is_a_mixture_with_white(colour: Picture, found: bool) -> None:
    """It is a good way from neutral yet, as yellow paint is; but that holds no white."""
    walls = [made.wall(made.ORANGE, seed=seed) for seed in range(4)]
    walls[0] = made.lay(walls[0], AT_FOOT, tuple(colour))
    assert _pools(walls) == [found, False, False, False]


def test_a_dip_whose_edge_wavers_is_as_even_on_sides_where_it_hardly_reaches_the_foot() -> None:
    def dip(reaches: float) -> NDArray[np.float32]:
        return np.maximum(made.box(8, 48, 36, 54), made.box(8, 48, 8 + 28 * reaches, 60))

    assert not any(_pools(_laid([dip(share) for share in (0.85, 0.65, 0.6, 0.65)])))
    assert _pools(_laid([dip(0.85), SLIVER, None, None]))[0]


def test_a_colour_that_is_painted_elsewhere_is_paint() -> None:
    walls = _laid([AT_FOOT, None, None, None], WHITE)
    assert _pools(walls)[0]
    walls[0] = made.lay(walls[0], made.ellipse((24, 20), 14, 10), WHITE)
    assert not any(_pools(walls))


def test_the_change_is_that_from_the_clay_beside_it() -> None:
    (view, *_), (pool, *_) = (
        (evidence := made.seen(*_laid([AT_FOOT, None, None, None]))).sides,
        pools_at_foot(evidence.sides),
    )
    assert pool is not None
    assert change_beside(view, pool) == pytest.approx(34, abs=10)
    assert change_beside(view, np.ones_like(pool)) == 0.0


@pytest.mark.parametrize(("colour", "found"), [((0.44, 0.45, 0.48), True), (made.BLACK, False)])
def test_a_pool_on_a_flared_foot_is_held_against_the_clay_beside_it(
    colour: tuple[float, float, float], found: bool
) -> None:
    """The foot takes less light than the wall tells, on clay and milk alike."""
    shade = 1 - 0.35 * np.clip((made.places_mm()[1] - 46) / 2, 0, 1)
    walls = [
        made.lay(made.wall(seed=seed), cover, colour)
        for seed, cover in enumerate([AT_FOOT, SLIVER, made.blank(), made.blank()])
    ]
    assert _pools([shade[..., None] * wall for wall in walls])[0] == found


def test_pale_milk_with_a_hard_edge_is_found_on_pale_clay() -> None:
    pale, milk = (0.62, 0.58, 0.53), (0.50, 0.57, 0.65)
    walls = [made.wall(pale, seed=seed) for seed in range(4)]
    walls[0] = made.lay(walls[0], AT_FOOT, milk)
    evidence = made.seen(*walls)
    (pool, *_) = pools_at_foot(evidence.sides)
    assert pool is not None
    assert 6 < change_beside(evidence.sides[0], pool) < 14
    assert [each.view for each in pool_tint.find(evidence)] == ["front"]


PALE, PALE_MILK = (0.62, 0.58, 0.53), (0.50, 0.57, 0.65)
RUN = np.maximum(made.ellipse((24, 26), 24, 10), made.box(18, 26, 24, 36))
"""A pool of 200 mm2 with a run, on a flank that no side photo shows."""


def _from_below(below: Picture, sides: Sequence[Picture]) -> tuple[ViewEvidence, Evidence]:
    evidence = made.seen(*sides, below)
    *seen, last = evidence.views
    surface = dataclasses.replace(last.surface, view="foot", photo="foot.jpg")
    foot = dataclasses.replace(last, surface=surface, skin=None)
    return foot, dataclasses.replace(evidence, views=(*seen, foot))


@pytest.mark.parametrize(("clay", "milk"), [(PALE, PALE_MILK), (made.RED, MILK)])
def test_a_pool_that_only_the_photo_of_the_foot_shows_is_found(
    clay: tuple[float, float, float], milk: tuple[float, float, float]
) -> None:
    sides = [made.wall(clay, seed=seed) for seed in range(3)]
    foot, evidence = _from_below(made.lay(made.wall(clay, seed=3), RUN, milk), sides)
    pool = pool_below(foot, evidence.sides)
    assert pool is not None
    assert float(pool.sum()) / made.PX_PER_MM**2 == pytest.approx(230, rel=0.25)
    (found,) = pool_tint.find(evidence)
    assert found.view == "foot"
    assert "seen from below" in found.why


def test_sheen_paint_and_small_drips_below_are_no_pool() -> None:
    sides = [made.wall(PALE, seed=seed) for seed in range(3)]
    clean = made.wall(PALE, seed=3)

    def found(below: Picture, sides: Sequence[Picture] = sides) -> bool:
        foot, evidence = _from_below(below, sides)
        return pool_below(foot, evidence.sides) is not None

    run = made.lay(clean, RUN, PALE_MILK)
    assert found(run)
    assert not found(clean)
    assert not found(made.lay(clean, cv2.GaussianBlur(RUN, (0, 0), 120), PALE_MILK))
    assert not found(made.lay(clean, made.ellipse((24, 30), 8, 8), PALE_MILK))
    assert not found(made.lay(clean, RUN, made.COBALT))
    drawn = made.lay(sides[0], made.ellipse((24, 20), 14, 10), PALE_MILK)
    assert not found(run, [drawn, *sides[1:]])


def test_the_base_left_bare_is_no_pool_though_it_is_paler_than_its_glaze() -> None:
    sides = [made.wall(made.RED, seed=seed) for seed in range(3)]
    base = made.ellipse((24, 30), 34, 32)
    foot, evidence = _from_below(made.lay(made.wall(made.RED, seed=3), base, MILK), sides)
    assert pool_below(foot, evidence.sides) is None


def _blob(edge_mm: float) -> Picture:
    """Coverage of a round place of 18 mm in the middle of a wall, with an edge so soft."""
    right, down = made.places_mm()
    return np.asarray(1 / (1 + np.exp((np.hypot(right - 24, down - 34) - 9) / (edge_mm / 4))))


def _gathered(milk: Sequence[Picture | None]) -> Evidence:
    walls = [made.wall(seed=seed) for seed in range(4)]
    # Milk returns about half of the light (`pool_tint`), and more of the blue.
    colour = np.array((0.45, 0.5, 0.58))
    return made.seen(
        *(
            wall if share is None else wall * (1 - share[..., None]) + share[..., None] * colour
            for wall, share in zip(walls, milk, strict=True)
        )
    )


def _seen_soft(evidence: Evidence) -> list[bool]:
    return [pool is not None for pool in pools_with_soft_edge(evidence.sides)]


def test_milk_at_the_root_of_a_handle_is_told_by_its_edge() -> None:
    evidence = _gathered([0.5 * _blob(6.0), None, None, None])
    assert _seen_soft(evidence) == [True, False, False, False]
    found = pool_tint.find(evidence)
    assert [each.view for each in found] == ["front"]
    assert np.hypot(*np.subtract(made.place_mm(found[0]), (24, 34))) < 3.0
    # The handle itself mirrors the room.
    front = evidence.sides[0]
    handle = dataclasses.replace(front, relief=np.ones_like(front.relief))
    assert not any(_seen_soft(dataclasses.replace(evidence, views=(handle, *evidence.sides[1:]))))


@pytest.mark.parametrize(
    "milk",
    [
        [0.5 * _blob(0.3), None, None, None],  # painted
        [0.5 * _blob(6.0), None, 0.5 * _blob(6.0), None],  # light that stays in the picture
        [0.5 * _blob(6.0)] * 4,
    ],
)
def test_paint_and_light_of_the_room_are_no_soft_milk(milk: Sequence[Picture | None]) -> None:
    assert not any(_seen_soft(_gathered(milk)))


def test_a_lamp_mirrored_on_one_side_is_no_soft_milk() -> None:
    """It adds its light to that of the clay, and takes none away."""
    walls = [made.wall(seed=seed) for seed in range(4)]
    walls[0] = walls[0] + 0.4 * _blob(6.0)[..., None]
    assert not any(_seen_soft(made.seen(*walls)))
