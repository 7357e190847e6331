"""Scorches on made walls: burnt clay is found, shade and light of another colour are not."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.typing import NDArray

from grader.colour.srgb import lab_to_linear, linear_to_lab
from grader.faults import Evidence, scorch
from grader.faults.soft import SkinField, depart
from grader.findings import Finding
from tests.faults import made

Picture = NDArray[np.float64]


def _patch(x: float, y: float, wide_mm: float) -> Picture:
    """A soft round patch, 1 in its middle, half at its nominal width."""
    right, down = made.places_mm()
    return np.exp(-np.log(2) * ((right - x) ** 2 + (down - y) ** 2) / (wide_mm / 2) ** 2)


def _burnt(colour: tuple[float, float, float], shift_lab: tuple[float, float, float]) -> Picture:
    """Factor of each channel by which clay of one colour burns: L* down, a* and b* up."""
    linear = np.array(colour)
    return np.asarray(lab_to_linear(linear_to_lab(linear) + np.array(shift_lab)) / linear)


def _with(picture: Picture, patch: Picture, factor: object) -> Picture:
    return np.asarray(picture * (1 + patch[..., None] * (np.array(factor) - 1)))


def _look(front: Picture, clay: tuple[float, float, float]) -> list[Finding]:
    others = [made.wall(clay, seed) for seed in (1, 2, 3)]
    evidence: Evidence = made.seen(front, *others, finish="raw", decorated=False)
    return scorch.find(evidence)


@pytest.mark.parametrize("clay", [made.BUFF, made.RED])
def test_a_scorch_that_faces_away_from_a_browned_side_is_found(
    clay: tuple[float, float, float],
) -> None:
    """Its place is as brown on the opposite side, but so is all round it: that is no light."""
    front = _with(made.wall(clay), _patch(20, 30, 11), _burnt(clay, (-8, 3, 4)))
    _, down = made.places_mm()
    back = _with(made.wall(clay, 2), np.ones_like(down), _burnt(clay, (-8, 3, 4)))
    sides = (front, made.wall(clay, 1), back, made.wall(clay, 3))
    found = scorch.find(made.seen(*sides, finish="raw", decorated=False))
    assert ("front", "scorch") in [(each.view, each.fault) for each in found]


# From trade practice: L* down 3 to 15, a* up, b* up (no published source).
@pytest.mark.parametrize("clay", [made.BUFF, made.RED])
@pytest.mark.parametrize("shift_lab", [(-4, 2, 3), (-8, 3, 4), (-15, 6, 6)])
def test_burnt_clay_is_found_where_it_is(
    clay: tuple[float, float, float], shift_lab: tuple[float, float, float]
) -> None:
    front = _with(made.wall(clay), _patch(20, 30, 11), _burnt(clay, shift_lab))
    found = _look(front, clay)
    assert [each.fault for each in found] == ["scorch"]
    assert found[0].view == "front"
    x, y = made.place_mm(found[0])
    assert np.hypot(x - 20, y - 30) < 4
    assert found[0].shift_de00 is not None
    assert found[0].shift_de00 > 1.8


@pytest.mark.parametrize(
    "factor",
    [
        (0.6, 0.6, 0.6),  # the shadow of something that stands by
        (0.64, 0.58, 0.54),  # a shadow into which a wooden table throws its light
        (1.05, 1.0, 0.95),  # a warm reflection
        (1.0, 1.0, 0.9),  # one channel alone: yellow dust
        (0.93, 1.0, 1.07),  # light of a window
    ],
)
def test_light_is_no_scorch(factor: tuple[float, float, float]) -> None:
    front = _with(made.wall(), _patch(20, 30, 14), factor)
    assert _look(front, made.BUFF) == []


def test_a_scorch_beside_the_corner_of_a_squared_body_is_found() -> None:
    right, _ = made.places_mm()
    faces = np.where(right < 24, 1.0, 0.72)[..., None]
    clean = [made.wall(seed=seed) * faces for seed in (1, 2, 3)]
    front = _with(made.wall() * faces, _patch(16, 30, 9), _burnt(made.BUFF, (-8, 3, 4)))
    found = scorch.find(made.seen(front, *clean, finish="raw", decorated=False))
    assert [each.fault for each in found] == ["scorch"]
    assert abs(made.place_mm(found[0])[0] - 16) < 4


def test_glaze_is_not_judged() -> None:
    front = _with(made.wall(), _patch(20, 30, 11), _burnt(made.BUFF, (-8, 3, 4)))
    walls = [made.wall(seed=seed) for seed in (1, 2, 3)]
    assert scorch.find(made.seen(front, *walls, finish="glazed")) == []


def test_browning_beneath_a_painted_band_is_one_browned_side() -> None:
    right, _ = made.places_mm()
    side = np.exp(-(((right - 18) / 13) ** 2))
    squares = np.maximum.reduce(
        [
            made.box(x, y, x + 5.6, y + 5.6)
            for row, y in enumerate((22.0, 28.0, 34.0))
            for x in np.arange(-6.0 + 6 * (row % 2), 48, 12.0)
        ]
    )

    def painted(picture: Picture) -> Picture:
        return made.lay(picture, squares, made.BLACK)

    front = painted(_with(made.wall(), side, _burnt(made.BUFF, (-8, 3, 4))))
    walls = [painted(made.wall(seed=seed)) for seed in (1, 2, 3)]
    found = scorch.find(made.seen(front, *walls, finish="raw", decorated=True))
    assert [(each.fault, each.view) for each in found] == [("one_sided_browning", "front")]


def test_a_shadow_that_lies_a_row_lower_on_one_side_is_no_scorch() -> None:
    """Under a lid is a warm dark strip; rim and foot are found to within a row or two of pixels."""

    def lidded(seed: int, top_mm: float) -> Picture:
        _, down = made.places_mm()
        strip = ((down > top_mm) & (down < top_mm + 3.0)).astype(float)
        return _with(made.wall(seed=seed), strip, (0.62, 0.55, 0.48))

    walls = [lidded(seed, 32.0 + 0.75 * (seed == 2)) for seed in range(4)]
    assert scorch.find(made.seen(*walls, finish="raw", decorated=False)) == []


@pytest.mark.parametrize(
    ("second", "x", "count"),
    [(2, 20.0, 0), (2, 34.0, 2), (1, 20.0, 2)],  # the back, elsewhere on it, the side between
)
def test_what_opposite_sides_show_at_one_place_of_the_picture_is_no_scorch(
    second: int, x: float, count: int
) -> None:
    """A pot with two handles throws the same brownish shadow on both of these sides."""
    factor = _burnt(made.BUFF, (-8, 3, 4))
    sides = [made.wall(seed=seed) for seed in range(4)]
    sides[0] = _with(sides[0], _patch(20, 30, 11), factor)
    sides[second] = _with(sides[second], _patch(x, 30, 11), factor)
    found = scorch.find(made.seen(*sides, finish="raw", decorated=False))
    assert [each.fault for each in found] == ["scorch"] * count


@pytest.mark.parametrize(("shift_lab", "is_found"), [((-10, 4, 12), True), ((-4, 2, 3), False)])
def test_strong_browning_stands_for_itself_however_unsteady_the_skin_is(
    monkeypatch: pytest.MonkeyPatch, shift_lab: tuple[float, float, float], is_found: bool
) -> None:
    """Where half of a piece is brown, the spread of its skin is no noise to hide the other in."""

    def unsteady(*views: object, **how: object) -> SkinField:
        return dataclasses.replace(depart(*views, **how), noise=0.09)  # type: ignore[arg-type]

    monkeypatch.setattr(scorch, "depart", unsteady)
    front = _with(made.wall(), _patch(20, 30, 11), _burnt(made.BUFF, shift_lab))
    assert bool(_look(front, made.BUFF)) == is_found


def test_a_patch_at_the_edge_must_be_seen_by_the_side_that_faces_it() -> None:
    """Light on the turn of the wall, or a strip of table within the outline, is not."""
    factor = _burnt(made.BUFF, (-5, 2.5, 4))
    walls = [made.wall(seed=seed) for seed in (1, 2, 3)]
    at_edge = _with(made.wall(), _patch(2, 30, 9), factor)
    assert scorch.find(made.seen(at_edge, *walls, finish="raw", decorated=False)) == []
    beside = [walls[0], walls[1], _with(walls[2], _patch(33, 30, 11), factor)]
    found = scorch.find(made.seen(at_edge, *beside, finish="raw", decorated=False))
    assert {each.view for each in found} == {"front", "left"}


@pytest.mark.parametrize(("shift_lab", "is_found"), [((-4, 2, 3), False), ((-15, 6, 12), True)])
def test_faint_brown_between_brush_strokes_is_their_edge(
    shift_lab: tuple[float, float, float], is_found: bool
) -> None:
    frame = made.box(10, 20, 30, 40) - made.box(16, 26, 24, 34)

    def painted(picture: Picture) -> Picture:
        return made.lay(picture, frame, made.BLACK)

    front = painted(_with(made.wall(), _patch(20, 30, 9), _burnt(made.BUFF, shift_lab)))
    walls = [painted(made.wall(seed=seed)) for seed in (1, 2, 3)]
    found = scorch.find(made.seen(front, *walls, finish="raw", decorated=True))
    assert bool(found) == is_found


@pytest.mark.parametrize("warm", [0.0, 0.22])
def test_shade_in_the_hue_that_shade_has_in_this_room_is_no_scorch(warm: float) -> None:
    """Where less of the lamp falls, clay takes on the hue of a warm table; a scorch needs more."""
    right, down = made.places_mm()
    across = 2 * right / made.WIDE_MM - 1
    lamp = 0.55 + 0.45 * np.sqrt(1 - ((across + 0.25) / 1.4) ** 2)
    below = 1 - 0.45 * down / made.HIGH_MM
    bevel = 1 - 0.28 * _patch(20, 46, 11)

    def lit(picture: Picture, shade: Picture) -> Picture:
        hue = np.stack([(lamp * shade) ** each for each in (-warm, 0.0, warm)], -1)
        return np.asarray(picture * shade[..., None] * hue)

    others = [lit(made.wall(seed=seed), below) for seed in (1, 2, 3)]

    def look(front: Picture) -> list[str]:
        evidence = made.seen(front, *others, finish="raw", decorated=False)
        return [each.fault for each in scorch.find(evidence)]

    assert look(lit(made.wall(), below * bevel)) == []
    burnt = _with(made.wall(), _patch(20, 46, 11), _burnt(made.BUFF, (-10, 4, 6)))
    assert look(lit(burnt, below)) == ["scorch"]


@pytest.mark.parametrize("clay", [made.BUFF, made.RED])
@pytest.mark.parametrize(("even", "scorched"), [(True, True), (True, False), (False, False)])
def test_a_scorch_upon_a_browned_side_is_told_apart_from_it(
    clay: tuple[float, float, float], even: bool, scorched: bool
) -> None:
    """A browned side is much the same up and down the wall, or fades along it; a patch does not."""
    _, down = made.places_mm()
    side = np.ones_like(down) if even else np.clip(down / made.HIGH_MM + 0.4, 0, 1)
    front = _with(made.wall(clay), side, _burnt(clay, (-5, 2, 3)))
    if scorched:
        front = _with(front, _patch(20, 26, 11), _burnt(clay, (-6, 3, 4)))
    found = _look(front, clay)
    kinds = [each.fault for each in found if each.view == "front"]
    assert kinds == ["scorch"] * scorched + ["one_sided_browning"]
    if scorched:
        x, y = made.place_mm(found[0])
        assert np.hypot(x - 20, y - 26) < 4


@pytest.mark.parametrize(("high_mm", "found"), [(2.5, False), (14.0, True)])
def test_a_narrow_level_band_is_the_shade_of_a_hollow(high_mm: float, found: bool) -> None:
    _, down = made.places_mm()
    band = 1 / (1 + np.exp(-(high_mm / 2 - np.abs(down - 44)) / 0.5))
    front = _with(made.wall(), band, _burnt(made.BUFF, (-9, 4, 5)))
    assert bool(_look(front, made.BUFF)) == found


def test_what_is_wider_than_any_scorch_is_a_browned_side() -> None:
    """However high it reaches; browning need not run up the whole wall."""
    _, down = made.places_mm()
    low = 1 / (1 + np.exp(-(down - 36) / 2))
    front = _with(made.wall(), low, _burnt(made.BUFF, (-9, 4, 5)))
    kinds = {each.fault for each in _look(front, made.BUFF)}
    assert kinds == {"one_sided_browning"}
