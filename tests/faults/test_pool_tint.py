"""Milky veils on made walls: found low on the wall, doubted under the rim, explained by streaks."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.typing import NDArray

from grader import faults
from grader.faults import Evidence, pool_tint
from grader.faults.evidence import off_clay
from grader.findings import Finding
from tests.faults import made

Picture = NDArray[np.float64]


def _soft(top_mm: float, bottom_mm: float, middle_mm: float = 24, half_mm: float = 13) -> Picture:
    right, down = made.places_mm()
    right, down = right[:1], down[:, :1]
    soft = 1 / (1 + np.exp(-(down - top_mm) / 1.2)) / (1 + np.exp((down - bottom_mm) / 1.2))
    return np.asarray(soft * np.exp(-(((right - middle_mm) / half_mm) ** 4)))


def _veiled(
    top_mm: float, bottom_mm: float, middle_mm: float = 24, half_mm: float = 13, seed: int = 0
) -> Picture:
    """A bluish, milky band with soft edges over half of the wall's width."""
    share = 0.28 * _soft(top_mm, bottom_mm, middle_mm, half_mm)[..., None]
    return np.asarray(made.wall(seed=seed) * (1 - share) + share * 0.62)


def _look(front: Picture) -> Evidence:
    return made.seen(front, *[made.wall(seed=seed) for seed in (1, 2, 3)], decorated=False)


def test_a_veil_at_the_foot_is_found() -> None:
    found = pool_tint.find(_look(_veiled(42, 70)))
    assert [(each.fault, each.view) for each in found] == [("pool_tint", "front")]
    assert found[0].certainty > 0.5


def test_a_sound_wall_has_none() -> None:
    assert pool_tint.find(_look(made.wall())) == []


def test_the_same_under_the_rim_is_doubted() -> None:
    low = pool_tint.find(_look(_veiled(42, 70)))
    high = pool_tint.find(_look(_veiled(-10, 9)))
    assert all(each.certainty <= 0.4 for each in high)
    assert low[0].certainty > 2 * max([each.certainty for each in high], default=0.0)


def test_streaks_explain_a_veil_that_lies_in_them() -> None:
    veil = pool_tint.find(_look(_veiled(42, 70)))[0]
    x, y, width, height = veil.bbox_px
    streaks = dataclasses.replace(veil, fault="streak", bbox_px=(x - 9, y - 9, width, height))
    beside = dataclasses.replace(streaks, bbox_px=(x + width, y, width, height))

    def told(*others: Finding) -> list[str]:
        return [each.fault for each in faults.unexplained([veil, *others])]

    assert told() == ["pool_tint"]
    assert told(streaks) == ["streak"]
    assert told(beside) == ["pool_tint", "streak"]
    assert told(dataclasses.replace(streaks, photo="back.jpg")) == ["pool_tint", "streak"]
    assert told(dataclasses.replace(streaks, certainty=0.1)) == ["pool_tint", "streak"]


def test_a_face_that_is_darker_as_well_mirrors_the_sky() -> None:
    shade = 1 - 0.2 * _soft(38, 62, half_mm=16)[..., None]
    assert pool_tint.find(_look(_veiled(42, 58) * shade)) == []


@pytest.mark.parametrize(("middle_mm", "found"), [(40, False), (52, True)])
def test_a_strong_veil_may_lie_in_more_shade_than_the_other_sides_at_the_foot_only(
    middle_mm: float, found: bool
) -> None:
    shade = 1 - 0.2 * _soft(middle_mm - 7, middle_mm + 7, half_mm=16)[..., None]
    strong = 0.45 * _soft(middle_mm - 6, middle_mm + 6)[..., None]
    milk = np.array([0.44, 0.52, 0.62])
    front = (made.wall() * (1 - strong) + strong * milk) * shade
    assert bool(pool_tint.find(_look(front))) == found


@pytest.mark.parametrize("also_behind", [False, True])
def test_a_pale_shape_drawn_on_front_and_back_is_no_veil(also_behind: bool) -> None:
    """Wide as a veil, but half-way up the wall, where none runs round the piece."""
    walls = [made.wall(seed=seed) for seed in (1, 2, 3)]
    if also_behind:
        walls[1] = made.wall(seed=2) * (1 - 0.4) + 0.4 * _veiled(24, 40, half_mm=9, seed=2)
    found = pool_tint.find(made.seen(_veiled(24, 40, half_mm=9), *walls, decorated=False))
    assert [each.view for each in found] == ([] if also_behind else ["front"])


def test_a_veil_at_the_edge_is_believed_where_the_next_view_shows_it_from_the_front() -> None:
    at_the_edge = _veiled(36, 52, middle_mm=43, half_mm=5)
    sound = [made.wall(seed=seed) for seed in (1, 2, 3)]
    assert pool_tint.find(made.seen(at_the_edge, *sound, decorated=False)) == []
    nearer = _veiled(36, 52, middle_mm=10.5, half_mm=7, seed=1)
    found = pool_tint.find(made.seen(at_the_edge, nearer, *sound[1:], decorated=False))
    assert {each.view for each in found} == {"front", "right"}


@pytest.mark.parametrize(
    ("scattered", "kept", "is_veil"),
    [
        (0.40, 0.0, True),  # milk: what it takes of the clay's light is gone
        (0.10, 1.0, False),  # a window: the clay keeps all of its light
        (0.20, 1.0, False),
    ],
)
def test_a_dense_veil_brightens_dark_clay_but_by_less_than_mirrored_light(
    scattered: float, kept: float, is_veil: bool
) -> None:
    soft = _soft(40, 90, half_mm=18)[..., None]
    clean = [made.wall(made.RED, seed=seed) for seed in range(4)]
    white = soft * scattered * np.array([0.98, 1.0, 1.06])
    front = clean[0] * (1 - (1 - kept) * 0.8 * soft) + white
    found = pool_tint.find(made.seen(front, *clean[1:], decorated=False))
    assert bool(found) == is_veil


def test_a_veil_darkens_a_white_dip_whatever_the_clay_above_it_is() -> None:
    """Milk returns less light than white slip does, and dark clay mirrors nothing there."""
    dipped = made.dipped(made.BROWN, (0.84, 0.82, 0.78))
    milk = 0.6 * _soft(44, 90, half_mm=16)[..., None]
    veiled = dipped[0] * (1 - milk) + milk * np.array([0.62, 0.70, 0.80])
    found = pool_tint.find(made.seen(veiled, *dipped[1:], decorated=True))
    assert [each.view for each in found] == ["front"]
    assert pool_tint.find(made.seen(*dipped, decorated=True)) == []
    # A face that mirrors the sky is darker still.
    shaded = veiled * (1 - 0.2 * _soft(38, 62, half_mm=16)[..., None])
    assert pool_tint.find(made.seen(shaded, *dipped[1:], decorated=True)) == []


@pytest.mark.parametrize("slip", [(0.07, 0.30, 0.34), (0.10, 0.16, 0.07), (0.025, 0.024, 0.024)])
def test_a_veil_over_a_deep_slip_is_found_and_a_lamp_mirrored_in_it_is_none(
    slip: tuple[float, ...],
) -> None:
    dipped = made.dipped(made.BUFF, slip)
    milk = 0.5 * _soft(46, 90, half_mm=14)[..., None]
    veiled = dipped[0] * (1 - milk) + milk * np.array([0.53, 0.62, 0.72])
    found = pool_tint.find(made.seen(veiled, *dipped[1:], decorated=True))
    assert [each.view for each in found] == ["front"]
    assert "reflection" in found[0].why
    lamp = 0.25 * _soft(46, 90, half_mm=9)[..., None]
    assert pool_tint.find(made.seen(*[each + lamp for each in dipped], decorated=True)) == []


def test_a_band_in_white_round_the_foot_of_a_dip_is_drawn() -> None:
    right, down = made.places_mm()
    waves = (down > 48 + 2 * np.sin(right / 2)).astype(np.float32)
    dipped = made.dipped(made.BUFF, (0.07, 0.30, 0.34))
    drawn = [made.lay(each, waves, (0.62, 0.70, 0.80)) for each in dipped]
    assert pool_tint.find(made.seen(*drawn, decorated=True)) == []


def test_a_veil_all_round_the_foot_stands_out_from_the_wall_above_it() -> None:
    """One side has none to show sound glaze; the veil fills the foot of the others."""
    veiled = [_veiled(46, 90, half_mm=60, seed=seed) for seed in range(3)]
    found = pool_tint.find(made.seen(*veiled, made.wall(seed=3), decorated=False))
    assert {each.view for each in found} == {"front", "right", "back"}


def test_dark_clay_mirrors_more_than_it_shows() -> None:
    dark = [np.asarray(made.wall(made.BROWN, seed=seed) * 0.3) for seed in range(4)]
    mirrored = dark[0] + _soft(40, 56)[..., None] * np.array([0.001, 0.0014, 0.0028])
    assert pool_tint.find(made.seen(mirrored, *dark[1:], decorated=False)) == []


@pytest.mark.parametrize("also_behind", [False, True])
def test_a_spot_that_stays_in_the_picture_is_light(also_behind: bool) -> None:
    """A veil goes round with the piece; what mirrors the room does not."""
    spot = _veiled(40, 49, half_mm=5)
    walls = [made.wall(seed=seed) for seed in (1, 2, 3)]
    if also_behind:
        walls[1] = _veiled(40, 49, half_mm=5, seed=2)
    found = pool_tint.find(made.seen(spot, *walls, decorated=False))
    assert [each.view for each in found] == ([] if also_behind else ["front"])


@pytest.mark.parametrize("sides", [1, 2, 3])
def test_unsure_veils_all_round_are_light(sides: int) -> None:
    middles = (10, 38, 24)
    walls = [
        _veiled(-10, 9, middles[number], 9, seed=number)
        if number < sides
        else made.wall(seed=number)
        for number in range(4)
    ]
    found = pool_tint.find(made.seen(*walls, decorated=False))
    assert all(each.certainty <= 0.4 for each in found)
    assert len(found) == (sides if sides < 3 else 0)


@pytest.mark.parametrize(("drawn_on", "found"), [((1, 2, 3), False), ((2,), True)])
def test_what_is_drawn_in_its_colour_round_the_piece_is_no_veil(
    drawn_on: tuple[int, ...], found: bool
) -> None:
    """A thin white heads the reeds of a drawing, and the zones of paint may miss one of them."""
    sides = [_veiled(42, 70), *[made.wall(seed=seed) for seed in (1, 2, 3)]]
    heads = [made.box(8 + 8 * side, 12 + 3 * side, 14 + 8 * side, 20 + 3 * side) for side in (1, 2)]
    heads = [made.blank(), *heads, made.box(30, 18, 36, 26)]
    for side in drawn_on:
        share = 0.14 * heads[side][..., None]
        sides[side] = np.asarray(sides[side] * (1 - share) + share * 0.62)
    evidence = made.seen(*sides)
    views = []
    for side, view in enumerate(evidence.views):
        off = off_clay(view, np.s_[:, :])
        paint = (off[..., 1] > 0.03) & view.zones.wall & (side in drawn_on)
        views.append(dataclasses.replace(view, zones=dataclasses.replace(view.zones, paint=paint)))
    seen = pool_tint.find(dataclasses.replace(evidence, views=tuple(views)))
    assert bool(seen) == found
