"""Height on the axis against projected solids of revolution."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from grader.height import axis_height_px
from tests.scenes import Camera


def _outline(
    profile_mm: list[tuple[float, float]], pitch_deg: float, distance_mm: float = 700.0
) -> tuple[np.ndarray, float]:
    """Return the mask of a solid with (radius, height) points, and its true height in px."""
    camera = Camera(size_px=(1000, 1000))
    radius, up = np.array(profile_mm).T
    tall = up.max()
    heights = np.linspace(0, tall, 120)
    around = np.linspace(0, 2 * np.pi, 180)
    ring = np.interp(heights, up, radius)
    pitch = np.radians(pitch_deg)
    mask = np.zeros((1000, 1000), dtype=np.uint8)
    for r, h in zip(ring, heights - tall / 2, strict=True):
        x, away = r * np.sin(around), r * np.cos(around)
        points = np.stack(
            [
                x,
                -h * np.cos(pitch) - away * np.sin(pitch),
                distance_mm - h * np.sin(pitch) + away * np.cos(pitch),
            ],
            axis=1,
        )
        cv2.fillPoly(mask, [np.round(camera.project(points)).astype(np.int32)], 1)
    return mask.astype(bool), tall * camera.focal_px / distance_mm


@pytest.mark.parametrize(
    "profile_mm",
    [
        [(40.0, 0.0), (40.0, 95.0)],  # mug
        [(32.0, 0.0), (46.0, 85.0)],  # planter
        [(25.0, 0.0), (38.0, 30.0), (40.0, 75.0)],  # cup
    ],
)
@pytest.mark.parametrize("pitch_deg", [0.0, 8.0, 15.0, 22.0])
def test_opening_and_foot_are_taken_off(
    profile_mm: list[tuple[float, float]], pitch_deg: float
) -> None:
    mask, truth = _outline(profile_mm, pitch_deg)
    outline = float(np.ptp(np.flatnonzero(mask.any(axis=1)))) + 1
    found = axis_height_px(mask)
    assert found == pytest.approx(truth, rel=0.08)
    if pitch_deg >= 8:
        assert abs(found - truth) < 0.6 * abs(outline - truth)


def test_edge_cases() -> None:
    assert axis_height_px(np.zeros((20, 20), dtype=bool)) == 0.0
    one = np.zeros((20, 20), dtype=bool)
    one[5, 5] = True
    assert 0 <= axis_height_px(one) <= 2
    assert axis_height_px(np.ones((20, 20), dtype=bool)) == pytest.approx(20, rel=0.3)
