"""The scale on a piece is that of its marker, carried to where the piece is."""

from __future__ import annotations

import numpy as np
import pytest

from grader.piece import Silhouette
from grader.piece_scale import piece_scale, smallest_judged_mm
from grader.target import Scale

SIZE_PX = (1600, 1200)


def _silhouette() -> Silhouette:
    mask = np.zeros((1200, 1600), bool)
    mask[300:900, 600:1000] = True
    return Silhouette(mask=mask, bbox_px=(600, 300, 400, 600), certainty=1.0)


def test_without_marker_and_height_nothing_is_claimed() -> None:
    size = piece_scale(
        Scale(None), _silhouette(), view="front", size_px=SIZE_PX, focal_35mm=26.0, height_mm=None
    )
    assert size.axis_px_per_mm is None
    assert size.near_px_per_mm is None
    assert size.source is None


def test_the_height_serves_on_sides_only() -> None:
    for view, source in (("front", "height"), ("foot", None), ("inside", None)):
        size = piece_scale(
            Scale(None),
            _silhouette(),
            view=view,
            size_px=SIZE_PX,
            focal_35mm=26.0,
            height_mm=100.0,
        )
        assert size.source == source


@pytest.mark.parametrize("px_per_mm", [4.0, 9.0])
def test_the_near_side_looks_larger_than_the_axis(px_per_mm: float) -> None:
    size = piece_scale(
        Scale(px_per_mm, "marker"),
        _silhouette(),
        view="front",
        size_px=SIZE_PX,
        focal_35mm=26.0,
        height_mm=None,
    )
    assert size.axis_px_per_mm == pytest.approx(px_per_mm)
    assert size.near_px_per_mm is not None
    assert 1.0 < size.near_px_per_mm / px_per_mm < 1.35


def test_the_smallest_spot_is_five_pixels_across() -> None:
    assert smallest_judged_mm(10.0) == pytest.approx(0.5)
    assert smallest_judged_mm(None) is None
