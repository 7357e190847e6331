"""The outline of chosen regions, moved onto the sharpest edge nearby at a finer scale.

A flood finds the sharpest edge. Under a piece that can be the soft outer edge of its own shadow;
so the edge is also followed along the smoothed outline, where turns are dear. What lies between
the two is piece or table by its chromaticity, which a shadow cannot change; where that does not
tell, the flood is believed.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.segmentation import watershed

from grader.outline.likeness import like_table, spread_about
from grader.outline.regions import Mask, edge_strength, log_look
from grader.outline.strip import follow_strip

_FLOOD_SHARE = 0.005
"""How far the flood may move the outline, as a share of the photo: half a region."""

_CORE_PX = 1
"""What the flood leaves of a part narrower than its reach, as a handle is."""

_STRIP_SHARE = 0.018
"""How far shadow may be off, as a share of the photo: a region of foot and shadow and a half."""

_BUMP_SHARE = 0.012
"""Radius (share of the photo) of what is held against its surroundings as a bump or a notch: the
width of a brush mark, half a handle."""

_LEAST_SHARE = 0.0002
"""Of the piece; a smaller difference changes no measurement and holds too few pixels to tell."""

_SURE = 0.5
"""Least share of the difference between piece and table that is no noise and no spread."""

_CLEAR = 0.2
"""A place is told apart where it lies so far beyond the middle between piece and table, as a
share of the whole way."""

_THORN_PX = 2
"""Radius of the thinnest thing that an outline may have: 0.4 % of the photo across, some 0.8 mm
where a piece fills the photo. Handles are thicker, thorns are thinner."""


def sharpen(rgb: NDArray[np.uint8], coarse: Mask, cards: Mask) -> Mask:
    """Move a coarse outline onto the edge of the piece.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
    coarse : ndarray of bool, shape (h, w)
    cards : ndarray of bool, shape (h, w)
        Pixels that are no piece.

    Returns
    -------
    ndarray of bool, shape (h, w)
    """
    reach = max(3, round(_STRIP_SHARE * max(coarse.shape)))
    rows, cols = np.flatnonzero(coarse.any(1)), np.flatnonzero(coarse.any(0))
    out = np.zeros_like(coarse)
    if not rows.size:
        return out
    pad = 3 * reach
    window = np.s_[
        max(0, rows[0] - pad) : rows[-1] + pad + 1, max(0, cols[0] - pad) : cols[-1] + pad + 1
    ]
    logs = cv2.GaussianBlur(log_look(rgb[window]), (0, 0), 1.0)
    flooded = _flood(logs, coarse[window], cards[window])
    followed = follow_strip(logs, flooded, cards[window], reach) & ~cards[window]
    settled = _by_material(logs, flooded, followed, cards[window], reach)
    # The edges of paint and cracks that end at the outline are sharper than its own.
    even = _even(settled, _BUMP_SHARE * max(coarse.shape)) & ~cards[window]
    settled = _by_material(logs, settled, even, cards[window], reach, feet=False)
    out[window] = _without_thorns(settled)
    return out


def _even(mask: Mask, radius_px: float) -> Mask:
    """The mask without bumps and notches narrower than a disc."""
    disc = _disc(round(radius_px))
    pad = 2 * round(radius_px) + 1
    # Room around, so that a piece cut off by the frame keeps its corners.
    roomy = np.pad(mask.astype(np.uint8), pad, mode="edge")
    even = cv2.morphologyEx(cv2.morphologyEx(roomy, cv2.MORPH_CLOSE, disc), cv2.MORPH_OPEN, disc)
    return np.asarray(even[pad:-pad, pad:-pad] > 0)


def _flood(logs: NDArray[np.float32], coarse: Mask, cards: Mask) -> Mask:
    """Let inside and outside grow until they meet on the sharpest edge near a coarse outline."""
    reach = max(2.0, _FLOOD_SHARE * max(coarse.shape))
    markers = np.zeros(coarse.shape, np.int32)
    markers[_kept(~coarse, reach) | cards] = 1
    markers[_kept(coarse & ~cards, reach)] = 2
    # What is given needs no flooding: only where it meets what is not does water rise from it.
    strip = cv2.dilate((markers == 0).astype(np.uint8), _disc(1)) > 0
    flooded = watershed(edge_strength(logs), markers, mask=strip)
    return np.asarray((flooded == 2) | (markers == 2))


def _kept(mask: Mask, reach: float) -> Mask:
    """What lies deeper than the reach; of narrow parts their middle."""
    depth = cv2.distanceTransform(np.pad(mask, 1, mode="edge").astype(np.uint8), cv2.DIST_L2, 3)
    depth = depth[1:-1, 1:-1]
    # Deepest point within reach: where that itself is shallow, the part is narrow.
    ridge = cv2.dilate(depth, _disc(round(reach)))
    needed = np.minimum(reach, np.maximum(0.75 * ridge - _CORE_PX, _CORE_PX))
    return mask & (depth > needed)


def _by_material(
    logs: NDArray[np.float32],
    flooded: Mask,
    followed: Mask,
    cards: Mask,
    reach: int,
    *,
    feet: bool = True,
) -> Mask:
    """Give what lies between two outlines to piece or table, as its chromaticity says.

    Parameters
    ----------
    logs : ndarray of float32, shape (h, w, 3)
        log(R/G), log(B/G) and log light.
    feet : bool
        Whether what has the table's colour may be a foot.
    """
    chroma, light = logs[..., :2], logs[..., 2]
    # Beside an edge the lens mixes both sides.
    surely_in = cv2.erode((flooded & followed).astype(np.uint8), _disc(2)) > 0
    surely_out = cv2.dilate((flooded | followed | cards).astype(np.uint8), _disc(2)) == 0
    least = max(12.0, _LEAST_SHARE * np.count_nonzero(flooded))
    out = flooded.copy()
    for given in (flooded & ~followed, followed & ~flooded):
        count, labels, stats, _ = cv2.connectedComponentsWithStats(given.astype(np.uint8))
        for number in range(1, count):
            left, top, wide, high, area = stats[number]
            if area < least:
                continue
            near = np.s_[
                max(0, top - 2 * reach) : top + high + 2 * reach,
                max(0, left - 2 * reach) : left + wide + 2 * reach,
            ]
            place = labels[near] == number
            around = cv2.dilate(place.astype(np.uint8), _disc(2 * reach)) > 0
            table = around & surely_out[near]
            likeness = _likeness(chroma[near], place, around & surely_in[near], table)
            # A foot may have the table's colour; the shadow at it is darker than the table too.
            foot = feet and likeness > 0 and _median_step(light[near], place, table) > 0
            if abs(likeness) > _CLEAR and not foot:
                out[near][place] = likeness < 0
    return out


def _median_step(plane: NDArray[np.float32], place: Mask, beside: Mask) -> float:
    return float(np.median(plane[place]) - np.median(plane[beside]))


def _likeness(chroma: NDArray[np.float32], place: Mask, inside: Mask, outside: Mask) -> float:
    """-0.5 where a place looks like the inside, 0.5 like the outside, 0 where it does not tell."""
    if min(np.count_nonzero(inside), np.count_nonzero(outside)) < 12:
        return 0.0
    piece, table = np.median(chroma[inside], axis=0), np.median(chroma[outside], axis=0)
    spread = spread_about(chroma[inside], piece) + spread_about(chroma[outside], table)
    like, sure = like_table(np.median(chroma[place], axis=0), piece, table, spread)
    return like if sure >= _SURE else 0.0


def _without_thorns(mask: Mask) -> Mask:
    # Room around, so that a piece cut off by the frame keeps its corners.
    roomy = np.pad(mask.astype(np.uint8), 2 * _THORN_PX + 1, mode="edge")
    opened = cv2.morphologyEx(roomy, cv2.MORPH_OPEN, _disc(_THORN_PX))
    inner = np.s_[2 * _THORN_PX + 1 : -2 * _THORN_PX - 1]
    parts, count = ndimage.label(opened[inner, inner])
    if count < 2:
        return np.asarray(parts > 0)
    # What hung on by a thorn only is no part of the piece.
    return np.asarray(parts == 1 + int(np.bincount(parts.ravel())[1:].argmax()))


def _disc(radius_px: int) -> NDArray[np.uint8]:
    size = 2 * radius_px + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), np.uint8)
