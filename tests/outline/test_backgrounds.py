"""Photographed textures behind a pot, undulled: found, or said to be unsure."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from skimage import data

from grader.photo import read_photo
from grader.piece import cut_out
from grader.target import read_target
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


@pytest.mark.parametrize("photo", ["M19/left.jpg", "M20/front.jpg"])
def test_a_table_of_the_clays_colour_does_not_take_half_of_the_piece(photo: str) -> None:
    """Learned from each other, such a piece and its table lose what the first cuts held."""
    path = Path(__file__).parents[2] / "sample_images" / photo
    read = read_photo(path, name=photo)
    target = read_target(read, marker_mm=20.0)
    found = cut_out(read.rgb, target.cards_px)
    assert found is not None
    labels = cv2.imread(str(path.with_name(path.stem + "_truth.png")), cv2.IMREAD_UNCHANGED)
    assert labels is not None
    true = labels > 0
    assert (found.mask & true).sum() / (found.mask | true).sum() > 0.9
