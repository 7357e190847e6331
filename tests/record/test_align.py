"""How a piece stands turned against earlier photos, whatever lamp and camera did meanwhile."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from grader.record.align import align_walls
from grader.record.alignment import UNKNOWN, Alignment
from grader.record.walls import Wall, surface_only, unroll, unroll_wall

HEIGHT, WIDTH = 700, 900
TOP, BOTTOM = 120, 620
SIDES = ("front", "right", "back", "left")


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
    light: tuple[float, float, float] = (1.0, 1.0, 1.0),
    lamp_deg: float = -35.0,
    tilt: float = 0.0,
    glints: bool = False,
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """A round pot with that wall before a grey backdrop.

    `tilt` is the sine of the camera's height angle: level lines sag, and so does the foot.
    `glints` are a pattern of light that stays where it is while the pot turns.
    """
    rng = np.random.default_rng(seed)
    image = np.full((HEIGHT, WIDTH, 3), (150, 152, 156), np.float32)
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    radius = 210.0
    across = np.clip((columns - WIDTH / 2) / radius, -1, 1)
    angle = np.degrees(np.arcsin(across))
    sag = radius * tilt * (1 - np.sqrt(1 - across**2))
    down = (rows + sag - TOP) / (BOTTOM - TOP)
    mask = (np.abs(columns - WIDTH / 2) < radius) & (down >= 0) & (down < 1)
    # The middle of the texture faces the camera; turned to the right, it is seen further right.
    column = (720 + 4 * (angle - turned_deg)) % 1440
    pot = cv2.remap(wall, column, 499 * down, cv2.INTER_LINEAR).astype(np.float32)
    shade = 0.55 + 0.45 * np.cos(np.radians(angle - lamp_deg))
    if glints:
        shade *= 1 + 0.25 * np.sin(rows / 6.0 + columns / 23.0) * np.sin(columns / 31.0)
    pot *= shade[..., None] * np.array(light, np.float32)
    image[mask] = pot[mask]
    noisy = image + rng.normal(0, 2.0, image.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8), mask


def a_session(wall: NDArray[np.uint8], turned_deg: float, **photo: object) -> dict[str, Wall]:
    """The four sides of a pot, as one session of photos shows them."""
    walls = {}
    seed = photo.pop("seed")
    assert isinstance(seed, int)
    for number, view in enumerate(SIDES):
        picture = a_photo_of(wall, turned_deg - 90 * number, seed=seed + number, **photo)  # type: ignore[arg-type]
        unrolled = unroll(*picture)
        assert unrolled is not None
        walls[view] = unrolled
    return walls


def aligned(before: dict[str, Wall], after: dict[str, Wall]) -> Alignment:
    """Align two sessions."""
    return align_walls(surface_only(before), surface_only(after))


@pytest.mark.parametrize("turned_deg", [-32, -4, 0, 13, 36])
@pytest.mark.parametrize("paint", [True, False])
def test_the_turn_is_found_within_two_degrees(turned_deg: int, paint: bool) -> None:
    wall = a_texture(1, specks=700, paint=paint)
    before = a_session(wall, 0.0, seed=1)
    after = a_session(wall, turned_deg, seed=11, light=(0.9, 0.82, 0.7), lamp_deg=25.0)
    found = aligned(before, after)
    assert found.known
    assert abs(found.turned_deg - turned_deg) <= 2
    assert abs(found.expected_level(0.5, 0.0) - 0.5) <= 0.03


@pytest.mark.parametrize(("before_tilt", "after_tilt"), [(0.0, 0.4), (0.5, 0.2), (0.3, 0.3)])
def test_a_camera_that_moved_is_allowed_for(before_tilt: float, after_tilt: float) -> None:
    wall = a_texture(1, specks=700, paint=True)
    before = a_session(wall, 0.0, seed=1, tilt=before_tilt)
    after = a_session(wall, 18.0, seed=11, tilt=after_tilt)
    found = aligned(before, after)
    assert found.known
    assert abs(found.turned_deg - 18) <= 2
    # The same place, at a third of the wall and 25 degrees to the left, seen on both photos.
    tall, radius = BOTTOM - TOP, 210

    def seen_at(tilt: float, angle_deg: float) -> float:
        """Height on the photo: the top of the silhouette is where the rim sags least."""
        rise = radius * tilt * (1 - np.cos(np.radians(angle_deg)))
        lowest, highest = BOTTOM, TOP - radius * tilt
        return float((TOP + tall / 3 - rise - highest) / (lowest - highest))

    expected = found.expected_level(seen_at(before_tilt, -25.0), -25.0)
    assert abs(expected - found.level(seen_at(after_tilt, -7.0), -7.0)) <= 0.06


def test_a_bare_wall_tells_nothing() -> None:
    wall = a_texture(1, specks=0, paint=False)
    found = aligned(a_session(wall, 0.0, seed=1), a_session(wall, 20.0, seed=11))
    assert not found.known
    assert (found.turned_deg, found.stretch, found.shift) == (0.0, 1.0, 0.0)


def test_another_pot_tells_nothing() -> None:
    one, other = (a_texture(seed, specks=700, paint=False) for seed in (1, 2))
    assert not aligned(a_session(one, 0.0, seed=1), a_session(other, 0.0, seed=11)).known


def test_a_painting_that_repeats_tells_nothing() -> None:
    wall = a_texture(1, specks=0, paint=False)
    for x in range(0, 1440, 80):  # a dot every 20 degrees
        cv2.circle(wall, (x, 250), 14, (60, 80, 120), -1)
    assert not aligned(a_session(wall, 0.0, seed=1), a_session(wall, 9.0, seed=11)).known


def test_light_that_stays_in_its_place_is_not_taken_for_the_surface() -> None:
    bare = a_texture(1, specks=0, paint=False)
    before, after = (a_session(bare, turn, seed=turn + 9, glints=True) for turn in (0, 20))
    # Left in, it would say "not turned" for certain.
    assert align_walls(before, after).known
    assert align_walls(before, after).turned_deg == 0
    assert not aligned(before, after).known


def test_the_surface_is_found_under_such_light() -> None:
    wall = a_texture(1, specks=700, paint=True)
    before, after = (a_session(wall, turn, seed=turn + 9, glints=True) for turn in (0, 20))
    found = aligned(before, after)
    assert found.known
    assert abs(found.turned_deg - 20) <= 2


def test_too_few_views_tell_nothing() -> None:
    walls = a_session(a_texture(1, specks=700, paint=True), 0.0, seed=1)
    assert surface_only({view: walls[view] for view in ("front", "back")}) == {}
    assert align_walls({}, walls) == UNKNOWN


def test_the_piece_is_cut_out_again_from_the_photo() -> None:
    wall = a_texture(1, specks=700, paint=True)
    rgb, mask = a_photo_of(wall, 0.0, seed=1)
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    box = (
        int(columns[0]),
        int(rows[0]),
        int(columns[-1] - columns[0] + 1),
        int(rows[-1] - rows[0] + 1),
    )
    found, truth = unroll_wall(rgb, box), unroll(rgb, mask)
    assert found is not None
    assert truth is not None
    agreement = np.corrcoef(found.detail.ravel(), truth.detail.ravel())[0, 1]
    assert agreement > 0.9
    # Where the survey saw the piece elsewhere, nothing is claimed.
    assert unroll_wall(rgb, (0, 0, 100, 100)) is None


def test_a_handle_does_not_shift_the_axis() -> None:
    rgb, mask = a_photo_of(a_texture(1, specks=700, paint=True), 0.0, seed=1)
    handled = mask.copy()
    handled[200:420, 655:760] = True
    with_handle, without = unroll(rgb, handled), unroll(rgb, mask)
    assert with_handle is not None
    assert without is not None
    agreement = np.corrcoef(with_handle.detail.ravel(), without.detail.ravel())[0, 1]
    assert agreement > 0.99
