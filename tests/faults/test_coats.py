"""The skin of a broad coat is read where one goes round, and nowhere else."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from grader.faults.coats import MILK, Coat, find_coat
from grader.skin import ROWS
from tests.faults import made

SLIP = (0.84, 0.82, 0.78)
DIPPED = made.dipped(made.BROWN, SLIP)


def _coat(*walls: NDArray[np.float64]) -> Coat | None:
    return find_coat(made.seen(*walls, decorated=True).sides)


def test_the_skin_of_a_dip_is_that_of_its_slip() -> None:
    coat = _coat(*DIPPED)
    assert coat is not None
    assert len(coat.sides) == 4
    for view in coat.sides:
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
    assert _coat(hidden[0], *DIPPED[1:]) is not None
    assert _coat(*hidden[:2], *DIPPED[2:]) is None


def test_what_is_painted_here_and_there_or_in_a_pattern_is_no_coat() -> None:
    right, down = made.places_mm()
    shapes, stripes = [], []
    for seed in range(4):
        clay = made.wall(made.BROWN, seed=seed)
        shapes.append(made.lay(clay, made.box(14, 34, 30, 52), SLIP))
        striped = ((down > 30) & (right % 16 < 8)).astype(np.float32)
        stripes.append(made.lay(DIPPED[seed], striped, made.COBALT))
    assert _coat(*shapes) is None
    assert _coat(*stripes) is None
    assert _coat(*[made.wall(seed=seed) for seed in range(4)]) is None
    assert _coat(*DIPPED[:2]) is None


def test_another_paint_on_the_coat_is_left_out() -> None:
    leaf = made.ellipse((24, 45), 10, 8)
    both = (_coat(made.lay(DIPPED[0], leaf, made.COBALT), *DIPPED[1:]), _coat(*DIPPED))
    drawn, plain = (coat.sides[0].skin for coat in both if coat is not None)
    assert drawn is not None
    assert plain is not None
    assert 20 < (plain.known & ~drawn.known).sum() < 0.2 * plain.known.sum()


@pytest.mark.parametrize(
    ("slip", "redder", "bluer"),
    [((0.07, 0.30, 0.34), 1, None), ((0.55, 0.35, 0.09), -1, 1), ((0.46, 0.54, 0.63), None, None)],
)
def test_milk_draws_every_coat_towards_bluish_white(
    slip: tuple[float, ...], redder: int | None, bluer: int | None
) -> None:
    """Turquoise turns redder, ochre bluer and less red; in a bluish white nothing can be told."""
    coat = _coat(*made.dipped(made.BROWN, slip))
    assert coat is not None
    if redder is None:
        assert coat.to_milk is None
        return
    assert coat.to_milk is not None
    to_slip = np.log([slip[0] / slip[1], slip[2] / slip[1]])
    assert np.array(coat.to_milk) + to_slip == pytest.approx(MILK, abs=0.06)
    assert np.sign(coat.to_milk[0]) == redder
    if bluer is not None:
        assert np.sign(coat.to_milk[1]) == bluer
