"""The opening of a pot is found, whatever its rim, and a lid or a painting is none."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from grader.clay import common_clay
from grader.piece import Silhouette
from grader.surface import Surface, read_surface
from grader.target import Colour, Scale, Target
from grader.zones import find_zones
from tests.drawn import cut, draw_pot, zones_of
from tests.faults import made
from tests.scenes import develop


def test_the_opening_is_found_and_is_no_wall() -> None:
    pot = draw_pot()
    surface, zones = zones_of(pot)
    truth = cut(pot, surface, "inside")
    assert (zones.inside & truth).sum() / truth.sum() > 0.9
    assert not (zones.wall & zones.inside).any()
    assert (zones.inside & cut(pot, surface, "wall")).sum() < 0.05 * truth.sum() + 12000


def _box_of(
    rim_px: np.ndarray,
    *,
    inside: float,
    knob: bool = False,
    body_px: np.ndarray | None = None,
    ear_px: tuple[int, int, int] | None = None,
) -> tuple[Surface, np.ndarray]:
    """A straight-sided body under a rim of any outline, seen from above, and its true opening.

    The body has the outline of the rim, or another; an ear is a disc (x, y, radius) beside it.
    """
    high, wide, down = 640, 480, 420
    opening = np.zeros((high + 80, wide + 80), np.uint8)
    middle = np.array([wide / 2 + 40, 130.0])
    cv2.fillPoly(opening, [np.round(rim_px + middle).astype(np.int32)], 1)
    wall = np.zeros_like(opening)
    outline = rim_px if body_px is None else body_px
    cv2.fillPoly(wall, [np.round(outline + middle).astype(np.int32)], 1)
    body = opening.copy()
    for step in range(0, down, 4):
        body |= np.roll(wall, step, axis=0)
    if ear_px is not None:
        x, y, radius = ear_px
        cv2.circle(body, (int(middle[0]) + x, int(middle[1]) + y), radius, 1, -1)
    if knob:
        cv2.circle(body, (int(middle[0]), int(130 - 0.9 * np.ptp(rim_px[:, 1]))), 26, 1, -1)
        cv2.rectangle(body, (int(middle[0]) - 12, 40), (int(middle[0]) + 12, 130), 1, -1)
    light = np.full((*body.shape, 3), 0.2, np.float64)
    light[body > 0] = (0.5, 0.42, 0.33)
    light[opening > 0] *= inside
    rgb = develop(light, noise=0.01, blur_px=0.8, seed=0)
    rows, cols = np.flatnonzero(body.any(1)), np.flatnonzero(body.any(0))
    box = (int(cols[0]), int(rows[0]), int(np.ptp(cols)) + 1, int(np.ptp(rows)) + 1)
    surface = read_surface(
        rgb,
        Silhouette(body > 0, box, 1.0),
        Target(Scale(6.0, "marker"), Colour(np.eye(3))),
        photo="front.jpg",
        view="front",
        px_per_mm=6.0,
    )
    x, y = (int(value) for value in surface.origin_px)
    height, width = surface.mask.shape
    return surface, opening[y : y + height, x : x + width] > 0


HEXAGON = 200 * np.array([[1, 0], [0.5, 0.4], [-0.5, 0.4], [-1, 0], [-0.5, -0.4], [0.5, -0.4]])
SQUARE = 200 * np.array([[1, 0.42], [-1, 0.42], [-0.95, -0.42], [0.95, -0.42]])
TURNED = 200 * np.array([[1, 0.1], [-0.25, 0.4], [-1, -0.1], [0.25, -0.4]])


@pytest.mark.parametrize("rim", [HEXAGON, SQUARE, TURNED], ids=["hexagon", "square", "turned"])
@pytest.mark.parametrize("inside", [0.55, 1.25])
def test_the_opening_of_a_squared_rim_is_found(rim: np.ndarray, inside: float) -> None:
    surface, truth = _box_of(rim, inside=inside)
    zones = find_zones(surface, common_clay([surface]), decorated=False, seen_from_side=True)
    assert (zones.inside & truth).sum() / (zones.inside | truth).sum() > 0.85


def _round(across: float, deep: float) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, 241)
    return np.column_stack([across * np.cos(turn), deep * np.sin(turn)])


def test_the_arch_of_a_square_rim_is_not_taken_for_a_round_one() -> None:
    """The far edge of a square rim arches a little, as if it were the top of a flat ellipse."""
    square = _round(1, 1)
    square = np.sign(square) * np.abs(square) ** (2 / 8) * (200, 84)
    square[:, 1] += np.sign(square[:, 1]) * 14 * (1 - (square[:, 0] / 200) ** 2)
    surface, truth = _box_of(square, inside=0.55)
    zones = find_zones(surface, common_clay([surface]), decorated=False, seen_from_side=True)
    assert (zones.inside & truth).sum() / (zones.inside | truth).sum() > 0.85


def test_the_root_of_a_handle_does_not_deepen_the_opening() -> None:
    """With the handle in the outline a wider, deeper ellipse fits, that has no edge of tone."""
    surface, truth = _box_of(_round(120, 50), inside=0.55, ear_px=(120, 40, 50))
    zones = find_zones(surface, common_clay([surface]), decorated=False, seen_from_side=True)
    assert (zones.inside & truth).sum() / (zones.inside | truth).sum() > 0.8


def test_a_lid_is_no_opening() -> None:
    surface, _ = _box_of(HEXAGON, inside=0.8, knob=True)
    zones = find_zones(surface, common_clay([surface]), decorated=False, seen_from_side=True)
    assert zones.inside.mean() < 0.01


def test_the_knob_of_a_lid_is_no_opening() -> None:
    """A ball on a dome has the outline of a lip on a wall, but is a seventh as wide as it."""
    rows = np.arange(500)
    ball = 50 * np.sqrt(np.clip(1 - ((rows - 40) / 40) ** 2, 0, 1))
    half = np.where(rows < 40, ball, np.minimum(360, 50 + np.maximum(0, rows - 50) * 3.0))
    half[200:] = 190
    mask = np.abs(np.arange(800)[None] - 400) <= half[:, None]
    light = np.where(mask[..., None], (0.5, 0.42, 0.33), (0.2, 0.2, 0.2))
    surface = read_surface(
        develop(light, noise=0.01, blur_px=0.8, seed=0),
        Silhouette(mask, (40, 0, 721, 500), 1.0),
        Target(Scale(6.0, "marker"), Colour(np.eye(3))),
        photo="front.jpg",
        view="front",
        px_per_mm=6.0,
    )
    zones = find_zones(surface, common_clay([surface]), decorated=False, seen_from_side=True)
    assert not zones.inside.any()


def test_paint_below_a_straight_rim_is_no_opening() -> None:
    """Seen level a rim is a straight line, and so is the upper edge of a painted field."""
    cover = made.box(0, 12, made.WIDE_MM, 50)
    surface = made.seen(made.lay(made.wall(), cover, made.COBALT)).views[0].surface
    zones = find_zones(surface, common_clay([surface]), decorated=True, seen_from_side=True)
    assert not zones.inside.any()
