"""The chart's colours against colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from grader.colour.difference import ciede2000
from grader.colour.reference import CHART_LAB, CHART_LINEAR, GREY_ROW

colour = pytest.importorskip("colour")

# colour-science names its sets after makers; these are the chart's measured versions.
_SETS = {"babel_average": 0.1, "cc2005": 1.2, "ccb2014": 1.2, "cca2014": 1.6}


@pytest.mark.parametrize(("name", "most"), _SETS.items())
def test_chart_values(name: str, most: float) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        chart = colour.CCS_COLOURCHECKERS[name]
        d65 = np.array([0.3127, 0.3290])
        xyz = colour.adaptation.chromatic_adaptation_VonKries(
            colour.xyY_to_XYZ(np.array(list(chart.data.values()))),
            colour.xy_to_XYZ(chart.illuminant),
            colour.xy_to_XYZ(d65),
            transform="Bradford",
        )
        expected = colour.XYZ_to_Lab(xyz, d65)
    assert ciede2000(CHART_LAB, expected).max() < most


def test_greys_fall_from_white_to_black() -> None:
    assert np.all(np.diff(CHART_LAB[GREY_ROW, 0]) < -10)
    assert CHART_LINEAR.shape == (24, 3)
