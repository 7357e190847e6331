"""How much clay shows through paint.

Light of a painted place over the light that clay would give there lies, in linear red, green and
blue, on the straight line from clay (1, 1, 1) to the full paint, as a share of clay; shading drops
out. Each paint of a piece is such a line. The share is read once from the three colours and once
from chromaticity alone, which neither shadow nor throwing rings change; where the two disagree,
light and not paint is the reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader import channels
from grader.faults.evidence import ViewEvidence
from grader.piece import Mask
from grader.surface import Plane, grow, light_of, shrink

_PX_PER_MM = 4.0
"""Bands are 3 mm wide and more: 4 px/mm shows their flanks."""

_BLUR_MM = 0.2

_CARRIED_MM = ((1.5, 3.0), (2.0, 8.0), (3.0, 20.0))
_ENOUGH, _LEAST = 0.15, 0.02
"""How far across and up and down the tone of clay is carried under paint, the farther only where
the nearer window holds less clay than the first share; below the second what the zones tell."""

_BAND_MM = 8.0
"""Bands of a thin coat are mostly narrower than this (common practice, no source): what lies
between paint that near is judged with it, whatever it was taken for."""

_CLEAR_MM = 5.0
_WIDE_MM = 16.0
_LEAST_CLAY = 0.05
"""Clay this far from all paint gives the colour of clay, carried inward over the second length:
what lies nearer may be a coat so thin that it was taken for clay. Where less than this share of the
wall is so clear, the clay that the zones tell has to do."""

_CORE_MM = 0.4
"""Paint colours are learned from pixels this far within the paint, where no blur reaches."""

_MOST_PAINTS = 4
_FAINTEST = 0.15
"""Distance from clay (linear, clay is 1) below which a colour's direction is noise."""

_ALIKE_DEG, _APART_DEG = 12.0, 16.0
"""Directions from clay within the first are one paint; beyond the second, another."""

_FULL_QUANTILE = 0.85
_LEAST_SHARE = 0.03
"""Full paint is the distance that 15 % of its pixels exceed; a colour on less than 3 % of the
painted pixels is no paint."""

_CHROMA_STEP = 0.25
"""Log-chromaticity between paint and clay from which chromaticity alone tells the share."""

_TABLE = np.linspace(-0.3, 1.3, 81)


@dataclass(frozen=True, slots=True)
class Paint:
    """One paint of a piece: `direction` (unit, shape (3,)) and `distance` from clay."""

    direction: NDArray[np.float32]
    distance: float


@dataclass(frozen=True, slots=True)
class Relative:
    """Light relative to clay on a smaller picture of a view.

    Attributes
    ----------
    px_per_mm : float
    scale : float
        Pixels of this picture per working pixel.
    light : ndarray of float32, shape (h, w, 3)
        Linear light over that of clay; 1 is clay.
    chroma : ndarray of float32, shape (h, w, 2)
        Difference of the log-chromaticities from those of clay.
    painted, paint : ndarray of bool, shape (h, w)
    seen : ndarray of bool, shape (h, w)
        Painted zone that faces the camera and is not clipped.
    piece : ndarray of bool, shape (h, w)
        All that is seen of the piece, glare too.
    """

    px_per_mm: float
    scale: float
    light: NDArray[np.float32]
    chroma: NDArray[np.float32]
    painted: Mask
    paint: Mask
    seen: Mask
    piece: Mask


@dataclass(frozen=True, slots=True)
class Coverage:
    """Share of clay at each place, from three colours and from chromaticity; and the error.

    `error` is the distance from the line of the nearest paint, as a share of its length; `tint` how
    far clay of that share would move the log-chromaticity from full paint's to its own.
    """

    share: Plane
    by_chroma: Plane
    error: Plane
    tint: Plane


def relative_light(view: ViewEvidence) -> Relative:
    """Divide the light of a view by that of clay.

    Parameters
    ----------
    view : ViewEvidence

    Returns
    -------
    Relative
    """
    surface, zones = view.surface, view.zones
    scale = min(1.0, _PX_PER_MM / surface.px_per_mm)
    height, width = surface.mask.shape
    size = (max(2, round(width * scale)), max(2, round(height * scale)))
    px_per_mm = surface.px_per_mm * scale
    paint, wall = _nearest(zones.paint, size), _nearest(zones.wall, size)
    painted = _nearest(zones.painted, size) | (_closed(paint, _BAND_MM * px_per_mm) & wall)
    clay = wall & ~painted
    tone = _smaller(surface.tone, size)
    tone = tone - _clay_tone(tone, _smaller(zones.clay_tone, size), clay, px_per_mm)
    chroma = _smaller(surface.chroma, size)
    chroma = chroma - _clay_chroma(
        chroma, _smaller(zones.clay_chroma, size), paint, wall, px_per_mm
    )
    sigma = max(0.6, _BLUR_MM * px_per_mm)
    tone = cv2.GaussianBlur(tone, (0, 0), sigma)
    chroma = cv2.GaussianBlur(chroma, (0, 0), sigma)
    light = light_of(chroma, tone)
    seen = painted & ~_nearest(grow(surface.clipped, surface.px(0.5)), size)
    if view.skin is not None:
        # Beyond the body lie handles, and what is seen through them.
        cols = np.arange(width)[None]
        body = (cols >= zones.body_left[:, None]) & (cols <= zones.body_right[:, None])
        seen &= _nearest(zones.facing & body, size)
    piece = _nearest(surface.mask, size)
    return Relative(px_per_mm, scale, light.astype(np.float32), chroma, painted, paint, seen, piece)


def find_paints(views: Sequence[Relative]) -> list[Paint]:
    """Learn the paints of a piece from all its views.

    Parameters
    ----------
    views : sequence of Relative

    Returns
    -------
    list of Paint
        The commonest first; empty where nothing is painted.
    """
    cores = [
        each.light[shrink(each.paint, max(1.0, _CORE_MM * each.px_per_mm)) & each.seen]
        for each in views
    ]
    pixels = np.concatenate(cores) - 1 if cores else np.empty((0, 3), np.float32)
    length = np.linalg.norm(pixels, axis=1)
    pixels, length = pixels[length > _FAINTEST], length[length > _FAINTEST]
    if len(pixels) < 100:
        return []
    # A few thousand, evenly picked, tell directions well enough.
    pick = np.linspace(0, len(pixels) - 1, min(len(pixels), 6000)).astype(int)
    length = length[pick]
    units = pixels[pick] / length[:, None]
    left = np.ones(len(units), bool)
    paints: list[Paint] = []
    alike, apart = np.cos(np.radians([_ALIKE_DEG, _APART_DEG]))
    while len(paints) < _MOST_PAINTS and left.sum() > max(60, _LEAST_SHARE * len(units)):
        rest = units[left]
        seeds = rest[:: max(1, len(rest) // 200)]
        centre = seeds[((seeds @ rest.T) > alike).sum(1).argmax()]
        for _ in range(3):
            centre = rest[(rest @ centre) > alike].mean(0)
            centre /= np.linalg.norm(centre)
        own = left & ((units @ centre) > alike)
        if own.sum() < _LEAST_SHARE * len(units):
            break
        paints.append(Paint(centre, float(np.quantile(length[own], _FULL_QUANTILE))))
        left &= (units @ centre) < apart
    return paints


def measure_coverage(view: Relative, paints: Sequence[Paint]) -> Coverage:
    """Share of clay at each place of a view.

    Parameters
    ----------
    view : Relative
    paints : sequence of Paint
        One at least.

    Returns
    -------
    Coverage
    """
    step = view.light - 1
    best: tuple[Plane, ...] | None = None
    for paint in paints:
        along = step @ paint.direction
        off = np.sqrt(np.maximum(channels.total(step**2) - along**2, 0)) / paint.distance
        share = 1 - along / paint.distance
        by_chroma, tint = _by_chroma(view.chroma, share, paint)
        read = (share, share if by_chroma is None else by_chroma, off, tint)
        if best is None:
            best = read
            continue
        nearer = off < best[2]
        best = tuple(np.where(nearer, new, old) for new, old in zip(read, best, strict=True))
    if best is None:
        raise ValueError("no paint to measure by")
    share, by_chroma, off, tint = (np.asarray(plane, np.float32) for plane in best)
    return Coverage(np.clip(share, 0, 1), np.clip(by_chroma, 0, 1), off, tint)


def _by_chroma(
    chroma: NDArray[np.float32], share: Plane, paint: Paint
) -> tuple[Plane | None, Plane]:
    """Share of clay from chromaticity, and the tint that goes with a share told by light.

    The first is None where paint and clay are too alike in chromaticity.
    """
    full = np.maximum(1 + paint.direction * paint.distance, 0.01)
    mixed = np.maximum(_TABLE[:, None] + (1 - _TABLE[:, None]) * full, 0.01)
    line = np.log(mixed[:, [0, 2]] / mixed[:, [1]])
    way = np.log(full[[0, 2]] / full[1])
    length = float(np.hypot(*way))
    if length == 0.0:
        return None, np.zeros_like(share)
    seen = line @ (way / length)
    tint = np.interp(share, _TABLE, seen).astype(np.float32)
    if length < _CHROMA_STEP:
        return None, tint
    order = np.argsort(seen)
    told = np.interp(chroma @ (way / length), seen[order], _TABLE[order])
    return told.astype(np.float32), tint


def _closed(paint: Mask, width_px: float) -> Mask:
    """Close what is narrower than a width, through distances: time does not grow with it."""
    reach = width_px / 2
    padded = np.pad(paint, int(reach) + 2)
    near = cv2.distanceTransform((~padded).astype(np.uint8), cv2.DIST_L2, 3) <= reach
    inner = cv2.distanceTransform(near.astype(np.uint8), cv2.DIST_L2, 3) > reach
    pad = int(reach) + 2
    return np.asarray(inner[pad:-pad, pad:-pad]) | paint


def _clay_chroma(
    chroma: NDArray[np.float32],
    told: NDArray[np.float32],
    paint: Mask,
    wall: Mask,
    px_per_mm: float,
) -> NDArray[np.float32]:
    """Log-chromaticities of clay, from where no thin coat can lie."""
    away = cv2.distanceTransform((~paint).astype(np.uint8), cv2.DIST_L2, 3)
    clear = wall & (away > _CLEAR_MM * px_per_mm)
    if not paint.any() or clear.sum() < _LEAST_CLAY * max(1, int(wall.sum())):
        return told
    usual = np.median(chroma[clear], axis=0)
    # Specks and scorches would pull at the mean.
    rest = np.where(clear[..., None], np.clip(chroma - usual, -0.1, 0.1), 0).astype(np.float32)
    small = (max(1, chroma.shape[1] // 4), max(1, chroma.shape[0] // 4))
    sigma = _WIDE_MM * px_per_mm / 4
    weight = cv2.GaussianBlur(_smaller(clear.astype(np.float32), small), (0, 0), sigma)
    total = cv2.GaussianBlur(_smaller(rest, small), (0, 0), sigma)
    near = total / (weight + np.float32(0.01))[..., None]
    return np.asarray(cv2.resize(near, chroma.shape[1::-1]) + usual, np.float32)


def _smaller(plane: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.float32]:
    return cv2.resize(plane, size, interpolation=cv2.INTER_AREA)  # type: ignore[no-any-return]


def _nearest(mask: Mask, size: tuple[int, int]) -> Mask:
    return cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0


def _clay_tone(tone: Plane, told: Plane, clay: Mask, px_per_mm: float) -> Plane:
    """Tone of clay under paint, carried on from clear clay above and below it.

    A thin coat of black looks like clay in the shade, and bends what the zones tell; round a piece
    light changes sooner than up and down.
    """
    size = (max(1, tone.shape[1] // 4), max(1, tone.shape[0] // 4))
    seen = _smaller(clay.astype(np.float32), size)
    level = _smaller(np.where(clay, tone, 0).astype(np.float32), size)
    told_there = _smaller(told, size)
    near, share = told_there, np.zeros_like(seen)
    for across_mm, down_mm in _CARRIED_MM:
        across, down = across_mm * px_per_mm / 4, down_mm * px_per_mm / 4
        weight = cv2.GaussianBlur(seen, (0, 0), sigmaX=across, sigmaY=down)
        wider = cv2.GaussianBlur(level, (0, 0), sigmaX=across, sigmaY=down)
        wider = wider / np.maximum(weight, 1e-4)
        trust = np.clip(share / _ENOUGH, 0, 1)
        near = trust * near + (1 - trust) * wider
        share = np.maximum(share, weight)
    off = np.clip(share / _LEAST, 0, 1) * (near - told_there)
    return np.asarray(told + cv2.resize(off, tone.shape[1::-1]), np.float32)
