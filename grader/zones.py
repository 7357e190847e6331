"""The zones of a piece: wall and inside, bare or glazed clay and paint, and the foot.

The clay is the colour that most of the piece has in common over all its views. Paint differs from
it *with a sharp edge*; a scorch, a browned side or a veil of glaze differs with a soft one and so
stays clay here, to be judged as such.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.piece import Mask
from grader.surface import Plane, Surface, disc, grow, shrink

_BIN = 0.0125
"""Bin of the chroma histogram: half the noise of a phone photo in one log-chromaticity."""

_PAINT_SHIFT = 0.075
"""Chroma difference from clay, three times its noise, from which paint is looked for."""

_PAINT_TONE = 0.6
"""A tone shift by which paint of the clay's own hue (black on grey) shows; a factor of 1.8."""

_PAINT_LEVELS = (_PAINT_SHIFT, 2 * _PAINT_SHIFT, 4 * _PAINT_SHIFT, 7 * _PAINT_SHIFT)

_EDGE_SIGMA_MM = 0.35
"""Blur under which an edge is judged: a painted edge is complete within 1 mm, the edge of a veil
or a scorch takes 3 mm and more."""

_SHARP_SHARE = 0.6
"""A painted edge shows over 0.8 of its height as a step at that blur, a veil about 0.3."""

_SMALLEST_PAINT_MM2 = 2.5
"""Area of a painted dot of 1.8 mm; smaller marks are iron specks."""

_FLAKE_REACH_MM = 4.5
"""A gap in paint of up to this width counts as painted zone, so that a flake lies within it."""

_FOOT_SHARE = 0.035
"""The lowest part of the wall, where glaze is wiped off."""


_FACING_SHARE = 0.92
"""Distance from the axis, as a share of the radius, at which a round wall is seen at 66 degrees."""


@dataclass(frozen=True, slots=True)
class Zones:
    """Zones of one photo at the working scale of its surface.

    Attributes
    ----------
    wall : ndarray of bool, shape (h, w)
        Outside of the piece, without the rim of its silhouette, glare and the inside.
    inside : ndarray of bool
        What is seen through the opening.
    painted : ndarray of bool
        Paint with its small gaps closed.
    paint : ndarray of bool
        Paint itself, without gaps.
    foot : ndarray of bool
    clay_chroma : ndarray of float32, shape (h, w, 2)
        What sound clay would look like at each place.
    clay_tone : ndarray of float32, shape (h, w)
    body_left, body_right : ndarray of float, shape (h,)
        Outline of the body without handles; NaN in rows that it does not reach.
    body_rows : tuple of int
        First and last row of the body.
    facing : ndarray of bool, shape (h, w)
        Where the wall is seen at less than 66 degrees from its normal: small marks are sought
        here only, since beyond they shrink to slivers and the next view shows them better.
    """

    wall: Mask
    inside: Mask
    painted: Mask
    paint: Mask
    foot: Mask
    clay_chroma: NDArray[np.float32]
    clay_tone: Plane
    body_left: NDArray[np.float64]
    body_right: NDArray[np.float64]
    body_rows: tuple[int, int]
    facing: Mask


def common_clay(surfaces: Sequence[Surface]) -> tuple[float, float]:
    """Log-chromaticity (R/G, B/G) that most of the piece has, over all its views.

    Each view counts the same. The rim and the inside are rarely painted, so they count double.
    """
    total: NDArray[np.float64] | None = None
    edges = np.arange(-3.0, 3.0 + _BIN, _BIN)
    for surface in surfaces:
        safe = shrink(surface.mask, surface.px(0.8)) & ~surface.glare
        rows = np.flatnonzero(safe.any(1))
        if not rows.size:
            continue
        upper = np.zeros_like(safe)
        upper[: rows[0] + max(1, round(0.18 * len(rows)))] = True
        for part in (safe, safe & upper):
            pixels = surface.chroma[part]
            if len(pixels) < 50:
                continue
            counts, _, _ = np.histogram2d(pixels[:, 0], pixels[:, 1], bins=(edges, edges))
            share = counts / counts.sum()
            total = share if total is None else total + share
    if total is None:
        return 0.0, 0.0
    calm = cv2.GaussianBlur(total, (0, 0), 1.5)
    row, col = np.unravel_index(int(calm.argmax()), calm.shape)
    return float(edges[row] + _BIN / 2), float(edges[col] + _BIN / 2)


def find_zones(
    surface: Surface, clay: tuple[float, float], *, decorated: bool | None, seen_from_side: bool
) -> Zones:
    """Divide one photo of a piece into its zones.

    Parameters
    ----------
    surface : Surface
    clay : tuple of float
        From `common_clay`.
    decorated : bool or None
        False where the potter says that nothing is painted.
    seen_from_side : bool
        False for views of the inside and of the foot, which have no opening to look into.

    Returns
    -------
    Zones
    """
    first, last, left, right = _body_outline(surface)
    inside = np.zeros(surface.mask.shape, bool)
    if seen_from_side:
        inside = _opening(surface, first, last, left, right)
    rim = ~shrink(surface.mask, surface.px(1.2))
    wall = surface.mask & ~rim & ~inside & ~surface.glare
    clay_chroma, clay_tone = _sound_clay(surface, wall, clay)
    if decorated is False:
        paint = np.zeros_like(wall)
    else:
        columns = np.arange(wall.shape[1])[None]
        # A handle shows its own sharp edges of light; it is searched for paint no more.
        body = (columns >= left[:, None]) & (columns <= right[:, None])
        paint = _paint(surface, wall & body, clay_chroma, clay_tone)
        # With the paint known, the clay between it can be followed more closely.
        clay_chroma, clay_tone = _sound_clay(surface, wall & ~grow(paint, surface.px(1.0)), clay)
    painted = _close_gaps(paint, surface.px(_FLAKE_REACH_MM)) & wall
    foot = np.zeros_like(wall)
    foot[last - max(1, round(_FOOT_SHARE * (last - first))) :] = True
    return Zones(
        wall=wall,
        inside=inside & surface.mask,
        painted=painted,
        paint=paint,
        foot=foot & surface.mask,
        clay_chroma=clay_chroma,
        clay_tone=clay_tone,
        body_left=left,
        body_right=right,
        body_rows=(first, last),
        facing=_facing(wall, left, right) if seen_from_side else wall,
    )


def _body_outline(surface: Surface) -> tuple[int, int, NDArray[np.float64], NDArray[np.float64]]:
    """Left and right of the body in each row; handles and spouts are opened away."""
    mask = surface.mask
    widths = mask.sum(1)
    radius = max(3, int(0.12 * float(np.median(widths[widths > 0]))))
    # Opening at a quarter of the size gives the same outline in a sixteenth of the time.
    small = cv2.resize(mask.astype(np.uint8), None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    size = 2 * max(1, radius // 4) + 1
    opened = cv2.morphologyEx(
        small, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    )
    body = (cv2.resize(opened, (mask.shape[1], mask.shape[0])) > 0) & mask
    if not body.any():
        body = mask
    # Corners that the disc rounded off are part of the body again.
    body = (grow(body, 0.3 * radius)) & mask
    rows = np.flatnonzero(body.any(1))
    first, last = int(rows[0]), int(rows[-1])
    filled = body.any(1)
    left = np.where(filled, body.argmax(1), np.nan)
    right = np.where(filled, mask.shape[1] - 1 - body[:, ::-1].argmax(1), np.nan)
    return first, last, left, right


def _facing(wall: Mask, left: NDArray[np.float64], right: NDArray[np.float64]) -> Mask:
    middle, half = (left + right)[:, None] / 2, (right - left)[:, None] / 2
    off = np.abs(np.arange(wall.shape[1])[None] - middle) / np.maximum(half, 1)
    return wall & (np.nan_to_num(off, nan=2.0) < _FACING_SHARE)


def _opening(
    surface: Surface,
    first: int,
    last: int,
    left: NDArray[np.float64],
    right: NDArray[np.float64],
) -> Mask:
    """The ellipse of the rim: its far half is the top of the silhouette.

    For each row the top of the silhouette may end at, the half ellipse with that axis is laid
    against the outline; the lowest row at which it still fits within 2 % is the long axis.
    """
    inside = np.zeros(surface.mask.shape, bool)
    rows = np.arange(first, last + 1)
    half = (right[rows] - left[rows]) / 2.0
    if np.isnan(half).any() or len(rows) < 20:
        return inside
    best: tuple[int, float] | None = None
    for depth in range(3, int(0.45 * len(rows))):
        across = half[depth]
        want = across * np.sqrt(np.clip(1 - ((depth - np.arange(depth)) / depth) ** 2, 0, 1))
        error = np.abs(want - half[:depth])[1:]
        if len(error) and float(error.mean()) < 0.02 * across:
            best = (depth, across)
    if best is None:
        return inside
    depth, across = best
    row = first + depth
    middle = (left[row] + right[row]) / 2.0
    # The near lip is as thick as clay is thrown, some 4 mm seen from above; it is wall again.
    cv2_mask = inside.astype(np.uint8)
    cv2.ellipse(
        cv2_mask,
        (round(float(middle)), row),
        (round(float(across)), depth + round(surface.px(1.0))),
        0,
        0,
        360,
        1,
        -1,
    )
    return (cv2_mask > 0) & surface.mask


def _sound_clay(
    surface: Surface, where: Mask, clay: tuple[float, float]
) -> tuple[NDArray[np.float32], Plane]:
    """Smooth picture of what the clay looks like all over, from the clay that is seen.

    A plane of second order in x and y, fitted to clay pixels with outliers dropped: light that
    turns warmer toward a wall bends like this, paint and faults do not.
    """
    height, width = surface.mask.shape
    near = np.abs(surface.chroma - np.array(clay, np.float32)).max(-1) < 2.5 * _PAINT_SHIFT
    rows, cols = np.nonzero(where & near)
    if len(rows) < 200:
        flat = np.broadcast_to(np.array(clay, np.float32), (height, width, 2)).copy()
        tone = surface.tone[where] if where.any() else surface.tone[surface.mask]
        level = float(np.median(tone)) if tone.size else 0.0
        return flat, np.full((height, width), level, np.float32)
    pick = np.linspace(0, len(rows) - 1, min(len(rows), 20000)).astype(int)
    rows, cols = rows[pick], cols[pick]
    values = np.column_stack([surface.chroma[rows, cols], surface.tone[rows, cols]])
    terms = _terms(rows / height, cols / width)
    keep = np.ones(len(rows), bool)
    weights = np.zeros((terms.shape[1], 3))
    for _ in range(4):
        weights = np.linalg.lstsq(terms[keep], values[keep], rcond=None)[0]
        rest = np.abs(values - terms @ weights)
        spread = 1.4826 * np.median(rest[keep], axis=0) + 1e-4
        keep = (rest < 2.5 * spread).all(1)
        if keep.sum() < 200:
            break
    grid_rows, grid_cols = np.mgrid[0:height:8, 0:width:8]
    coarse = (_terms(grid_rows.ravel() / height, grid_cols.ravel() / width) @ weights).reshape(
        *grid_rows.shape, 3
    )
    full = cv2.resize(coarse.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(full[..., :2]), np.ascontiguousarray(full[..., 2])


def _terms(y: NDArray[np.float64], x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.column_stack([np.ones_like(x), x, y, x * y, x * x, y * y])


def _paint(
    surface: Surface, wall: Mask, clay_chroma: NDArray[np.float32], clay_tone: Plane
) -> Mask:
    """What differs from clay with a sharp edge.

    A veil of glaze that runs into a painting makes one soft region with it; asking for more and
    more difference parts the two.
    """
    shift = np.dstack(
        [surface.chroma - clay_chroma, (surface.tone - clay_tone) * (_PAINT_SHIFT / _PAINT_TONE)]
    )
    strength = np.sqrt((shift**2).sum(-1))
    steps = jump(shift, surface.px(_EDGE_SIGMA_MM))
    out = np.zeros_like(wall)
    smallest = _SMALLEST_PAINT_MM2 * surface.px_per_mm**2
    for level in _PAINT_LEVELS:
        # Specks and noise are narrower than any brush mark.
        found = _open((strength > level) & wall & ~out, surface.px(0.35))
        count, labels, stats, _ = cv2.connectedComponentsWithStats(found.astype(np.uint8))
        for number in range(1, count):
            if stats[number, cv2.CC_STAT_AREA] < smallest:
                continue
            x, y, w, h = stats[number, :4]
            margin = 1 + int(surface.px(1.5))
            window = np.s_[max(0, y - margin) : y + h + margin, max(0, x - margin) : x + w + margin]
            region = labels[window] == number
            if _edge_is_sharp(strength[window], steps[window], region, wall[window], surface):
                out[window] |= region
    return out


def _open(mask: Mask, radius_px: float) -> Mask:
    return grow(shrink(mask, radius_px), radius_px)


def jump(shift: NDArray[np.float32], sigma_px: float) -> Plane:
    """Height of the step at each place, were it an ideal step.

    Parameters
    ----------
    shift : ndarray of float32, shape (h, w, c)
    sigma_px : float

    Returns
    -------
    ndarray of float32, shape (h, w)

    Notes
    -----

    The slope of a step of height h under a Gaussian of width sigma peaks at h / (sigma sqrt(2 pi));
    a ramp many sigmas wide stays far below that.
    """
    calm = cv2.GaussianBlur(shift, (0, 0), sigma_px)
    across = cv2.Sobel(calm, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(calm, cv2.CV_32F, 0, 1, scale=1 / 8)
    squares = across**2 + down**2
    slope = np.sqrt(squares.sum(-1) if squares.ndim == 3 else squares)
    return slope * np.float32(sigma_px * np.sqrt(2 * np.pi))


def _edge_is_sharp(
    strength: Plane, steps: Plane, region: Mask, wall: Mask, surface: Surface
) -> bool:
    """Whether most of the outline is a step as high as the region just inside it."""
    outline = grow(region, 1.0) & ~region & wall
    if outline.sum() < 8:
        return False
    # The step is sought half a millimetre to either side of where the threshold fell.
    nearby = cv2.dilate(steps, disc(surface.px(0.6)))
    size = 2 * int(surface.px(1.2)) + 1
    covered = cv2.blur(region.astype(np.float32), (size, size))
    inner = cv2.blur(np.where(region, strength, 0).astype(np.float32), (size, size))
    height = inner[outline] / np.maximum(covered[outline], 1e-3)
    return float(np.median(nearby[outline] / np.maximum(height, 1e-3))) > _SHARP_SHARE


def _close_gaps(paint: Mask, width_px: float) -> Mask:
    """Close what is narrower than the width, at reduced size for speed."""
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
