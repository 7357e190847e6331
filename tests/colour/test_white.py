"""White balance from a grey card and from paper."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.colour.srgb import LINEAR_RGB_TO_XYZ, linear_to_lab
from grader.colour.white import (
    read_backdrop,
    read_grey_card,
    read_surroundings,
    white_balance,
)
from grader.scale import find_markers
from tests.scenes import Camera, backdrop, card_corners, develop, marker_texture, paste

CAMERA = Camera(size_px=(1200, 900))
_channel = st.floats(0.02, 0.9)


@given(st.tuples(_channel, _channel, _channel))
def test_a_neutral_becomes_neutral_at_its_own_luminance(colour: tuple[float, ...]) -> None:
    neutral = np.array(colour)
    balanced = white_balance(neutral) @ neutral
    assert np.ptp(balanced) < 1e-9
    assert balanced[0] == pytest.approx(LINEAR_RGB_TO_XYZ[1] @ neutral)


def _with_grey_card(
    gains: tuple[float, float, float], card: tuple[float, float, float] = (0.18, 0.18, 0.18)
) -> np.ndarray:
    picture = backdrop(CAMERA)
    # Marker of 20 mm at the left, the window of 20 mm starts 5 mm right of it.
    picture = paste(picture, marker_texture(42), card_corners(28, 28, (-12.5, 0, 300)), CAMERA)
    window = np.broadcast_to(np.array(card), (40, 40, 3)).copy()
    picture = paste(picture, window, card_corners(20, 20, (12.5, 0, 300)), CAMERA)
    return develop(picture, gains=gains)


@pytest.mark.parametrize("gains", [(1.0, 1.0, 1.0), (1.3, 1.0, 0.5), (0.7, 0.9, 1.3)])
def test_the_grey_card_takes_the_cast_away(gains: tuple[float, float, float]) -> None:
    rgb = _with_grey_card(gains)
    (marker,) = find_markers(rgb)
    neutral, reason = read_grey_card(rgb, marker)
    assert neutral is not None and reason == ""
    true_grey = np.array(gains) * 0.18
    lab = linear_to_lab(white_balance(neutral) @ true_grey)
    assert np.hypot(lab[1], lab[2]) < 1.0


@pytest.mark.parametrize(
    ("card", "gains", "word"),
    [
        ((0.18, 0.18, 0.18), (7.0, 7.0, 7.0), "exposed"),
        ((0.004, 0.004, 0.004), (1.0, 1.0, 1.0), "dark"),
        ((0.6, 0.05, 0.02), (1.0, 1.0, 1.0), "neutral"),
    ],
)
def test_what_is_no_grey_card_is_refused(
    card: tuple[float, float, float], gains: tuple[float, float, float], word: str
) -> None:
    rgb = _with_grey_card((1.0, 1.0, 1.0), card)
    (marker,) = find_markers(rgb)
    neutral, reason = read_grey_card(_with_grey_card(gains, card), marker)
    assert neutral is None
    assert word in reason


def test_a_window_cut_off_by_the_picture_is_refused() -> None:
    rgb = _with_grey_card((1.0, 1.0, 1.0))
    (marker,) = find_markers(rgb)
    right = int(marker.corners_px[:, 0].max()) + 20
    neutral, reason = read_grey_card(rgb[:, :right], marker)
    assert neutral is None
    assert "picture" in reason


def test_paper_backdrop_tinted_wall_and_busy_kitchen() -> None:
    neutral, _ = read_backdrop(develop(backdrop(CAMERA), gains=(1.05, 1.0, 0.95)))
    assert neutral is not None
    assert neutral[0] / neutral[2] == pytest.approx(1.05 / 0.95, rel=0.02)
    for linear in ((0.5, 0.35, 0.2), (0.2, 0.35, 0.5)):
        neutral, reason = read_backdrop(develop(backdrop(CAMERA, linear)))
        assert neutral is None
        assert "neutral" in reason
    busy = np.random.default_rng(1).uniform(0.05, 0.6, (9, 12, 3)).repeat(100, 0).repeat(100, 1)
    neutral, reason = read_backdrop(develop(busy))
    assert neutral is None
    assert "one colour" in reason


def test_surroundings_leave_cards_out() -> None:
    picture = backdrop(CAMERA)
    rgb = develop(picture)
    without = read_surroundings(rgb)
    card = np.array([[0.0, 0.0], [150.0, 0.0], [150.0, 899.0], [0.0, 899.0]])
    picture[:, :150] = (0.5, 0.1, 0.1)
    with_card = read_surroundings(develop(picture), (card,))
    assert without is not None and with_card is not None
    assert np.allclose(with_card, without, rtol=0.08)
    assert read_surroundings(np.full((90, 120, 3), 255, np.uint8)) is None
