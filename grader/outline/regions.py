"""A photo divided into small regions that keep to its edges.

A region is some ten pixels across: large enough for its mean to be free of grain and weave, small
enough to follow a handle. Whatever is decided later is decided for whole regions, so that single
pixels of noise have no say.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.segmentation import watershed

from grader.colour.srgb import decode_srgb

Mask = NDArray[np.bool_]
Plane = NDArray[np.float32]
Values = NDArray[np.float64]

_DARK_FLOOR = 0.012
"""Linear light added before logarithms, three 8-bit steps: below it colour is camera noise."""

_REGION_PX = 11
"""Spacing of the regions; a handle 1 % of the photo wide still has a region of its own."""

CHROMA_WEIGHT = 2.0
"""Chromaticity tells materials apart where light also tells sides: it weighs twice."""

_GRAIN_PX, _WEAVE_PX = 2.0, (1.5, 5.0)
"""Scales of texture: grain is finer than the first, weave and wood lie between the others."""

_TEXTURE_FLOOR = 0.01
"""Contrast (natural log units) below which a surface counts as even: noise of a good photo."""

_ACROSS_PX = 2
"""Distance from a border at which both sides are read, past the blur of the lens."""


@dataclass(frozen=True, slots=True)
class Regions:
    """Regions of a photo, n of them with m borders between neighbours.

    Attributes
    ----------
    labels : ndarray of int32, shape (h, w)
        Number of the region of each pixel, 0..n-1.
    area_px : ndarray of float, shape (n,)
    place : ndarray of float, shape (n, 2)
        Middle (x, y) as shares of width and height.
    look : ndarray of float, shape (n, 5)
        log(R/G), log(B/G), log light, log grain, log weave.
    card_share : ndarray of float, shape (n,)
        Share that a card covers.
    pairs : ndarray of int, shape (m, 2)
        Neighbours.
    border_px : ndarray of float, shape (m,)
        Length of their common border.
    step : ndarray of float, shape (m, 5)
        Difference in `look` across the border, second minus first. Averaged along the border
        with its sign, so that texture cancels out and an edge does not.
    """

    labels: NDArray[np.int32]
    area_px: Values
    place: Values
    look: Values
    card_share: Values
    pairs: NDArray[np.int64]
    border_px: Values
    step: Values

    @property
    def count(self) -> int:
        return len(self.area_px)

    def share_of(self, mask: Mask) -> Values:
        """Share of each region that a mask of shape (h, w) covers."""
        covered = np.bincount(self.labels[mask], minlength=self.count)
        return np.asarray(covered / np.maximum(self.area_px, 1))

    def mean_of(self, plane: NDArray[np.generic]) -> Values:
        """Mean of a plane of shape (h, w) over each region."""
        return _means(self.labels, self.area_px, plane)


def divide(rgb: NDArray[np.uint8], cards: Mask) -> Regions:
    """Divide a photo into regions.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Reduced to some 640 pixels.
    cards : ndarray of bool, shape (h, w)
        Pixels covered by marker and chart.

    Returns
    -------
    Regions
    """
    logs = log_look(rgb)
    calm = cv2.GaussianBlur(logs, (0, 0), 1.2)
    labels = _flood_from_grid(edge_strength(cv2.GaussianBlur(logs, (0, 0), 1.5)))
    flat = labels.ravel()
    count = int(flat.max()) + 1
    area = np.maximum(np.bincount(flat, minlength=count).astype(float), 1.0)

    mean = partial(_means, labels, area)
    height, width = labels.shape
    rows, cols = np.mgrid[0:height, 0:width]
    texture = [_texture(energy, labels, area) for energy in _texture_energies(logs[..., 2])]
    look = np.stack([*(mean(calm[..., k]) for k in range(3)), *texture], axis=1)
    pairs, length, step = _borders(labels, count, calm)
    step = np.concatenate([step, look[pairs[:, 1], 3:] - look[pairs[:, 0], 3:]], axis=1)
    return Regions(
        labels=labels,
        area_px=area,
        place=np.stack([mean(cols / width), mean(rows / height)], axis=1),
        look=look,
        card_share=mean(cards),
        pairs=pairs,
        border_px=length,
        step=step,
    )


def _means(labels: NDArray[np.int32], area: Values, plane: NDArray[np.generic]) -> Values:
    total = np.bincount(labels.ravel(), weights=plane.ravel(), minlength=len(area))
    return np.asarray(total / area)


def weighted_quantiles(values: Values, weights: Values, shares: tuple[float, ...]) -> list[float]:
    """Values below which each share of the whole weight lies."""
    order = np.argsort(values)
    reached = np.cumsum(weights[order]) / weights.sum()
    at = np.minimum(np.searchsorted(reached, shares), len(values) - 1)
    return [float(value) for value in values[order][at]]


def log_look(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """log(R/G), log(B/G) and mean log light, shape (h, w, 3); shading leaves the first two."""
    light = decode_srgb(np.ascontiguousarray(rgb))
    red, green, blue = cv2.split(cv2.log(light + np.float32(_DARK_FLOOR)))
    return np.dstack([red - green, blue - green, (red + green + blue) / 3.0])


def edge_strength(logs: NDArray[np.float32]) -> Plane:
    """Steepest change of any of the three logarithms, per pixel."""
    strength = np.zeros(logs.shape[:2], np.float32)
    for channel, weight in enumerate((CHROMA_WEIGHT, CHROMA_WEIGHT, 1.0)):
        plane = np.ascontiguousarray(logs[..., channel])
        across = cv2.Sobel(plane, cv2.CV_32F, 1, 0, scale=weight / 8)
        down = cv2.Sobel(plane, cv2.CV_32F, 0, 1, scale=weight / 8)
        strength = np.maximum(strength, cv2.magnitude(across, down))
    return strength


def _flood_from_grid(strength: Plane) -> NDArray[np.int32]:
    """One region for each cell of a grid, grown from the calmest pixel of the cell."""
    calm = cv2.GaussianBlur(strength, (0, 0), 1.0)
    height, width = calm.shape
    step = max(1, min(_REGION_PX, height, width))
    down, across = height // step, width // step
    cells = calm[: down * step, : across * step].reshape(down, step, across, step)
    at = cells.transpose(0, 2, 1, 3).reshape(down, across, -1).argmin(-1)
    rows = np.arange(down)[:, None] * step + at // step
    cols = np.arange(across)[None] * step + at % step
    markers = np.zeros(calm.shape, np.int32)
    markers[rows.ravel(), cols.ravel()] = np.arange(1, down * across + 1)
    return np.asarray(watershed(strength, markers) - 1, dtype=np.int32)


def _texture_energies(light: Plane) -> tuple[Plane, Plane]:
    grain = light - cv2.GaussianBlur(light, (0, 0), _GRAIN_PX)
    finer, coarser = _WEAVE_PX
    weave = cv2.GaussianBlur(light, (0, 0), finer) - cv2.GaussianBlur(light, (0, 0), coarser)
    # The wave of a weave is longer than a region: its energy is spread over one and a half.
    return grain * grain, cv2.GaussianBlur(weave * weave, (0, 0), 3.0)


def _texture(energy: Plane, labels: NDArray[np.int32], area: Values) -> Values:
    """Log contrast within each region, away from its border where an edge may run."""
    inner = np.ones(labels.shape, bool)
    down, across = labels[1:] != labels[:-1], labels[:, 1:] != labels[:, :-1]
    inner[1:] &= ~down
    inner[:-1] &= ~down
    inner[:, 1:] &= ~across
    inner[:, :-1] &= ~across
    flat, count = labels.ravel(), len(area)
    total = np.bincount(flat, weights=energy.ravel(), minlength=count)
    within = np.bincount(flat, weights=(energy * inner).ravel(), minlength=count)
    inner_area = np.bincount(flat, weights=inner.ravel(), minlength=count)
    # Slivers have no inside; a thousandth of the whole stands in for it.
    mean = (within + 1e-3 * total) / (inner_area + 1e-3 * area)
    return np.asarray(np.log(np.sqrt(np.maximum(mean, 0.0)) + _TEXTURE_FLOOR))


def _borders(
    labels: NDArray[np.int32], count: int, calm: NDArray[np.float32]
) -> tuple[NDArray[np.int64], Values, Values]:
    """Neighbours, length of their borders, and mean signed step of colour across them."""
    height, width = labels.shape
    pairs, steps = [], []
    for axis in (0, 1):
        one = labels[:-1] if axis == 0 else labels[:, :-1]
        other = labels[1:] if axis == 0 else labels[:, 1:]
        rows, cols = np.nonzero(one != other)
        if axis == 0:
            near = calm[np.maximum(rows - _ACROSS_PX, 0), cols]
            far = calm[np.minimum(rows + 1 + _ACROSS_PX, height - 1), cols]
        else:
            near = calm[rows, np.maximum(cols - _ACROSS_PX, 0)]
            far = calm[rows, np.minimum(cols + 1 + _ACROSS_PX, width - 1)]
        first, second = one[rows, cols], other[rows, cols]
        step = far - near
        step[first > second] *= -1
        pairs.append(np.stack([np.minimum(first, second), np.maximum(first, second)], axis=1))
        steps.append(step)
    both, across = np.concatenate(pairs).astype(np.int64), np.concatenate(steps)
    keys, inverse = np.unique(both[:, 0] * count + both[:, 1], return_inverse=True)
    length = np.bincount(inverse).astype(float)
    mean = np.stack(
        [np.bincount(inverse, weights=across[:, k]) / length for k in range(3)], axis=1
    ).reshape(len(keys), 3)
    return np.stack([keys // count, keys % count], axis=1), length, mean
