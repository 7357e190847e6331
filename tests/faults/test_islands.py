"""Islands are shut in by a fence, and small gaps of it may be closed."""

from __future__ import annotations

import numpy as np
import pytest

from grader.faults.islands import find_islands
from tests.faults import made


def _diameters_mm(gap_mm: float, *, mend: bool) -> set[int]:
    """Of the islands in a fence round 9 mm that is open on one side, to the millimetre."""
    right, down = made.places_mm()
    fence = made.ring_round(made.island((22, 28), 9.0, 4), 0.7)
    open_ = (np.abs(down - 28) < gap_mm / 2) & (right > 22)
    view = made.seen(made.wall() * (1 - 0.4 * np.where(open_, 0, fence)[..., None])).views[0]
    found = find_islands(
        view.surface, view.zones.wall, px_per_mm=5.0, sigma_mm=0.3, sizes_mm=(3.0, 20.0), mend=mend
    )
    return {round(each.diameter_mm) for each in found}


@pytest.mark.parametrize(
    ("gap_mm", "mend", "shut"),
    [(0.0, False, True), (1.5, False, False), (1.5, True, True), (3.0, True, False)],
)
def test_a_small_gap_in_a_fence_is_closed(gap_mm: float, mend: bool, shut: bool) -> None:
    found = _diameters_mm(gap_mm, mend=mend)
    assert bool(found) == shut
    assert found <= {9, 10, 11}
