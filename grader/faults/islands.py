"""Islands: patches of even colour fenced in by an edge all round, and the section of their fence.

The steepness of tone and colour is cut off at several heights; what is below and enclosed is the
core of an island. Round its outline the picture is read along sections that point outward: inside,
fence and outside are then compared angle by angle.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from grader.edges import jump
from grader.piece import Mask
from grader.surface import Plane, Surface, fill_from, grow, shrink

_CHROMA_WEIGHT = 0.7
"""A step of log-chromaticity counts a little less than one of log light: its grain is coarser."""

HEIGHTS = (3.3, 2.3, 1.6)
"""Heights at which the steepness is cut off, in its medians: the grain of an even surface makes
the median, and up to 1.2 times that it closes fences by itself."""

_LEAST_HEIGHT = 0.04
"""Lowest cut: a step of 4 % of light is near what an eye finds on glaze."""

_SAMPLE_MM = 0.2
_FENCE_MM, _OUTSIDE_MM, _REACH_MM = 1.1, 1.3, 2.8
"""Sections are read from the core outward, which lies two widths of the blur within the edge; the
thick rim of a crawl takes 0.6 to 1.5 mm from there, beyond it the surface is itself again."""

_ALONG_MM = 1.2
"""Sections are averaged over this length along the outline, against grain."""

_SLIMMEST = 4.0
_LEAST_FILL = 0.25
"""A core may be so many times as long as wide, and must fill so much of the box around it: the
glints between throwing rings and on edges do not."""

_FLANK_MM = 0.8
"""The outline of a core is smoothed over this length before its sections are laid."""


@dataclass(frozen=True, slots=True)
class Island:
    """One enclosed patch.

    Attributes
    ----------
    outline : ndarray of float64, shape (n, 2)
        Closed outline (x, y) in working pixels, where the fence is half as dark (or light) as it
        gets, seen from the inside.
    core : tuple of ndarray
        Rows and columns of working pixels of the even middle.
    diameter_mm : float
        Of the circle of the area inside the outline.
    height : float
        Highest cut of steepness, in medians of the surface, that still shuts it in.
    inside : ndarray of float64, shape (3,)
        Tone and the two log-chromaticities of the core (medians).
    outside : ndarray of float64, shape (n, 3)
        The same beyond the fence, at each angle.
    darkest, lightest : ndarray of float64, shape (n,)
        Extremes of the tone in the fence.
    fence_chroma : ndarray of float64, shape (n, 2)
        The two log-chromaticities where the fence is darkest.
    grain : float
        Spread of the tone outside from place to place, as averaged.
    mended : bool, default False
        Whether gaps of its fence had to be closed to shut it in.
    """

    outline: NDArray[np.float64]
    core: tuple[NDArray[np.intp], NDArray[np.intp]]
    diameter_mm: float
    height: float
    inside: NDArray[np.float64]
    outside: NDArray[np.float64]
    darkest: NDArray[np.float64]
    lightest: NDArray[np.float64]
    fence_chroma: NDArray[np.float64]
    grain: float
    mended: bool = False

    @property
    def steps(self) -> NDArray[np.float64]:
        """How much lighter the inside is than the outside, log light, at each angle."""
        return np.asarray(self.inside[0] - self.outside[:, 0])


def find_islands(
    surface: Surface,
    where: Mask,
    *,
    px_per_mm: float,
    sigma_mm: float,
    sizes_mm: tuple[float, float],
    heights: Sequence[float] = HEIGHTS,
    mend: bool = False,
) -> Iterator[Island]:
    """Find enclosed patches.

    Parameters
    ----------
    surface : Surface
    where : ndarray of bool, shape (h, w)
        Islands whose middle lies here are sought.
    px_per_mm : float
        Scale to look at; the finer of this and the surface's own is not exceeded.
    sigma_mm : float
        Blur under which steps are measured: a fraction of the smallest island.
    sizes_mm : tuple of float
        Least and greatest diameter of a core.
    heights : sequence of float, optional
        Heights of the cut, in medians of the steepness, the highest first.
    mend : bool, default False
        Whether to look once more, at the lowest, with gaps of two pixels in the fence closed:
        throwing rings cross it, and here and there have its own light.

    Yields
    ------
    Island
        The same island may come once for each height at which it is shut in, highest first.
    """
    scale = min(1.0, px_per_mm / surface.px_per_mm)
    steep, mask, fields = _steepness(surface, scale, sigma_mm)
    if not mask.any():
        return
    usual = float(np.median(steep[mask]))
    per_mm = surface.px_per_mm * scale
    low, high = (np.pi * (size / 2 * per_mm) ** 2 for size in sizes_mm)
    rim = mask & ~shrink(mask, 1.5)
    looks = [(height, False) for height in heights] + [(heights[-1], True)] * mend
    for height, mended in looks:
        calm = (steep < max(_LEAST_HEIGHT, usual * height)) & mask
        parts = shrink(calm, 1.0) if mended else calm
        _, labels, stats, middles = cv2.connectedComponentsWithStats(
            parts.astype(np.uint8), connectivity=4
        )
        area, wide, high_px = (
            stats[:, index] for index in (cv2.CC_STAT_AREA, cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT)
        )
        chosen = (area > low) & (area < high) & (area > _LEAST_FILL * wide * high_px)
        chosen &= np.maximum(wide, high_px) < _SLIMMEST * np.minimum(wide, high_px)
        chosen[np.unique(labels[rim])] = False
        chosen[0] = False
        cols, rows = (np.nan_to_num(middles).T / scale).astype(np.intp)
        chosen &= where[np.minimum(rows, where.shape[0] - 1), np.minimum(cols, where.shape[1] - 1)]
        for number in np.flatnonzero(chosen):
            x, y, w, h = stats[number, :4]
            core = labels[y : y + h, x : x + w] == number
            if mended:
                x, y, core = x - 1, y - 1, grow(np.pad(core, 1), 1.0)
                core &= calm[y : y + h + 2, x : x + w + 2]
            island = _read(surface, fields, core, (int(y), int(x)), scale, height, 2 * sigma_mm)
            if island is not None:
                yield replace(island, mended=mended)


def _steepness(
    surface: Surface, scale: float, sigma_mm: float
) -> tuple[Plane, Mask, NDArray[np.float32]]:
    height, width = surface.mask.shape
    size = (max(2, round(width * scale)), max(2, round(height * scale)))
    fields = np.dstack([surface.tone, surface.chroma])
    small = cv2.resize(fields, size, interpolation=cv2.INTER_AREA)
    mask = cv2.resize(surface.mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    # The table beyond the outline must not throw its step into the piece.
    small = fill_from(small, shrink(mask, 1.0))
    sigma = max(1.0, sigma_mm * surface.px_per_mm * scale)
    steep = np.maximum(jump(small[..., :1], sigma), _CHROMA_WEIGHT * jump(small[..., 1:], sigma))
    return steep.astype(np.float32), mask, small


def _read(
    surface: Surface,
    fields: NDArray[np.float32],
    core: Mask,
    corner: tuple[int, int],
    scale: float,
    height: float,
    inset_mm: float,
) -> Island | None:
    """Lay sections round a core and read them."""
    per_mm = surface.px_per_mm * scale
    contours, _ = cv2.findContours(
        np.pad(core, 1).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    points = max(contours, key=len)[:, 0].astype(np.float64)
    points += np.array([corner[1] - 1, corner[0] - 1])
    if len(points) < 6:
        return None
    window = max(3, round(_FLANK_MM * per_mm))
    if len(points) > window:
        points = uniform_filter1d(points, window, axis=0, mode="wrap")
    along = np.roll(points, -2, axis=0) - np.roll(points, 2, axis=0)
    out = np.column_stack([along[:, 1], -along[:, 0]])
    out /= np.maximum(np.linalg.norm(out, axis=1), 1e-6)[:, None]
    turning = points[:, 0] * np.roll(points[:, 1], -1) - np.roll(points[:, 0], -1) * points[:, 1]
    if turning.sum() < 0:
        out = -out
    offsets = np.arange(0.0, _REACH_MM + inset_mm + _SAMPLE_MM / 2, _SAMPLE_MM)
    places = points[:, None] + out[:, None] * (offsets * per_mm)[None, :, None]
    reach = np.array(fields.shape[1::-1]) - 1
    if (places < 0).any() or (places > reach).any():
        return None
    index = places.astype(np.float32)
    sections = cv2.remap(fields, index[..., 0], index[..., 1], cv2.INTER_LINEAR)
    sections = uniform_filter1d(
        sections, max(1, round(_ALONG_MM * per_mm)), axis=0, mode="wrap"
    ).astype(np.float64)
    rows, cols = np.nonzero(core)
    values = fields[corner[0] + rows, corner[1] + cols]
    inside = np.median(values, axis=0).astype(np.float64)
    beyond = offsets >= _OUTSIDE_MM + inset_mm
    fence = offsets <= _FENCE_MM + inset_mm + 1e-6
    outside = np.median(sections[:, beyond], axis=1)
    tone = sections[..., 0]
    at_darkest = tone[:, fence].argmin(1)[:, None, None]
    fence_chroma = np.take_along_axis(sections[:, fence, 1:], at_darkest, axis=1)[:, 0]
    grain = float(np.median(np.abs(np.diff(tone[:, beyond], axis=1)))) / 0.6745 / np.sqrt(2)
    edge = _edge_mm(sections, inside, outside, fence, offsets)
    outline = points + out * (edge * per_mm)[:, None]
    area = abs(float(cv2.contourArea(outline.astype(np.float32))))
    full = (rows + corner[0] + 0.5) / scale, (cols + corner[1] + 0.5) / scale
    limits = np.array(surface.mask.shape) - 1
    return Island(
        outline=(outline + 0.5) / scale - 0.5,
        core=(
            np.minimum(full[0].astype(np.intp), limits[0]),
            np.minimum(full[1].astype(np.intp), limits[1]),
        ),
        diameter_mm=2.0 * float(np.sqrt(area / np.pi)) / per_mm,
        height=height,
        inside=inside,
        outside=outside,
        darkest=tone[:, fence].min(1),
        lightest=tone[:, fence].max(1),
        fence_chroma=fence_chroma,
        grain=grain,
    )


def _edge_mm(
    sections: NDArray[np.float64],
    inside: NDArray[np.float64],
    outside: NDArray[np.float64],
    fence: NDArray[np.bool_],
    offsets: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Distance from the core at which each section has left the colour of the inside by half."""
    step = np.linalg.norm(sections[:, fence] - inside, axis=-1)
    most = np.maximum(step.max(1), np.linalg.norm(outside - inside, axis=-1))
    left = step > 0.5 * most[:, None]
    first = np.where(left.any(1), left.argmax(1), left.shape[1] - 1)
    edge = offsets[fence][first]
    # A ragged outline must not come from grain: the median of the neighbours.
    padded = np.pad(edge, 2, mode="wrap")
    return np.median(np.stack([padded[k : k + len(edge)] for k in range(5)]), axis=0)
