"""The clay of a photo, and what the light makes of it."""

from __future__ import annotations

import numpy as np
import pytest

from grader.clay import chroma_noise, common_clay, free_of_light, sound_clay
from grader.surface import shrink
from tests.drawn import BLUE, CLAY, draw_pot
from tests.faults import made


def test_the_common_clay_is_the_clay() -> None:
    red, blue = common_clay([draw_pot(band=BLUE).surface()])
    assert red == pytest.approx(np.log(CLAY[0] / CLAY[1]), abs=0.02)
    assert blue == pytest.approx(np.log(CLAY[2] / CLAY[1]), abs=0.02)


def test_noise_is_measured_from_the_picture() -> None:
    calm = np.median(chroma_noise(draw_pot(noise=0.002).surface()))
    rough = np.median(chroma_noise(draw_pot(noise=0.012).surface()))
    assert rough > 3 * calm


def test_what_two_lights_of_unlike_colour_make_is_taken_away() -> None:
    """A ring's lit flank sees a warm lamp, its shaded one a bluish sky: the clay is the same."""
    _, down = made.places_mm()
    lamp = 0.5 + 0.4 * np.sin(2 * np.pi * down / 5)[..., None]
    light = lamp * np.array([1.1, 1.0, 0.88]) + 0.35 * np.array([0.92, 1.0, 1.12])
    surface = made.seen(made.wall() * light, decorated=False).views[0].surface
    wall = shrink(surface.mask, surface.px(1.5))
    chroma, tone = sound_clay(surface, wall, common_clay([surface]))
    before = (surface.chroma - chroma)[wall].std(0)
    after = (free_of_light(surface, wall, chroma, tone) - chroma)[wall].std(0)
    assert (before > 0.02).all()
    assert (after < 0.5 * before).all()
