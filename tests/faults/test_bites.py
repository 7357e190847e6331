"""Bites in the outline of paint: found where paint came off, not where a brush drew a bay."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from grader.faults.bites import Bite, find_bites

PX_PER_MM = 9.0
SIZE = 360


def _blank() -> NDArray[np.uint8]:
    return np.full((SIZE * 4, SIZE * 4), 255, np.uint8)


def _seen(picture: NDArray[np.uint8], angle_deg: float = 0.0) -> NDArray[np.float32]:
    """Share of clay as a lens shows it: turned, brought to size, blurred by a pixel."""
    turn = cv2.getRotationMatrix2D((SIZE * 2, SIZE * 2), angle_deg, 1.0)
    turned = cv2.warpAffine(picture, turn, picture.shape[::-1], borderValue=255.0)
    small = cv2.resize(turned, (SIZE, SIZE), interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(small.astype(np.float32) / 255, (0, 0), 1.0)


def _mm(length: float) -> int:
    return round(length * PX_PER_MM * 4)


def _leaf(picture: NDArray[np.uint8]) -> None:
    cv2.ellipse(picture, (SIZE * 2, SIZE * 2), (_mm(14), _mm(6)), 0, 0, 360, 0, -1)


def _flake(
    picture: NDArray[np.uint8], at: tuple[int, int], size_mm: float, seed: int, ragged: float = 0.2
) -> None:
    rng = np.random.default_rng(seed)
    angles = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    radii = _mm(size_mm / 2) * rng.uniform(1 - ragged, 1 + ragged, 12)
    points = np.column_stack([at[0] + radii * np.cos(angles), at[1] + radii * np.sin(angles)])
    cv2.fillPoly(picture, [np.round(points).astype(np.int32)], 255)


def _bitten(
    angle: float, size_mm: float, along: float, seed: int, ragged: float
) -> tuple[NDArray[np.float32], list[Bite]]:
    """A leaf with a flake at its outline, as it is seen, and its bites."""
    picture = _blank()
    _leaf(picture)
    # Its middle lies a tenth of its width within the paint.
    x, y = 14 * along, 6 * np.sqrt(1 - along**2) - 0.1 * size_mm
    _flake(picture, (SIZE * 2 + _mm(x), SIZE * 2 + _mm(y)), size_mm, seed, ragged)
    seen = _seen(picture, angle)
    return seen, find_bites(seen, PX_PER_MM)[0]


def _is_right(seen: NDArray[np.float32], bites: list[Bite], size_mm: float) -> bool:
    """Whether there is one bite, as deep as the flake, and right side out: clay, not paint."""
    if len(bites) != 1 or not 0.3 * size_mm < bites[0].depth_mm < 1.2 * size_mm:
        return False
    (row, col), (height, width) = bites[0].corner, bites[0].region.shape
    return bool(np.median(seen[row : row + height, col : col + width][bites[0].region]) > 0.5)


@settings(max_examples=30, deadline=None)
@given(angle=st.floats(0, 360), size_mm=st.floats(1.2, 2.6), along=st.floats(-0.5, 0.5))
def test_a_flake_at_the_edge_of_a_leaf_is_one_bite(
    angle: float, size_mm: float, along: float
) -> None:
    assert _is_right(*_bitten(angle, size_mm, along, 0, 0.0), size_mm)


def test_so_are_ragged_ones_but_for_a_few_that_leave_no_corner() -> None:
    rng = np.random.default_rng(1)
    right = 0
    for seed in range(100):
        angle, size_mm, along = rng.uniform((0, 1.2, -0.5), (360, 2.6, 0.5))
        right += _is_right(*_bitten(angle, size_mm, along, seed, 0.2), size_mm)
    assert right >= 95


@settings(max_examples=20, deadline=None)
@given(angle=st.floats(0, 360))
def test_a_drawing_has_none(angle: float) -> None:
    picture = _blank()
    _leaf(picture)
    # A stem, side leaves that leave wedges, and a pair of feelers with a gap between them.
    middle = SIZE * 2
    cv2.line(picture, (middle - _mm(17), middle), (middle + _mm(17), middle), 0, _mm(1.0))
    for x in (-9, 0, 9):
        cv2.ellipse(
            picture, (middle + _mm(x), middle - _mm(7)), (_mm(1.6), _mm(4)), 25, 0, 360, 0, -1
        )
    for end in (-2, 2):
        cv2.line(
            picture,
            (middle - _mm(16), middle),
            (middle - _mm(19), middle + _mm(end)),
            0,
            _mm(0.9),
        )
    bites, outline_mm = find_bites(_seen(picture, angle), PX_PER_MM)
    assert bites == []
    assert outline_mm > 60


@pytest.mark.parametrize("spread_mm", [1.2, 1.6, 2.0])
@pytest.mark.parametrize("angle", [0.0, 30.0, 75.0])
def test_the_gap_between_two_feelers_with_knobs_is_none(spread_mm: float, angle: float) -> None:
    picture = _blank()
    _leaf(picture)
    middle = SIZE * 2
    root = (middle, middle - _mm(5.5))
    for side, long_mm in ((-1, 4.0), (1, 3.2)):
        tip = (middle + side * _mm(spread_mm), root[1] - _mm(long_mm))
        cv2.line(picture, root, tip, 0, _mm(0.8))
        cv2.ellipse(picture, tip, (_mm(0.9), _mm(0.6)), 20 * side, 0, 360, 0, -1)
    assert find_bites(_seen(picture, angle), PX_PER_MM)[0] == []


@pytest.mark.parametrize("waver_mm", [0.0, 0.1, 0.2])
def test_the_waver_of_a_hand_is_none(waver_mm: float) -> None:
    picture = _blank()
    angles = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    radii = 10 + waver_mm * np.sin(23 * angles) + 0.3 * np.sin(5 * angles)
    points = SIZE * 2 + PX_PER_MM * 4 * np.column_stack(
        [radii * np.cos(angles), radii * np.sin(angles)]
    )
    cv2.fillPoly(picture, [np.round(points).astype(np.int32)], 0)
    assert find_bites(_seen(picture), PX_PER_MM)[0] == []


def test_the_outline_is_measured() -> None:
    picture = _blank()
    cv2.circle(picture, (SIZE * 2, SIZE * 2), _mm(10), 0, -1)
    _, outline_mm = find_bites(_seen(picture), PX_PER_MM)
    assert outline_mm == pytest.approx(2 * np.pi * 10, rel=0.02)


def test_nothing_painted_gives_nothing() -> None:
    assert find_bites(np.ones((50, 60), np.float32), PX_PER_MM) == ([], 0.0)
