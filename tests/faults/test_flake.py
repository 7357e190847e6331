"""Flakes on made walls: islands and bites, beside what a brush draws."""

from __future__ import annotations

import numpy as np
import pytest

from grader.faults import flake
from tests.faults import made


def _field(picture: made.Picture) -> made.Picture:
    """A painted leaf, 26 mm by 20 mm, in the middle of a wall."""
    return made.lay(picture, made.ellipse((24, 30), 26, 20), made.COBALT)


def _bare(picture: made.Picture, at_mm: tuple[float, float], size_mm: float) -> made.Picture:
    return made.lay(picture, made.island(at_mm, size_mm, seed=3), made.BUFF)


@pytest.mark.parametrize(
    ("at_mm", "how"),
    [((22, 32), "An island"), ((24, 39.4), "A bite"), ((24, 20.6), "A bite")],
)
@pytest.mark.parametrize("size_mm", [1.6, 2.4])
def test_bare_clay_in_the_paint_is_found(
    at_mm: tuple[float, float], how: str, size_mm: float
) -> None:
    front = _bare(_field(made.wall()), at_mm, size_mm)
    walls = [_field(made.wall(seed=seed)) for seed in (1, 2, 3)]
    found = flake.find(made.seen(front, *walls, decorated=True))
    assert [each.fault for each in found] == ["flake"]
    assert found[0].why.startswith(how)
    assert np.hypot(*np.subtract(made.place_mm(found[0]), at_mm)) < 1.2


def test_a_whole_field_has_none() -> None:
    walls = [_field(made.wall(seed=seed)) for seed in range(4)]
    assert flake.find(made.seen(*walls, decorated=True)) == []


def test_what_every_side_has_is_uncertain() -> None:
    """Notches that the drawing has on each of its sides are toes, not flakes."""
    bays = [(17, 38.0), (24, 39.4), (31, 38.0)]
    walls = []
    for seed in range(4):
        picture = _field(made.wall(seed=seed))
        for at in bays:
            picture = _bare(picture, at, 1.8)
        walls.append(picture)
    everywhere = flake.find(made.seen(*walls, decorated=True))
    once = flake.find(made.seen(walls[0], *[_field(made.wall(seed=s)) for s in (1, 2, 3)]))
    assert everywhere
    assert max(each.certainty for each in everywhere) < 0.5
    assert min(each.certainty for each in once) > 0.5


def test_clay_of_a_strong_hue_shows_between_black_and_white() -> None:
    """Black and white blend to greys, which red clay is not; where they meet it may lie bare."""
    clay = (0.42, 0.22, 0.11)
    walls = []
    for seed in range(4):
        picture = made.lay(made.wall(clay, seed=seed), made.ellipse((24, 30), 26, 20), made.BLACK)
        walls.append(made.lay(picture, made.line([(14, 30), (34, 30)], 3.0), (0.8, 0.8, 0.8)))
    front = made.lay(walls[0], made.island((24, 31.5), 1.6, seed=3), clay)
    found = flake.find(made.seen(front, *walls[1:], decorated=True))
    assert [each.fault for each in found] == ["flake"]
    assert np.hypot(*np.subtract(made.place_mm(found[0]), (24, 31.5))) < 1.2
