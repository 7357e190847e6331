"""Random fields and ragged outlines."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.render.noise import blob_radius, flat_noise, smoothstep, solid_noise


@given(st.floats(0.2, 30.0), st.floats(0.0, 0.4), st.integers(0, 1000))
def test_an_island_has_the_area_of_its_circle(size: float, raggedness: float, seed: int) -> None:
    angle = np.linspace(-np.pi, np.pi, 2000, endpoint=False, dtype=np.float32)
    edge = blob_radius(angle, size, raggedness, np.random.default_rng(seed))
    area = float(0.5 * np.mean(edge**2) * 2 * np.pi)
    assert edge.min() > 0
    assert area == pytest.approx(np.pi * size**2 / 4, rel=0.01)


def test_flat_noise_closes_on_itself() -> None:
    field = flat_noise((64, 200), 12.0, np.random.default_rng(1))
    assert field.shape == (64, 200)
    assert float(field.std()) == pytest.approx(1.0, abs=0.05)
    across_seam = np.abs(field[:, 0] - field[:, -1]).mean()
    anywhere = np.abs(np.diff(field, axis=1)).mean()
    assert across_seam < 4 * anywhere


def test_solid_noise_has_unit_spread_and_follows_the_seed() -> None:
    points = np.random.default_rng(0).uniform(-80, 80, (40, 50, 3)).astype(np.float32)
    one = solid_noise(points, 15.0, np.random.default_rng(5))
    two = solid_noise(points, 15.0, np.random.default_rng(5))
    assert np.array_equal(one, two)
    assert 0.6 < float(one.std()) < 1.5


def test_smoothstep_runs_either_way() -> None:
    assert smoothstep(0.0, 1.0, [-1.0, 0.5, 2.0]).tolist() == [0.0, 0.5, 1.0]
    assert smoothstep(1.0, 0.0, [-1.0, 0.5, 2.0]).tolist() == [1.0, 0.5, 0.0]
