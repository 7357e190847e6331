"""The skin of a broad coat is read where one goes round, and nowhere else."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from grader.faults.coats import coated_sides
from grader.faults.evidence import ViewEvidence
from grader.skin import ROWS
from tests.faults import made

SLIP = (0.84, 0.82, 0.78)
FOOT = made.box(0, 30, made.WIDE_MM, made.HIGH_MM)


def _dipped(seed: int) -> NDArray[np.float64]:
    return made.lay(made.wall(made.BROWN, seed=seed), FOOT, SLIP)


def _coated(*walls: NDArray[np.float64]) -> list[ViewEvidence]:
    return coated_sides(made.seen(*walls, decorated=True).sides)


def test_the_skin_of_a_dip_is_that_of_its_slip() -> None:
    coated = _coated(*[_dipped(seed) for seed in range(4)])
    assert len(coated) == 4
    for view in coated:
        assert view.skin is not None
        rows = np.flatnonzero(view.skin.known.any(1))
        # From the middle of the wall down, but for the blend at its edge.
        assert 0.49 * ROWS < rows[0] < 0.58 * ROWS
        assert rows[-1] == ROWS - 1
        red, blue = np.median(view.skin.chroma[view.skin.known], axis=0)
        assert abs(red - np.log(SLIP[0] / SLIP[1])) < 0.05
        assert abs(blue - np.log(SLIP[2] / SLIP[1])) < 0.05
        assert np.isnan(view.skin.chroma[~view.skin.known]).all()


def test_a_handle_may_hide_it_on_one_side_but_not_on_two() -> None:
    bare = [made.wall(made.BROWN, seed=seed) for seed in range(4)]
    dots = made.ellipse((24, 45), 6, 6)
    hidden = [made.lay(wall, dots, SLIP) for wall in bare]
    dipped = [_dipped(seed) for seed in range(4)]
    assert len(_coated(hidden[0], *dipped[1:])) == 4
    assert _coated(*hidden[:2], *dipped[2:]) == []


def test_what_is_painted_here_and_there_or_in_a_pattern_is_no_coat() -> None:
    right = made.places_mm()[0]
    shapes, stripes = [], []
    for seed in range(4):
        clay = made.wall(made.BROWN, seed=seed)
        shapes.append(made.lay(clay, made.box(14, 34, 30, 52), SLIP))
        stripes.append(made.lay(_dipped(seed), FOOT * (right % 16 < 8), made.COBALT))
    assert _coated(*shapes) == []
    assert _coated(*stripes) == []
    assert _coated(*[made.wall(seed=seed) for seed in range(4)]) == []
    assert _coated(*[_dipped(seed) for seed in range(2)]) == []


def test_another_paint_on_the_coat_is_left_out() -> None:
    dipped = [_dipped(seed) for seed in range(4)]
    leaf = made.ellipse((24, 45), 10, 8)
    coated = _coated(made.lay(dipped[0], leaf, made.COBALT), *dipped[1:])
    clean = _coated(*dipped)
    drawn, plain = (views[0].skin for views in (coated, clean))
    assert drawn is not None
    assert plain is not None
    assert 20 < (plain.known & ~drawn.known).sum() < 0.2 * plain.known.sum()
