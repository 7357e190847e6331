"""Bites: places where paint has come off at its own outline, open to the clay beside it.

A flake inside a painted field is an island. One at the edge of a stroke is a bite: the outline runs
along smoothly, turns in at a sharp corner, comes out at another, and goes on as if nothing had
been. A brush draws round ends and wedges between two strokes; it does not draw two sharp corners
whose straight line would mend the outline.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from skimage.measure import find_contours

from grader.piece import Mask
from grader.surface import Plane

_LEVEL = 0.5
"""Share of clay at the outline: half paint, half clay."""

_STEP_MM, _STEP_PX = 0.08, 0.7
"""Steps along the outline, the larger of the two."""

_LEAST_OUTLINE_MM = 6.0
"""Round a shorter outline a bite and a drawn form cannot be told apart."""

_CORNER_MM, _CORNER_PX = 0.35, 3.5
"""Length on either side over which a corner must turn: twice the blur of lens and sensor, with
which 90 degrees are seen as 60."""

_CORNER_TURN = np.radians(38.0)
"""Over that length an arc of half a millimetre's radius, the end of a fine line, turns so far."""

_RUN_MM = 1.0
"""Length of outline before and after a bite from which its direction is read."""

_UNDER_MM = 0.35
"""So deep in the paint the other side of a thin line is not reached, and shading cannot fool."""

_AMISS = np.radians(50.0)
"""So far the outline may bend at the mouth and still be said to go on."""

_WIDEST_MM = 3.2
"""Flakes are 0.3 to 3 mm (common practice, no source)."""

_LEAST_DEPTH_MM, _LEAST_DEPTH_PX = 0.35, 3.0
"""A shallower dent is the waver of a hand."""

_LEAST_DEPTH_SHARE = 0.3
"""Depth over mouth: a shallower one is a bend."""

_MOST_DEPTH_SHARE = 1.8
"""A flake is about as deep as it is wide; the gap between two strokes goes in further."""

_LEAST_FILL = 0.55
"""Area over mouth times depth: a wedge between two strokes has a half, half a disc 0.79."""

_OUTSIDE_MM = 0.12
"""The outline of a bite stays on the paint's side of its mouth but for the waver of the edge."""


@dataclass(frozen=True, slots=True)
class Bite:
    """One bite.

    Attributes
    ----------
    corner : tuple of int
        (row, column) of the window `region` in the plane.
    region : ndarray of bool
        Clay between the outline and the straight line across the mouth.
    mouth_mm, depth_mm : float
    turn_rad : float
        Turn of the outline at the blunter of the two corners.
    amiss_rad : float
        Greatest angle between the mouth and the outline on either side.
    beside_px : ndarray of float32, shape (4, 2)
        Places (x, y) in the paint on either side of the mouth: far, near, near, far.
    within_px : ndarray of float32, shape (4, 2)
        The same beside its outline at half its depth.
    """

    corner: tuple[int, int]
    region: Mask
    mouth_mm: float
    depth_mm: float
    turn_rad: float
    amiss_rad: float
    beside_px: NDArray[np.float32]
    within_px: NDArray[np.float32]


def find_bites(clayness: Plane, px_per_mm: float) -> tuple[list[Bite], float]:
    """Find the bites along all outlines of paint.

    Parameters
    ----------
    clayness : ndarray of float32, shape (h, w)
        Share of clay in the colour, 0 in paint and 1 on clay.
    px_per_mm : float

    Returns
    -------
    bites : list of Bite
    outline_mm : float
        Length of all outlines that were looked along.
    """
    bites: list[Bite] = []
    total = 0.0
    step = max(_STEP_MM * px_per_mm, _STEP_PX)
    padded = np.pad(clayness, 1, constant_values=1.0)
    for contour in find_contours(padded, _LEVEL):
        line = _even(contour[:, ::-1] - 1.0, step)
        if line is None or len(line) * step < _LEAST_OUTLINE_MM * px_per_mm:
            continue
        total += len(line) * step / px_per_mm
        line = _clay_on_the_right(line, clayness, step)
        along = _along(line, clayness.shape, step, px_per_mm)
        bites += [
            bite
            for bite in along
            if _has_body(clayness, bite.beside_px)
            and _has_body(clayness, bite.within_px, both=bite.depth_mm > bite.mouth_mm)
        ]
    return bites, total


def _even(line: NDArray[np.float64], step: float) -> NDArray[np.float64] | None:
    """Points (x, y) at even steps along a closed line, calmed over one step; None if open."""
    if len(line) < 8 or not np.allclose(line[0], line[-1]):
        return None
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    count = int(along[-1] / step)
    if count < 8:
        return None
    places = np.arange(count) * along[-1] / count
    even = np.column_stack([np.interp(places, along, line[:, axis]) for axis in (0, 1)])
    return np.asarray(gaussian_filter1d(even, 1.0, axis=0, mode="wrap"))


def _clay_on_the_right(
    line: NDArray[np.float64], clayness: Plane, step: float
) -> NDArray[np.float64]:
    """Turn the line round so that, going along it, clay lies on the right as one sees it."""
    way = np.roll(line, -1, axis=0) - line
    # The y axis points down: the right-hand side of (dx, dy) is (-dy, dx).
    right = np.column_stack([-way[:, 1], way[:, 0]]) / step
    there = (line + 1.5 * right).astype(np.float32)
    here = (line - 1.5 * right).astype(np.float32)
    seen = [
        cv2.remap(
            clayness,
            at[None, :, 0],
            at[None, :, 1],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        for at in (there, here)
    ]
    return line if float((seen[0] - seen[1]).sum()) > 0 else line[::-1].copy()


def _along(
    line: NDArray[np.float64], shape: tuple[int, ...], step: float, px_per_mm: float
) -> Iterator[Bite]:
    count = len(line)
    reach = max(2, round(max(_CORNER_MM * px_per_mm, _CORNER_PX) / step))
    run = max(reach + 2, round(_RUN_MM * px_per_mm / step))
    ahead = np.roll(line, -reach, axis=0) - line
    behind = line - np.roll(line, reach, axis=0)
    # Clay lies on the right, so that the line turns to the left where paint juts out; the y axis
    # points down, which turns the sign of the cross product round.
    turn = np.arctan2(
        ahead[:, 0] * behind[:, 1] - ahead[:, 1] * behind[:, 0], (ahead * behind).sum(1)
    )
    corners = _peaks(turn, reach)
    found: list[tuple[int, int, Bite]] = []
    for first in corners:
        for second in corners:
            length = (second - first) % count
            if not reach < length <= min(0.7 * count, 4 * _WIDEST_MM * px_per_mm / step):
                continue
            bite = _between(line, first, length, run, reach, turn, shape, px_per_mm)
            if bite is not None:
                found.append((first, length, bite))
    taken = np.zeros(count, bool)
    for first, length, bite in sorted(found, key=lambda each: each[2].amiss_rad - each[2].turn_rad):
        places = (first + np.arange(1, length)) % count
        if not taken[places].any():
            taken[places] = True
            yield bite


def _beside(
    first: NDArray[np.float64], last: NDArray[np.float64], aside: NDArray[np.float64]
) -> NDArray[np.float32]:
    """Places up to `aside` beyond two places: far, near, near, far."""
    return np.array(
        [first - aside, first - 0.5 * aside, last + 0.5 * aside, last + aside], np.float32
    )


def _has_body(clayness: Plane, places: NDArray[np.float32], *, both: bool = False) -> bool:
    """Whether paint goes on at both sides, at one of them for longer, or at `both`; between two
    thin lines, or the knobs at their tips, it does not. A gap that is deeper than its mouth is
    rather one between lines, unless there is paint all round it."""
    seen = cv2.remap(
        clayness, places[None, :, 0], places[None, :, 1], cv2.INTER_LINEAR, borderValue=1.0
    )
    far, near, next_near, next_far = (seen[0] < _LEVEL).tolist()
    enough = (far and next_far) if both else (far or next_far)
    return bool(near and next_near and enough)


def _peaks(turn: NDArray[np.float64], reach: int) -> list[int]:
    """Places that turn most within their reach, and by enough."""
    count = len(turn)
    wrapped = np.concatenate([turn[-reach:], turn, turn[:reach]])
    windows = np.lib.stride_tricks.sliding_window_view(wrapped, 2 * reach + 1)[:count]
    return [int(i) for i in np.flatnonzero((turn >= windows.max(1)) & (turn > _CORNER_TURN))]


def _between(
    line: NDArray[np.float64],
    first: int,
    length: int,
    run: int,
    reach: int,
    turn: NDArray[np.float64],
    shape: tuple[int, ...],
    px_per_mm: float,
) -> Bite | None:
    """The bite between two corners, if it is one."""
    count = len(line)
    part = line[(first + np.arange(length + 1)) % count]
    chord = part[-1] - part[0]
    mouth = float(np.hypot(*chord))
    if not 2.0 < mouth <= _WIDEST_MM * px_per_mm:
        return None
    # Paint lies on the left; depth is counted into it.
    inward = np.array([chord[1], -chord[0]]) / mouth
    depths = (part - part[0]) @ inward
    depth = float(depths.max())
    if depth < max(_LEAST_DEPTH_MM * px_per_mm, _LEAST_DEPTH_PX, _LEAST_DEPTH_SHARE * mouth):
        return None
    if (
        depth > min(_WIDEST_MM * px_per_mm, _MOST_DEPTH_SHARE * mouth)
        or depths.min() < -_OUTSIDE_MM * px_per_mm - 0.5
    ):
        return None
    before = line[(first - reach // 2) % count] - line[(first - run) % count]
    last = (first + length) % count
    after = line[(last + run) % count] - line[(last + reach // 2) % count]
    amiss = max(_angle(before, chord), _angle(after, chord))
    if amiss > _AMISS:
        return None
    x, y = part[:, 0], part[:, 1]
    area = 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))
    if area < _LEAST_FILL * mouth * depth:
        return None
    low = np.maximum(np.floor(part.min(0)).astype(int) - 1, 0)
    high = np.minimum(np.ceil(part.max(0)).astype(int) + 2, (shape[1], shape[0]))
    region = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
    cv2.fillPoly(region, [np.round(part - low).astype(np.int32)], 1)
    deep = np.flatnonzero(depths > 0.5 * depth)
    aside = chord / mouth * _RUN_MM * px_per_mm
    under = inward * _UNDER_MM * px_per_mm
    return Bite(
        corner=(int(low[1]), int(low[0])),
        region=region > 0,
        mouth_mm=mouth / px_per_mm,
        depth_mm=depth / px_per_mm,
        turn_rad=float(min(turn[first], turn[last])),
        amiss_rad=amiss,
        beside_px=_beside(part[0] + under, part[-1] + under, aside),
        within_px=_beside(part[deep[0]], part[deep[-1]], aside),
    )


def _angle(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    return float(abs(np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other)))
