"""Photographed textures behind a pot, undulled: found, or said to be unsure."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage import data

from grader.piece import cut_out
from tests.drawn import draw_pot


@pytest.mark.parametrize("texture", ["gravel", "brick", "grass", "coffee"])
def test_a_photographed_ground_breaks_nothing(texture: str) -> None:
    """The photographs are those that scikit-image carries (`skimage.data`)."""
    pot = draw_pot(size=(600, 800), clay=(0.66, 0.42, 0.26))
    ground = np.asarray(getattr(data, texture)())
    if ground.ndim == 2:
        ground = np.repeat(ground[..., None], 3, axis=2)
    height, width = pot.mask.shape
    ground = cv2.resize(ground, (width, height), interpolation=cv2.INTER_AREA)
    rgb = np.where(pot.mask[..., None], pot.rgb, ground).astype(np.uint8)
    found = cut_out(rgb)
    assert found is None or found.mask.shape == pot.mask.shape
    if found is not None and found.certainty >= 0.5:
        overlap = (found.mask & pot.mask).sum() / (found.mask | pot.mask).sum()
        assert overlap > 0.9
