"""The sensor: brighter light, noise, white balance."""

from __future__ import annotations

import numpy as np

from grader.render.camera import Sensor, develop

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
