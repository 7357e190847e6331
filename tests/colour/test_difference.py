"""CIEDE2000 against the published pairs and against colour-science."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.colour.difference import ciede2000

# Sharma, Wu & Dalal (2005), "The CIEDE2000 color-difference formula: implementation notes,
# supplementary test data, and mathematical observations", Color Research & Application 30(1),
# Table 1: L*, a*, b* of both samples and their difference.
SHARMA_TABLE_1 = np.array(
    [
        [50.0000, 2.6772, -79.7751, 50.0000, 0.0000, -82.7485, 2.0425],
        [50.0000, 3.1571, -77.2803, 50.0000, 0.0000, -82.7485, 2.8615],
        [50.0000, 2.8361, -74.0200, 50.0000, 0.0000, -82.7485, 3.4412],
        [50.0000, -1.3802, -84.2814, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -1.1848, -84.8006, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -0.9009, -85.5211, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, 0.0000, 0.0000, 50.0000, -1.0000, 2.0000, 2.3669],
        [50.0000, -1.0000, 2.0000, 50.0000, 0.0000, 0.0000, 2.3669],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0009, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0010, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0011, 7.2195],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0012, 7.2195],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0009, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0010, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0011, -2.4900, 4.7461],
        [50.0000, 2.5000, 0.0000, 50.0000, 0.0000, -2.5000, 4.3065],
        [50.0000, 2.5000, 0.0000, 73.0000, 25.0000, -18.0000, 27.1492],
        [50.0000, 2.5000, 0.0000, 61.0000, -5.0000, 29.0000, 22.8977],
        [50.0000, 2.5000, 0.0000, 56.0000, -27.0000, -3.0000, 31.9030],
        [50.0000, 2.5000, 0.0000, 58.0000, 24.0000, 15.0000, 19.4535],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.1736, 0.5854, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2972, 0.0000, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 1.8634, 0.5757, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2592, 0.3350, 1.0000],
        [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
        [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ]
)

_lab = st.tuples(st.floats(0, 100), st.floats(-90, 90), st.floats(-90, 90))


def test_the_34_pairs_of_sharma_wu_and_dalal() -> None:
    found = ciede2000(SHARMA_TABLE_1[:, 0:3], SHARMA_TABLE_1[:, 3:6])
    assert found.shape == (34,)
    assert np.abs(found - SHARMA_TABLE_1[:, 6]).max() < 0.5e-4 + 1e-9


def test_against_colour_science() -> None:
    colour = pytest.importorskip("colour")
    rng = np.random.default_rng(3)
    one = rng.uniform([0, -80, -80], [100, 80, 80], (500, 3))
    two = one + rng.normal(0, 4, one.shape)
    expected = colour.delta_E(one, two, method="CIE 2000")
    assert np.abs(ciede2000(one, two) - expected).max() < 1e-9
    narrow = ciede2000(one.astype(np.float32), two.astype(np.float32))
    assert narrow.dtype == np.float32
    assert np.abs(narrow - expected).max() < 1e-3


@given(_lab, _lab)
def test_symmetric_and_never_negative(
    one: tuple[float, float, float], two: tuple[float, float, float]
) -> None:
    there, back = ciede2000(one, two), ciede2000(two, one)
    assert there >= 0
    assert np.isclose(there, back, atol=1e-7)
    assert ciede2000(one, one) == 0


def test_one_colour_against_a_picture() -> None:
    picture = np.random.default_rng(4).uniform(0, 50, (5, 7, 3))
    found = ciede2000(picture, picture[2, 3])
    assert found.shape == (5, 7)
    assert found[2, 3] == 0
    assert np.array_equal(found, ciede2000(picture, np.broadcast_to(picture[2, 3], (5, 7, 3))))
