"""How far a piece stands turned against an earlier photo."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from grader.record.align import (
    UNKNOWN_TURN,
    Wall,
    agreed_turn,
    find_turn,
    surface_only,
    unroll,
    unroll_wall,
)

HEIGHT, WIDTH = 700, 900
TOP, BOTTOM = 120, 620


def a_texture(seed: int, *, specks: int, paint: bool) -> NDArray[np.uint8]:
    """The wall of a pot, unrolled: four pixels a degree, clay with specks and a painting."""
    rng = np.random.default_rng(seed)
    wall = np.full((500, 1440, 3), (206, 188, 168), np.uint8)
    for x, y in zip(rng.integers(0, 1440, specks), rng.integers(0, 500, specks), strict=True):
        cv2.circle(wall, (int(x), int(y)), int(rng.integers(1, 4)), (120, 88, 66), -1)
    if paint:
        # A body with a tail and a reed: nothing that repeats round the pot.
        cv2.ellipse(wall, (700, 240), (90, 34), 20, 0, 360, (52, 84, 120), -1)
        cv2.ellipse(wall, (820, 300), (60, 12), 40, 0, 360, (52, 84, 120), -1)
        cv2.rectangle(wall, (560, 90), (574, 420), (70, 110, 60), -1)
    return wall


def a_photo_of(
    wall: NDArray[np.uint8],
    turned_deg: float,
    *,
    seed: int = 0,
    narrow: float = 0.8,
    light: tuple[float, float, float] = (1.0, 1.0, 1.0),
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """A round, tapering pot with that wall before a grey backdrop, lit from the left."""
    rng = np.random.default_rng(seed)
    image = np.full((HEIGHT, WIDTH, 3), (150, 152, 156), np.float32)
    mask = np.zeros((HEIGHT, WIDTH), bool)
    rows = np.arange(TOP, BOTTOM)
    down = (rows - TOP) / (BOTTOM - TOP)
    radius = 210 * (1 - (1 - narrow) * down)
    u = (np.arange(WIDTH)[None] - WIDTH / 2) / radius[:, None]
    inside = np.abs(u) < 1
    angle = np.degrees(np.arcsin(np.clip(u, -1, 1)))
    # The middle of the texture faces the camera; turned to the right, it is seen further right.
    column = (720 + 4 * (angle - turned_deg)).astype(np.float32) % 1440
    level = np.broadcast_to((down[:, None] * 499).astype(np.float32), column.shape).copy()
    pot = cv2.remap(wall, column, level, cv2.INTER_LINEAR).astype(np.float32)
    shade = 0.55 + 0.45 * np.cos(np.radians(angle + 35))
    pot *= shade[..., None] * np.array(light, np.float32)
    image[rows] = np.where(inside[..., None], pot, image[rows])
    mask[rows] = inside
    image += rng.normal(0, 2.0, image.shape)
    return np.clip(image, 0, 255).astype(np.uint8), mask


@pytest.mark.parametrize("turned_deg", [-32, -15, -4, 0, 7, 21, 36])
@pytest.mark.parametrize("paint", [True, False])
def test_the_turn_is_found_within_two_degrees(turned_deg: int, paint: bool) -> None:
    wall = a_texture(1, specks=700, paint=paint)
    before = unroll(*a_photo_of(wall, 0.0, seed=1))
    after = unroll(*a_photo_of(wall, turned_deg, seed=2, light=(0.9, 0.82, 0.7)))
    found = find_turn(before, after)
    assert found.known
    assert abs(found.turned_deg - turned_deg) <= 2


def test_a_bare_wall_tells_nothing() -> None:
    wall = a_texture(1, specks=0, paint=False)
    before = unroll(*a_photo_of(wall, 0.0, seed=1))
    after = unroll(*a_photo_of(wall, 20.0, seed=2))
    assert not find_turn(before, after).known


def test_another_pot_tells_nothing() -> None:
    before = unroll(*a_photo_of(a_texture(1, specks=700, paint=False), 0.0, seed=1))
    after = unroll(*a_photo_of(a_texture(2, specks=700, paint=False), 0.0, seed=2))
    assert not find_turn(before, after).known


def test_a_painting_that_repeats_tells_nothing() -> None:
    wall = a_texture(1, specks=0, paint=False)
    for x in range(0, 1440, 100):  # a dot every 25 degrees
        cv2.circle(wall, (x, 250), 14, (60, 80, 120), -1)
    before = unroll(*a_photo_of(wall, 0.0, seed=1))
    after = unroll(*a_photo_of(wall, 9.0, seed=2))
    assert not find_turn(before, after).known


def test_several_views_are_asked_together() -> None:
    wall = a_texture(1, specks=700, paint=False)
    bare = a_texture(1, specks=0, paint=False)
    pairs = [
        (unroll(*a_photo_of(wall, 0.0, seed=1)), unroll(*a_photo_of(wall, 11.0, seed=2))),
        (unroll(*a_photo_of(bare, 0.0, seed=3)), None),
    ]
    assert abs(agreed_turn(pairs).turned_deg - 11) <= 2
    assert agreed_turn([]) == UNKNOWN_TURN


def test_the_piece_is_cut_out_again_from_the_photo() -> None:
    wall = a_texture(1, specks=700, paint=True)
    (before, mask), (after, _) = a_photo_of(wall, 0.0, seed=1), a_photo_of(wall, 14.0, seed=2)
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    box = (
        int(columns[0]),
        int(rows[0]),
        int(columns[-1] - columns[0] + 1),
        int(rows[-1] - rows[0] + 1),
    )
    found = find_turn(unroll_wall(before, box), unroll_wall(after, box))
    assert found.known
    assert abs(found.turned_deg - 14) <= 2
    # Where the survey saw the piece elsewhere, nothing is claimed.
    assert unroll_wall(before, (0, 0, 100, 100)) is None


def four_walls(
    wall: NDArray[np.uint8], turned_deg: float, *, seed: int, rings: bool
) -> dict[str, Wall]:
    """The four sides of a pot; with `rings` light falls in a pattern that stays as it turns."""
    walls = {}
    for number, view in enumerate(("front", "right", "back", "left")):
        rgb, mask = a_photo_of(wall, turned_deg - 90 * number, seed=seed + number)
        if rings:
            rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH]
            glint = 1 + 0.25 * np.sin(rows / 6.0 + columns / 23.0) * np.sin(columns / 31.0)
            lit = np.where(mask[..., None], rgb * glint[..., None], rgb)
            rgb = np.clip(lit, 0, 255).astype(np.uint8)
        unrolled = unroll(rgb, mask)
        assert unrolled is not None
        walls[view] = unrolled
    return walls


def test_light_that_stays_in_its_place_is_not_taken_for_the_surface() -> None:
    wall = a_texture(1, specks=0, paint=False)
    before, after = (four_walls(wall, turn, seed=turn + 9, rings=True) for turn in (0, 20))
    # Left in, it would say "not turned" for certain.
    assert find_turn(before["front"], after["front"]).known
    before, after = surface_only(before), surface_only(after)
    assert not agreed_turn((before[view], after[view]) for view in before).known


def test_the_surface_is_found_under_such_light() -> None:
    wall = a_texture(1, specks=700, paint=True)
    before, after = (four_walls(wall, turn, seed=turn + 9, rings=True) for turn in (0, 20))
    before, after = surface_only(before), surface_only(after)
    found = agreed_turn((before[view], after[view]) for view in before)
    assert found.known
    assert abs(found.turned_deg - 20) <= 2


def test_too_few_views_tell_nothing() -> None:
    walls = four_walls(a_texture(1, specks=700, paint=True), 0.0, seed=1, rings=False)
    assert surface_only({view: walls[view] for view in ("front", "back")}) == {}
