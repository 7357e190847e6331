"""Paint has an edge; veils, scorches and warm light have none."""

from __future__ import annotations

import numpy as np
import pytest

from grader.surface import Surface
from grader.zones import Zones, chroma_noise, common_clay, find_zones
from tests.drawn import BLUE, CLAY, Drawn, blob, draw_pot


def zones_of(pot: Drawn, decorated: bool | None = None) -> tuple[Surface, Zones]:
    surface = pot.surface()
    clay = common_clay([surface])
    return surface, find_zones(surface, clay, decorated=decorated, seen_from_side=True)


def cut(pot: Drawn, surface: Surface, name: str) -> np.ndarray:
    x, y = (int(value) for value in surface.origin_px)
    height, width = surface.mask.shape
    return pot.layers[name][y : y + height, x : x + width]


def test_the_common_clay_is_the_clay() -> None:
    red, blue = common_clay([draw_pot(band=BLUE).surface()])
    assert red == pytest.approx(np.log(CLAY[0] / CLAY[1]), abs=0.02)
    assert blue == pytest.approx(np.log(CLAY[2] / CLAY[1]), abs=0.02)


@pytest.mark.parametrize("colour", [BLUE, (0.06, 0.055, 0.05), (0.2, 0.35, 0.12)])
def test_a_painted_band_is_found(colour: tuple[float, float, float]) -> None:
    pot = draw_pot(band=colour)
    surface, zones = zones_of(pot)
    truth = cut(pot, surface, "band") & zones.wall
    common = (zones.paint & truth).sum() / (zones.paint | truth).sum()
    assert common > 0.93


def test_nothing_is_paint_where_the_potter_says_so() -> None:
    _, zones = zones_of(draw_pot(band=BLUE), decorated=False)
    assert not zones.painted.any()


@pytest.mark.parametrize("colour", [(0.55, 0.56, 0.52), (0.35, 0.22, 0.13)])
def test_a_soft_veil_or_scorch_stays_clay(colour: tuple[float, float, float]) -> None:
    size = (900, 1100)
    pot = draw_pot(layers={"soft": (0.7 * blob(size, 560, 560, 60), colour)})
    _, zones = zones_of(pot)
    assert zones.paint.mean() < 0.002


def test_warm_light_from_one_side_is_no_paint() -> None:
    pot = draw_pot()
    tint = np.linspace(0.85, 1.15, pot.rgb.shape[1])[None, :, None] ** np.array([1, 0, -1])
    pot.rgb[:] = np.clip(pot.rgb * tint, 0, 255).astype(np.uint8)
    _, zones = zones_of(pot)
    assert zones.paint.mean() < 0.002


def test_the_opening_is_found_and_is_no_wall() -> None:
    pot = draw_pot()
    surface, zones = zones_of(pot)
    truth = cut(pot, surface, "inside")
    assert (zones.inside & truth).sum() / truth.sum() > 0.9
    assert not (zones.wall & zones.inside).any()
    assert (zones.inside & cut(pot, surface, "wall")).sum() < 0.05 * truth.sum() + 12000


def test_noise_is_measured_from_the_picture() -> None:
    calm = np.median(chroma_noise(draw_pot(noise=0.002).surface()))
    rough = np.median(chroma_noise(draw_pot(noise=0.012).surface()))
    assert rough > 3 * calm
