"""Paint: what differs from the clay with a sharp edge.

A scorch, a browned side or a veil of glaze differs with a soft one and so stays clay, and so does
what the light makes of it.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.morphology import remove_small_objects

from grader.clay import (
    MOST_CORRECTION,
    NOISE_SPREADS,
    PAINT_SHIFT,
    background,
    free_of_light,
    local_clay,
)
from grader.gloss import added_light, is_clay_beneath
from grader.piece import Mask
from grader.surface import Plane, Surface, grow, opened, shrink

PAINT_TONE = 0.45
"""A fall of tone by which paint of the clay's own hue (black on grey) shows: a factor of 1.6, which
the edge between two facets does not reach. A rise is the lamp on the glaze."""

PAINT_LEVELS = (PAINT_SHIFT, 2 * PAINT_SHIFT, 4 * PAINT_SHIFT, 7 * PAINT_SHIFT)

_STRIP_MM = (0.35, 0.95)
"""Strips on either side of an outline in which a step must be complete: a painted edge is, within
a millimetre; the edge of a veil, a scorch or of warmer light takes three and more."""

_STRIP_LENGTH_MM = 2.6

_SHARP_SHARE = 0.6
"""Over these strips a painted edge shows 0.9 of its height as a step, a veil 0.4, light 0.2."""

_BACKGROUND_MM = 16.0
"""Window of the shading: half of it, 8 mm, is the widest shape that is told by tone alone."""

_SHADE_TONE = 0.8
"""So far (a factor of 2.2) the shaded side of a pot may lie below the fit through its clay."""

_WIDE_MM = 32.0
"""The same at first, when paint is not yet known and must be less than half of the window."""

_NARROW_MM = 0.35
"""Half the width of the narrowest brush mark; specks, noise and glints are narrower."""

_CRUMB_MM = 0.25
"""Crumbs in a shining place are noise; no line of a brush is thinner than twice this."""

_SMALLEST_PAINT_MM2 = 2.5
"""Area of a painted dot of 1.8 mm; smaller marks are iron specks."""


def find_paint(
    surface: Surface,
    wall: Mask,
    body: Mask,
    clay_chroma: NDArray[np.float32],
    clay_tone: Plane,
    noise: Plane,
    *,
    dark: float,
    glazed: bool,
) -> tuple[Mask, Mask, NDArray[np.float32]]:
    """Find the paint of one photo, and what sound clay looks like beside it.

    Parameters
    ----------
    surface : Surface
    wall, body : ndarray of bool, shape (h, w)
        Clay and paint that can be seen, and where paint is sought: a handle shows its own sharp
        edges of light.
    clay_chroma : ndarray of float32, shape (h, w, 2)
    clay_tone : ndarray of float32, shape (h, w)
        From `grader.clay.sound_clay`.
    noise : ndarray of float32, shape (h, w)
        From `grader.clay.chroma_noise`.
    dark : float
        Weight of being darker, 0 or 1.
    glazed : bool
        False for raw clay, on which nothing shines or turns milky.

    Returns
    -------
    paint, shine : ndarray of bool, shape (h, w)
        Paint, and glazed clay that shines or turns milky with an edge as sharp.
    clay_chroma : ndarray of float32, shape (h, w, 2)
        As the clay around shows it, where lamps and walls tint it.
    """
    chroma = free_of_light(surface, wall, clay_chroma, clay_tone)

    def search(
        step: NDArray[np.float32], clay: NDArray[np.float32], bare: Mask, window_mm: float
    ) -> Mask:
        return _paint(
            surface, wall & body, step, clay, clay_tone, noise, bare, window_mm, dark, glazed
        )

    first_paint = search(chroma - clay_chroma, clay_chroma, wall, _WIDE_MM)
    # With this paint known, the clay can be followed wherever lamps and walls tint it.
    bare = wall & ~grow(first_paint, surface.px(1.0))
    # Where paint reaches the foot, what is left of clay below it is but the paint's own rim: no
    # neighbour may talk away what lies farther from the fit than neighbours may correct it.
    sure = first_paint & (_off_clay(surface, chroma - clay_chroma) > MOST_CORRECTION)
    step = chroma - local_clay(surface, chroma, bare, clay_chroma)
    clay_chroma = local_clay(surface, surface.chroma, bare, clay_chroma)
    covered = search(step, clay_chroma, bare, _BACKGROUND_MM) | sure
    if not glazed or not covered.any():
        return covered, np.zeros_like(covered), clay_chroma
    paint = _without_shine(covered, surface, clay_chroma, clay_tone)
    return paint, covered & ~paint, clay_chroma


def _paint(
    surface: Surface,
    wall: Mask,
    step: NDArray[np.float32],
    clay_chroma: NDArray[np.float32],
    clay_tone: Plane,
    noise: Plane,
    bare: Mask,
    window_mm: float,
    dark: float,
    glazed: bool,
) -> Mask:
    """What differs from clay, by the chroma `step`, with a sharp edge; `dark` is the weight of
    being darker, 0 or 1.

    A veil of glaze that runs into a painting makes one soft region with it; asking for more and
    more difference parts the two.
    """
    tone = surface.tone - background(surface.tone, bare, window_mm, surface.px_per_mm)
    # A broad dark band fills the window; it is still darker than shading makes the fitted clay.
    tone = np.minimum(tone, surface.tone - clay_tone + np.float32(_SHADE_TONE))
    tone = np.minimum(tone, 0) * np.float32(dark * PAINT_SHIFT / PAINT_TONE)
    # In deep shade the camera's noise alone is as large as a paint; it is measured, not guessed.
    limit = np.maximum(NOISE_SPREADS * noise, PAINT_SHIFT)
    size = _off_clay(surface, step)
    # What stands twice above the noise is no noise, and keeps its full height.
    sure = np.clip(size / limit - 1, 0, 1)
    size *= sure + (1 - sure) * (PAINT_SHIFT / limit)
    strength = np.sqrt(size**2 + tone**2)
    out = np.zeros_like(wall)
    smallest = _SMALLEST_PAINT_MM2 * surface.px_per_mm**2
    # Strong paint first: what is faint beside it must then have an edge of its own.
    for level in reversed(PAINT_LEVELS):
        taken = grow(out, surface.px(0.8)) if out.any() else out
        # Specks and noise are narrower than any brush mark.
        found = opened((strength > level) & wall & ~taken, surface.px(_NARROW_MM))
        count, labels, stats, _ = cv2.connectedComponentsWithStats(found.astype(np.uint8))
        for number in range(1, count):
            if stats[number, cv2.CC_STAT_AREA] < smallest:
                continue
            x, y, w, h = stats[number, :4]
            margin = 1 + int(surface.px(1.5))
            window = np.s_[max(0, y - margin) : y + h + margin, max(0, x - margin) : x + w + margin]
            region = labels[window] == number
            # An outline near the very top is ragged with noise; the next level draws it lower.
            if level > PAINT_SHIFT and float(np.median(strength[window][region])) < 1.6 * level:
                continue
            if not _edge_is_sharp(strength[window], region, (wall & ~out)[window], surface):
                continue
            if not glazed or not is_clay_beneath(
                surface.chroma[window][region],
                surface.tone[window][region],
                clay_chroma[window][region],
                clay_tone[window][region],
            ):
                out[window] |= region
    return _to_half_height(strength, out, wall, surface)


def _without_shine(
    paint: Mask, surface: Surface, clay_chroma: NDArray[np.float32], clay_tone: Plane
) -> Mask:
    """Take off what is glazed clay with more or less light mirrored on it: where it meets paint, or
    its own rim is sharp, it passes for paint."""
    share = added_light(
        surface.chroma[paint],
        surface.tone[paint],
        clay_chroma[paint],
        clay_tone[paint],
        surface.clipped[paint],
    )
    clay = np.zeros_like(paint)
    clay[paint] = np.isfinite(share)
    crumb = surface.px(_CRUMB_MM)
    clay = shrink(grow(clay, crumb), crumb) & paint
    paint = paint & ~opened(clay, surface.px(_NARROW_MM))
    least_px = math.ceil(_SMALLEST_PAINT_MM2 * surface.px_per_mm**2)
    return np.asarray(remove_small_objects(paint, max_size=least_px - 1, connectivity=2))


def _off_clay(surface: Surface, step: NDArray[np.float32]) -> Plane:
    """How far each place is off the clay, from the steps of its two log-chromaticities.

    Red is the first channel of a warm clay to be clipped. How much more of it there was nobody
    knows, so that too little red is then no difference.
    """
    red = np.where(surface.clipped, np.maximum(step[..., 0], 0), step[..., 0])
    return np.hypot(red, step[..., 1])


def _to_half_height(strength: Plane, paint: Mask, wall: Mask, surface: Surface) -> Mask:
    """Move the outline of the paint to where half of its own strength is reached."""
    if not paint.any():
        return paint
    height = _mean_over(strength, paint, 2 * int(surface.px(1.2)) + 1)
    near = grow(paint, surface.px(0.9)) & wall
    return (paint | (near & (strength > np.maximum(0.5 * height, PAINT_SHIFT)))) & wall


def _edge_is_sharp(strength: Plane, region: Mask, wall: Mask, surface: Surface) -> bool:
    """Whether most of the outline is a step as high as the region just inside it.

    Strength is averaged over a strip just inside and one just outside the outline, a brush width
    long, so that noise cannot pass for a step.
    """
    outline = grow(region, 1.0) & ~region & wall
    if outline.sum() < 8:
        return False
    near, far = surface.px(_STRIP_MM[0]), surface.px(_STRIP_MM[1])
    inner = shrink(region, near)
    strip_in = inner & ~shrink(region, far)
    # Of a thin line the middle is all there is.
    if strip_in.sum() < 0.3 * outline.sum():
        strip_in = region
    strip_out = grow(region, far) & ~grow(region, near) & wall
    size = 2 * int(surface.px(_STRIP_LENGTH_MM) / 2) + 1
    inside = _mean_over(strength, strip_in, size)
    outside = _mean_over(strength, strip_out, size)
    height = _mean_over(strength, region, size)
    ok = outline & np.isfinite(inside) & np.isfinite(outside) & np.isfinite(height)
    if ok.sum() < 8:
        return False
    step = (inside[ok] - outside[ok]) / np.maximum(height[ok], 1e-3)
    return float(np.median(step)) > _SHARP_SHARE


def _mean_over(plane: Plane, where: Mask, size: int) -> Plane:
    """Box mean of the plane over a mask; NaN where the box holds too little of it."""
    weight = cv2.blur(where.astype(np.float32), (size, size))
    total = cv2.blur(np.where(where, plane, 0).astype(np.float32), (size, size))
    return np.where(weight > 2.0 / size**2, total / np.maximum(weight, 1e-6), np.nan)


def close_gaps(paint: Mask, width_px: float) -> Mask:
    """Close what is narrower than a width, at reduced size for speed.

    Parameters
    ----------
    paint : ndarray of bool, shape (h, w)
    width_px : float
    """
    shrink_by = max(1, int(width_px // 8))
    size = (max(1, paint.shape[1] // shrink_by), max(1, paint.shape[0] // shrink_by))
    small = cv2.resize(paint.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5
    radius = width_px / 2 / shrink_by
    pad = int(radius) + 2
    padded = np.pad(small, pad)
    closed = shrink(grow(padded, radius), radius)[pad:-pad, pad:-pad]
    full = cv2.resize(
        closed.astype(np.uint8), (paint.shape[1], paint.shape[0]), interpolation=cv2.INTER_NEAREST
    )
    return paint | (full > 0)
