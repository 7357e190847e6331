"""The edge of a piece, followed along a straightened strip on both sides of its outline.

References
----------
A. A. Amini, T. E. Weymouth and R. C. Jain, "Using dynamic programming for solving variational
problems in vision", IEEE PAMI 12(9), 1990. https://doi.org/10.1109/34.57681
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from grader.outline.regions import CHROMA_WEIGHT, Mask, Plane, Values

_CALM_PX = 8.0
"""Smoothing of the outline before the strip is laid along it, or the normals of its steps would
cross within the strip."""

_SHORTEST_PX = 100
"""A shorter outline, of a hole or a speck, has no strip: it would be all corner."""

_TURN_COST = 0.12
"""Cost of a turn by half a right angle; 1 is the difference between no edge and a perfect one."""

_MATERIAL_COST = 0.08
"""Cost of a pixel on the wrong side: a dozen of them weigh as much as half an edge."""

_ALONG_PX = 25.0
"""Reach along the outline within which each side is taken for one material."""

_CHROMA_NOISE = 0.05
"""Change of log-chromaticity (natural log units) that is no change of material: the light that a
piece throws on its table, and the noise of JPEG in dark places."""

_FAR = 0.4
"""Beyond this share of the strip's half width, what is seen is surely of that side."""


def follow_strip(logs: NDArray[np.float32], coarse: Mask, cards: Mask, reach: int) -> Mask:
    """Follow the edge round a piece.

    Parameters
    ----------
    logs : ndarray of float32, shape (h, w, 3)
        log(R/G), log(B/G) and log light.
    coarse : ndarray of bool, shape (h, w)
        The piece, about.
    cards : ndarray of bool, shape (h, w)
        Pixels that are no piece.
    reach : int
        Half the width of the strip, pixels.

    Returns
    -------
    ndarray of bool, shape (h, w)
    """
    weighted = logs * np.array([CHROMA_WEIGHT, CHROMA_WEIGHT, 1.0], np.float32)
    across = cv2.Sobel(weighted, cv2.CV_32F, 1, 0, scale=0.125)
    down = cv2.Sobel(weighted, cv2.CV_32F, 0, 1, scale=0.125)
    chroma = np.ascontiguousarray(logs[..., :2])
    depth = _depth(coarse)
    contours, tree = cv2.findContours(
        coarse.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE
    )
    out = np.zeros(coarse.shape, np.uint8)
    # Outer outlines first, and then the holes in them.
    holes = tree[0][:, 3] >= 0 if len(contours) else np.zeros(0, bool)
    for number in np.argsort(holes, kind="stable"):
        points = contours[number][:, 0].astype(np.float32)
        if len(points) >= _SHORTEST_PX:
            calm, normal = _calm(points)
            offsets = np.arange(-reach, reach + 1, dtype=np.float32)
            x = calm[:, :1] + normal[:, :1] * offsets
            y = calm[:, 1:] + normal[:, 1:] * offsets
            steps = _read(across, x, y) * normal[:, None, :1]
            steps += _read(down, x, y) * normal[:, None, 1:]
            strength = np.abs(steps).max(-1)
            usual = max(1e-6, float(np.median(strength.max(1))))
            cost = usual / (usual + strength) + _wrong_side(_read(chroma, x, y), offsets)
            # Beyond the middle of a narrow part begins another outline.
            cost[np.abs(_read(depth, x, y)) < np.abs(offsets) - 2.0] += 1.0
            cost[_read(cards.astype(np.float32), x, y) > 0.5] += 1.0
            way = follow(cost.astype(np.float32), turn_cost=_TURN_COST)
            points = calm + normal * offsets[way][:, None]
        value = 0 if holes[number] else 1
        cv2.drawContours(out, [np.round(points)[:, None].astype(np.int32)], -1, value, cv2.FILLED)
    return out > 0


def follow(cost: NDArray[np.float32], *, turn_cost: float) -> NDArray[np.int64]:
    """Find the closed way along a strip whose places cost least.

    Parameters
    ----------
    cost : ndarray of float32, shape (n, m)
        Of each offset (m) at each position along the strip (n); the last position is the
        neighbour of the first.
    turn_cost : float
        Added wherever the way moves aside, by one offset at most, from position to position.

    Returns
    -------
    ndarray of int, shape (n,)
        Offset at each position, 0..m-1.
    """
    length, width = cost.shape
    # Half a round to forget the start, and half a one for the end to know where it leads back to.
    order = (np.arange(2 * length) + length // 2) % length
    came = np.empty((len(order), width), np.int8)
    padded = np.full(width + 2, np.inf, np.float32)
    sources = np.lib.stride_tricks.sliding_window_view(padded, width)
    dear = np.array([[turn_cost], [0.0], [turn_cost]], np.float32)
    everywhere = np.arange(width)
    total = np.zeros(width, np.float32)
    for row, position in enumerate(order):
        padded[1:-1] = total
        ways = sources + dear
        best = ways.argmin(0)
        came[row] = best - 1
        total = ways[best, everywhere] + cost[position]
    at = int(total.argmin())
    way = np.empty(len(order), np.int64)
    for row in range(len(order) - 1, -1, -1):
        way[row] = at
        at += int(came[row, at])
    start = length - length // 2
    return way[start : start + length]


def _calm(points: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Smoothed outline and its normals, which point from left to right of the way along it."""
    calm = ndimage.gaussian_filter1d(points, _CALM_PX, axis=0, mode="wrap")
    along = np.roll(calm, -2, axis=0) - np.roll(calm, 2, axis=0)
    along /= np.maximum(1e-6, np.hypot(*along.T))[:, None]
    return calm, np.stack([-along[:, 1], along[:, 0]], axis=1)


def _read(plane: NDArray[np.float32], x: Plane, y: Plane) -> NDArray[np.float32]:
    return np.asarray(
        cv2.remap(plane, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32
    )


def _depth(mask: Mask) -> Plane:
    """Distance from the outline, in pixels: above 0 inside, below outside."""
    inside = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 3)
    return np.asarray(inside - cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 3))


def _wrong_side(chroma: NDArray[np.float32], offsets: NDArray[np.float32]) -> Values:
    """Cost of an outline at each offset, for the pixels it leaves on the wrong side of it.

    Parameters
    ----------
    chroma : ndarray of float32, shape (n, m, 2)
    offsets : ndarray of float32, shape (m,)

    Returns
    -------
    ndarray of float, shape (n, m)
    """
    left, right = (offsets < _FAR * offsets[0]), (offsets > _FAR * offsets[-1])
    one, other = _along(chroma[:, left].mean(1)), _along(chroma[:, right].mean(1))
    spread = _along(((chroma[:, left] - one[:, None]) ** 2).sum(-1).mean(1))
    spread += _along(((chroma[:, right] - other[:, None]) ** 2).sum(-1).mean(1))
    change = other - one
    size = (change**2).sum(1)
    # Where paint changes along the outline its colour tells nothing.
    sure = size / (size + spread + _CHROMA_NOISE**2)
    away = ((chroma - 0.5 * (one + other)[:, None]) * change[:, None]).sum(-1)
    share = np.clip(away / np.maximum(size, 1e-9)[:, None], -0.5, 0.5)
    return np.asarray(_MATERIAL_COST * np.cumsum(sure[:, None] * share, axis=1))


def _along(values: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(ndimage.gaussian_filter1d(values, _ALONG_PX, axis=0, mode="wrap"))
