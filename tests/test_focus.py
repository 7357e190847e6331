"""Blur of the piece against blur that was laid on it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from grader.focus import FWHM, measure_sharpness
from tests.scenes import Camera, backdrop, develop, pot

CAMERA = Camera(size_px=(1200, 900))


def _shot(
    blur_px: float, *, paint: bool = True, specks: int = 120, noise: float = 0.01
) -> tuple[np.ndarray, np.ndarray]:
    picture, mask = pot(backdrop(CAMERA, (0.16, 0.16, 0.16)), paint=paint, specks=specks)
    return develop(picture, blur_px=blur_px, noise=noise), mask


@pytest.mark.parametrize(("paint", "specks"), [(True, 120), (False, 0), (False, 400)])
@pytest.mark.parametrize("sigma_px", [1.0, 2.0, 4.0, 7.0])
def test_blur_is_measured_on_plain_painted_and_speckled_ware(
    sigma_px: float, paint: bool, specks: int
) -> None:
    rgb, mask = _shot(sigma_px, paint=paint, specks=specks)
    found = measure_sharpness(rgb, mask)
    assert found is not None
    assert found.blur_px == pytest.approx(FWHM * sigma_px, rel=0.3, abs=0.8)


def test_more_blur_is_a_larger_number_with_and_without_noise() -> None:
    for noise in (0.005, 0.04):
        blurs = []
        for sigma in (0.6, 1.2, 2.4, 4.8, 9.6):
            found = measure_sharpness(*_shot(sigma, noise=noise))
            assert found is not None
            blurs.append(found.blur_px)
        assert blurs == sorted(blurs)


def test_a_shake_is_told_from_bad_focus() -> None:
    rgb, mask = _shot(0.8)
    shake = np.zeros((21, 21), dtype=np.float32)
    shake[10] = 1 / 21
    shaken = measure_sharpness(cv2.filter2D(rgb, -1, shake), mask)
    assert shaken is not None
    assert shaken.blur_px > 8
    assert shaken.blur_px > 3 * max(1.0, shaken.least_blur_px)
    soft = measure_sharpness(*_shot(5.0))
    assert soft is not None
    assert soft.blur_px < 3 * soft.least_blur_px


def test_only_the_piece_counts() -> None:
    rgb, mask = _shot(5.0)
    board = np.indices(rgb.shape[:2]).sum(axis=0) // 8 % 2 * 200 + 20
    far = ~cv2.dilate(mask.astype(np.uint8), np.ones((41, 41), np.uint8)).astype(bool)
    rgb[far] = board[far, None]
    found = measure_sharpness(rgb, mask)
    assert found is not None
    assert found.blur_px > 8


def test_nothing_to_be_sharp_about() -> None:
    flat = np.full((300, 300, 3), 128, dtype=np.uint8)
    assert measure_sharpness(flat, np.ones((300, 300), dtype=bool)) is None
    assert measure_sharpness(flat, np.zeros((300, 300), dtype=bool)) is None
