"""Grain goes; shadows, surfaces and relief stay."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.render.denoise import Guides, denoise, enlarge, mean_over

_SHAPE = (120, 160)
Array = npt.NDArray[np.float32]


def _wall(shape: tuple[int, int], seed: int, relief: float) -> tuple[Array, Guides]:
    """Light on an upright cylinder with fine relief, lit from the side; no grain."""
    rng = np.random.default_rng(seed)
    across = np.linspace(-0.8, 0.8, shape[1])[None, :] * np.ones((shape[0], 1))
    tilt = relief * rng.standard_normal((2, *shape))
    x, z = across + tilt[0], tilt[1]
    normal = np.stack([x, -np.sqrt(np.maximum(1 - x * x - z * z, 0.0)), z], -1).astype(np.float32)
    light = 0.6 + normal @ np.array([0.3, -0.2, 0.2], np.float32)
    guides = Guides(normal, np.zeros(shape, np.float32), np.ones(shape, bool))
    return np.repeat(light[..., None], 3, axis=2).astype(np.float32), guides


def _halves(light: Array, grain: float, seed: int) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    one, two = light * (1.0 + grain * rng.standard_normal((2, *light.shape)))
    return one.astype(np.float32), two.astype(np.float32)


def _off(found: Array, true: Array) -> float:
    return float(np.sqrt(np.mean((found / true - 1.0) ** 2)))


@settings(max_examples=8, deadline=None)
@given(st.floats(0.02, 0.1), st.integers(0, 1000))
def test_grain_falls_to_a_fifth_and_relief_stays(grain: float, seed: int) -> None:
    light, guides = _wall(_SHAPE, seed, relief=0.04)
    halves = _halves(light, grain, seed)
    calm = denoise(halves, guides, 0.25, 5)
    found = calm.light(guides.normal)
    assert _off(found, light) < 0.2 * _off(np.mean(halves, axis=0, dtype=np.float32), light) + 0.002
    # What relief alone does to the light comes back, pixel by pixel.
    even = np.moveaxis(calm.smooth, 0, -1)
    rest, kept = (light - even)[10:-10, 10:-10, 0], (found - even)[10:-10, 10:-10, 0]
    assert np.corrcoef(rest.ravel(), kept.ravel())[0, 1] > 0.85


def test_light_without_grain_comes_back() -> None:
    light, guides = _wall(_SHAPE, 1, relief=0.0)
    found = denoise((light, light), guides, 0.25, 5).light(guides.normal)
    assert _off(found, light) < 0.005


def test_the_edge_of_a_shadow_stays_sharp() -> None:
    light = np.full((*_SHAPE, 3), 1.0, np.float32)
    light[:, 80:] = 0.5
    normal = np.zeros_like(light)
    normal[..., 1] = -1.0
    guides = Guides(normal, np.zeros(_SHAPE, np.float32), np.ones(_SHAPE, bool))
    found = denoise(_halves(light, 0.05, 2), guides, 0.25, 5).light(normal).mean(axis=(0, 2))
    assert found[:76].min() > 0.97 and found[84:].max() < 0.52


def test_surfaces_never_mix() -> None:
    light = np.full((*_SHAPE, 3), 1.0, np.float32)
    light[:, 80:] = 0.2
    owner = np.where(np.arange(_SHAPE[1]) < 80, 0.0, 30.0) * np.ones((_SHAPE[0], 1))
    normal = np.zeros_like(light)
    normal[..., 2] = 1.0
    guides = Guides(normal, owner.astype(np.float32), np.ones(_SHAPE, bool))
    found = denoise(_halves(light, 0.1, 3), guides, 0.25, 5).light(normal)
    assert found[:, 79].mean() == pytest.approx(1.0, abs=0.02)
    assert found[:, 80].mean() == pytest.approx(0.2, abs=0.01)


def test_coarse_light_reaches_fine_relief_and_stops_at_edges() -> None:
    fine, guides = _wall(_SHAPE, 4, relief=0.03)
    coarse_shape = (_SHAPE[0] // 2, _SHAPE[1] // 2)

    def halved(values: Array) -> Array:
        blocks = values.reshape(coarse_shape[0], 2, coarse_shape[1], 2, -1)
        return np.asarray(blocks.mean(axis=(1, 3)), np.float32)

    piece = np.zeros(_SHAPE, bool)
    piece[:, :101] = True
    # Beside the piece lies a bright table: none of its light may reach the piece.
    light = np.where(piece[..., None], fine, 5.0).astype(np.float32)
    owner = np.where(piece, 0.0, 30.0).astype(np.float32)
    coarse_owner = halved(owner[..., None])[..., 0]
    pure = (coarse_owner == 0.0) | (coarse_owner == 30.0)
    coarse = halved(light)
    calm = denoise(
        _halves(coarse, 0.03, 5), Guides(halved(guides.normal), coarse_owner, pure), 0.25, 5
    )
    found = enlarge(calm, coarse_owner < 15.0, Guides(guides.normal, owner, piece), 0.25)
    assert _off(found[:, :96], fine[:, :96]) < 0.02
    assert _off(found[:, 96:101], fine[:, 96:101]) < 0.06


def test_mean_over_looks_only_at_what_counts() -> None:
    plane = np.full((40, 40), 2.0, np.float32)
    share = np.ones((40, 40), bool)
    plane[:, 20:], share[:, 20:] = 900.0, False
    assert mean_over(plane, share, 2.0)[:, :24] == pytest.approx(2.0, abs=1e-3)
