"""The zones of a piece: wall and inside, bare or glazed clay and paint, and the foot.

The clay (`clay`) is the colour that most of the piece has in common over all its views. Paint
(`paint`) differs from it with a sharp edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.clay import chroma_noise, sound_clay
from grader.lip import Lip, find_lip, tone_edges
from grader.paint import PAINT_LEVELS, PAINT_TONE, close_gaps, find_paint
from grader.piece import Mask
from grader.surface import Plane, Surface, grow, shrink

_FLAKE_REACH_MM = 4.5
"""A gap in paint of up to this width counts as painted zone, so that a flake lies within it."""

_FOOT_SHARE = 0.035
"""The lowest part of the wall, where glaze is wiped off."""


_LIP_DEEPEST = 0.35
"""Depth of an opening, as a share of the body's rows, that a piece standing on a table shows."""

_LIP_SHARE = 0.75
_LIP_ABOVE = 0.35
"""Three quarters of a near lip show its edge of tone (`tone_edges`); other lines of the same shape
show a third less of it."""

_THICKEST_LIP_MM = 8.0
"""A lip is thrown 3 to 6 mm thick, and rounded: so far two ways to find it may differ."""

_LEAST_OPENING = 0.2
"""Share of the body's width. What is narrower is the knob of a lid, round as a lip seen from above
but with no wall to it; into so narrow a mouth nobody sees."""

_RIM_CONVEX = 0.92
"""Share of its convex hull that an opening fills: 1 for a round one, 0.95 with a spout."""

_STEEPEST = 3.2
"""Seen at 72 degrees a mark is a third as wide as it is. With four views no place is worse than 45
degrees on the best of them."""


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
    shine : ndarray of bool
        Glazed clay that shines or turns milky with an edge as sharp as that of paint.
    foot : ndarray of bool
    clay_chroma : ndarray of float32, shape (h, w, 2)
        What sound clay would look like at each place.
    clay_tone : ndarray of float32, shape (h, w)
    noise : ndarray of float32, shape (h, w)
        Spread of a log-chromaticity from grain and camera noise.
    body_left, body_right : ndarray of float, shape (h,)
        Outline of the body without handles; NaN in rows that it does not reach.
    body_rows : tuple of int
        First and last row of the body.
    stretch : ndarray of float32, shape (h, w)
        How many times as wide the wall is as it looks, 1 to 5, taken as round.
    facing : ndarray of bool, shape (h, w)
        Where the wall is seen at less than 72 degrees from its normal: small marks are sought
        here only, since beyond they shrink to slivers and the next view shows them better.
    """

    wall: Mask
    inside: Mask
    painted: Mask
    paint: Mask
    shine: Mask
    foot: Mask
    clay_chroma: NDArray[np.float32]
    clay_tone: Plane
    noise: Plane
    body_left: NDArray[np.float64]
    body_right: NDArray[np.float64]
    body_rows: tuple[int, int]
    stretch: Plane
    facing: Mask


def find_zones(
    surface: Surface,
    clay: tuple[float, float],
    *,
    decorated: bool | None,
    seen_from_side: bool,
    glazed: bool = True,
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
    glazed : bool, default True
        False for raw clay, on which nothing shines or turns milky.

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
    coated = seen_from_side and decorated is not False
    clay_chroma, clay_tone = sound_clay(surface, wall, clay, coated=coated)
    noise = chroma_noise(surface)
    if decorated is False:
        paint, shine = np.zeros_like(wall), np.zeros_like(wall)
    else:
        columns = np.arange(wall.shape[1])[None]
        body = (columns >= left[:, None]) & (columns <= right[:, None])
        # Light that falls into a pot or on a foot draws sharp dark shapes: there only colour tells.
        dark = 1.0 if seen_from_side else 0.0
        paint, shine, clay_chroma = find_paint(
            surface, wall, body, clay_chroma, clay_tone, noise, dark=dark, glazed=glazed
        )
    painted = close_gaps(paint, surface.px(_FLAKE_REACH_MM)) & wall
    stretch = np.ones(wall.shape, np.float32)
    if seen_from_side:
        stretch = _stretch(wall.shape[1], left, right)
    foot = np.zeros_like(wall)
    foot[last - max(1, round(_FOOT_SHARE * (last - first))) :] = True
    return Zones(
        wall=wall,
        inside=inside & surface.mask,
        painted=painted,
        paint=paint,
        shine=shine,
        foot=foot & surface.mask,
        clay_chroma=clay_chroma,
        clay_tone=clay_tone,
        noise=noise,
        body_left=left,
        body_right=right,
        body_rows=(first, last),
        stretch=stretch,
        facing=wall & (stretch < _STEEPEST),
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


def _stretch(width: int, left: NDArray[np.float64], right: NDArray[np.float64]) -> Plane:
    """One over the cosine of the angle at which a round wall is seen; 5 at most and beyond it."""
    middle = float(np.nanmedian(left + right)) / 2
    # The root of a handle belongs to the outline of one side; the other shows where the wall ends.
    half = np.fmin(middle - left, right - middle)[:, None]
    off = np.abs(np.arange(width)[None] - middle) / np.maximum(half, 1)
    cosine = np.sqrt(np.clip(1 - np.nan_to_num(off, nan=2.0) ** 2, 0.04, 1))
    return (1 / cosine).astype(np.float32)


def _opening(
    surface: Surface,
    first: int,
    last: int,
    left: NDArray[np.float64],
    right: NDArray[np.float64],
) -> Mask:
    """The ellipse of the rim where the outline shows one, else the rim turned round.

    Where the edge of tone along the near lip says otherwise by more than a lip is thick, the
    outline was misled by a handle, a corner or a spout, and the edge is believed.
    """
    found = _outline_ellipse(surface, first, last, left, right)
    lip = find_lip(surface, (first, last), left, right)
    if lip is not None and _is_knob(lip, left, right):
        lip = None
    thick = surface.px(_THICKEST_LIP_MM)
    if lip is not None and found is not None and abs(_bottom(found) - _bottom(lip)) <= thick:
        return _filled(surface, found)
    turned = _mirrored_opening(surface, first, last, left, right)
    if lip is None and found is not None and turned.any():
        near = int(np.flatnonzero(turned[:, round(found.middle_px[0])])[-1:].sum())
        if near and abs(_bottom(found) - near) > thick:
            return turned
    if found is None and turned.any():
        return turned
    best = lip or found
    return np.zeros_like(turned) if best is None else _filled(surface, best)


def _bottom(lip: Lip) -> float:
    return lip.middle_px[1] + lip.deep_px


def _filled(surface: Surface, lip: Lip) -> Mask:
    """All within a lip. The near one is thick as clay is thrown; beyond 1 mm it is wall again."""
    inside = np.zeros(surface.mask.shape, np.uint8)
    axes = (round(lip.across_px), round(lip.deep_px) + round(surface.px(1.0)))
    centre = (round(lip.middle_px[0]), round(lip.middle_px[1]))
    cv2.ellipse(inside, centre, axes, 0, 0, 360, 1, -1)
    return (inside > 0) & surface.mask


def _is_knob(lip: Lip, left: NDArray[np.float64], right: NDArray[np.float64]) -> bool:
    """Whether what looks like a lip is too narrow for its body to be one."""
    return bool(lip.across_px < _LEAST_OPENING * np.nanmax(right - left) / 2)


def _outline_ellipse(
    surface: Surface,
    first: int,
    last: int,
    left: NDArray[np.float64],
    right: NDArray[np.float64],
) -> Lip | None:
    """The ellipse whose far half is the top of the silhouette.

    For each row the top of the silhouette may end at, the half ellipse with that axis is laid
    against the outline; the lowest row at which it still fits within 2 % is the long axis.
    """
    rows = np.arange(first, last + 1)
    half = (right[rows] - left[rows]) / 2.0
    if np.isnan(half).any() or len(rows) < 20:
        return None
    best: tuple[int, float] | None = None
    for depth in range(3, int(0.45 * len(rows))):
        across = half[depth]
        want = across * np.sqrt(np.clip(1 - ((depth - np.arange(depth)) / depth) ** 2, 0, 1))
        error = np.abs(want - half[:depth])[1:]
        if len(error) and float(error.mean()) < 0.02 * across:
            best = (depth, float(across))
    if best is None:
        return None
    depth, across = best
    row = first + depth
    lip = Lip(((left[row] + right[row]) / 2.0, float(row)), across, float(depth))
    return None if _is_knob(lip, left, right) else lip


def _mirrored_opening(
    surface: Surface,
    first: int,
    last: int,
    left: NDArray[np.float64],
    right: NDArray[np.float64],
) -> Mask:
    """The opening of a squared, faceted or oval rim: its near lip is its far lip turned round.

    The far lip is the top of the silhouette. Turned by half a turn about the middle of the opening
    it is the near lip, at a depth that is sought where an edge of tone follows it; painted bands
    and rings run lower.
    """
    inside = np.zeros(surface.mask.shape, bool)
    top_rows = slice(first, first + max(2, int(_LIP_DEEPEST * (last - first))))
    wide = right[top_rows] - left[top_rows]
    if np.isnan(wide).any():
        return inside
    widest = first + int(np.argmax(wide))
    x0, x1 = round(float(left[widest])), round(float(right[widest]))
    columns = np.arange(x0, x1 + 1)
    if len(columns) < 40:
        return inside
    far = surface.mask[:, columns].argmax(0) - first
    turned = far[::-1]
    near_edge, slack = tone_edges(surface)
    # Toward its sides the lip is seen along its length.
    middle = slice(len(columns) // 8, len(columns) - len(columns) // 8)
    depths = np.arange(2 * slack, int(_LIP_DEEPEST * (last - first)))
    if not len(depths):
        return inside
    at = first + depths[:, None] - turned[None, middle]
    usable = at > first + far[None, middle] + slack
    hits = near_edge[np.clip(at, 0, last), columns[None, middle]]
    # Paint begins with an edge, too, below which it is darker or of another hue by more than the
    # warm light within a pot makes.
    sides = np.dstack([surface.chroma, surface.tone])
    above, below = (
        sides[np.clip(at + way * slack, 0, last), columns[None, middle]] for way in (-1, 1)
    )
    change = below - above
    usable &= np.hypot(change[..., 0], change[..., 1]) < PAINT_LEVELS[-1]
    usable &= change[..., 2] > -PAINT_TONE
    share = (hits & usable).sum(1) / len(columns[middle])
    good = share > _LIP_SHARE
    # A texture that has edges everywhere follows any line.
    if not good.any() or float(np.median(share)) > _LIP_SHARE - _LIP_ABOVE:
        return inside
    start = int(good.argmax())
    run = good[start:]
    length = int(run.argmin()) if not run.all() else len(run)
    # The slack makes a plateau of depths; the lip is in its middle.
    shares = share[start : start + length]
    depth = int(np.median(depths[start : start + length][shares > 0.97 * shares.max()]))
    bottom = first + depth - turned
    rows = np.arange(surface.mask.shape[0])[:, None]
    inside[:, columns] = (rows >= first + far[None]) & (rows <= bottom[None])
    inside &= surface.mask
    # A lid with its knob, or a torn outline, turned round makes no rim.
    hull = cv2.convexHull(cv2.findNonZero(inside.astype(np.uint8)))
    if inside.sum() < _RIM_CONVEX * cv2.contourArea(hull):
        return np.zeros_like(inside)
    return inside
