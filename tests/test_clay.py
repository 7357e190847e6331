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


def test_clay_seen_on_one_band_says_nothing_wild_of_the_rest() -> None:
    """A curve of second order through a band would bend away to any light beyond it."""
    _, down = made.places_mm()
    light = np.exp(-(((down - 8) / 4.0) ** 2))[..., None] * 0.6 + 0.4
    view = made.seen(made.wall() * light, decorated=False).views[0]
    rows, _ = np.indices(view.surface.mask.shape)
    band = shrink(view.surface.mask, view.surface.px(1.5)) & (rows < view.surface.px(16))
    chroma, tone = sound_clay(view.surface, band, common_clay([view.surface]))
    seen = view.surface.tone[band]
    assert tone.min() > seen.min() - 2 * np.ptp(seen)
    assert tone.max() < seen.max() + 2 * np.ptp(seen)
    assert np.abs(chroma).max() < 2.0


@pytest.mark.parametrize("share", [0.2, 0.45, 0.6])
def test_a_broad_band_of_black_is_no_clay(share: float) -> None:
    """Black of the clay's own hue covers half a pot and more: it is told by its two lights."""
    _, down = made.places_mm()
    black = down > (1 - share) * down.max()
    picture = np.where(black[..., None], 0.06, 1.0) * made.wall()
    view = made.seen(picture, decorated=True).views[0]
    rows, cols = np.nonzero(shrink(view.surface.mask, view.surface.px(1.5)))
    below = rows - (1 - share) * view.surface.mask.shape[0]
    low, high = below > view.surface.px(2.0), below < -view.surface.px(2.0)
    painted = view.zones.paint[rows, cols]
    assert painted[low].mean() > 0.95
    assert painted[high].mean() < 0.05
    assert np.median(view.zones.clay_tone) == pytest.approx(
        np.median(view.surface.tone[rows, cols][high]), abs=0.2
    )


def test_a_wall_that_turns_from_the_light_is_no_coat() -> None:
    _, down = made.places_mm()
    shade = np.exp(-2.5 / (1 + np.exp(-(down - 0.5 * down.max()) / 4.0)))
    surface = made.seen(made.wall() * shade[..., None], decorated=True).views[0].surface
    wall = shrink(surface.mask, surface.px(1.5))
    clay = common_clay([surface])
    plain, coated = (sound_clay(surface, wall, clay, coated=each)[1] for each in (False, True))
    assert np.allclose(plain, coated)
