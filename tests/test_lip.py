"""A lip is a circle about the axis: its far half is outline, its near half an edge of tone."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from grader.lip import Lip, find_lip
from grader.piece import Silhouette
from grader.surface import read_surface
from grader.target import Colour, Scale, Target
from tests.scenes import develop

ACROSS, DEEP, TOP = 150, 75, 60


def seen(*, spout: int = 0, knob: int = 0, hollow: float = 0.55) -> Lip | None:
    """The lip found on a cylinder 300 px wide; a spout to the left, a knob on the axis."""
    shape, middle = (620, 420), (210, TOP + DEEP)
    body, opening = np.zeros(shape, np.uint8), np.zeros(shape, np.uint8)
    cv2.ellipse(opening, middle, (ACROSS, DEEP), 0, 0, 360, 1, -1)
    cv2.rectangle(body, (middle[0] - ACROSS, middle[1]), (middle[0] + ACROSS, 560), 1, -1)
    body |= opening
    if spout:
        tip = np.array([[60, 170], [70, 100], [60 - spout, 100 - spout // 2], [130, 70]])
        cv2.fillPoly(body, [tip.astype(np.int32)], 1)
    if knob:
        cv2.rectangle(body, (middle[0] - 30, TOP - knob), (middle[0] + 30, TOP + 20), 1, -1)
    light = np.full((*shape, 3), 0.2)
    light[body > 0] = (0.5, 0.42, 0.33)
    light[(opening > 0) & (body > 0)] *= hollow
    box = cv2.boundingRect(body)
    surface = read_surface(
        develop(light, noise=0.01, blur_px=0.8, seed=0),
        Silhouette(body > 0, box, 1.0),
        Target(Scale(6.0, "marker"), Colour(np.eye(3))),
        photo="front.jpg",
        view="front",
        px_per_mm=6.0,
    )
    mask = surface.mask
    rows = np.flatnonzero(mask.any(1))
    filled = mask.any(1)
    left = np.where(filled, mask.argmax(1), np.nan)
    right = np.where(filled, mask.shape[1] - 1 - mask[:, ::-1].argmax(1), np.nan)
    lip = find_lip(surface, (int(rows[0]), int(rows[-1])), left, right)
    if lip is None:
        return None
    x, y = lip.middle_px[0] + surface.origin_px[0], lip.middle_px[1] + surface.origin_px[1]
    return Lip((x, y), lip.across_px, lip.deep_px, lip.far, lip.near)


@pytest.mark.parametrize("hollow", [0.55, 1.25])
@pytest.mark.parametrize("spout", [0, 45])
def test_the_lip_is_found_with_and_without_a_spout(spout: int, hollow: float) -> None:
    lip = seen(spout=spout, hollow=hollow)
    assert lip is not None
    assert lip.middle_px == pytest.approx((210, TOP + DEEP), abs=8)
    assert lip.across_px == pytest.approx(ACROSS, abs=5)
    assert lip.deep_px == pytest.approx(DEEP, abs=8)


def test_without_an_edge_of_tone_there_is_no_lip() -> None:
    assert seen(hollow=1.0) is None


def test_what_rises_on_the_axis_is_a_knob() -> None:
    assert seen(knob=25) is None
