"""What every fault module looks at, and how it reports what it found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.facts import Finish
from grader.findings import FaultName, Finding, Zone
from grader.piece import Mask
from grader.skin import Skin
from grader.surface import Surface
from grader.zones import Zones

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class ViewEvidence:
    """One view, ready to be searched.

    Attributes
    ----------
    surface : Surface
    zones : Zones
    skin : Skin or None
        None for views of the inside and the foot.
    relief : ndarray of bool, shape (h, w)
        Near handles, lugs and other edges of form, where light bends for other reasons.
    shade : ndarray of bool, shape (h, w)
        Wider round a handle that faces the camera, where its shadow may fall.
    """

    surface: Surface
    zones: Zones
    skin: Skin | None
    relief: Mask
    shade: Mask


@dataclass(frozen=True, slots=True)
class Evidence:
    """All views of one piece.

    Attributes
    ----------
    views : tuple of ViewEvidence
    finish : {"raw", "glazed", "coloured"} or None
    decorated : bool or None
    lost : frozenset of str
        Photos whose outline is as good as sure to be wrong.
    """

    views: tuple[ViewEvidence, ...]
    finish: Finish | None
    decorated: bool | None
    lost: frozenset[str] = frozenset()

    @property
    def sides(self) -> tuple[ViewEvidence, ...]:
        """Views round the piece that share camera and light."""
        return tuple(view for view in self.views if view.skin is not None)


def window_of(region: Mask, corner: tuple[int, int]) -> tuple[slice, slice]:
    """Rows and columns of the working picture that a region covers whose window begins at `corner`.

    Parameters
    ----------
    region : ndarray of bool
        A window of the working picture.
    corner : tuple of int
        (row, column) of the window.

    Returns
    -------
    tuple of slice
    """
    height, width = region.shape
    return slice(corner[0], corner[0] + height), slice(corner[1], corner[1] + width)


def off_clay(view: ViewEvidence, at: tuple[slice, slice]) -> NDArray[np.float32]:
    """The two log-chromaticities and the tone of a window, less those of the clay there.

    Parameters
    ----------
    view : ViewEvidence
    at : tuple of slice
        Rows and columns of the working picture.

    Returns
    -------
    ndarray of float32, shape (h, w, 3)
    """
    surface, zones = view.surface, view.zones
    return np.dstack(
        [surface.chroma[at] - zones.clay_chroma[at], surface.tone[at] - zones.clay_tone[at]]
    )


def near_clay(
    view: ViewEvidence, rest: NDArray[np.float32], reach_mm: float, at: tuple[slice, slice]
) -> NDArray[np.float32]:
    """Mean of a measure over the unpainted wall near each place of a window.

    Parameters
    ----------
    view : ViewEvidence
    rest : ndarray of float32, shape (h, w) or (h, w, channels)
        What is left of the measure where the fit through all of the clay is taken off.
    reach_mm : float
        Of the Gaussian mean, standard deviation.
    at : tuple of slice
        Rows and columns of the working picture.

    Returns
    -------
    ndarray of float32, of the same shape
        Falls off to nought, the fit itself, where no such wall is near.
    """
    zones, sigma = view.zones, view.surface.px(reach_mm)
    clay = (zones.wall & ~zones.painted)[at].astype(np.float32)
    share = np.maximum(cv2.GaussianBlur(clay, (0, 0), sigma), 0.02)
    if rest.ndim > 2:
        clay, share = clay[..., None], share[..., None]
    # Not by product: beyond the wall the measure may be of any size.
    known = np.where(clay > 0, rest, 0).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(known, (0, 0), sigma) / share, np.float32)


def zone_of(view: ViewEvidence, region: Mask, corner: tuple[int, int]) -> Zone:
    """Zone in which most of a region lies.

    Parameters
    ----------
    view : ViewEvidence
    region : ndarray of bool
        A window of the working picture.
    corner : tuple of int
        (row, column) of the window.
    """
    window = window_of(region, corner)
    total = max(1, int(region.sum()))
    if (view.zones.painted[window] & region).sum() > 0.5 * total:
        return "painted"
    if (view.zones.inside[window] & region).sum() > 0.5 * total or view.surface.view == "inside":
        return "inside"
    if (view.zones.foot[window] & region).sum() > 0.5 * total or view.surface.view == "foot":
        return "foot"
    return "clay"


def on_body(view: ViewEvidence, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Places on a view, in millimetres from the middle of the body and from its top.

    Parameters
    ----------
    view : ViewEvidence
    places : ndarray of float64, shape (..., 2)
        (x, y) in working pixels.

    Returns
    -------
    ndarray of float64, shape (..., 2)
    """
    zones = view.zones
    middle = float(np.nanmedian((zones.body_left + zones.body_right) / 2))
    return np.asarray((places - [middle, zones.body_rows[0]]) / view.surface.px_per_mm)


def other_sides(
    views: Sequence[ViewEvidence], found: Sequence[T], view: ViewEvidence
) -> list[tuple[ViewEvidence, T]]:
    """The other sides of the piece, each with what was found on it; none for inside and foot.

    What lies at one place of the picture on several of them is of the room or of the form.
    """
    return [
        (other, its)
        for other, its in zip(views, found, strict=True)
        if other is not view and other.skin is not None and view.skin is not None
    ]


def finding(
    view: ViewEvidence,
    fault: FaultName,
    region: Mask,
    corner: tuple[int, int],
    *,
    shift_de00: float | None,
    certainty: float,
    why: str,
    zone: Zone | None = None,
    area_px: float | None = None,
    measures: tuple[tuple[str, float, str], ...] = (),
) -> Finding:
    """Turn a region of the working picture into a finding on the full-size photo.

    Parameters
    ----------
    view : ViewEvidence
    fault : str
    region : ndarray of bool
        A window of the working picture; may consist of several parts.
    corner : tuple of int
        (row, column) of the window.
    shift_de00, certainty, why, zone, measures
        As in `Finding`; `zone` is looked up where it is not given.
    area_px : float, optional
        Area in working pixels where it is known better than by counting.

    Returns
    -------
    Finding
    """
    surface = view.surface
    contours, _ = cv2.findContours(
        region.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    points = np.concatenate(contours)[:, 0].astype(np.float64)
    outline = _outline(contours)
    origin = np.array(surface.origin_px)
    offset = np.array([corner[1], corner[0]], np.float64)
    # Pixel centres: the middle of working pixel 0 is half a step into the photo.
    full = (outline + offset + 0.5) * surface.step + origin - 0.5
    low = (points.min(0) + offset) * surface.step + origin
    high = (points.max(0) + offset + 1) * surface.step + origin
    x0, y0 = np.floor(low).astype(int)
    x1, y1 = np.ceil(high).astype(int)
    width, height = surface.size_px
    x0, y0 = max(0, int(x0)), max(0, int(y0))
    x1, y1 = min(width, int(x1)), min(height, int(y1))
    extent_px = 2.0 * cv2.minEnclosingCircle(points.astype(np.float32))[1] + 1.0
    area = float(area_px if area_px is not None else region.sum())
    scale = surface.px_per_mm
    known = surface.scale_known
    first, last = view.zones.body_rows
    return Finding(
        fault=fault,
        photo=surface.photo,
        view=surface.view,
        bbox_px=(x0, y0, max(1, x1 - x0), max(1, y1 - y0)),
        outline_px=tuple((round(float(x)), round(float(y))) for x, y in full),
        zone=zone or zone_of(view, region, corner),
        diameter_mm=round(extent_px / scale, 2) if known else None,
        area_mm2=round(area / scale**2, 2) if known else None,
        height_share=round(float(np.ptp(points[:, 1]) + 1) / max(1, last - first), 3),
        shift_de00=None if shift_de00 is None else round(shift_de00, 1),
        certainty=round(float(np.clip(certainty, 0.0, 1.0)), 2),
        why=why,
        measures=measures,
    )


def _outline(contours: Sequence[NDArray[np.int32]]) -> NDArray[np.float64]:
    """The outline of the largest part, thinned to what a screen can show, three points at least."""
    largest = max(contours, key=cv2.contourArea)
    slack = 0.01 * cv2.arcLength(largest, True)
    thin = cv2.approxPolyDP(largest, slack, True)[:, 0].astype(np.float64)
    if len(thin) >= 3:
        return thin
    low, high = thin.min(0) - 0.5, thin.max(0) + 0.5
    return np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])


def in_words(length_mm: float, view: ViewEvidence) -> str:
    """A length for a sentence: millimetres where they are known, else a share of the height."""
    if view.surface.scale_known:
        return f"{length_mm:.1f} mm" if length_mm < 9.95 else f"{length_mm:.0f} mm"
    first, last = view.zones.body_rows
    share = 100 * view.surface.px(length_mm) / max(1, last - first)
    return f"{share:.0f} % of its height" if share >= 1 else "under 1 % of its height"
