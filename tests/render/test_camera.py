"""The sensor: brighter light, noise, white balance."""

from __future__ import annotations

import numpy as np
import pytest

from grader.render.camera import Sensor, View, develop

_PLAIN = Sensor((1.0, 1.0, 1.0), 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 90)


def test_an_ideal_sensor_only_encodes() -> None:
    grey = np.full((20, 30, 3), 0.2140, np.float32)
    # Linear 0.2140 is sRGB 127.5 of 255 (IEC 61966-2-1).
    assert set(np.unique(develop(grey, _PLAIN, np.random.default_rng(0)))) <= {127, 128}


def test_noise_grows_with_the_asked_share_and_follows_the_seed() -> None:
    grey = np.full((80, 80, 3), 0.2, np.float32)
    spreads = []
    for noise in (0.03, 0.12):
        sensor = Sensor((1.0, 1.0, 1.0), 1.0, noise, 0.0, 0.0, 0.0, 0.0, 90)
        spreads.append(develop(grey, sensor, np.random.default_rng(3)).std())
        again = develop(grey, sensor, np.random.default_rng(3))
        assert np.array_equal(again, develop(grey, sensor, np.random.default_rng(3)))
    assert spreads[1] > 2 * spreads[0]


def test_vignetting_darkens_corners_only() -> None:
    grey = np.full((60, 80, 3), 0.3, np.float32)
    sensor = Sensor((1.0, 1.0, 1.0), 1.0, 0.0, 0.0, 0.0, 0.3, 0.0, 90)
    out = develop(grey, sensor, np.random.default_rng(0)).astype(int)
    assert out[30, 40, 0] - out[0, 0, 0] > 10


def test_clipped_light_is_white_in_any_light() -> None:
    warm = Sensor((0.8, 1.0, 1.5), 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 90)
    lamp = np.full((8, 8, 3), 30.0, np.float32)
    assert (develop(lamp, warm, np.random.default_rng(0)) == 255).all()


def test_focal_length_of_a_full_frame_is_its_own() -> None:
    # A 50 mm lens on 36 x 24 mm film sees 2 atan(18 / 50) across (geometry of the pinhole).
    fov = float(np.degrees(2 * np.arctan(18 / 50)))
    view = View((0, -500, 50), (0, 0, 50), (0, 0, 1), fov, 1500, 1000, 1.0, 500.0)
    assert view.focal_35mm == pytest.approx(50.0)
