"""How sharp the piece itself is, measured on its own edges.

A universal limit on a whole-picture sharpness measure fails: a plain white bowl has little to be
sharp about, and a sharp card beside a blurred pot scores well (Pertuz, Puig & Garcia 2013). The
outline of a piece against its background, its rim, paint and specks are edges that a sharp lens
renders one or two pixels wide whatever the piece. How much such an edge flattens when the
picture is blurred once more tells how blurred it was (Zhuo & Sim 2011).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

# Blur, px (standard deviation), laid on the picture first, against noise, and again for the
# comparison.
_FIRST_PX = 1.0
_SECOND_PX = 2.0

# An edge must rise above the noise of its own picture so many times, and be at least so strong
# against the strongest edges of its direction, and of all: weak ones are shading, which is soft
# by nature. A shake over 15 px weakens the edges across it to a sixth.
_OVER_NOISE = 6.0
_OF_STRONGEST = 0.25
_AT_LEAST_OF_STRONGEST = 0.1

# Specks and grain are no steps from one tone to another, and flatten faster; only edges that run
# on for so many pixels, around paint, rim and outline, are compared.
_LONG_PX = 40

# Directions are judged apart, as a shaken photo is sharp along the shake. So many edge pixels
# in a direction are enough to speak for it.
_DIRECTIONS = 4
_ENOUGH_PX = 60

# The sharpest edges speak for the lens; the others may be soft paint or a rounded rim.
_SHARPEST_SHARE = 0.25

# Most pixels of the longest side that are looked at; blur in a larger crop shows as well at half
# the size.
_WORK_PX = 2400

# Blur, in px of the picture at work, from which the second blur no longer tells how wide it is.
_COARSE_PX = 6.0

FWHM = 2.355
"""Full width at half maximum of a normal blur, in standard deviations."""


@dataclass(frozen=True, slots=True)
class Sharpness:
    """Blur of the sharpest edges of the piece.

    Attributes
    ----------
    blur_px : float
        Full width at half maximum, in pixels of the photo, in the most blurred direction.
    least_blur_px : float
        The same in the sharpest direction; much less than ``blur_px`` where the photo is shaken.
    edges_px : int
        Number of edge pixels that it rests on.
    """

    blur_px: float
    least_blur_px: float
    edges_px: int


def measure_sharpness(rgb: NDArray[np.uint8], mask: NDArray[np.bool_]) -> Sharpness | None:
    """Measure the blur of the piece.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
    mask : ndarray of bool, shape (height, width)
        The piece (or the marker's card, to compare).

    Returns
    -------
    Sharpness or None
        None where the piece has too few edges to tell.
    """
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not len(rows):
        return None
    margin = 12
    window = (
        slice(max(0, rows[0] - margin), rows[-1] + margin + 1),
        slice(max(0, columns[0] - margin), columns[-1] + margin + 1),
    )
    grey = cv2.cvtColor(np.ascontiguousarray(rgb[window]), cv2.COLOR_RGB2GRAY)
    # The outline of the piece is the edge that is always there: a few pixels around are taken in.
    near = cv2.dilate(mask[window].astype(np.uint8), np.ones((9, 9), np.uint8))
    step = max(1, int(np.ceil(max(grey.shape) / _WORK_PX)))
    if step > 1:
        size = (grey.shape[1] // step, grey.shape[0] // step)
        grey = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
        near = cv2.resize(near, size, interpolation=cv2.INTER_NEAREST)
    # Clipped highlights have edges sharper than the lens makes them.
    near[cv2.dilate((grey >= 250).astype(np.uint8), np.ones((9, 9), np.uint8)) > 0] = 0
    sharpness = _from_edges(grey, near.astype(bool), step)
    while sharpness is not None and sharpness.blur_px > _COARSE_PX * step and min(grey.shape) > 400:
        # So wide a blur is told apart from a wider one at half the size only.
        step *= 2
        size = (grey.shape[1] // 2, grey.shape[0] // 2)
        grey = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
        near = cv2.resize(near, size, interpolation=cv2.INTER_NEAREST)
        coarser = _from_edges(grey, near.astype(bool), step)
        if coarser is None:
            break
        sharpness = coarser
    return sharpness


def _from_edges(grey: NDArray[np.uint8], near: NDArray[np.bool_], step: int) -> Sharpness | None:
    light = grey.astype(np.float32)
    first = cv2.GaussianBlur(light, (0, 0), _FIRST_PX)
    second = cv2.GaussianBlur(first, (0, 0), _SECOND_PX)
    across, down = (cv2.Sobel(first, cv2.CV_32F, dx, dy, scale=1 / 8) for dx, dy in _XY)
    strength = cv2.magnitude(across, down)
    softened = cv2.magnitude(
        *(cv2.Sobel(second, cv2.CV_32F, dx, dy, scale=1 / 8) for dx, dy in _XY)
    )
    if not near.any():
        return None
    noise = 1.48 * float(np.median(np.abs(strength[near] - np.median(strength[near]))))
    strongest = float(np.percentile(strength[near], 99.5))
    floor = max(_OVER_NOISE * max(noise, 0.2), _AT_LEAST_OF_STRONGEST * strongest)
    angle = np.arctan2(down, across) % np.pi
    sector = np.rint(angle / np.pi * _DIRECTIONS).astype(np.uint8) % _DIRECTIONS
    limit = np.array(
        [
            max(floor, _OF_STRONGEST * float(np.percentile(part, 99.5)) if len(part) else 0.0)
            for part in (strength[near & (sector == k)] for k in range(_DIRECTIONS))
        ],
        dtype=np.float32,
    )
    edge = _long(near & (strength > limit[sector]) & _is_ridge(strength, across, down))
    if edge.sum() < _ENOUGH_PX:
        return None
    ratio = strength[edge] / np.maximum(softened[edge], 1e-3)
    # Edges closer together than the second blur soften each other the more: the result then
    # errs to the sharp side, never to the blurred one.
    spread_sq = _SECOND_PX**2 / np.maximum(ratio**2 - 1, 1e-3) - _FIRST_PX**2
    spread = np.sqrt(np.maximum(spread_sq, 0.0)) * step
    direction = sector[edge]
    blurs = [
        FWHM * float(np.quantile(spread[direction == k], _SHARPEST_SHARE))
        for k in range(_DIRECTIONS)
        if (direction == k).sum() >= _ENOUGH_PX
    ]
    if not blurs:
        blurs = [FWHM * float(np.quantile(spread, _SHARPEST_SHARE))]
    return Sharpness(max(blurs), min(blurs), int(edge.sum()))


_XY = ((1, 0), (0, 1))


def _long(edge: NDArray[np.bool_]) -> NDArray[np.bool_]:
    _, labels, stats, _ = cv2.connectedComponentsWithStats(edge.astype(np.uint8), connectivity=8)
    enough = stats[:, cv2.CC_STAT_AREA] >= _LONG_PX
    enough[0] = False
    return np.asarray(enough[labels])


def _is_ridge(
    strength: NDArray[np.float32], across: NDArray[np.float32], down: NDArray[np.float32]
) -> NDArray[np.bool_]:
    """Keep the middle line of each edge: stronger than its neighbours along its own slope."""
    flat = np.abs(across) >= np.abs(down)
    highest_across = ndimage.maximum_filter1d(strength, 3, axis=1)
    highest_down = ndimage.maximum_filter1d(strength, 3, axis=0)
    return np.asarray(np.where(flat, strength >= highest_across, strength >= highest_down))
