"""The piece, cut out from its surroundings.

The table and the wall behind the piece are learned from the left and right margins, row by row,
in log chromaticity, which a shadow hardly changes; what differs from them is the piece. The exact
outline is then found by flooding from the deep inside and from the sure outside until both meet
on the sharpest edge between them: soft shadows and the light that a piece throws on its table
have no sharp edge and so fall to the outside, a handle is joined to its pot by an unbroken
surface and so falls to the inside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.segmentation import watershed

from grader.colour.srgb import decode_srgb

Mask = NDArray[np.bool_]

_WORK_LONG_SIDE_PX = 900
"""Finding the outline needs no more; one pixel here is under 1 % of the area of a piece."""

_MARGIN_SHARE = 0.035
"""Width of the margin strips, as a share of the width, that are taken as surroundings."""

_DARK_FLOOR = 0.004
"""Linear light added before logarithms: about one 8-bit step, so that black stays finite."""

_CHROMA_NOISE_FLOOR = 0.010
_LIGHT_NOISE_FLOOR = 0.04
"""Smallest spread credited to the surroundings (natural log units): JPEG noise of a flat wall."""

_SHADOW_DEPTH = 1.0
"""A shadow may darken the table to 1/e of its light without counting as a difference."""

_DIFFERENT = 5.0
"""Spreads of the surroundings from which a pixel is taken for another material."""


@dataclass(frozen=True, slots=True)
class Silhouette:
    """Where the piece is.

    Attributes
    ----------
    mask : ndarray of bool, shape (height, width)
        Size of the photo; holes (inside a handle) are False.
    bbox_px : tuple of int
        (x, y, width, height).
    certainty : float
        0..1: how clearly the piece stands out along its outline.
    touches_frame : bool
        True where the outline runs along the edge of the photo.
    notes : tuple of str
        Why it is unsure, in plain words.
    """

    mask: Mask
    bbox_px: tuple[int, int, int, int]
    certainty: float
    touches_frame: bool = False
    notes: tuple[str, ...] = ()


def cut_out(
    rgb: NDArray[np.uint8], cards_px: Sequence[NDArray[np.float64]] = ()
) -> Silhouette | None:
    """Find the piece on a photo.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
        Upright sRGB photo.
    cards_px : sequence of ndarray, each shape (n, 2)
        Outlines (x, y) of marker and chart, which are never part of the piece.

    Returns
    -------
    Silhouette or None
        None where nothing stands out from the surroundings.
    """
    height, width = rgb.shape[:2]
    shrink = min(1.0, _WORK_LONG_SIDE_PX / max(height, width))
    small = cv2.resize(rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    cards = _paint_cards(small.shape[:2], cards_px, shrink)
    features = _log_features(small, blur_px=1.0)
    difference = features - _surroundings(features, cards)
    score = _score(difference, cards)
    body = _body(score)
    if body is None:
        return None
    outline = _flood(small, score, body, cards)
    if outline is None:
        return None
    soft = cv2.GaussianBlur(outline.astype(np.float32), (0, 0), 1.2)
    mask = cv2.resize(soft, (width, height), interpolation=cv2.INTER_LINEAR) > 0.5
    rows, cols = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    if not rows.size:
        return None
    bbox = (
        int(cols[0]),
        int(rows[0]),
        int(cols[-1] - cols[0] + 1),
        int(rows[-1] - rows[0] + 1),
    )
    touches = bool(rows[0] <= 1 or cols[0] <= 1 or rows[-1] >= height - 2 or cols[-1] >= width - 2)
    certainty = _certainty(score, outline)
    notes = []
    if touches:
        notes.append("the piece runs out of the frame")
    if certainty < 0.5:
        notes.append("the piece hardly stands out from what is behind it")
    return Silhouette(mask, bbox, certainty, touches, tuple(notes))


def _disc(radius_px: float) -> NDArray[np.uint8]:
    size = 2 * max(1, round(radius_px)) + 1
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))  # type: ignore[no-any-return]


def _paint_cards(
    shape: tuple[int, ...], cards_px: Sequence[NDArray[np.float64]], shrink: float
) -> Mask:
    cards = np.zeros(shape[:2], np.uint8)
    for card in cards_px:
        cv2.fillConvexPoly(cards, np.round(np.asarray(card) * shrink).astype(np.int32), 1)
    # The cut edge of a card throws a thin line of its own.
    return cv2.dilate(cards, _disc(2)) > 0


def _log_features(rgb: NDArray[np.uint8], blur_px: float) -> NDArray[np.float32]:
    """log(R/G), log(B/G) and mean log light; the first two do not know shading."""
    light = cv2.GaussianBlur(decode_srgb(rgb), (0, 0), blur_px)
    logs = cv2.log(light + np.float32(_DARK_FLOOR))
    red, green, blue = cv2.split(logs)
    return np.dstack([red - green, blue - green, (red + green + blue) / 3.0])


def _surroundings(features: NDArray[np.float32], cards: Mask) -> NDArray[np.float32]:
    """Table and wall behind the piece: each row between its two margins."""
    width = features.shape[1]
    strip = max(6, round(_MARGIN_SHARE * width))
    across = np.linspace(0.0, 1.0, width, dtype=np.float32)[None, :, None]
    left = _margin(features[:, :strip], cards[:, :strip])
    right = _margin(features[:, -strip:], cards[:, -strip:])
    return left[:, None] * (1 - across) + right[:, None] * across


def _margin(strip: NDArray[np.float32], cards: Mask) -> NDArray[np.float32]:
    """Median of each row of a margin; rows that a card covers are bridged."""
    free = ~cards
    usable = free.sum(1) >= max(3, free.shape[1] // 3)
    if not usable.any():
        return np.repeat(np.median(strip, axis=(0, 1))[None], len(strip), axis=0)
    rows = np.arange(len(strip))
    values = np.empty((len(strip), 3), np.float32)
    hidden = np.where(free[..., None], strip, np.nan)
    middle = np.nanmedian(hidden[usable], axis=1)
    for channel in range(3):
        bridged = np.interp(rows, rows[usable], middle[:, channel])
        values[:, channel] = ndimage.gaussian_filter1d(bridged, 2.0)
    return values


def _score(difference: NDArray[np.float32], cards: Mask) -> NDArray[np.float32]:
    """How many spreads of the surroundings a pixel lies from them; shadows count little."""
    height, width = difference.shape[:2]
    strip = max(6, round(_MARGIN_SHARE * width))
    margin = np.zeros((height, width), bool)
    margin[:, :strip] = margin[:, -strip:] = True
    margin[:strip] = True
    margin &= ~cards
    # The 95 % reach of the margins over 2 is their standard deviation if they were normal; a
    # wood grain or a weave has a wide one and so asks for more difference.
    reach = np.quantile(np.abs(difference[margin]), 0.95, axis=0) / 2.0
    red, blue, light = np.maximum(
        reach, [_CHROMA_NOISE_FLOOR, _CHROMA_NOISE_FLOOR, _LIGHT_NOISE_FLOOR]
    )
    brighter = np.clip(difference[..., 2], 0, None) / light
    darker = np.clip(-(difference[..., 2] + _SHADOW_DEPTH), 0, None) / light
    score = np.sqrt(
        (difference[..., 0] / red) ** 2 + (difference[..., 1] / blue) ** 2 + brighter**2 + darker**2
    )
    score[cards] = 0
    return score.astype(np.float32)


def _largest(mask: Mask, weigh_middle: bool = False) -> Mask | None:
    count, labels, stats, centres = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    if count < 2:
        return None
    weight = stats[1:, cv2.CC_STAT_AREA].astype(float)
    if weigh_middle:
        height, width = mask.shape
        off = (centres[1:, 0] / width - 0.5) ** 2 + (centres[1:, 1] / height - 0.5) ** 2
        weight *= np.exp(-off / (2 * 0.25**2))
    return labels == 1 + int(np.argmax(weight))


def _body(score: NDArray[np.float32]) -> Mask | None:
    """The part of the piece that differs beyond doubt, its inner gaps closed."""
    differs = cv2.morphologyEx((score > _DIFFERENT).astype(np.uint8), cv2.MORPH_OPEN, _disc(2)) > 0
    found = _largest(differs, weigh_middle=True)
    if found is None:
        return None
    # Light thrown by the piece on the table differs too, but less than the piece itself.
    typical = float(np.median(score[found]))
    strong = found & (score > max(_DIFFERENT, 0.4 * typical))
    core = _largest(cv2.morphologyEx(strong.astype(np.uint8), cv2.MORPH_OPEN, _disc(3)) > 0)
    if core is None:
        return None
    body = core.copy()
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        (ndimage.binary_fill_holes(core) & ~core).astype(np.uint8)
    )
    for hole in range(1, count):
        inside = labels == hole
        # Paint in the colour of the table is small or still a little different; the gap inside
        # a handle is neither.
        small = stats[hole, cv2.CC_STAT_AREA] < 0.02 * core.sum()
        if small or float(np.median(score[inside])) > _DIFFERENT / 2:
            body |= inside
    return body


def _flood(
    small: NDArray[np.uint8], score: NDArray[np.float32], body: Mask, cards: Mask
) -> Mask | None:
    """Let the deep inside and the sure outside grow until they meet on the sharpest edge."""
    as_bytes = body.astype(np.uint8)
    widths = body.sum(1)
    radius = max(4, round(0.12 * float(np.median(widths[widths > 0]))))
    block = _largest(cv2.morphologyEx(as_bytes, cv2.MORPH_OPEN, _disc(radius)) > 0)
    if block is None:
        return None
    inside = cv2.erode(block.astype(np.uint8), _disc(radius)) > 0
    far = cv2.dilate(as_bytes, _disc(max(10, radius))) == 0
    calm = cv2.GaussianBlur(score, (0, 0), 1.0) < 1.5
    clear_of_body = cv2.dilate(as_bytes, _disc(3)) == 0
    outside = far | cards | (calm & clear_of_body)
    sharp = _sharpness(small)
    # An edge between two things that both differ from the surroundings lies within the piece.
    inner = cv2.erode(np.minimum(score, 60.0), _disc(2))
    barrier = sharp * np.clip(1 - inner / (5 * _DIFFERENT), 0.25, 1.0)
    flooded = _meet(barrier, inside, outside)
    if flooded is None:
        return None
    flooded = _without_shadow(sharp, flooded, outside)
    flooded = _without_gaps(score, flooded, radius)
    return _with_pockets(sharp, flooded, cards)


def _without_shadow(sharp: NDArray[np.float32], mask: Mask, outside: Mask) -> Mask:
    """Drop lobes that end softly and begin sharply: a shadow lit by another lamp than the table.

    The flood is run once more from the very middle of the mask; what it no longer reaches is
    looked at lobe by lobe. A handle or a dark side ends sharply against the table and stays.
    """
    distance = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 3)
    core = distance > 0.6 * float(distance.max())
    tried = _meet(sharp, core, outside | ~mask)
    if tried is None:
        return mask
    lobes = cv2.morphologyEx((mask & ~tried).astype(np.uint8), cv2.MORPH_OPEN, _disc(3))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(lobes)
    edge = mask & (cv2.erode(mask.astype(np.uint8), _disc(1)) == 0)
    ridge = cv2.dilate(sharp, _disc(2))
    usual = float(np.median(ridge[edge]))
    out = mask.copy()
    for number in range(1, count):
        if stats[number, cv2.CC_STAT_AREA] < 0.004 * mask.sum():
            continue
        lobe = labels == number
        near = cv2.dilate(lobe.astype(np.uint8), _disc(4)) > 0
        begins = near & tried & (cv2.erode(tried.astype(np.uint8), _disc(2)) == 0)
        ends = near & edge
        if begins.sum() < 10 or ends.sum() < 10:
            continue
        soft = float(np.median(ridge[ends])) < 0.5 * usual
        if soft and float(np.median(ridge[begins])) > 2.0 * float(np.median(ridge[ends])):
            out &= ~(cv2.dilate(lobe.astype(np.uint8), _disc(3)) > 0) | tried
    found = _largest(cv2.morphologyEx(out.astype(np.uint8), cv2.MORPH_OPEN, _disc(2)) > 0)
    return mask if found is None else found


def _without_gaps(score: NDArray[np.float32], mask: Mask, radius: int) -> Mask:
    """Open the gap inside a handle that the light thrown by the piece had closed."""
    block = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, _disc(radius)) > 0
    typical = float(np.median(score[block])) if block.any() else 0.0
    beside = mask & ~(cv2.erode(block.astype(np.uint8), _disc(2)) > 0)
    calm = cv2.GaussianBlur(score, (0, 0), 1.0)
    weak = cv2.morphologyEx(
        (beside & (calm < 0.4 * typical)).astype(np.uint8), cv2.MORPH_OPEN, _disc(3)
    )
    count, labels, stats, _ = cv2.connectedComponentsWithStats(weak)
    out = mask.copy()
    for number in range(1, count):
        if stats[number, cv2.CC_STAT_AREA] >= 0.003 * mask.sum():
            out &= labels != number
    return out


def _meet(barrier: NDArray[np.float32], inside: Mask, outside: Mask) -> Mask | None:
    markers = np.zeros(inside.shape, np.int32)
    markers[outside] = 1
    markers[inside] = 2
    unknown = markers != 1
    rows, cols = np.flatnonzero(unknown.any(1)), np.flatnonzero(unknown.any(0))
    if not rows.size or not inside.any():
        return None
    window = np.s_[max(0, rows[0] - 2) : rows[-1] + 3, max(0, cols[0] - 2) : cols[-1] + 3]
    flooded = np.zeros(inside.shape, np.uint8)
    flooded[window] = watershed(barrier[window], markers[window]) == 2
    return _largest(cv2.morphologyEx(flooded, cv2.MORPH_OPEN, _disc(2)) > 0)


def _with_pockets(sharp: NDArray[np.float32], mask: Mask, cards: Mask) -> Mask:
    """Win back paint, glare or pool tint at the outline that looks like the table.

    A bay in the outline belongs to the piece where a sharp edge closes it on the far side; the
    waist of a vase has none there.
    """
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    hull = np.zeros(mask.shape, np.uint8)
    cv2.fillConvexPoly(hull, cv2.convexHull(np.concatenate(contours)), 1)
    bays = cv2.morphologyEx(
        ((hull > 0) & ~mask & ~cards).astype(np.uint8), cv2.MORPH_OPEN, _disc(2)
    )
    count, labels, stats, _ = cv2.connectedComponentsWithStats(bays)
    edge = mask & (cv2.erode(mask.astype(np.uint8), _disc(1)) == 0)
    ridge = cv2.dilate(sharp, _disc(2))
    usual = float(np.median(ridge[edge]))
    out = mask
    for bay in range(1, count):
        if stats[bay, cv2.CC_STAT_AREA] < 0.0015 * mask.sum():
            continue
        region = labels == bay
        reach = cv2.dilate(region.astype(np.uint8), _disc(8)) > 0
        deep = cv2.erode(region.astype(np.uint8), _disc(3)) > 0
        tried = _meet(sharp, mask | deep, ~(mask | reach) | cards)
        if tried is None:
            continue
        gained = tried & ~mask
        rim = gained & (cv2.erode(tried.astype(np.uint8), _disc(1)) == 0)
        if rim.sum() < 5:
            continue
        # Three quarters of the new outline must be at least a third as sharp as the rest is.
        if float(np.quantile(ridge[rim], 0.25)) > usual / 3.0:
            out = out | tried
    return out


def _sharpness(small: NDArray[np.uint8]) -> NDArray[np.float32]:
    features = _log_features(small, blur_px=0.8)
    edge = np.zeros(features.shape[:2], np.float32)
    # Chromaticity tells materials apart where light only tells sides: it weighs half as much again.
    for channel, weight in ((0, 1.5), (1, 1.5), (2, 1.0)):
        plane = np.ascontiguousarray(features[..., channel])
        across = cv2.Scharr(plane, cv2.CV_32F, 1, 0)
        down = cv2.Scharr(plane, cv2.CV_32F, 0, 1)
        edge = np.maximum(edge, np.float32(weight / 32.0) * cv2.magnitude(across, down))
    return edge


def _certainty(score: NDArray[np.float32], mask: Mask) -> float:
    """Share of the outline along which inside and outside clearly differ."""
    as_bytes = mask.astype(np.uint8)
    inner = mask & (cv2.erode(as_bytes, _disc(3)) == 0)
    if not inner.any():
        return 0.0
    return float(np.mean(score[inner] > _DIFFERENT / 2))
