"""A traced line is parted where another colour begins, and nowhere else."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from grader.faults.lines import Line, _parts_of_one_colour

_PX_PER_MM = 5.0
_SHORTEST_PX = 15


def _line(light: NDArray[np.float64]) -> Line:
    """A straight line down, a point each pixel, on a surface of light 1; `light` is its own."""
    count = len(light)
    path = np.column_stack([np.full(count, 20.0), np.arange(count, dtype=float)])
    missing = 1 - light
    return Line(
        path=path,
        length_mm=(count - 1) / _PX_PER_MM,
        covered=1.0,
        depth=-np.log(light.mean(1)),
        missing=missing.mean(1),
        black_mm=missing,
        spread_mm=np.ones(count),
        sides=np.ones((count, 2, 3)),
        middle=light,
        falls=np.zeros(2),
        unrest=0.01,
    )


def _of(*runs: tuple[int, tuple[float, float, float]]) -> NDArray[np.float64]:
    grain = np.random.default_rng(0)
    light = np.concatenate([np.tile(colour, (count, 1)) for count, colour in runs])
    return np.asarray(light * np.exp(0.03 * grain.standard_normal((len(light), 1))))


RED, SLOT, THIN = (0.98, 0.33, 0.33), (0.06, 0.06, 0.06), (0.3, 0.3, 0.3)


@pytest.mark.parametrize("turned", [False, True])
def test_a_slot_that_runs_on_from_a_red_stripe_is_parted_from_it(turned: bool) -> None:
    light = _of((90, RED), (50, SLOT))
    first, second = _parts_of_one_colour(_line(light[::-1] if turned else light), _SHORTEST_PX)
    assert first.stop == second.start == pytest.approx(50 if turned else 90, abs=2)
    assert (first.start, second.stop) == (0, 140)


@pytest.mark.parametrize(
    "light",
    [
        _of((140, RED)),
        _of((140, SLOT)),
        _of((110, SLOT), (30, THIN)),  # the hair in which a brush line ends
        _of((132, RED), (8, SLOT)),  # shorter than any line
        np.repeat(np.geomspace(0.05, 0.9, 140)[:, None], 3, axis=1),  # a crack that runs out
        # The same on its way from red into black.
        np.array(RED) ** np.linspace(1, 0, 140)[:, None]
        * np.array(SLOT) ** np.linspace(0, 1, 140)[:, None],
        _of(*[(10, SLOT), (10, RED)] * 7),  # dots in a row
    ],
)
def test_what_is_of_one_colour_or_changes_by_and_by_stays_one(light: NDArray[np.float64]) -> None:
    assert _parts_of_one_colour(_line(light), _SHORTEST_PX) == [slice(0, len(light))]
