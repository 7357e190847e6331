"""Between a cut and a much larger one round it."""

from __future__ import annotations

import numpy as np
import pytest

from grader.outline.choice import pick
from grader.outline.regions import divide
from tests.drawn import draw_pot


@pytest.mark.parametrize(
    ("inner", "outer", "picked"),
    [
        (0.70, 0.30, "outer"),  # a painted band has stronger edges than the pot round it
        (0.70, 0.10, "inner"),  # not credible
        (0.95, 0.25, "inner"),  # a pot with its shadow and a card: far less likely than the pot
        (0.30, 0.70, "outer"),
    ],
)
def test_larger_cut_is_picked_where_it_is_about_as_credible(
    inner: float, outer: float, picked: str
) -> None:
    pot = draw_pot(size=(480, 640))
    regions = divide(pot.rgb, np.zeros(pot.mask.shape, bool))
    whole = regions.share_of(pot.mask) > 0.5
    band = whole & (regions.place[:, 1] > 0.55) & (regions.place[:, 1] < 0.75)
    assert band.any()
    assert pick(regions, [band, whole], [inner, outer]) == ["inner", "outer"].index(picked)
