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

from grader.gloss import is_clay_beneath
from grader.lip import Lip, find_lip, tone_edges
from grader.piece import Mask
from grader.surface import Plane, Surface, grow, shrink

_BIN = 0.0125
"""Bin of the chroma histogram: half the noise of a phone photo in one log-chromaticity."""

_PAINT_SHIFT = 0.075
"""Chroma difference from clay, three times its noise, from which paint is looked for."""

_PAINT_TONE = 0.45
"""A fall of tone by which paint of the clay's own hue (black on grey) shows: a factor of 1.6, which
the edge between two facets does not reach. A rise is the lamp on the glaze."""

_PAINT_LEVELS = (_PAINT_SHIFT, 2 * _PAINT_SHIFT, 4 * _PAINT_SHIFT, 7 * _PAINT_SHIFT)

_STRIP_MM = (0.35, 0.95)
"""Strips on either side of an outline in which a step must be complete: a painted edge is, within
a millimetre; the edge of a veil, a scorch or of warmer light takes three and more."""

_STRIP_LENGTH_MM = 2.6

_SHARP_SHARE = 0.6
"""Over these strips a painted edge shows 0.9 of its height as a step, a veil 0.4, light 0.2."""

_NOISE_SPREADS = 4.5
"""Spreads of noise that paint must stand above: of a million pixels a few do by chance, and those
are lone."""

_NOISE_REACH_MM = 1.0
"""Distance over which noise is measured: the width of the marks that it could be taken for."""

_BACKGROUND_MM = 16.0
"""Window of the shading: half of it, 8 mm, is the widest shape that is told by tone alone."""

_SHADE_TONE = 0.8
"""So far (a factor of 2.2) the shaded side of a pot may lie below the fit through its clay."""

_WIDE_MM = 32.0
"""The same at first, when paint is not yet known and must be less than half of the window."""

_LIT_TONE = (-0.8, 0.4)
"""Tone (natural logarithm) against the fit through the clay, over which light changes its hue with
its strength: a face wholly in shade, and one turned to the lamp."""

_MOST_CORRECTION = 0.3
"""Log-chromaticity by which lamps and walls of mixed light may tint clay from place to place."""

_CLAY_WINDOW_MM = 26.0
"""Window in which faint paint must be the smaller part, if it is to be told from tinted light."""

_SMALLEST_PAINT_MM2 = 2.5
"""Area of a painted dot of 1.8 mm; smaller marks are iron specks."""

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
    foot: Mask
    clay_chroma: NDArray[np.float32]
    clay_tone: Plane
    noise: Plane
    body_left: NDArray[np.float64]
    body_right: NDArray[np.float64]
    body_rows: tuple[int, int]
    stretch: Plane
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
    clay_chroma, clay_tone = _sound_clay(surface, wall, clay)
    chroma = _free_of_light(surface, wall, clay_chroma, clay_tone)
    noise = chroma_noise(surface)
    if decorated is False:
        paint = np.zeros_like(wall)
    else:
        columns = np.arange(wall.shape[1])[None]
        # A handle shows its own sharp edges of light; it is searched for paint no more.
        body = (columns >= left[:, None]) & (columns <= right[:, None])
        # Light that falls into a pot or on a foot draws sharp dark shapes: there only colour tells.
        dark = 1.0 if seen_from_side else 0.0
        first_paint = _paint(
            surface,
            wall & body,
            chroma - clay_chroma,
            clay_chroma,
            clay_tone,
            noise,
            wall,
            _WIDE_MM,
            dark,
            glazed,
        )
        # With this paint known, the clay can be followed wherever lamps and walls tint it.
        bare = wall & ~grow(first_paint, surface.px(1.0))
        # Where paint reaches the foot, what is left of clay below it is but the paint's own rim: no
        # neighbour may talk away what lies farther from the fit than neighbours may correct it.
        sure = first_paint & (_off_clay(surface, chroma - clay_chroma) > _MOST_CORRECTION)
        step = chroma - _local_clay(surface, chroma, bare, clay_chroma)
        clay_chroma = _local_clay(surface, surface.chroma, bare, clay_chroma)
        paint = _paint(
            surface,
            wall & body,
            step,
            clay_chroma,
            clay_tone,
            noise,
            bare,
            _BACKGROUND_MM,
            dark,
            glazed,
        )
        paint |= sure
    painted = _close_gaps(paint, surface.px(_FLAKE_REACH_MM)) & wall
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
    usable &= np.hypot(change[..., 0], change[..., 1]) < _PAINT_LEVELS[-1]
    usable &= change[..., 2] > -_PAINT_TONE
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


def _sound_clay(
    surface: Surface, where: Mask, clay: tuple[float, float]
) -> tuple[NDArray[np.float32], Plane]:
    """Smooth picture of what the clay looks like all over, from the clay that is seen.

    A plane of second order in x and y, fitted to clay pixels with outliers dropped: light that
    turns warmer toward a wall bends like this, paint and faults do not.
    """
    height, width = surface.mask.shape
    near = np.abs(surface.chroma - np.array(clay, np.float32)).max(-1) < 1.5 * _PAINT_SHIFT
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
    weights = _fit(terms, values)
    grid_rows, grid_cols = np.mgrid[0:height:8, 0:width:8]
    coarse = (_terms(grid_rows.ravel() / height, grid_cols.ravel() / width) @ weights).reshape(
        *grid_rows.shape, 3
    )
    full = cv2.resize(coarse.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(full[..., :2]), np.ascontiguousarray(full[..., 2])


def _fit(terms: NDArray[np.float64], values: NDArray[np.floating]) -> NDArray[np.float64]:
    """Weights of a linear fit from which outliers are dropped, shape (terms, channels)."""
    keep = np.ones(len(values), bool)
    weights = np.zeros((terms.shape[1], values.shape[1]))
    for _ in range(4):
        weights = np.linalg.lstsq(terms[keep], values[keep], rcond=None)[0]
        rest = np.abs(values - terms @ weights)
        spread = 1.4826 * np.median(rest[keep], axis=0) + 1e-4
        keep = (rest < 2.5 * spread).all(1)
        if keep.sum() < 200:
            break
    return weights


def _free_of_light(
    surface: Surface, wall: Mask, clay_chroma: NDArray[np.float32], clay_tone: Plane
) -> NDArray[np.float32]:
    """Chroma less what the light itself changes from its lit to its shaded side.

    Lamp, sky and table are of unlike colour: where less of the lamp falls, on the shaded flank of a
    ring or a facet, the clay takes on the hue of the room. How much for each step of tone, the clay
    of this photo shows.
    """
    off = surface.chroma - clay_chroma
    lit = np.clip(surface.tone - clay_tone, *_LIT_TONE)
    rows, cols = np.nonzero(wall & (np.abs(off).max(-1) < 1.5 * _PAINT_SHIFT))
    if len(rows) < 200:
        return surface.chroma
    pick = np.linspace(0, len(rows) - 1, min(len(rows), 20000)).astype(int)
    at = rows[pick], cols[pick]
    terms = np.column_stack([np.ones(len(pick)), lit[at]])
    weights = _fit(terms, off[at])
    return surface.chroma - lit[..., None] * weights[1].astype(np.float32)


def _local_clay(
    surface: Surface, chroma: NDArray[np.float32], bare: Mask, fit: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Clay colour as its own neighbourhood shows it, on top of the fit over the whole piece."""
    out = fit.copy()
    for channel in range(2):
        rest = chroma[..., channel] - fit[..., channel]
        rest = np.clip(rest, -_MOST_CORRECTION, _MOST_CORRECTION)
        out[..., channel] += _background(rest, bare, _CLAY_WINDOW_MM, surface.px_per_mm)
    return out


def _terms(y: NDArray[np.float64], x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.column_stack([np.ones_like(x), x, y, x * y, x * x, y * y])


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
    tone = surface.tone - _background(surface.tone, bare, window_mm, surface.px_per_mm)
    # A broad dark band fills the window; it is still darker than shading makes the fitted clay.
    tone = np.minimum(tone, surface.tone - clay_tone + np.float32(_SHADE_TONE))
    tone = np.minimum(tone, 0) * np.float32(dark * _PAINT_SHIFT / _PAINT_TONE)
    # In deep shade the camera's noise alone is as large as a paint; it is measured, not guessed.
    limit = np.maximum(_NOISE_SPREADS * noise, _PAINT_SHIFT)
    size = _off_clay(surface, step)
    # What stands twice above the noise is no noise, and keeps its full height.
    sure = np.clip(size / limit - 1, 0, 1)
    size *= sure + (1 - sure) * (_PAINT_SHIFT / limit)
    strength = np.sqrt(size**2 + tone**2)
    out = np.zeros_like(wall)
    smallest = _SMALLEST_PAINT_MM2 * surface.px_per_mm**2
    # Strong paint first: what is faint beside it must then have an edge of its own.
    for level in reversed(_PAINT_LEVELS):
        taken = grow(out, surface.px(0.8)) if out.any() else out
        # Specks and noise are narrower than any brush mark.
        found = _open((strength > level) & wall & ~taken, surface.px(0.35))
        count, labels, stats, _ = cv2.connectedComponentsWithStats(found.astype(np.uint8))
        for number in range(1, count):
            if stats[number, cv2.CC_STAT_AREA] < smallest:
                continue
            x, y, w, h = stats[number, :4]
            margin = 1 + int(surface.px(1.5))
            window = np.s_[max(0, y - margin) : y + h + margin, max(0, x - margin) : x + w + margin]
            region = labels[window] == number
            # An outline near the very top is ragged with noise; the next level draws it lower.
            if level > _PAINT_SHIFT and float(np.median(strength[window][region])) < 1.6 * level:
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


def _off_clay(surface: Surface, step: NDArray[np.float32]) -> Plane:
    """Log-chromaticity by which each place differs from clay, of the two differences.

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
    return (paint | (near & (strength > np.maximum(0.5 * height, _PAINT_SHIFT)))) & wall


def _open(mask: Mask, radius_px: float) -> Mask:
    return grow(shrink(mask, radius_px), radius_px)


def _background(plane: Plane, where: Mask, window_mm: float, px_per_mm: float) -> Plane:
    """Median of a plane over a wide window within a mask: what is left without narrower shapes.

    At 2 px/mm, which is enough for something this smooth.
    """
    scale = min(1.0, 2.0 / px_per_mm)
    size = (max(8, round(where.shape[1] * scale)), max(8, round(where.shape[0] * scale)))
    small = cv2.resize(plane, size, interpolation=cv2.INTER_AREA)
    inside = cv2.resize(where.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    if not inside.any():
        return plane
    # Beyond the mask its nearest pixel goes on, so that table and paint have no say.
    _, labels = cv2.distanceTransformWithLabels(
        (~inside).astype(np.uint8), cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    lookup = np.zeros(int(labels.max()) + 1, np.int64)
    flat = np.flatnonzero(inside)
    lookup[labels.ravel()[flat]] = flat
    small = small.ravel()[lookup[labels]]
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
        return np.full(surface.mask.shape, _PAINT_SHIFT / _NOISE_SPREADS, np.float32)
    steps, tones = [], []
    for here, there in (
        (np.s_[:-apart:2, ::2], np.s_[apart::2, ::2]),
        (np.s_[::2, :-apart:2], np.s_[::2, apart::2]),
    ):
        both = surface.mask[here] & surface.mask[there]
        steps.append(np.abs(surface.chroma[here] - surface.chroma[there]).max(-1)[both])
        tones.append(surface.tone[here][both])
    step, tone = np.concatenate(steps), np.concatenate(tones)
    if step.size < 500:
        return np.full(surface.mask.shape, _PAINT_SHIFT / _NOISE_SPREADS, np.float32)
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
    across, down = slopes(shift, sigma_px)
    return step_height(across, down, sigma_px)


def slopes(shift: NDArray[np.float32], sigma_px: float) -> tuple[Plane, Plane]:
    """Slope across and down, per pixel, under a Gaussian of width sigma; shape as of the shift."""
    calm = cv2.GaussianBlur(shift, (0, 0), sigma_px)
    across = cv2.Sobel(calm, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(calm, cv2.CV_32F, 0, 1, scale=1 / 8)
    return across, down


def step_height(across: Plane, down: Plane, sigma_px: float) -> Plane:
    """Height of an ideal step that has these `slopes`; see `jump`."""
    squares = across**2 + down**2
    slope = np.sqrt(squares.sum(-1) if squares.ndim == 3 else squares)
    return slope * np.float32(sigma_px * np.sqrt(2 * np.pi))


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
