"""Take the grain of path tracing out of light, guided by what is known without any grain.

The light that falls on a surface changes slowly but for shadows, edges and relief. What is painted
on the surface is divided out before and multiplied in again afterwards, so no mark is ever
smoothed; relief comes back through the exact normals. The method is that of edge-avoiding wavelets
(Dammertz et al. 2010) with variance-guided weights (Schied et al. 2017), and a local linear fit to
the normals (Bitterli et al. 2016).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from .noise import FloatArray

# Cubic B-spline, the kernel of the wavelet: weights by distance in steps.
_SPLINE = (0.375, 0.25, 0.0625)
# Neighbours this many standard deviations of grain apart count e^-1/2: wide enough to take all
# grain, narrow enough for the edge of a shadow.
_RANGE = 6.0
# Steps of light by this share are taken for grain: no shadow's edge is so faint, but blotches are
# what the levels before leave.
_UNSEEN = 0.05
# Surfaces are told apart by whole numbers, which the filter must never bridge.
_OWNER_WEIGHT = 50.0
# Reach of the local fit to the normals, in pixels, and the spread of normals that is no relief.
_FIT_PX, _FLAT = 17, 2e-5


@dataclass(frozen=True, slots=True)
class Guides:
    """What a pixel shows, free of grain.

    Attributes
    ----------
    normal : numpy.ndarray of float32, shape (H, W, 3)
        Mean unit normal, relief included.
    owner : numpy.ndarray of float32, shape (H, W)
        Number of the surface, a whole one where one alone fills the pixel.
    pure : numpy.ndarray of bool, shape (H, W)
        Where one surface alone fills the pixel.
    """

    normal: FloatArray
    owner: FloatArray
    pure: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Calm:
    """Light without grain, and how it answers to relief.

    Attributes
    ----------
    smooth : numpy.ndarray of float32, shape (3, H, W)
        Light on the even surface.
    even : numpy.ndarray of float32, shape (3, H, W)
        Normal of the even surface.
    slope : numpy.ndarray of float32, shape (9, H, W)
        Change of light with the normal, the colours within the axes.
    guides : Guides
    """

    smooth: FloatArray
    even: FloatArray
    slope: FloatArray
    guides: Guides

    def part(self, window: tuple[slice, slice]) -> Calm:
        """Window of rows and columns."""
        smooth, even, slope = (p[:, *window] for p in (self.smooth, self.even, self.slope))
        return Calm(smooth, even, slope, _cut(self.guides, window))

    def light(self, normal: FloatArray) -> FloatArray:
        """Light on the surface with its relief, shape (H, W, 3), from normals (H, W, 3)."""
        return _planes_back(_relit(self.smooth, self.even, self.slope, _planes(normal)))


def _cut(guides: Guides, window: tuple[slice, slice]) -> Guides:
    return Guides(guides.normal[window], guides.owner[window], guides.pure[window])


def denoise(
    halves: tuple[FloatArray, FloatArray], guides: Guides, normal_spread: float, levels: int
) -> Calm:
    """Smooth light over like neighbours as far as its own grain asks for.

    Parameters
    ----------
    halves : tuple of numpy.ndarray of float32, shape (H, W, 3)
        Two independent renderings of light, whose difference tells the grain.
    guides : Guides
        Pixels that are not pure are left as they are.
    normal_spread : float
        Difference of normals (radians) across which light is still alike.
    levels : int
        Each one doubles the reach: it is 2 px for one, 62 px for five.

    Returns
    -------
    Calm
    """
    one, two = halves
    pure = guides.pure.astype(np.float32)
    lit = _planes(0.5 * (one + two))
    variance = _grain(one, two, pure)
    normal = _planes(guides.normal)
    # Fine grain of clay must not keep neighbours apart; the fit below brings it back.
    even = np.stack([mean_over(plane, pure, 1.2) for plane in normal])
    features = np.concatenate([even / normal_spread, guides.owner[None] * _OWNER_WEIGHT])
    carried = np.concatenate([lit, normal])
    for level in range(levels):
        # The first step looks at the surface only: single grains would defend themselves.
        spread = None if level == 0 else variance
        carried, variance = _smooth(carried, variance, features, pure, 1 << level, spread)
    slope = _fit(lit - carried[:3], normal - carried[3:], pure)
    return Calm(carried[:3], carried[3:], slope, guides)


def enlarge(calm: Calm, side: npt.NDArray[np.bool_], guides: Guides, spread: float) -> FloatArray:
    """Carry light from a grid of half the size to the pixels of the full one.

    Each pixel takes from the nearest coarse pixels that show its own surface, and its relief from
    its own normal (joint bilateral upsampling, Kopf et al. 2007).

    Parameters
    ----------
    calm : Calm
        Of shape (h, w).
    side : numpy.ndarray of bool, shape (h, w)
        Coarse pixels that may give light.
    guides : Guides
        Of the full grid, shape (2 h, 2 w). Where a pixel is not pure its normal is no
        more than a hint, so it gets the light of the even surface.
    spread : float
        As for :func:`denoise`.

    Returns
    -------
    numpy.ndarray of float32, shape (2 h, 2 w, 3)
    """
    share = (side & calm.guides.pure).astype(np.float32)
    # Where nothing shows the surface whole, what is nearest stands in: wider means only where
    # narrow ones find nothing.
    coarse = np.concatenate([calm.smooth, calm.even, calm.slope])
    filled = share
    for sigma_px in (0.7, 3.0):
        coarse = np.stack([np.where(filled > 0, p, mean_over(p, filled, sigma_px)) for p in coarse])
        found = cv2.dilate(filled, np.ones((3, 3), np.uint8)) if sigma_px < 1 else filled
        filled = np.maximum(filled, (found > 0).astype(np.float32))
    trust = np.maximum(share, 1e-4)
    height, width = guides.pure.shape
    rows, cols = np.arange(height), np.arange(width)
    normal, owner = _planes(guides.normal), guides.owner
    pure = guides.pure.astype(np.float32)
    even = np.stack([mean_over(p, pure, 1.2) for p in normal])
    total = np.zeros((coarse.shape[0], height, width), np.float32)
    weight = np.full((height, width), 1e-20, np.float32)
    for dy in (0, 1):
        for dx in (0, 1):
            # The coarse pixel that holds this one and its nearest neighbours; bilinear weights.
            row = np.clip((rows >> 1) + dy * (2 * (rows & 1) - 1), 0, trust.shape[0] - 1)
            col = np.clip((cols >> 1) + dx * (2 * (cols & 1) - 1), 0, trust.shape[1] - 1)
            at = np.ix_(row, col)
            near = trust[at] * np.float32((0.25 if dy else 0.75) * (0.25 if dx else 0.75))
            apart = (calm.guides.owner[at] - owner) ** 2
            for k in range(3):
                apart += ((coarse[3 + k][at] - even[k]) / spread) ** 2
            near *= np.exp(-0.5 * np.minimum(apart, 20.0))
            for into, plane in zip(total, coarse, strict=True):
                into += near * plane[at]
            weight += near
    total /= weight
    return _planes_back(_relit(total[:3], total[3:6], total[6:] * pure, normal))


def _planes(picture: FloatArray) -> FloatArray:
    return np.ascontiguousarray(np.moveaxis(picture, -1, 0), np.float32)


def _planes_back(planes: FloatArray) -> FloatArray:
    return np.ascontiguousarray(np.moveaxis(planes, 0, -1), np.float32)


def mean_over(
    plane: FloatArray, share: FloatArray | npt.NDArray[np.bool_], sigma_px: float
) -> FloatArray:
    """Gaussian mean of a plane (H, W) over the pixels that count, at every pixel near them."""
    share = share.astype(np.float32)
    total = cv2.GaussianBlur(plane * share, (0, 0), sigma_px)
    return np.asarray(total / np.maximum(cv2.GaussianBlur(share, (0, 0), sigma_px), 1e-6))


def _grain(one: FloatArray, two: FloatArray, pure: FloatArray) -> FloatArray:
    """Variance of the mean of both halves, in luminance, from their difference."""
    half = 0.5 * (one - two).mean(axis=2)
    # A difference of two numbers is a poor estimate by itself: pooled over some 100 pixels.
    return np.maximum(mean_over(half * half, pure, 4.0), 1e-10).astype(np.float32)


def _smooth(
    carried: FloatArray,
    variance: FloatArray,
    features: FloatArray,
    pure: FloatArray,
    step: int,
    spread: FloatArray | None,
) -> tuple[FloatArray, FloatArray]:
    """One level: a 5 x 5 kernel with holes, each pair of pixels weighed once for both."""
    height, width = pure.shape
    luma = carried[:3].mean(axis=0)
    centre = _SPLINE[0] ** 2
    total = carried * np.float32(centre)
    weight = np.full(pure.shape, centre, np.float32)
    noise = variance * np.float32(centre**2)
    for dy in range(3):
        for dx in range(-2, 3):
            if dy == 0 and dx <= 0:
                continue
            down, right = dy * step, abs(dx) * step
            if down >= height or right >= width:
                continue
            # Columns of the left and of the right pixel of each pair.
            left, late = slice(0, width - right), slice(right, width)
            if dx < 0:
                left, late = late, left
            here, there = (slice(0, height - down), left), (slice(down, height), late)
            apart = np.zeros(pure[here].shape, np.float32)
            for plane in features:
                apart += (plane[here] - plane[there]) ** 2
            if spread is not None:
                apart += (luma[here] - luma[there]) ** 2 / (
                    _RANGE**2 * (spread[here] + spread[there]) + (_UNSEEN * luma[here]) ** 2
                )
            alike = np.exp(-0.5 * apart) * pure[here] * pure[there]
            alike *= np.float32(_SPLINE[dy] * _SPLINE[abs(dx)])
            for plane, into in zip(carried, total, strict=True):
                into[here] += alike * plane[there]
                into[there] += alike * plane[here]
            weight[here] += alike
            weight[there] += alike
            alike *= alike
            noise[here] += alike * variance[there]
            noise[there] += alike * variance[here]
    return total / weight, noise / (weight * weight)


def _fit(rest: FloatArray, tilt: FloatArray, pure: FloatArray) -> FloatArray:
    """Fit the rest of the light to the rest of the normals around each pixel."""
    box = (_FIT_PX, _FIT_PX)
    tilt, rest = tilt * pure, rest * pure
    gram = np.empty((*pure.shape, 3, 3), np.float32)
    cross = np.empty((*pure.shape, 3, 3), np.float32)
    for i in range(3):
        for j in range(i + 1):
            gram[..., i, j] = gram[..., j, i] = cv2.boxFilter(tilt[i] * tilt[j], -1, box)
        for c in range(3):
            cross[..., i, c] = cv2.boxFilter(tilt[i] * rest[c], -1, box)
    gram += _FLAT * np.eye(3, dtype=np.float32)
    slope = np.linalg.solve(gram, cross).astype(np.float32)
    return _planes(slope.reshape(*pure.shape, 9))


def _relit(
    smooth: FloatArray, even: FloatArray, slope: FloatArray, normal: FloatArray
) -> FloatArray:
    out = smooth.copy()
    for i in range(3):
        tilt = normal[i] - even[i]
        for c in range(3):
            out[c] += tilt * slope[3 * i + c]
    return np.asarray(np.maximum(out, 0.0), np.float32)
