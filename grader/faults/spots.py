"""Small sharp marks: how one is found on a plane of strength, and what its shape is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from grader.piece import Mask
from grader.surface import Plane, grow

_MAGNIFY = 4
"""A spot of 4 px is redrawn at 16 px before its outline is judged."""


@dataclass(frozen=True, slots=True)
class Spot:
    """One mark, measured at half of its own height.

    Attributes
    ----------
    corner : tuple of int
        (row, column) of the window `region` in the working picture.
    region : ndarray of bool
        Pixels above half height, joined to the peak.
    peak : float
        Greatest strength.
    peak_at : tuple of int
        (row, column) of the peak in the working picture.
    area_px : float
        Area inside the half-height line, from the magnified window.
    diameter_px : float
        Of the circle of that area.
    length_px, width_px : float
        Sides of the smallest rectangle round the half-height line.
    ellipse_fit : float
        Share in common between the spot and the ellipse of the same moments, 0..1; a painted
        dot, seen from whichever side, has 0.93 and more.
    solidity : float
        Area over the area of the convex hull.
    steepness : float
        Greatest slope times diameter over peak: near 2 for a cone, 4 and more for a sharp rim.
    rim_slope : float
        Mean slope along the half-height line, in strength per pixel; a neighbour that touches the
        mark at one point cannot raise it much.
    """

    corner: tuple[int, int]
    region: Mask
    peak: float
    peak_at: tuple[int, int]
    area_px: float
    diameter_px: float
    length_px: float
    width_px: float
    ellipse_fit: float
    solidity: float
    steepness: float
    rim_slope: float


def find_spots(
    strength: Plane, where: Mask, *, seed: float, largest_px: float, grow_share: float = 0.5
) -> Iterator[Spot]:
    """Yield the marks whose strength exceeds a seed.

    Parameters
    ----------
    strength : ndarray of float32, shape (h, w)
    where : ndarray of bool, shape (h, w)
        Peaks are sought here only.
    seed : float
        Least strength of a peak.
    largest_px : float
        Marks longer than this are left to others.
    grow_share : float, default 0.5
        Height, as a share of the peak, at which a mark is outlined.

    Yields
    ------
    Spot
    """
    seeds = ((strength > seed) & where).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(seeds)
    height, width = strength.shape
    reach = max(3, int(largest_px / 4))
    for number in range(1, count):
        x, y, w, h = (int(value) for value in stats[number, :4])
        if max(w, h) > largest_px:
            continue
        y0, x0 = max(0, y - reach), max(0, x - reach)
        y1, x1 = min(height, y + h + reach), min(width, x + w + reach)
        window = strength[y0:y1, x0:x1]
        own = labels[y0:y1, x0:x1] == number
        spot = _measure(window, own, (y0, x0), grow_share, largest_px)
        if spot is not None:
            yield spot


def bell_steepness(diameter_px: float) -> float:
    """Steepness of the bell that the lens makes of a point.

    Parameters
    ----------
    diameter_px : float
        Width of the bell at half height.

    Returns
    -------
    float
        1.43 for a wide one, less for one of few pixels, as the slope is read over two of them.
    """
    sigma = diameter_px / 2.355
    beside = np.exp(-((sigma + np.array([-1.0, 1.0])) ** 2) / (2 * sigma**2))
    return float(beside[0] - beside[1]) / 2 * diameter_px


def enclosed(plane: Plane, spot: Spot, ring_px: float, *, below: float) -> float:
    """Share of a ring round the spot in which a plane lies below a level.

    Parameters
    ----------
    plane : ndarray of float32, shape (h, w)
        A plane on which the spot stands high.
    spot : Spot
    ring_px : float
        Outer distance of the ring from the spot; it begins at 0.4 of that.
    below : float
        Level to which the ring must have fallen.

    Returns
    -------
    float
        1 for an island; about a half for the tip of something that goes on.
    """
    window, region, _ = framed(plane, spot, max(2, round(ring_px)) + 1)
    ring = grow(region, ring_px) & ~grow(region, max(1.0, 0.4 * ring_px))
    return float((window[ring] < below).mean()) if ring.any() else 0.0


def framed(plane: Plane, spot: Spot, reach_px: int) -> tuple[Plane, Mask, tuple[int, int]]:
    """Cut a window round a spot.

    Parameters
    ----------
    plane : ndarray of float32, shape (h, w)
    spot : Spot
    reach_px : int
        How far the window goes beyond the spot, as far as there is a picture.

    Returns
    -------
    window : ndarray of float32
    region : ndarray of bool
        The spot, in the window.
    corner : tuple of int
        (row, column) of the window.
    """
    row, col = spot.corner
    height, width = spot.region.shape
    top, left = max(0, row - reach_px), max(0, col - reach_px)
    window = plane[top : row + height + reach_px, left : col + width + reach_px]
    region = np.zeros(window.shape, bool)
    region[row - top : row - top + height, col - left : col - left + width] = spot.region
    return window, region, (top, left)


def outlined(strength: Plane, region: Mask, corner: tuple[int, int]) -> Spot:
    """Measure a mark whose outline is known already.

    Parameters
    ----------
    strength : ndarray of float32, shape (h, w)
    region : ndarray of bool
        The mark in its window, not empty.
    corner : tuple of int
        (row, column) of the window.

    Returns
    -------
    Spot
    """
    height, width = region.shape
    window = strength[corner[0] : corner[0] + height, corner[1] : corner[1] + width]
    inside = np.where(region, window, -np.inf)
    row, col = np.unravel_index(int(inside.argmax()), inside.shape)
    fine = cv2.resize(
        region.astype(np.uint8), None, fx=_MAGNIFY, fy=_MAGNIFY, interpolation=cv2.INTER_NEAREST
    )
    return _spot(window, region, fine > 0, float(window[row, col]), (int(row), int(col)), corner)


def _measure(
    window: Plane, own: Mask, corner: tuple[int, int], grow_share: float, largest_px: float
) -> Spot | None:
    inside = np.where(own, window, -np.inf)
    row, col = np.unravel_index(int(inside.argmax()), inside.shape)
    peak = float(window[row, col])
    level = grow_share * peak
    region = _joined(window > level, (int(row), int(col)))
    fine = cv2.resize(window, None, fx=_MAGNIFY, fy=_MAGNIFY, interpolation=cv2.INTER_CUBIC)
    seed = (int((row + 0.5) * _MAGNIFY), int((col + 0.5) * _MAGNIFY))
    shape = _joined(fine > level, seed)
    if not shape.any() or not region.any():
        return None
    spot = _spot(window, region, shape, peak, (int(row), int(col)), corner)
    return spot if spot.length_px - 1.0 / _MAGNIFY <= largest_px else None


def _spot(
    window: Plane,
    region: Mask,
    shape: Mask,
    peak: float,
    peak_at: tuple[int, int],
    corner: tuple[int, int],
) -> Spot:
    """Shape from the magnified mark, slopes from the window it lies in."""
    contours, _ = cv2.findContours(shape.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)
    _, sides, _ = cv2.minAreaRect(contour)
    long, short = max(sides) / _MAGNIFY, min(sides) / _MAGNIFY
    area = float(shape.sum())
    hull = float(cv2.contourArea(cv2.convexHull(contour))) + 1.0
    diameter = 2.0 * np.sqrt(area / np.pi) / _MAGNIFY
    down, across = np.gradient(window)
    slopes = np.hypot(down, across)
    slope = float(slopes[_ring(region)].max())
    inner = cv2.erode(
        region.astype(np.uint8),
        np.ones((3, 3), np.uint8),
        borderType=cv2.BORDER_CONSTANT,
        borderValue=0,
    )
    line = _ring(region) & ~(inner > 0)
    return Spot(
        corner=corner,
        region=region,
        peak=peak,
        peak_at=(corner[0] + peak_at[0], corner[1] + peak_at[1]),
        area_px=area / _MAGNIFY**2,
        diameter_px=float(diameter),
        length_px=long + 1.0 / _MAGNIFY,
        width_px=short + 1.0 / _MAGNIFY,
        ellipse_fit=_ellipse_fit(shape),
        solidity=min(1.0, float(cv2.contourArea(contour)) / hull),
        steepness=slope * float(diameter) / max(peak, 1e-6),
        rim_slope=float(slopes[line].mean()),
    )


def _joined(mask: Mask, at: tuple[int, int]) -> Mask:
    row, col = (min(at[0], mask.shape[0] - 1), min(at[1], mask.shape[1] - 1))
    if not mask[row, col]:
        return np.zeros_like(mask)
    _, labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=4)
    return np.asarray(labels == labels[row, col])


def _ring(region: Mask) -> Mask:
    return cv2.dilate(region.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0


def _ellipse_fit(shape: Mask) -> float:
    moments = cv2.moments(shape.astype(np.uint8), binaryImage=True)
    area = moments["m00"]
    if area < 4:
        return 0.0
    centre = (moments["m10"] / area, moments["m01"] / area)
    spread = np.array(
        [
            [moments["mu20"] / area, moments["mu11"] / area],
            [moments["mu11"] / area, moments["mu02"] / area],
        ]
    )
    inverse = np.linalg.inv(spread + 1e-3 * np.eye(2))
    rows, cols = np.mgrid[0 : shape.shape[0], 0 : shape.shape[1]]
    off = np.stack([cols - centre[0], rows - centre[1]], axis=-1)
    # An ellipse of these second moments has its edge where the squared distance is 4.
    ellipse = np.einsum("...i,ij,...j->...", off, inverse, off) <= 4.0
    return float((ellipse & shape).sum() / max(1, (ellipse | shape).sum()))


def local_median(plane: Plane, window_px: float, *, low: float, high: float) -> Plane:
    """Median over a square window of any size, by way of bytes.

    Parameters
    ----------
    plane : ndarray of float32, shape (h, w)
    window_px : float
    low, high : float
        Range that is kept; a 255th of it is the resolution.
    """
    size = 2 * max(1, round(window_px / 2)) + 1
    step = (high - low) / 255.0
    as_bytes = np.clip((plane - low) / step, 0, 255).astype(np.uint8)
    return (cv2.medianBlur(as_bytes, size).astype(np.float32) * step + low).astype(np.float32)
