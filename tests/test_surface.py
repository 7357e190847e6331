"""Tone holds the shading, chroma does not know it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.surface import grow, shrink
from tests.drawn import CLAY, draw_pot


@settings(max_examples=6, deadline=None)
@given(exposure=st.floats(0.4, 1.2))
def test_chroma_does_not_change_with_exposure(exposure: float) -> None:
    surface = draw_pot(exposure=exposure).surface()
    wall = shrink(surface.mask, 20)
    seen = np.median(surface.chroma[wall], axis=0)
    want = [np.log(CLAY[0] / CLAY[1]), np.log(CLAY[2] / CLAY[1])]
    assert seen == pytest.approx(want, abs=0.02)


def test_tone_falls_by_the_logarithm_of_the_light() -> None:
    bright, dark = draw_pot(exposure=1.0).surface(), draw_pot(exposure=0.5).surface()
    wall = shrink(bright.mask, 20)
    fall = np.median(bright.tone[wall]) - np.median(dark.tone[wall])
    assert fall == pytest.approx(np.log(2), abs=0.02)


def test_a_finer_photo_is_worked_at_the_finest_useful_scale() -> None:
    pot = draw_pot()
    surface = pot.surface(px_per_mm=22.0)
    assert surface.px_per_mm == pytest.approx(11.0)
    assert surface.step == pytest.approx(2.0)
    assert surface.mask.sum() == pytest.approx(pot.mask.sum() / 4, rel=0.02)


def test_without_scale_a_height_is_assumed_and_said_so() -> None:
    surface = draw_pot().surface(px_per_mm=None)
    assert not surface.scale_known
    assert 2 < surface.px_per_mm < 20


def test_burnt_places_are_glare_with_a_rim() -> None:
    pot = draw_pot()
    pot.rgb[400:420, 500:520] = 255
    surface = pot.surface()
    assert surface.glare.sum() > 20 * 20


def test_grow_and_shrink_are_each_other_s_inverse_on_a_disc() -> None:
    mask = np.zeros((60, 60), bool)
    mask[20:40, 20:40] = True
    assert (shrink(grow(mask, 3), 3) == mask).all()
    assert not shrink(np.ones((8, 8), bool), 2)[0].any()
