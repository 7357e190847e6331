"""Sums and extremes over channels are those of numpy, to the last bit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from grader import channels


@given(
    hnp.arrays(
        st.sampled_from([np.float32, np.float64]),
        st.tuples(st.integers(1, 6), st.integers(1, 6), st.integers(2, 3)),
        elements=st.floats(-1000, 1000, width=32),
    )
)
def test_as_numpy_along_the_last_axis(picture: NDArray[Any]) -> None:
    for mine, theirs in (
        (channels.largest(picture), picture.max(-1)),
        (channels.smallest(picture), picture.min(-1)),
        (channels.total(picture), picture.sum(-1)),
        (channels.mean(picture), picture.mean(-1)),
        (channels.length(picture), np.linalg.norm(picture, axis=-1)),
    ):
        assert mine.dtype == theirs.dtype
        np.testing.assert_array_equal(mine, theirs)


def test_bytes_stay_bytes() -> None:
    picture = np.array([[[3, 200, 7]]], np.uint8)
    assert channels.largest(picture).dtype == np.uint8
    assert channels.largest(picture)[0, 0] == 200
    assert channels.smallest(picture)[0, 0] == 3


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_what_is_no_number_is_kept(value: float) -> None:
    picture = np.array([[[1.0, value, 2.0]]])
    np.testing.assert_array_equal(channels.largest(picture), picture.max(-1))
