"""The scale on a piece: on its axis and on the side that faces the camera."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from grader.findings import View
from grader.height import axis_height_px
from grader.piece import Silhouette
from grader.scale import near_surface_px_per_mm
from grader.target import Scale, scale_from_height, scale_on_axis

NOT_A_SIDE = ("inside", "foot", "top")
"""Views in which the piece does not stand upright before the camera."""

_COMFORTABLE_PX = 5.0
"""Pixels across the smallest spot that is judged with ease."""


@dataclass(frozen=True, slots=True)
class PieceScale:
    """How large a millimetre of the piece is in a photo.

    Attributes
    ----------
    axis_px_per_mm, near_px_per_mm : float or None
        In full-size pixels; None where nothing tells.
    source : {"marker", "height"} or None
    """

    axis_px_per_mm: float | None
    near_px_per_mm: float | None
    source: Literal["marker", "height"] | None


def piece_scale(
    scale: Scale,
    silhouette: Silhouette,
    *,
    view: View,
    size_px: tuple[int, int],
    focal_35mm: float | None,
    height_mm: float | None,
) -> PieceScale:
    """Carry the scale of the marker, or of the height that the potter gave, to the piece.

    Parameters
    ----------
    scale : Scale
        From the marker; without one the height serves, on views from the side.
    silhouette : Silhouette
    view : str
    size_px : tuple of int
        (width, height) of the photo.
    focal_35mm : float or None
    height_mm : float or None

    Returns
    -------
    PieceScale
    """
    _, top, across, high = silhouette.bbox_px
    if scale.px_per_mm is None and height_mm and view not in NOT_A_SIDE:
        scale = scale_from_height(axis_height_px(silhouette.mask), height_mm)
    if scale.px_per_mm is None:
        return PieceScale(None, None, None)
    axis = scale_on_axis(scale, size_px, focal_35mm, middle_row_px=top + high / 2)
    # A handle seen from the side is no part of the round body.
    wide = min(float(across), 1.2 * float(high))
    near = near_surface_px_per_mm(axis, size_px, focal_35mm, wide, pitch_deg=scale.pitch_deg)
    return PieceScale(axis, near.px_per_mm, scale.source)


def smallest_judged_mm(near_px_per_mm: float | None) -> float | None:
    """Diameter of the smallest spot that is judged with ease, in millimetres."""
    return None if near_px_per_mm is None else round(_COMFORTABLE_PX / near_px_per_mm, 2)
