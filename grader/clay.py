"""What sound clay looks like at each place of a photo, whatever light falls there."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.filters import threshold_otsu

from grader import channels
from grader.fits import fit_of_most
from grader.piece import Mask
from grader.surface import Plane, Surface, fill_from, grow, shrink

_BIN = 0.0125
"""Bin of the chroma histogram: half the noise of a phone photo in one log-chromaticity."""

PAINT_SHIFT = 0.075
"""Chroma difference from clay, three times its noise, from which paint is looked for."""

NOISE_SPREADS = 4.5
"""Spreads of noise that paint must stand above: of a million pixels a few do by chance, and those
are lone."""

_NOISE_REACH_MM = 1.0
"""Distance over which noise is measured: the width of the marks that it could be taken for."""

_LIT_TONE = (-0.8, 0.4)
"""Tone (natural logarithm) against the fit through the clay, over which light changes its hue with
its strength: a face wholly in shade, and one turned to the lamp."""

_RING_TONE = 0.2
"""Tone by which throwing rings and grain waver: enough to learn the hue of the light from."""

_FOLLOWS = 0.4
"""Correlation of hue and tone from which the light is what they have in common."""

MOST_CORRECTION = 0.3
"""Log-chromaticity by which lamps and walls of mixed light may tint clay from place to place."""

_UPPER_SHARE = 0.18
"""Share of the height that is the rim and what shows of the inside: rarely painted."""

_COAT_TONE, _TWO_LIGHTS, _LEAST_COAT = 1.3, 4.0, 0.03
"""Black paint is darker than the clay by a factor of 8 and, where light clay lies in shade and it
does not, still of 3.7; so many spreads apart two lights have next to nothing between them (twice
what Ashman, Bird and Zepf 1994 ask of two populations)."""

_COAT_EDGE_MM, _SHARP_SHARE = 1.0, 0.6
"""Within so much on either side of its edge paint makes nearly the whole of the step."""

_FEWEST, _ENOUGH = 200, 20000
"""Pixels below which nothing is fitted, and beyond which a fit gets no better but slower."""

_CLAY_WINDOW_MM = 26.0
"""Window in which faint paint must be the smaller part, if it is to be told from tinted light."""


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
        upper[: rows[0] + max(1, round(_UPPER_SHARE * len(rows)))] = True
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


def sound_clay(
    surface: Surface, where: Mask, clay: tuple[float, float], *, coated: bool = False
) -> tuple[NDArray[np.float32], Plane]:
    """Smooth picture of what the clay looks like all over, from the clay that is seen.

    Parameters
    ----------
    surface : Surface
    where : ndarray of bool, shape (h, w)
        Clay and paint, without rim, glare and inside.
    clay : tuple of float
        From `common_clay`.
    coated : bool, default False
        Whether paint as broad as the wall and of the hue of the clay may lie there, and no light
        be so sharp: on a decorated piece that is seen from the side.

    Returns
    -------
    chroma : ndarray of float32, shape (h, w, 2)
    tone : ndarray of float32, shape (h, w)

    Notes
    -----
    A plane of second order in x and y, fitted to clay pixels with outliers dropped: light that
    turns warmer toward a wall bends like this, paint and faults do not.
    """
    height, width = surface.mask.shape
    near = where & _near(surface.chroma - np.array(clay, np.float32))
    at = _some(near & ~_dark_coat(surface, near) if coated else near)
    if at is None:
        flat = np.broadcast_to(np.array(clay, np.float32), (height, width, 2)).copy()
        tone = surface.tone[where] if where.any() else surface.tone[surface.mask]
        level = float(np.median(tone)) if tone.size else 0.0
        return flat, np.full((height, width), level, np.float32)
    values = np.column_stack([surface.chroma[at], surface.tone[at]])
    terms = _terms(at[0] / height, at[1] / width)
    weights = _fit(terms, values)
    grid_rows, grid_cols = np.mgrid[0:height:8, 0:width:8]
    coarse = _terms(grid_rows.ravel() / height, grid_cols.ravel() / width) @ weights
    # Where clay is seen on a small part only, the plane would bend away without end beyond it.
    low, high = np.quantile(values, (0.01, 0.99), axis=0)
    slack = np.maximum(high - low, MOST_CORRECTION)
    coarse = np.clip(coarse, low - slack, high + slack).reshape(*grid_rows.shape, 3)
    full = cv2.resize(coarse.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(full[..., :2]), np.ascontiguousarray(full[..., 2])


def _dark_coat(surface: Surface, near: Mask) -> Mask:
    """Where paint of the hue of the clay lies, so broad and so dark that it could pass for clay.

    Black on white has no hue to be told by. What tells it is that there are two lights and little
    between them, which shading does not make; and that the upper part of the piece, which is rarely
    painted, has the lighter one. It ends at an edge, as no shade on a round wall does.
    """
    at = _some(near)
    none = np.zeros_like(near)
    if at is None:
        return none
    tone = surface.tone[at]
    limit = float(threshold_otsu(tone))
    dark, light = tone[tone <= limit], tone[tone > limit]
    if min(len(dark), len(light)) < _LEAST_COAT * len(tone):
        return none
    middles = [float(np.median(part)) for part in (dark, light)]
    gap = middles[1] - middles[0]
    spread = math.hypot(float(dark.std()), float(light.std())) / math.sqrt(2)
    if gap < _COAT_TONE or gap < _TWO_LIGHTS * spread:
        return none
    rows = np.flatnonzero(surface.mask.any(1))
    upper = at[0] < rows[0] + _UPPER_SHARE * len(rows)
    if not upper.any() or float((tone[upper] <= limit).mean()) > 0.5:
        return none
    coat = near & (surface.tone <= limit)
    reach = surface.px(_COAT_EDGE_MM)
    sides = (coat & ~shrink(coat, reach), grow(coat, reach) & near & ~coat)
    if not all(side.any() for side in sides):
        return none
    step = float(np.median(surface.tone[sides[1]]) - np.median(surface.tone[sides[0]]))
    return coat if step > _SHARP_SHARE * gap else none


def _near(step: NDArray[np.float32]) -> Mask:
    """Where a difference of chroma is small enough for clay in tinted light."""
    return np.asarray(channels.largest(np.abs(step)) < 1.5 * PAINT_SHIFT)


def _some(where: Mask) -> tuple[NDArray[np.intp], NDArray[np.intp]] | None:
    """Rows and columns of pixels spread evenly over a mask; None where it holds too few to fit."""
    rows, cols = np.nonzero(where)
    if len(rows) < _FEWEST:
        return None
    pick = np.linspace(0, len(rows) - 1, min(len(rows), _ENOUGH)).astype(int)
    return rows[pick], cols[pick]


def _fit(terms: NDArray[np.float64], values: NDArray[np.floating]) -> NDArray[np.float64]:
    """Weights of a linear fit from which outliers are dropped, shape (terms, channels)."""
    return fit_of_most(terms, values, rounds=4, least_spread=1e-4, fewest=_FEWEST)


def free_of_light(
    surface: Surface, wall: Mask, clay_chroma: NDArray[np.float32], clay_tone: Plane
) -> NDArray[np.float32]:
    """Chroma less what the light itself changes from its lit to its shaded side.

    Lamp, sky and table are of unlike colour: where less of the lamp falls, on the shaded flank of a
    ring or a facet, the clay takes on the hue of the room. How much for each step of tone, the clay
    of this photo shows.

    Parameters
    ----------
    surface : Surface
    wall : ndarray of bool, shape (h, w)
    clay_chroma : ndarray of float32, shape (h, w, 2)
    clay_tone : ndarray of float32, shape (h, w)
        From `sound_clay`.

    Returns
    -------
    ndarray of float32, shape (h, w, 2)
    """
    off = surface.chroma - clay_chroma
    lit = np.clip(surface.tone - clay_tone, *_LIT_TONE)
    # A thin coat of paint is darker and of another hue, too, but by more.
    at = _some(wall & _near(off) & (np.abs(lit) < _RING_TONE))
    if at is None:
        return surface.chroma
    terms = np.column_stack([np.ones(len(at[0])), lit[at]])
    # One light moves both log-chromaticities, though grain may hide it in one of them.
    if np.abs(np.corrcoef(lit[at], off[at].T)[0, 1:]).max() < _FOLLOWS:
        return surface.chroma
    slope = _fit(terms, off[at])[1].astype(np.float32)
    return surface.chroma - lit[..., None] * slope


def local_clay(
    surface: Surface, chroma: NDArray[np.float32], bare: Mask, fit: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Clay colour as its own neighbourhood shows it, on top of the fit over the whole piece.

    Parameters
    ----------
    surface : Surface
    chroma : ndarray of float32, shape (h, w, 2)
        That of the surface, or what is left of it (`free_of_light`).
    bare : ndarray of bool, shape (h, w)
        Wall without paint.
    fit : ndarray of float32, shape (h, w, 2)
        From `sound_clay`.

    Returns
    -------
    ndarray of float32, shape (h, w, 2)
    """
    out = fit.copy()
    for channel in range(2):
        rest = chroma[..., channel] - fit[..., channel]
        rest = np.clip(rest, -MOST_CORRECTION, MOST_CORRECTION)
        out[..., channel] += background(rest, bare, _CLAY_WINDOW_MM, surface.px_per_mm)
    return out


def _terms(y: NDArray[np.float64], x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.column_stack([np.ones_like(x), x, y, x * y, x * x, y * y])


def background(plane: Plane, where: Mask, window_mm: float, px_per_mm: float) -> Plane:
    """Median of a plane over a wide window within a mask: what is left without narrower shapes.

    Parameters
    ----------
    plane : ndarray of float32, shape (h, w)
    where : ndarray of bool, shape (h, w)
    window_mm, px_per_mm : float

    Returns
    -------
    ndarray of float32, shape (h, w)
        Worked out at 2 px/mm, which is enough for something this smooth.
    """
    scale = min(1.0, 2.0 / px_per_mm)
    size = (max(8, round(where.shape[1] * scale)), max(8, round(where.shape[0] * scale)))
    small = cv2.resize(plane, size, interpolation=cv2.INTER_AREA)
    inside = cv2.resize(where.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    if not inside.any():
        return plane
    # Beyond the mask its nearest pixel goes on, so that table and paint have no say.
    small = fill_from(small, inside)
    low, high = float(small.min()), float(small.max())
    step = max(high - low, 1e-3) / 255.0
    window = 2 * max(1, round(window_mm * px_per_mm * scale / 2)) + 1
    as_bytes = np.round((small - low) / step).astype(np.uint8)
    calm = cv2.medianBlur(as_bytes, window).astype(np.float32) * np.float32(step) + np.float32(low)
    calm = cv2.GaussianBlur(calm, (0, 0), window / 8)
    return cv2.resize(  # type: ignore[no-any-return]
        calm, (where.shape[1], where.shape[0]), interpolation=cv2.INTER_LINEAR
    )


def chroma_noise(surface: Surface) -> Plane:
    """Spread of the chroma at each place, from places as light as that.

    Two places a millimetre apart on one material differ by noise alone, be it grain or the blotches
    that cameras and JPEG leave; edges of a drawing are few beside them and do not move the median.

    Returns
    -------
    ndarray of float32, shape (h, w)
        Standard deviation of a log-chromaticity.
    """
    apart = max(2, round(surface.px(_NOISE_REACH_MM)))
    if min(surface.mask.shape) <= 2 * apart:
        return np.full(surface.mask.shape, PAINT_SHIFT / NOISE_SPREADS, np.float32)
    steps, tones = [], []
    for here, there in (
        (np.s_[:-apart:2, ::2], np.s_[apart::2, ::2]),
        (np.s_[::2, :-apart:2], np.s_[::2, apart::2]),
    ):
        both = surface.mask[here] & surface.mask[there]
        step = np.abs(surface.chroma[here] - surface.chroma[there])
        steps.append(channels.largest(step)[both])
        tones.append(surface.tone[here][both])
    step, tone = np.concatenate(steps), np.concatenate(tones)
    if step.size < 500:
        return np.full(surface.mask.shape, PAINT_SHIFT / NOISE_SPREADS, np.float32)
    edges = np.quantile(tone, np.linspace(0, 1, 13))
    centres = (edges[1:] + edges[:-1]) / 2
    level = np.empty(12)
    for number in range(12):
        bin_ = (tone >= edges[number]) & (tone <= edges[number + 1])
        # The median of |x| of the larger of two is 1.05 of its spread, and a difference of two
        # places has the spread of both.
        level[number] = float(np.median(step[bin_])) / (1.05 * np.sqrt(2)) if bin_.any() else 0.0
    flat = np.interp(surface.tone.ravel(), centres, level)
    return flat.reshape(surface.tone.shape).astype(np.float32)
