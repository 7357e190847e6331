"""The light of throwing rings, taken from a wall along their bows."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from grader.rings import find_rings

_LEAST = 0.04
_SIZE = (420, 360)


def _wall(
    px_per_mm: float, pitch_mm: float, height: float, bow: float = 0.2
) -> NDArray[np.float32]:
    """Log light of rings that hang down in the middle by a share of the width."""
    down, right = np.mgrid[0 : _SIZE[0], 0 : _SIZE[1]]
    across = (right - _SIZE[1] / 2) / (0.6 * _SIZE[1])
    hang = bow * _SIZE[1] * np.sqrt(1 - across**2)
    wave = np.sin(2 * np.pi * (down - hang) / (pitch_mm * px_per_mm))
    return (height * wave).astype(np.float32)


@settings(max_examples=25, deadline=None)
@given(
    px_per_mm=st.floats(5.0, 11.0),
    pitch_mm=st.floats(2.5, 4.5),
    height=st.floats(0.2, 0.5),
    bow=st.floats(0.0, 0.25),
)
def test_rings_are_told_from_a_line_that_crosses_them(
    px_per_mm: float, pitch_mm: float, height: float, bow: float
) -> None:
    tone = _wall(px_per_mm, pitch_mm, height, bow)
    line = np.zeros(_SIZE, np.float32)
    middle = _SIZE[1] // 2
    line[:, middle - 1 : middle + 2] = -0.6
    rings = find_rings(tone + line, np.ones(_SIZE, bool), px_per_mm, least=0.1 * _LEAST)
    assert rings is not None
    inner = np.s_[120:-60, 60:-60]
    left = (tone + line - rings.tone)[inner]
    # Of the rings little is left, and of the line most.
    ringed, crossed = left[line[inner] == 0], left[line[inner] < 0]
    assert np.sqrt((ringed**2).mean()) < 0.25 * height
    assert np.median(crossed) < -0.4


@pytest.mark.parametrize(("height", "found"), [(0.0, False), (0.03, False), (0.4, True)])
def test_only_deep_rings_are_looked_for(height: float, found: bool) -> None:
    rings = find_rings(_wall(6.0, 3.0, height), np.ones(_SIZE, bool), 6.0, least=_LEAST)
    assert (rings is not None) == found


def test_where_there_is_no_piece_there_are_no_rings() -> None:
    assert find_rings(_wall(6.0, 3.0, 0.4), np.zeros(_SIZE, bool), 6.0, least=_LEAST) is None


def test_the_bend_is_that_of_a_sine() -> None:
    """Second derivative of h sin(k y) is -k^2 times it; the blur takes exp(-(k s)^2 / 2) of it,
    and the mean size of a sine is 2 / pi of its crest."""
    pitch_mm, height, blur_mm = 3.0, 0.3, 0.25
    rings = find_rings(_wall(6.0, pitch_mm, height, 0.0), np.ones(_SIZE, bool), 6.0, least=0.001)
    assert rings is not None
    way = 2 * np.pi * blur_mm / pitch_mm
    want = height * way**2 * np.exp(-(way**2) / 2) * 2 / np.pi
    assert rings.bend[200, 180] == pytest.approx(want, rel=0.08)
