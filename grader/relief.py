"""Where the form itself breaks the surface: handles, lugs, spouts, carved and pressed lines.

There one part throws its light and its shadow on another, so that soft differences of colour say
nothing, and dark lines are corners. Such places show as long sharp edges of tone without paint. A
handle that faces the camera may show no edge at all; it is known from the views in which it
stands out from the body.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from grader.edges import jump, slopes, step_height
from grader.piece import Mask
from grader.surface import Plane, Surface, grow, shrink
from grader.zones import Zones

_EDGE_TONE = 0.07
"""Step of tone (7 % of light) that counts as an edge of form; grain and rings stay below."""

_FINE_MM, _COARSE_MM = 0.4, 1.4
"""Two blurs under which a step stands as high, while the ramp of a scorch or a rounded side
stands higher under the coarse one, by their ratio of 3.5."""

_STEP_SHARE = 0.55

_WAVE_SHARE = 1.5

_LEVEL_SLOPE = 1.5
"""An edge whose slope points this much more up or down than sideways lies level: a ring, seen
from a little above, does so out to nine tenths of the radius."""

_SPECK_MM = 1.3
"""Median window that takes specks and pits away and leaves edges."""

_LONG_MM = 14.0
"""Longer than any speck, pit or rim of a flake: a lug is about this tall."""

_REACH_MM = 8.0
"""So far a handle of usual thickness colours the wall beside it with its own light."""


_HANDLE_SHARE = 0.2
"""Width of the strip that holds a handle seen from in front, as a share of the body: the piece
is rarely turned by an exact quarter."""

_SHADOW_SHARE = 0.75
"""Width of the strip in which its shadow may fall, on either side and down to the foot."""


_ARRIS_SHARE = 0.7
"""Share of the wall's height from which an edge is a corner of a squared or faceted body: it juts
out towards us and throws no light on the faces beside it. Handles end above the foot."""

_GAP_MM = 6.0
"""Gaps in a corner that are bridged: the pitch of throwing or paddle marks."""

_ARRIS_MM = 2.0
"""Rounded over about this width, a corner shines and shades by itself."""


@dataclass(frozen=True, slots=True)
class _Protrusion:
    """A handle as it stands out of the body on one view; shares of the body's height."""

    side: int  # -1 left, +1 right
    top: float
    bottom: float


def find_reliefs(surfaces: Sequence[Surface], zones: Sequence[Zones]) -> list[tuple[Mask, Mask]]:
    """Mark on every view what lies near an edge of form, and what may lie in a handle's shadow.

    Parameters
    ----------
    surfaces, zones : sequence
        Side views in turning order, a part of a turn between each and the next.

    Returns
    -------
    list of (relief, shade), each an ndarray of bool, shape (h, w)
    """
    all_edges = [_edges(surface, zone) for surface, zone in zip(surfaces, zones, strict=True)]
    edges = [near for near, _ in all_edges]
    beyond = [_beyond_body(surface, zone) for surface, zone in zip(surfaces, zones, strict=True)]
    stands = [
        _protrusion(out, surface, zone)
        for out, surface, zone in zip(beyond, surfaces, zones, strict=True)
    ]
    facing = _facing(stands, edges, zones)
    out = []
    for number, (surface, zone) in enumerate(zip(surfaces, zones, strict=True)):
        marked = edges[number] | beyond[number]
        shade = np.zeros_like(marked)
        if number in facing:
            marked = marked | _front_strip(surface, zone, facing[number], _HANDLE_SHARE, 0.0)
            shade = _front_strip(surface, zone, facing[number], _SHADOW_SHARE, 1.0)
        relief = grow_far(marked, surface.px(_REACH_MM))
        relief |= grow_far(all_edges[number][1], surface.px(_ARRIS_MM))
        out.append((relief & surface.mask, shade))
    return out


def _edges(surface: Surface, zones: Zones) -> tuple[Mask, Mask]:
    """Edges of things that stand before the wall, and the corners of the wall itself."""
    # Half size is enough for edges this long and four times as fast.
    scale = 0.5 if surface.px_per_mm > 5 else 1.0
    height, width = surface.mask.shape
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    px_per_mm = surface.px_per_mm * scale
    tone = _without_specks(
        cv2.resize(surface.tone, size, interpolation=cv2.INTER_AREA), _SPECK_MM * px_per_mm
    )
    sigma_px = max(0.8, _FINE_MM * px_per_mm)
    across, down = slopes(tone, sigma_px)
    fine = step_height(across, down, sigma_px)
    coarse = jump(tone[..., None], max(1.6, _COARSE_MM * px_per_mm))
    search = shrink(surface.mask, surface.px(2.0)) & ~grow(zones.inside, surface.px(3.0))
    search &= ~grow(zones.painted, surface.px(1.5)) & ~surface.glare
    small = cv2.resize(search.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    steep = (fine > _EDGE_TONE) & (fine > _STEP_SHARE * coarse) & small
    # A throwing ring is a wave: its two flanks cancel under the coarse blur.
    steep &= fine < _WAVE_SHARE * coarse
    # Deep rings do not cancel, but they lie level; a handle or lug always has upright edges, too.
    steep &= np.abs(down) < _LEVEL_SLOPE * np.abs(across)
    joined = cv2.morphologyEx(steep.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(joined)
    sides = stats[1:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(1)
    long = sides > _LONG_MM * px_per_mm
    # Rings and grain break a corner into a row of edges, one above the other.
    gap = np.ones((2 * round(_GAP_MM * px_per_mm / 2) + 1, 3), np.uint8)
    whole = cv2.morphologyEx(joined, cv2.MORPH_CLOSE, gap)
    _, rows, spans, _ = cv2.connectedComponentsWithStats(whole)
    wall = (zones.body_rows[1] - zones.body_rows[0] - _rows_of_opening(zones)) * scale
    upright = spans[:, cv2.CC_STAT_HEIGHT] > _ARRIS_SHARE * wall
    corner = np.zeros(len(long), bool)
    corner[labels[(rows > 0) & upright[rows] & (labels > 0)] - 1] = True
    corner &= long
    found = []
    for chosen in (long & ~corner, corner):
        picture = np.concatenate([[False], chosen])[labels].astype(np.uint8)
        found.append(cv2.resize(picture, (width, height), interpolation=cv2.INTER_NEAREST) > 0)
    return found[0], found[1]


def _rows_of_opening(zones: Zones) -> int:
    """Rows of the body that the opening takes up, seen from above."""
    rows = np.flatnonzero(zones.inside.any(1))
    return int(rows[-1] - rows[0]) + 1 if rows.size else 0


def _without_specks(tone: Plane, size_px: float) -> Plane:
    # cv2's median of a large window works on bytes; a step of 1/60 log unit is below noise.
    window = 2 * max(1, round(size_px / 2)) + 1
    as_bytes = np.clip((tone + 4.2) * 60, 0, 255).astype(np.uint8)
    calm = cv2.medianBlur(as_bytes, window).astype(np.float32) / 60 - 4.2
    return calm.astype(np.float32)


def _beyond_body(surface: Surface, zones: Zones) -> Mask:
    """Parts of the piece that stand out from its body."""
    columns = np.arange(surface.mask.shape[1])[None]
    slack = surface.px(1.5)
    left = np.nan_to_num(zones.body_left, nan=np.inf)[:, None] - slack
    right = np.nan_to_num(zones.body_right, nan=-np.inf)[:, None] + slack
    return surface.mask & ((columns < left) | (columns > right))


def _protrusion(beyond: Mask, surface: Surface, zones: Zones) -> _Protrusion | None:
    if beyond.sum() < 0.015 * surface.mask.sum():
        return None
    count, _, stats, centres = cv2.connectedComponentsWithStats(beyond.astype(np.uint8))
    if count < 2:
        return None
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    first, last = zones.body_rows
    middle = float(np.nanmedian((zones.body_left + zones.body_right) / 2))
    side = 1 if centres[largest, 0] > middle else -1
    rows = np.flatnonzero(
        (beyond & (np.arange(beyond.shape[1])[None] * side > middle * side)).any(1)
    )
    span = max(1, last - first)
    return _Protrusion(side, (rows[0] - first) / span, (rows[-1] - first) / span)


def _facing(
    stands: Sequence[_Protrusion | None], edges: Sequence[Mask], zones: Sequence[Zones]
) -> dict[int, _Protrusion]:
    """Views that a handle faces: of the two beside a view that shows it at the side, the one
    with more edges of form in its middle."""
    out: dict[int, _Protrusion] = {}
    total = len(stands)
    if total < 3:
        return out
    for number, stand in enumerate(stands):
        if stand is None:
            continue
        beside = [(number + 1) % total, (number - 1) % total]
        free = [other for other in beside if stands[other] is None]
        if free:
            best = max(free, key=lambda other: _middle_edges(edges[other], zones[other]))
            out[best] = stand
    return out


def _middle_edges(edges: Mask, zones: Zones) -> int:
    first, last = zones.body_rows
    left = int(np.nanmedian(zones.body_left))
    right = int(np.nanmedian(zones.body_right))
    quarter = (right - left) // 4
    return int(edges[first:last, left + quarter : right - quarter].sum())


def _front_strip(
    surface: Surface, zones: Zones, stand: _Protrusion, share: float, below: float
) -> Mask:
    first, last = zones.body_rows
    span = last - first
    middle = float(np.nanmedian((zones.body_left + zones.body_right) / 2))
    wide = float(np.nanmedian(zones.body_right - zones.body_left))
    out = np.zeros(surface.mask.shape, bool)
    top, bottom = first + int(stand.top * span), first + int(min(1.0, stand.bottom + below) * span)
    half = share / 2 * wide
    out[max(0, top) : bottom + 1, max(0, int(middle - half)) : int(middle + half) + 1] = True
    return out & surface.mask


def grow_far(mask: Mask, radius_px: float) -> Mask:
    """Dilate by a large disc through the distance to the mask: time does not grow with radius."""
    if not mask.any():
        return mask
    distance = cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 3)
    return np.asarray(distance <= radius_px)
