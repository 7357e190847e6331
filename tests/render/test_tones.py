"""Colour arithmetic of the picture generator."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from grader.render.targets import CHART_LINEAR
from grader.render.tones import encode_srgb, lab_to_linear, linear_to_lab, planckian_rgb, shift_lab


@given(hnp.arrays(np.float32, (5, 3), elements=st.floats(0.03125, 0.875, width=32)))
def test_lab_goes_there_and_back(rgb: np.ndarray) -> None:
    assert np.allclose(lab_to_linear(linear_to_lab(rgb)), rgb, atol=2e-3)


def test_lab_of_white_and_grey() -> None:
    # D65 white is L* 100 by definition; 18 % grey is L* 49.5 (CIE 15).
    assert np.allclose(linear_to_lab([1.0, 1.0, 1.0]), [100.0, 0.0, 0.0], atol=0.05)
    assert linear_to_lab([0.184, 0.184, 0.184])[0] == pytest.approx(50.0, abs=0.1)


def test_a_shift_moves_by_what_was_asked() -> None:
    clay = lab_to_linear((70.0, 8.0, 20.0))
    moved = linear_to_lab(shift_lab(clay, (-10.0, 3.0, 5.0), 0.5))
    assert np.allclose(moved, [65.0, 9.5, 22.5], atol=0.1)


def test_warm_light_is_redder_than_cool_light() -> None:
    warm, day, cool = (planckian_rgb(k) for k in (3000, 6500, 9000))
    assert warm[0] / warm[2] > day[0] / day[2] > cool[0] / cool[2]
    # Close to 6500 K the Planckian locus runs near D65, sRGB's own white.
    assert np.allclose(day, 1.0, atol=0.12)


def test_srgb_curve_at_known_points() -> None:
    # IEC 61966-2-1: 0.0031308 is the joint of the two branches.
    values = encode_srgb(np.array([0.0, 0.0031308, 0.5, 1.0, 2.0], np.float32))
    assert np.allclose(values, [0.0, 0.04045, 0.7354, 1.0, 1.0], atol=1e-3)


def test_chart_table_agrees_with_the_published_values() -> None:
    colour = pytest.importorskip("colour")
    # Source: colour-science, data set "ColorChecker24 - After November 2014".
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    rgb = colour.XYZ_to_sRGB(xyz, chart.illuminant, "Bradford", apply_cctf_encoding=False)
    assert np.abs(np.maximum(rgb, 0.004) - CHART_LINEAR).max() < 1e-3
