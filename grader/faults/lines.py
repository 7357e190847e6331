"""Dark lines: how one is traced along its valley of light, and what its section looks like.

A valley is where the log light bends upward across a direction. Its points are joined to paths,
and at each point of a path the light is read along a section at right angles. From the section
follow two measures that the blur of the lens does not change: how many millimetres of perfect
black would take away as much light, and the same for each colour channel by itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

from grader.piece import Mask
from grader.rings import Rings, find_rings
from grader.surface import Plane, Surface, fill_from, shrink

_FINEST_PX_PER_MM = 6.0
"""A line of 0.15 mm is then one pixel, and takes a third of its light away after the blur."""

_SIGMA_MM = 0.25
"""Blur before bending is measured: a valley answers most when it is 2.4 of these wide, 0.6 mm."""

_LEAST_BEND = 0.06
"""Bend (ln light times sigma squared) that a black line of 0.04 mm gives: 0.4 * width / sigma."""

RING_BEND = _LEAST_BEND * 2 / np.pi
"""Mean size of the bend of waves whose crests bend as much as a line must."""

_NOISE_BENDS = 6.0
"""Medians of the bend of a surface (its grain) above which fewer than 1 pixel in 1000 lies."""

_TURNS = 8
"""Directions in which the grain is measured: throwing rings bend the light down the wall, and a
crack that crosses them need not stand out from that."""

_GAP_MM = 0.9
"""Points nearer than this belong together: a hairline fades for less than that."""

_ONWARD = 0.77
_SAME_WAY = 0.5
_NEXT_PX = 2.0
"""A line goes on in its own direction: to a point within 50 degrees of it (sine), whose direction
differs by less than 60 (cosine). Where a crack crosses a throwing ring, each stays itself. Of
points nearer than two steps of tracing the step itself says nothing."""

_TURNS_OFF = 0.3
"""A path that turns by 73 degrees and more (cosine), read over the shortest line on either side,
has turned off into another line. A crack that does so is two that meet."""

_STEP_MM, _STEP_PX = 0.4, 1.6
"""Neighbouring points of an unbroken line are at most this far apart: two pixels of tracing, or
where these are coarser, one across the corner."""

_REACH_MM = 2.4
_SAMPLE_MM = 0.1
_CORE_MM = 0.25
"""The darkest place of a section is sought this near its middle, three steps of tracing."""

_SIDE_MM = (1.1, 1.9)
"""On either side of the line the sound surface is read between these distances: beyond the half
of the widest crack and the blur, and nearer than most brush marks are apart."""

_FALL_MM = (1.2, 1.7, 2.2, 2.7, 3.2)
_EDGE_SHARE = 0.5
_OTHER_CHROMA = 0.1
_PAINT_TONE = 0.45
"""Where two things meet, a shadow falls off over some millimetres on one side; beside a slot it
does not. Read from within that shadow to without. But a paint ends where half a millimetre makes
more than half of the difference, the colour (log-chromaticity) changes by four times its noise, and
the light by a factor of 1.6."""

_NEAREST_SIDE_MM = 0.7
_BESIDE_SPREAD = 1.4
"""Beside a fine line it is read nearer, so that its neighbours have no part in it: from 1.4 times
its breadth (of a normal blur, three standard deviations and more), but no nearer than this."""

_EDGE_PX = 2.0
"""Pixels of the piece that lens and sensor mix with the table: beyond the last sound one it is
carried on."""

_LEAST_DEPTH = 0.08
"""Logarithm of light by which both sides must be lighter: twice what throwing rings show."""

_BOTH_SIDES = 0.35
"""The darker side must stand this share as high over the line as the lighter: at the foot of an
edge it stands near nought, beside a line across a shaded wall near one."""

_ALONG_MM = 1.0
"""Sections are averaged over this length, against noise."""

_SHORTEST_MM = 3.0

_STEP_OF_DEPTH, _OF_THE_STEP, _EVEN, _OTHER_HUE = 0.8, 0.7, 0.25, 0.3
_MOST = 0.8
_STEP_WITHIN = (0.25, 0.85)
"""A line is two where its light, against what lies beside it, steps by a factor of 2.2 in a colour,
and so much of the step is made between these shares of the shortest line on either side of it,
just beyond what sections are averaged over. Where a crack runs out, half of it is. Neither part
spreads by more than the third share of the step, as dots in a row do (80 % of a normal spread lie
within 1.28 standard deviations; where two colours meet they are mixed for a millimetre), and the
colours differ by the last (log light): a brush line that thins out to a hair where it ends is paler
in all of them alike."""

_MOST_POINTS = 20000
"""More than three metres of line: where there are more points they are grain, and the faintest are
left out."""

Points = NDArray[np.float64]

_BOTH = np.array([-1.0, 1.0])[None, :, None]
"""Left and right of each point."""


@dataclass(frozen=True, slots=True)
class Line:
    """One traced dark line, point by point from end to end.

    Attributes
    ----------
    path : ndarray of float64, shape (n, 2)
        Points (x, y) in working pixels.
    length_mm : float
        Along the path.
    covered : float
        Share of the length that is line and not a gap bridged, 0..1.
    depth : ndarray of float64, shape (n,)
        Natural logarithm of the light on the darker of the two sides over that of the line.
    missing : ndarray of float64, shape (n,)
        Share of the light of both sides that is missing in the middle of the line, 0..1.
    black_mm : ndarray of float64, shape (n, 3)
        Width of perfect black that takes as much red, green and blue light away.
    spread_mm : ndarray of float64, shape (n,)
        Width of the section at half of its depth, blur included.
    sides : ndarray of float64, shape (n, 2, 3)
        Linear light on either side.
    middle : ndarray of float64, shape (n, 3)
        Linear light in the middle.
    falls : ndarray of float64, shape (2,)
        By how much lighter (natural logarithm of light) the surface is a few millimetres away than
        just beside the line, left and right; 0 where the piece has ended.
    unrest : float
        Spread of the missing share beside the line (standard deviation, robust).
    """

    path: Points
    length_mm: float
    covered: float
    depth: NDArray[np.float64]
    missing: NDArray[np.float64]
    black_mm: NDArray[np.float64]
    spread_mm: NDArray[np.float64]
    sides: NDArray[np.float64]
    middle: NDArray[np.float64]
    falls: NDArray[np.float64]
    unrest: float

    def pixels(self, shape: tuple[int, ...]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Rows and columns of the path on a picture of a shape."""
        index = np.round(self.path[:, ::-1]).astype(np.intp)
        rows, cols = np.clip(index, 0, np.array(shape[:2]) - 1).T
        return rows, cols


@dataclass(frozen=True, slots=True)
class Carried:
    """A piece without its edge, carried on beyond it.

    So the table makes no valley of the rim, and a line beside the outline has the wall between them
    for its other side.

    Attributes
    ----------
    solid : ndarray of bool, shape (h, w)
        The piece without the pixels that are mixed with the table.
    tone : ndarray of float32, shape (h, w)
    light : ndarray of float32, shape (h, w, 3)
        As of `Surface`.
    """

    solid: Mask
    tone: Plane
    light: NDArray[np.float32]


def carry_on(surface: Surface) -> Carried:
    """Carry a piece on beyond its edge, for all lines that are traced on it."""
    solid = shrink(surface.mask, _EDGE_PX)
    return Carried(solid, fill_from(surface.tone, solid), fill_from(surface.light, solid))


def trace_dark_lines(surface: Surface, carried: Carried, where: Mask) -> Iterator[Line]:
    """Trace the dark lines of a surface.

    Parameters
    ----------
    surface : Surface
    carried : Carried
        The same, from `carry_on`.
    where : ndarray of bool, shape (h, w)
        Lines are sought here only.

    Yields
    ------
    Line
        Longer than 3 mm, longest extent of each joined net of points.
    """
    yield from _traced(surface, carried.light, carried.tone, where)


def strong_rings(surface: Surface, carried: Carried) -> Rings | None:
    """Rings of a wall that bend its light as much as a line must; None where it has none."""
    return find_rings(carried.tone, carried.solid, surface.px_per_mm, least=RING_BEND)


def trace_across_rings(surface: Surface, carried: Carried, where: Mask) -> Iterator[Line]:
    """Trace the dark lines that cross the throwing rings of a side, where rings are so deep that
    they are dark lines themselves: there a path goes from a crack into a ring and along it.

    Parameters
    ----------
    surface, carried, where
        As of `trace_dark_lines`.

    Yields
    ------
    Line
        As of `trace_dark_lines`; none where there are no such rings.
    """
    rings = strong_rings(surface, carried)
    if rings is not None:
        ringed = where & (rings.bend > RING_BEND)
        yield from _traced(surface, carried.light, carried.tone - rings.tone, ringed)


def _traced(
    surface: Surface, light: NDArray[np.float32], tone: Plane, where: Mask
) -> Iterator[Line]:
    points, across = _valley_points(surface, tone, where)
    points, across = _lower_than_both_sides(surface, tone, where, points, across)
    if len(points) < 4:
        return
    for chain in _chains(points, across, surface.px(_GAP_MM), surface.px(_SHORTEST_MM)):
        line = _read(surface, light, points[chain], across[chain])
        parts = _parts_of_one_colour(line, round(surface.px(_SHORTEST_MM)))
        if len(parts) == 1:
            yield line
        else:
            yield from (_read(surface, light, points[chain[p]], across[chain[p]]) for p in parts)


def _parts_of_one_colour(line: Line, shortest_px: int) -> list[slice]:
    """Points of a line, parted where it steps to another depth and colour: there a crack runs out
    of the end of a painted stripe.

    A crack that tapers loses its depth little by little, and stays one.
    """
    seen = np.log(np.maximum(line.middle, 1e-3) / np.maximum(line.sides.mean(1), 1e-3))
    length = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(line.path, axis=0), axis=1))]
    low, high = np.searchsorted(length, [shortest_px, length[-1] - shortest_px])
    if high <= low:
        return [slice(0, len(seen))]
    total = np.cumsum(seen, axis=0)
    count = np.arange(low, high)[:, None]
    before, after = total[low - 1 : high - 1] / count, (total[-1] - total[low - 1 : high - 1])
    change = before - after / (len(seen) - count)
    between = (change**2 * count * (len(seen) - count)).max(1)
    at = int(low + between.argmax())
    parts = (seen[:at], seen[at:])
    levels = [np.median(part, axis=0) for part in parts]
    apart = np.abs(levels[0] - levels[1])
    unrest = [
        np.quantile(np.abs(part - level), _MOST, axis=0) / 1.28
        for part, level in zip(parts, levels, strict=True)
    ]
    away = (length - length[at]) / shortest_px
    near, far = _STEP_WITHIN
    here, there = (seen[(way > near) & (way < far)] for way in (-away, away))
    step = np.abs(np.median(here, axis=0) - np.median(there, axis=0))
    clear = (apart > _STEP_OF_DEPTH) & (np.maximum(*unrest) < _EVEN * apart)
    other_hue = np.ptp(levels[0] - levels[1]) > _OTHER_HUE
    if not (other_hue and (clear & (step > _OF_THE_STEP * apart)).any()):
        return [slice(0, len(seen))]
    return [slice(0, at), slice(at, len(seen))]


def _valley_points(surface: Surface, tone: Plane, where: Mask) -> tuple[Points, Points]:
    """Points (x, y) on the floors of valleys in working pixels, and the direction across."""
    scale = min(1.0, _FINEST_PX_PER_MM / surface.px_per_mm)
    height, width = surface.mask.shape
    size = (max(2, round(width * scale)), max(2, round(height * scale)))
    tone = cv2.resize(tone, size, interpolation=cv2.INTER_AREA)
    mask = cv2.resize(surface.mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    sought = cv2.resize(where.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    sigma = max(1.0, _SIGMA_MM * surface.px_per_mm * scale)
    calm = cv2.GaussianBlur(tone, (0, 0), sigma)
    across2 = cv2.Sobel(calm, cv2.CV_32F, 2, 0, scale=0.25)
    down2 = cv2.Sobel(calm, cv2.CV_32F, 0, 2, scale=0.25)
    mixed = cv2.Sobel(calm, cv2.CV_32F, 1, 1, scale=0.25)
    half = (across2 - down2) / 2
    bend = ((across2 + down2) / 2 + np.sqrt(half**2 + mixed**2)) * np.float32(sigma**2)
    angle = 0.5 * np.arctan2(mixed, half)
    grain = _grain((across2 + down2) / 2, half, mixed, mask) * np.float32(sigma**2)
    turned = np.round(angle * (_TURNS / np.pi)).astype(int) % _TURNS
    found = (bend > np.maximum(_LEAST_BEND, _NOISE_BENDS * grain)[turned]) & sought
    found &= _is_crest(bend, angle)
    rows, cols = np.nonzero(found)
    if len(rows) > _MOST_POINTS:
        strongest = np.argpartition(-bend[rows, cols], _MOST_POINTS)[:_MOST_POINTS]
        rows, cols = rows[strongest], cols[strongest]
    turn = angle[rows, cols].astype(np.float64)
    ratio = np.array([width / size[0], height / size[1]])
    points = (np.column_stack([cols, rows]) + 0.5) * ratio - 0.5
    return points, np.column_stack([np.cos(turn), np.sin(turn)])


def _grain(mean: Plane, half: Plane, mixed: Plane, mask: Mask) -> NDArray[np.float32]:
    """Median of the bend, up or down, across each of a few directions of half a turn."""
    if not mask.any():
        return np.zeros(_TURNS, np.float32)
    mean, half, mixed = (plane[::2, ::2][mask[::2, ::2]] for plane in (mean, half, mixed))
    turns = np.arange(_TURNS) * 2 * np.pi / _TURNS
    return np.array(
        [np.median(np.abs(mean + half * np.cos(turn) + mixed * np.sin(turn))) for turn in turns],
        np.float32,
    )


def _lower_than_both_sides(
    surface: Surface, tone: Plane, where: Mask, points: Points, across: Points
) -> tuple[Points, Points]:
    """Drop the points at the foot of a step, where only one side is lighter, or is no piece."""
    if not len(points):
        return points, across
    near, far = _SIDE_MM
    mean = (near + far) / 2
    offsets = np.array([-far, -mean, -near, -0.15, 0, 0.15, near, mean, far])
    places = points[:, None] + across[:, None] * surface.px(1.0) * offsets[None, :, None]
    light = _at(tone, places)
    middle = light[:, 3:6].mean(1)
    left, right = np.median(light[:, :3], axis=1) - middle, np.median(light[:, 6:], axis=1) - middle
    lower, higher = np.minimum(left, right), np.maximum(left, right)
    keep = (lower > _LEAST_DEPTH) & (lower > _BOTH_SIDES * higher)
    seen = where | ~surface.mask
    keep &= _at(seen.astype(np.float32), places[:, [1, -2]]).min(1) > 0.5
    nearest = points[:, None] + across[:, None] * surface.px(_NEAREST_SIDE_MM) * _BOTH
    keep &= _at(where.astype(np.float32), nearest).min(1) > 0.5
    return points[keep], across[keep]


def _at(plane: NDArray[np.float32], places: Points) -> NDArray[np.float64]:
    """Values of a plane at places (x, y)."""
    return np.asarray(
        cv2.remap(
            plane,
            places[..., 0].astype(np.float32),
            places[..., 1].astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        np.float64,
    )


def _is_crest(bend: Plane, angle: Plane) -> Mask:
    """Whether a pixel exceeds its two neighbours across the valley."""
    sector = np.round(angle / (np.pi / 4)).astype(int) % 4
    out = np.zeros(bend.shape, bool)
    padded = np.pad(bend, 1)
    height, width = bend.shape
    for number, (dx, dy) in enumerate(((1, 0), (1, 1), (0, 1), (-1, 1))):
        ahead = padded[1 + dy : 1 + dy + height, 1 + dx : 1 + dx + width]
        behind = padded[1 - dy : 1 - dy + height, 1 - dx : 1 - dx + width]
        out |= (sector == number) & (bend >= ahead) & (bend > behind)
    return out


def _chains(
    points: Points, across: Points, gap_px: float, shortest_px: float
) -> Iterator[NDArray[np.intp]]:
    """Indices of the points along the longest path of each net, from end to end."""
    pairs = cKDTree(points).query_pairs(gap_px, output_type="ndarray")
    pairs = pairs[_goes_on(points, across, pairs)]
    if not len(pairs):
        return
    length = np.linalg.norm(points[pairs[:, 0]] - points[pairs[:, 1]], axis=1)
    # Short steps cost less than their length would: the path goes from point to point and does
    # not cut corners.
    cost = length**1.5
    graph = coo_matrix((cost, (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2).tocsr()
    count, net = connected_components(graph, directed=False)
    order = np.argsort(net, kind="stable")
    bounds = np.searchsorted(net[order], np.arange(count + 1))
    for number in range(count):
        members = order[bounds[number] : bounds[number + 1]]
        if len(members) < 4 or np.ptp(points[members], axis=0).max() < 0.7 * shortest_px:
            continue
        own = graph[members][:, members]
        start = 0
        previous: NDArray[np.int32] = np.empty(0, np.int32)
        for _ in range(2):
            far, previous = dijkstra(own, directed=False, indices=start, return_predecessors=True)
            first, start = start, int(np.argmax(far))
        chain = [start]
        while chain[-1] != first:
            chain.append(int(previous[chain[-1]]))
        for chosen in _between_corners(points, members[chain], shortest_px):
            steps = np.linalg.norm(np.diff(points[chosen], axis=0), axis=1)
            if steps.sum() >= shortest_px:
                yield chosen


def _between_corners(
    points: Points, chain: NDArray[np.intp], shortest_px: float
) -> list[NDArray[np.intp]]:
    """Parts of a path between places where it turns off, as from a crack into the lip above it."""
    path = points[chain]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])

    def at(place: NDArray[np.float64]) -> Points:
        return np.column_stack([np.interp(place, along, path[:, axis]) for axis in (0, 1)])

    before, after = path - at(along - shortest_px), at(along + shortest_px) - path
    whole = (along > shortest_px) & (along < along[-1] - shortest_px)
    turn = (before * after).sum(1)
    turn /= np.maximum(np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1), 1e-6)
    turn[~whole] = 1.0
    cuts = []
    while turn.min() < _TURNS_OFF:
        cuts.append(int(turn.argmin()))
        turn[np.abs(along - along[cuts[-1]]) < shortest_px] = 1.0
    return np.split(chain, sorted(cuts))


def _goes_on(points: Points, across: Points, pairs: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether two points may follow each other on one line, by the direction each has."""
    one, other = pairs.T
    step = points[one] - points[other]
    length = np.maximum(np.linalg.norm(step, axis=1), 1e-6)
    aside = np.maximum(np.abs((step * across[one]).sum(1)), np.abs((step * across[other]).sum(1)))
    alike = np.abs((across[one] * across[other]).sum(1)) > _SAME_WAY
    return np.asarray(alike & ((aside < _ONWARD * length) | (length < _NEXT_PX)))


def _read(surface: Surface, carried: NDArray[np.float32], path: Points, across: Points) -> Line:
    """Read the section at each point of a path."""
    # The direction across is the same up to its sign; keep one side on one side.
    along = np.gradient(path, axis=0)
    flip = np.sign(across[:, 0] * along[:, 1] - across[:, 1] * along[:, 0])
    across = across * np.where(flip == 0, 1, flip)[:, None]
    offsets = np.arange(-_REACH_MM, _REACH_MM + _SAMPLE_MM / 2, _SAMPLE_MM)
    places = path[:, None] + across[:, None] * surface.px(1.0) * offsets[None, :, None]
    light = _at(carried, places)
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1) / surface.px_per_mm
    length = float(steps.sum())
    unbroken = max(_STEP_MM, _STEP_PX / min(_FINEST_PX_PER_MM, surface.px_per_mm))
    light = _straightened(light, offsets)
    window = max(1, round(_ALONG_MM / max(float(np.median(steps)), 0.05)))
    light = uniform_filter1d(light, window, axis=0, mode="nearest")
    widest = _SIDE_MM[0]
    *_, spread = _against_sides(light, offsets, widest)
    near = float(np.clip(_BESIDE_SPREAD * np.median(spread), _NEAREST_SIDE_MM, widest))
    left, right, missing, spread = _against_sides(light, offsets, near)
    inner = np.abs(offsets) <= near
    beside = (np.abs(offsets) >= near) & (np.abs(offsets) <= near + np.ptp(_SIDE_MM))
    grey = missing[:, inner].mean(-1)
    core = np.abs(offsets[inner]) <= _CORE_MM
    deepest = grey[:, core].max(1)
    middle = np.take_along_axis(
        light[:, inner][:, core], grey[:, core].argmax(1)[:, None, None], axis=1
    )[:, 0]
    darker = np.minimum(left.mean(-1), right.mean(-1))
    black = missing[:, inner].sum(1) * _SAMPLE_MM
    return Line(
        path=path,
        length_mm=length,
        covered=float(steps[steps <= unbroken].sum()) / length,
        depth=np.log(np.maximum(darker, 1e-4) / np.maximum(middle.mean(-1), 1e-4)),
        missing=deepest,
        black_mm=black,
        spread_mm=spread,
        sides=np.stack([left, right], axis=1),
        middle=middle,
        falls=np.array([_fall(surface, path, side * across) for side in (-1, 1)]),
        unrest=max(1.4826 * float(np.median(np.abs(missing[:, beside].mean(-1)))), 0.01),
    )


def _fall(surface: Surface, path: Points, outward: Points) -> float:
    """Log light away from a line over that just beside it, on one side."""
    away = np.array(_FALL_MM)[None, :, None]
    places = path[:, None] + surface.px(1.0) * outward[:, None] * away
    inside = _at(surface.mask.astype(np.float32), places).min(1) > 0.5
    if not inside.any():
        return 0.0
    tone = _at(surface.tone, places[inside])
    fall = tone[:, -1] - tone[:, 0]
    sharp = np.diff(tone, axis=1).max(1) > _EDGE_SHARE * fall
    near, far = (
        np.stack([_at(plane, places[inside][:, end]) for plane in cv2.split(surface.chroma)], -1)
        for end in (0, -1)
    )
    ends = sharp & (fall > _PAINT_TONE) & (np.abs(far - near).max(-1) > _OTHER_CHROMA)
    return float(np.median(np.where(ends, 0.0, fall)))


def _against_sides(
    light: NDArray[np.float64], offsets: NDArray[np.float64], near: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Light left and right of each section, what it lacks of that, and its breadth at half depth.

    The sound surface begins at a distance `near` (mm) from the middle.
    """
    far = near + float(np.ptp(_SIDE_MM))
    left = np.median(light[:, (offsets >= -far) & (offsets <= -near)], axis=1)
    right = np.median(light[:, (offsets >= near) & (offsets <= far)], axis=1)
    share = (np.clip(offsets / near, -1, 1)[None, :, None] + 1) / 2
    sound = left[:, None] * (1 - share) + right[:, None] * share
    missing = 1 - light / np.maximum(sound, 1e-4)
    grey = missing[:, np.abs(offsets) <= near].mean(-1)
    deepest = missing[:, np.abs(offsets) <= _CORE_MM].mean(-1).max(1)
    spread = (grey > 0.5 * deepest[:, None]).sum(1) * _SAMPLE_MM
    return left, right, missing, spread


def _straightened(light: NDArray[np.float64], offsets: NDArray[np.float64]) -> NDArray[np.float64]:
    """Shift each section so that its darkest place near the middle lies at nought."""
    inner = np.flatnonzero(np.abs(offsets) <= 0.35)
    darkest = inner[light[:, inner].mean(-1).argmin(1)] - len(offsets) // 2
    index = np.clip(np.arange(len(offsets))[None] + darkest[:, None], 0, len(offsets) - 1)
    return np.take_along_axis(light, index[..., None], axis=1)


def as_region(
    paths: Sequence[Points], width_px: float, shape: tuple[int, ...]
) -> tuple[Mask, tuple[int, int]]:
    """Draw paths with a breadth.

    Parameters
    ----------
    paths : sequence of ndarray of float64, shape (n, 2)
        Points (x, y) in working pixels.
    width_px : float
    shape : tuple of int
        (height, width) of the working picture.

    Returns
    -------
    ndarray of bool
        A window of the working picture.
    tuple of int
        (row, column) of the window.
    """
    drawn = [np.round(path).astype(np.int32) for path in paths]
    thick = max(1, round(width_px))
    points = np.concatenate(drawn)
    low = np.maximum(points.min(0) - thick - 2, 0)
    high = np.minimum(points.max(0) + thick + 3, [shape[1], shape[0]])
    canvas = np.zeros((int(high[1] - low[1]), int(high[0] - low[0])), np.uint8)
    cv2.polylines(canvas, [path - low for path in drawn], False, 1, thick)
    return canvas > 0, (int(low[1]), int(low[0]))
