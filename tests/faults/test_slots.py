"""What makes a slot of a dark line, on lines whose sections are given."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import least_squares

from grader.faults import drawing
from grader.faults.lines import Line
from grader.faults.slots import as_slot, circle_through
from tests.faults import made

CLAY = np.array([0.50, 0.30, 0.20])
POINTS = 60


def _line(
    *,
    width_mm: NDArray[np.float64],
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0),
    left: NDArray[np.float64] | None = None,
    missing: NDArray[np.float64] | None = None,
    clay: NDArray[np.float64] = CLAY,
) -> Line:
    """A crooked line of 12 mm that keeps back as much of every colour in its middle, 80 %."""
    down = np.linspace(0, 12, POINTS)
    wander = 0.4 * np.sin(down * 1.7) + 0.3 * np.sin(down * 0.6)
    sides = np.tile(clay, (POINTS, 2, 1))
    if left is not None:
        sides[:, 0] = left
    missing = np.full(POINTS, 0.8) if missing is None else missing
    return Line(
        path=np.column_stack([200 + wander * made.PX_PER_MM, 100 + down * made.PX_PER_MM]),
        length_mm=12.0,
        covered=1.0,
        depth=-np.log(1 - missing),
        missing=missing,
        black_mm=width_mm[:, None] * np.array(tint),
        spread_mm=np.full(POINTS, 0.6),
        sides=sides,
        middle=(1 - missing)[:, None] * clay,
        falls=np.zeros(2),
        unrest=0.02,
    )


@pytest.mark.parametrize("unpainted", [True, False])
def test_on_a_piece_without_a_drawing_the_middle_tells_the_colour_of_a_line(
    unpainted: bool,
) -> None:
    """Rings that a crack crosses take red light and make it seem broader in red."""
    surface = made.seen(made.wall()).views[0].surface
    even = np.full(POINTS, 0.45)
    ringed = as_slot(surface, _line(width_mm=even, tint=(1.3, 0.85, 0.85)), unpainted=unpainted)
    plain = as_slot(surface, _line(width_mm=even), unpainted=unpainted)
    assert ringed is not None
    assert plain is not None
    assert plain.likeness > 0.9
    assert (ringed.likeness > 0.9) == unpainted


def test_a_coat_is_held_against_itself_only_where_both_sides_are_one_surface() -> None:
    """Where white paint begins beside a brush line, its section is no measure of its breadth."""
    surface = made.seen(made.wall()).views[0].surface
    beside = np.arange(POINTS) > POINTS // 2
    width = np.where(beside, np.linspace(0.2, 1.6, POINTS), 0.7)
    missing = np.where(beside, np.linspace(0.85, 0.98, POINTS), 0.7)
    white = np.where(beside[:, None], 0.8, CLAY)
    clay = as_slot(surface, _line(width_mm=width, missing=missing))
    flanked = as_slot(surface, _line(width_mm=width, missing=missing, left=white))
    assert clay is not None
    assert flanked is not None
    width = flanked.line.black_mm.mean(1)
    assert drawing._keeps_its_depth(flanked, width) == 1.0
    assert drawing._keeps_its_depth(clay, clay.line.black_mm.mean(1)) < 1.0


@pytest.mark.parametrize(("blue", "is_slot"), [(0.02, True), (0.20, False)])
def test_a_colour_that_the_clay_hardly_gives_says_nothing_of_a_line(
    blue: float, is_slot: bool
) -> None:
    """In dim warm light a picture file cuts off at black what it smears of the blue."""
    surface = made.seen(made.wall()).views[0].surface
    line = _line(
        width_mm=np.full(POINTS, 0.45), tint=(1.1, 1.08, 0.75), clay=np.array([0.30, 0.20, blue])
    )
    slot = as_slot(surface, line)
    assert slot is not None
    assert slot.tells.tolist() == [True, True, not is_slot]
    assert (slot.likeness > 0.9) == is_slot
    assert slot.likeness > 0.9 or slot.likeness < 0.3


@given(
    st.tuples(st.floats(-300, 300), st.floats(-300, 300)),
    st.floats(4, 200),
    st.floats(1.0, 2 * np.pi),
    st.integers(0, 99),
)
def test_the_circle_of_an_arc_is_that_of_geometric_least_squares(
    middle: tuple[float, float], radius: float, turn: float, seed: int
) -> None:
    """Outside check: scipy's Levenberg-Marquardt on the distances themselves."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, turn, 80)
    away = radius * (1 + rng.normal(0, 0.01, 80))
    path = np.array(middle) + away[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])

    def off(circle: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.hypot(*(path - circle[:2]).T) - circle[2]

    best = least_squares(off, (*middle, radius), method="lm").x
    centre, found, apart = circle_through(path)
    assert np.hypot(*(centre - best[:2])) < 0.12 * radius
    assert found == pytest.approx(best[2], rel=0.12)
    assert apart >= np.sqrt((off(best) ** 2).mean()) - 1e-6 * radius
