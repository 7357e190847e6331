"""Burnt surface, glare and darkness, of known shares."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from grader.exposure import measure_exposure
from tests.scenes import Camera, backdrop, develop, pot

CAMERA = Camera(size_px=(1200, 900))


def _shot(
    gain: float = 1.0, clay: tuple[float, float, float] = (0.50, 0.42, 0.31), lamp_px: int = 0
) -> tuple[np.ndarray, np.ndarray]:
    picture, mask = pot(backdrop(CAMERA, (0.16, 0.16, 0.16)), clay=clay)
    if lamp_px:
        spot = cv2.circle(np.zeros(mask.shape, np.uint8), (560, 420), lamp_px, 1, -1) > 0
        picture[spot] = 3.0
    return develop(picture, gains=(gain, gain, gain)), mask


def test_a_well_lit_piece() -> None:
    found = measure_exposure(*_shot())
    assert found is not None
    assert found.burnt_share < 0.01 and found.glare_share < 0.01
    assert found.brightest > 0.15


def test_the_lamp_in_the_glaze_is_glare_and_its_share_is_right() -> None:
    rgb, mask = _shot(lamp_px=70)
    found = measure_exposure(rgb, mask)
    assert found is not None
    share = np.pi * 70**2 / mask.sum()
    # Its soft rim counts with it.
    assert share * 0.95 < found.glare_share < share * 1.6
    assert found.burnt_share < 0.02


def test_a_white_pot_in_too_much_light_is_burnt_not_glare() -> None:
    found = measure_exposure(*_shot(1.9, clay=(0.8, 0.8, 0.78)))
    assert found is not None
    assert found.burnt_share > 0.3
    assert found.lost_share > 0.2
    assert found.glare_share < 0.05


def test_colour_is_burnt_before_everything_is_lost() -> None:
    found = measure_exposure(*_shot(2.4, clay=(0.55, 0.25, 0.12)))
    assert found is not None
    assert found.burnt_share > 0.3
    assert found.lost_share == 0.0


@pytest.mark.parametrize(("gain", "least", "most"), [(0.2, 0.02, 0.15), (0.02, 0.0, 0.05)])
def test_darkness(gain: float, least: float, most: float) -> None:
    found = measure_exposure(*_shot(gain))
    assert found is not None
    assert least <= found.brightest < most


def test_more_light_never_means_less_burnt() -> None:
    shares = []
    for gain in (0.8, 1.2, 1.6, 2.2, 3.0, 5.0):
        found = measure_exposure(*_shot(gain))
        assert found is not None
        shares.append(found.burnt_share)
    assert shares == sorted(shares)


def test_no_piece() -> None:
    rgb, mask = _shot()
    assert measure_exposure(rgb, np.zeros_like(mask)) is None
