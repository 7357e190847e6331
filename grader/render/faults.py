"""Kiln and brush faults with a known place, size and strength, laid on a canvas.

Looks and sizes follow the trade's descriptions; every fault writes its own label texels.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from . import canvas as layers
from .canvas import Canvas
from .forms import INSIDE, LIP, RING, WALL
from .noise import FloatArray, blob_radius, flat_noise, smoothstep, solid_noise
from .tones import lab_to_linear, linear_to_lab, shift_lab

KINDS = ("flake", "pit", "pool", "scorch", "browning", "streak", "crack", "crawl")
# A soft fault ends where its shift falls to this CIELAB distance: a little under the 1.8 dE00 that
# half of observers object to (Paravina et al. 2015), so that the truth holds all that can matter.
SOFT_EDGE_DE = 1.5


@dataclass(frozen=True, slots=True)
class FaultSpec:
    """A fault to make: `severity` "minor" (slight) or "major" (marked); `part` "outside", "inside".

    `azimuth_rad` and `height` (share of the piece's height) fix the place; None lets it be drawn.
    """

    kind: str
    severity: str
    azimuth_rad: float | None = None
    height: float | None = None
    part: str = "outside"
    variant: str = ""


@dataclass(frozen=True, slots=True)
class FaultMark:
    """One spot of a fault as made: centre, size, area, and the strongest CIELAB shift."""

    kind: str
    severity: str
    skin: str
    azimuth_deg: float
    height_mm: float
    size_mm: float
    area_mm2: float
    shift_de: float
    inside: bool


def add_fault(
    canvases: list[Canvas], spec: FaultSpec, piece_height_mm: float, rng: np.random.Generator
) -> list[FaultMark]:
    """Make a fault on a piece.

    Parameters
    ----------
    canvases : list of Canvas
        The body first; changed in place.
    spec : FaultSpec
    piece_height_mm : float
    rng : numpy.random.Generator

    Returns
    -------
    list of FaultMark
        What was made; empty where the piece has no place for it (a flake without paint).
    """
    return _MAKERS[spec.kind](canvases, spec, piece_height_mm, rng)


def _mark(
    canvas: Canvas, spec: FaultSpec, row: int, col: int, size_mm: float, area: float, de: float
) -> FaultMark:
    skin = canvas.skin
    return FaultMark(
        kind=spec.kind,
        severity=spec.severity,
        skin=skin.name,
        azimuth_deg=round(float(np.degrees(skin.azimuth_rad[col])), 1),
        height_mm=round(float(skin.height_mm[row]), 1),
        size_mm=round(size_mm, 2),
        area_mm2=round(area, 2),
        shift_de=round(de, 1),
        inside=bool(skin.part[row] == INSIDE),
    )


def _label_area(
    canvas: Canvas, index: tuple[npt.NDArray[np.intp], ...], mask: npt.NDArray[np.bool_]
) -> float:
    return float((canvas.skin.texel_area_mm2()[index] * mask).sum())


def _place(
    canvas: Canvas,
    spec: FaultSpec,
    piece_height_mm: float,
    rng: np.random.Generator,
    low: float = 0.22,
    high: float = 0.85,
) -> tuple[int, int]:
    parts = (INSIDE,) if spec.part == "inside" else (WALL,)
    share = spec.height if spec.height is not None else float(rng.uniform(low, high))
    azimuth = (
        spec.azimuth_rad if spec.azimuth_rad is not None else float(rng.uniform(-np.pi, np.pi))
    )
    return canvas.skin.row_at_height(share * piece_height_mm, parts), canvas.skin.column_at(azimuth)


def _scatter(
    canvas: Canvas,
    allowed: npt.NDArray[np.bool_],
    count: int,
    gap_mm: float,
    rng: np.random.Generator,
    centre: tuple[int, int] | None,
    spread_mm: float,
) -> list[tuple[int, int]]:
    """Draw places on allowed texels, no two nearer than `gap_mm`, gathered about a centre."""
    rows, cols = np.nonzero(allowed[::2, ::2])
    if rows.size == 0:
        return []
    rows, cols = rows * 2, cols * 2
    points = canvas.skin.points_mm(2)[rows // 2, cols // 2]
    if centre is None:
        k = int(rng.integers(rows.size))
        middle = points[k]
    else:
        middle = canvas.skin.points_mm(2)[centre[0] // 2, centre[1] // 2]
        middle = points[np.argmin(((points - middle) ** 2).sum(-1))]
    weight = np.exp(-((points - middle) ** 2).sum(-1) / (2 * spread_mm**2)) + 1e-12
    order = rng.choice(
        rows.size, size=min(rows.size, 60 * count), replace=True, p=weight / weight.sum()
    )
    chosen: list[int] = []
    for k in order:
        if len(chosen) == count:
            break
        if all(((points[k] - points[j]) ** 2).sum() > gap_mm**2 for j in chosen):
            chosen.append(int(k))
    return [(int(rows[k]), int(cols[k])) for k in chosen]


def _flake(
    canvases: list[Canvas], spec: FaultSpec, height_mm: float, rng: np.random.Generator
) -> list[FaultMark]:
    canvas = canvases[0]
    major = spec.severity == "major"
    skin = canvas.skin
    core = ndimage.binary_erosion(canvas.painted, iterations=max(1, int(0.4 * skin.texels_per_mm)))
    if spec.part == "inside":
        core &= (skin.part == INSIDE)[:, None]
    centre = None
    if spec.azimuth_rad is not None:
        centre = _place(canvas, spec, height_mm, rng, 0.5, 0.5)
    few = spec.variant == "few"
    count = (
        int(rng.integers(2, 5))
        if not major
        else int(rng.integers(3, 6) if few else rng.integers(8, 22))
    )
    marks = []
    for row, col in _scatter(canvas, core, count, 2.0, rng, centre, 9.0 if not major else 16.0):
        size = (
            float(rng.uniform(0.5, 1.1))
            if not major
            else float(np.clip(rng.lognormal(np.log(1.4), 0.4), 0.6, 3.0))
        )
        rows, cols, right, up = skin.window(row, col, size)
        edge = blob_radius(np.arctan2(up, right), size, 0.32, rng)
        cover = smoothstep(-0.05, 0.05, edge - np.hypot(right, up))
        index = np.ix_(rows, cols)
        inside = (cover >= 0.5) & canvas.painted[index]
        tone = linear_to_lab(canvas.paint[row, col]) - linear_to_lab(canvas.clay[row, col])
        canvas.cover[index] *= 1.0 - cover
        # The chip leaves a step of a few hundredths of a millimetre that catches the light.
        canvas.relief_mm[index] -= 0.05 * cover
        canvas.fault[index] = np.where(inside, layers.FLAKE, canvas.fault[index])
        marks.append(
            _mark(
                canvas,
                spec,
                row,
                col,
                size,
                _label_area(canvas, index, inside),
                float(np.linalg.norm(tone)),
            )
        )
    return marks


def _pit(
    canvases: list[Canvas], spec: FaultSpec, height_mm: float, rng: np.random.Generator
) -> list[FaultMark]:
    canvas = canvases[0]
    major = spec.severity == "major"
    skin = canvas.skin
    part = INSIDE if spec.part == "inside" else WALL
    clear = (skin.part == part) & (skin.height_mm > 0.12 * height_mm)
    allowed = np.broadcast_to(clear[:, None], skin.shape)
    count = int(rng.integers(1, 3)) if not major else int(rng.integers(7, 18))
    centre = _place(canvas, spec, height_mm, rng)
    marks = []
    for row, col in _scatter(canvas, allowed, count, 2.5, rng, centre, 14.0):
        crater = spec.variant == "crater" or rng.random() < 0.2
        size = float(rng.uniform(0.45, 0.75)) if not major else float(rng.uniform(0.5, 1.0))
        ring = float(rng.uniform(1.4, 2.8)) if crater else 0.0
        rows, cols, right, up = skin.window(row, col, max(size, ring))
        away = np.hypot(right, up)
        edge = blob_radius(np.arctan2(up, right), size, 0.28, rng)
        hole = smoothstep(-0.04, 0.04, edge - away)
        index = np.ix_(rows, cols)
        before = linear_to_lab(canvas.clay[row, col])
        dark = lab_to_linear((float(rng.uniform(14, 26)), 3.0, 5.0))
        if crater:
            rim = np.exp(-(((away - ring / 2) / 0.22) ** 2))
            canvas.lay_over(
                index,
                lab_to_linear((min(92.0, float(before[0]) + 9.0), 1.0, 5.0)),
                (0.45 * rim).astype(np.float32),
            )
            canvas.relief_mm[index] += 0.10 * rim - 0.15 * smoothstep(ring / 2, 0.0, away)
        canvas.lay_over(index, dark, hole * 0.92)
        canvas.relief_mm[index] -= 0.2 * hole
        mask = (away <= ring / 2 + 0.2) if crater else hole >= 0.5
        canvas.glaze[index] *= 1.0 - 0.8 * hole
        canvas.fault[index] = np.where(mask, layers.PIT, canvas.fault[index])
        shift = float(np.linalg.norm(linear_to_lab(dark) - before))
        marks.append(
            _mark(canvas, spec, row, col, max(size, ring), _label_area(canvas, index, mask), shift)
        )
    return marks


def _pool(
    canvases: list[Canvas], spec: FaultSpec, height_mm: float, rng: np.random.Generator
) -> list[FaultMark]:
    major = spec.severity == "major"
    milky = lab_to_linear(
        (float(rng.uniform(78, 86)), float(rng.uniform(-5, -1)), float(rng.uniform(-14, -6)))
    )
    strength = float(rng.uniform(0.5, 0.75)) if major else float(rng.uniform(0.2, 0.32))
    body = canvases[0]
    skin = body.skin
    at_handle = spec.variant == "handle" and len(canvases) > 1
    wall = np.flatnonzero(np.isin(skin.part, (WALL,)))
    azimuth = (
        spec.azimuth_rad if spec.azimuth_rad is not None else float(rng.uniform(-np.pi, np.pi))
    )
    if at_handle:
        root = canvases[1].skin.mesh_mm[[0, -1]].mean(axis=1)
        points = skin.points_mm(2)
        points = np.repeat(np.repeat(points, 2, 0), 2, 1)[: skin.shape[0], : skin.shape[1]]
        reach = 13.0 if major else 8.0
        wave = flat_noise(skin.shape, 2.5 * skin.texels_per_mm, rng)
        near = np.linalg.norm(points - root[1], axis=-1) + 2.0 * wave
        amount = strength * smoothstep(reach + 4.0, reach * 0.45, near)
        amount[~np.isin(skin.part, (WALL,))] = 0
        rows = np.arange(skin.shape[0])
    else:
        foot = float(skin.along_mm[wall[0]])
        reach = (
            float(rng.uniform(0.12, 0.26)) * height_mm
            if major
            else float(rng.uniform(0.06, 0.12)) * height_mm
        )
        reach = max(reach, 5.0)
        rows = wall[skin.along_mm[wall] - foot < 2.2 * reach]
        long = flat_noise((1, skin.shape[1]), (0.1, 9.0 * skin.texels_per_mm), rng)
        short = flat_noise(
            (rows.size, skin.shape[1]), (3.0 * skin.texels_per_mm, 2.2 * skin.texels_per_mm), rng
        )
        # Glaze gathers on the side that was held lowest: broad where it is marked.
        away = (skin.azimuth_rad - azimuth + np.pi) % (2 * np.pi) - np.pi
        spread = float(rng.uniform(1.1, 2.2)) if major else float(rng.uniform(0.6, 1.2))
        side = np.exp(-((away / spread) ** 2))[None, :]
        top = reach * np.clip(side * (1.0 + 0.35 * long), 0.0, 1.9) + 0.10 * reach * short
        up = (skin.along_mm[rows] - foot)[:, None]
        soft = float(rng.uniform(1.2, 2.5))
        amount = (
            strength
            * smoothstep(-soft, soft, top - up)
            * (0.75 + 0.25 * smoothstep(2.0 * reach, 0, up))
        )
        amount *= smoothstep(0.12, 0.35, side)
    marks = _veil(body, spec, rows, milky, np.asarray(amount, np.float32))
    if at_handle:
        handle = canvases[1]
        length = float(handle.skin.along_mm[-1])
        up = length - handle.skin.along_mm
        amount = (
            strength
            * smoothstep(12.0 if major else 8.0, 3.0, up)[:, None]
            * np.ones(handle.skin.shape[1], np.float32)
        )
        marks += _veil(
            handle, spec, np.arange(handle.skin.shape[0]), milky, amount.astype(np.float32)
        )
    return marks


def _veil(
    canvas: Canvas,
    spec: FaultSpec,
    rows: npt.NDArray[np.intp],
    colour: FloatArray,
    amount: FloatArray,
) -> list[FaultMark]:
    index = np.ix_(rows, np.arange(canvas.skin.shape[1]))
    below = canvas.clay[index] + canvas.cover[index][..., None] * (
        canvas.paint[index] - canvas.clay[index]
    )
    veiled = below + amount[..., None] * (colour - below)
    step = np.linalg.norm(linear_to_lab(veiled) - linear_to_lab(below), axis=-1)
    mask = (step >= SOFT_EDGE_DE) & (canvas.skin.part[rows] == WALL)[:, None]
    if not mask.any():
        return []
    canvas.lay_over(index, colour, amount)
    canvas.fault[index] = np.where(
        mask & (canvas.fault[index] == 0), layers.POOL, canvas.fault[index]
    )
    peak = np.unravel_index(int(np.argmax(np.where(mask, step, 0))), step.shape)
    area = _label_area(canvas, index, mask)
    return [
        _mark(
            canvas,
            spec,
            int(rows[peak[0]]),
            int(peak[1]),
            2 * float(np.sqrt(area / np.pi)),
            area,
            float(np.percentile(step[mask], 95)),
        )
    ]


def _scorch(
    canvases: list[Canvas], spec: FaultSpec, height_mm: float, rng: np.random.Generator
) -> list[FaultMark]:
    canvas = canvases[0]
    major = spec.severity == "major"
    skin = canvas.skin
    marks = []
    spots = 2 if major and rng.random() < 0.35 else 1
    for _ in range(spots):
        row, col = _place(canvas, spec, height_mm, rng, 0.25, 0.85)
        size = float(rng.uniform(14, 34)) if major else float(rng.uniform(9, 22))
        size = min(size, 0.75 * height_mm)
        depth = float(rng.uniform(9, 15)) if major else float(rng.uniform(3.5, 5.5))
        # Iron darkens towards red-brown: a* and b* rise with the loss of light.
        shift = (
            -depth,
            depth * float(rng.uniform(0.28, 0.5)),
            depth * float(rng.uniform(0.35, 0.65)),
        )
        strongest = float(np.linalg.norm(shift))
        rows, cols, right, up = skin.window(row, col, 1.1 * size)
        angle = np.arctan2(up, right)
        edge = blob_radius(angle, size, 0.2, rng)
        # Gaussian fall-off that meets the limit of the label exactly at the ragged edge.
        away = np.hypot(right, up)
        # The ragged edge calms down to a round core: heat spreads, it does not draw stars.
        even = edge + (size / 2 - edge) * np.clip(1.0 - away / edge, 0, 1) ** 0.5
        share = np.exp(np.log(SOFT_EDGE_DE / strongest) * (away / even) ** 2)
        ragged = 1.0 + 0.10 * flat_noise(share.shape, 1.5 * skin.texels_per_mm, rng, wrap_x=False)
        index = np.ix_(rows, cols)
        outside = np.isin(skin.part[rows], (WALL, LIP, RING))[:, None]
        amount = np.clip(share * ragged, 0, 1) * outside * (share > 0.01)
        canvas.clay[index] = shift_lab(canvas.clay[index], shift, amount)
        mask = (share * strongest >= SOFT_EDGE_DE) & outside & ~canvas.painted[index]
        canvas.fault[index] = np.where(mask, layers.SCORCH, canvas.fault[index])
        marks.append(
            _mark(canvas, spec, row, col, size, _label_area(canvas, index, mask), strongest)
        )
    return marks


def _browning(
    canvases: list[Canvas], spec: FaultSpec, height_mm: float, rng: np.random.Generator
) -> list[FaultMark]:
    major = spec.severity == "major"
    azimuth = (
        spec.azimuth_rad if spec.azimuth_rad is not None else float(rng.uniform(-np.pi, np.pi))
    )
    half = np.radians(float(rng.uniform(60, 115)))
    depth = float(rng.uniform(7, 12)) if major else float(rng.uniform(3.0, 5.0))
    shift = (-depth, depth * float(rng.uniform(0.3, 0.5)), depth * float(rng.uniform(0.4, 0.7)))
    strongest = float(np.linalg.norm(shift))
    low = float(rng.choice([-0.2, rng.uniform(0.0, 0.3)])) * height_mm
    high = float(rng.choice([1.3, rng.uniform(0.6, 0.95)])) * height_mm
    marks = []
    for canvas in canvases:
        skin = canvas.skin
        step = 4
        points = skin.points_mm(step)
        theta = np.arctan2(points[..., 0], -points[..., 1])
        away = np.abs((theta - azimuth + np.pi) % (2 * np.pi) - np.pi)
        facing = np.where(away < half, np.cos(away / half * np.pi / 2), 0.0)
        cloud = solid_noise(points, 30.0, rng, 2)
        z = points[..., 2] + 3.0 * cloud
        soft = 0.12 * height_mm
        share = (
            facing * smoothstep(low - soft, low + soft, z) * smoothstep(high + soft, high - soft, z)
        )
        share = np.clip(share * (1.0 + 0.06 * cloud), 0, 1)
        share = np.repeat(np.repeat(share, step, 0), step, 1)[: skin.shape[0], : skin.shape[1]]
        share = ndimage.gaussian_filter(share.astype(np.float32), 3.0, mode=("nearest", "wrap"))
        share *= np.isin(skin.part, (WALL, LIP, RING))[:, None]
        rows = np.flatnonzero(share.max(axis=1) > 0.01)
        if rows.size == 0:
            continue
        canvas.clay[rows] = shift_lab(canvas.clay[rows], shift, share[rows])
        mask = (share * strongest >= SOFT_EDGE_DE) & ~canvas.painted
        canvas.fault[mask & (canvas.fault == 0)] = layers.BROWNING
        area = float((skin.texel_area_mm2() * mask).sum())
        row = int(rows[np.argmax(share[rows].max(axis=1))])
        marks.append(
            _mark(
                canvas,
                spec,
                row,
                skin.column_at(azimuth),
                2 * float(np.sqrt(area / np.pi)),
                area,
                strongest,
            )
        )
    return marks


def _streak(
    canvases: list[Canvas], spec: FaultSpec, height_mm: float, rng: np.random.Generator
) -> list[FaultMark]:
    canvas = canvases[0]
    major = spec.severity == "major"
    skin = canvas.skin
    blobs, count = ndimage.label(canvas.painted[::4, ::4])
    if count == 0:
        return []
    sizes = np.bincount(blobs.ravel())
    sizes[0] = 0
    # Broad areas are where thin coats show.
    area_id = (
        int(np.argmax(sizes))
        if rng.random() < 0.7
        else int(rng.choice(np.flatnonzero(sizes > 0.3 * sizes.max())))
    )
    big = np.repeat(np.repeat(blobs == area_id, 4, 0), 4, 1)[: skin.shape[0], : skin.shape[1]]
    big = np.pad(big, ((0, skin.shape[0] - big.shape[0]), (0, skin.shape[1] - big.shape[1])))
    region = big & canvas.painted
    pitch = float(rng.uniform(3.5, 8.0))
    tilt = float(rng.normal(0, 0.12))
    rows = np.flatnonzero(region.any(axis=1))
    along = (skin.along_mm[rows] - skin.along_mm[rows[0]])[:, None]
    turn = skin.radius_mm[rows][:, None] * skin.across[None, :]
    wander = flat_noise(
        (rows.size, skin.shape[1]), (2.0 * skin.texels_per_mm, 12.0 * skin.texels_per_mm), rng
    )
    phase = (
        along * np.cos(tilt) + np.sin(tilt) * turn + 0.10 * pitch * wander
    ) / pitch + rng.random()
    band = smoothstep(0.15, 0.85, 0.5 + 0.5 * np.cos(2 * np.pi * phase))
    hairs = flat_noise(
        (rows.size, skin.shape[1]), (0.3 * skin.texels_per_mm, 8.0 * skin.texels_per_mm), rng
    )
    strength = float(rng.uniform(0.6, 0.8)) if major else float(rng.uniform(0.28, 0.4))
    azimuth = (
        spec.azimuth_rad
        if spec.azimuth_rad is not None
        else float(skin.azimuth_rad[int(np.median(np.nonzero(region)[1]))])
    )
    away = (skin.azimuth_rad - azimuth + np.pi) % (2 * np.pi) - np.pi
    side = (
        smoothstep(1.5, 0.9, np.abs(away))[None, :]
        if not major
        else np.ones((1, skin.shape[1]), np.float32)
    )
    thin = np.clip(strength * band * (1.0 + 0.22 * hairs) * side, 0, 0.95) * region[rows]
    canvas.cover[rows] *= 1.0 - thin
    tone = np.linalg.norm(
        linear_to_lab(canvas.paint[region].mean(axis=0))
        - linear_to_lab(canvas.clay[region].mean(axis=0))
    )
    mask = np.zeros(skin.shape, bool)
    # Half of the strongest thinning is the visible edge of a band.
    mask[rows] = (
        ndimage.gaussian_filter(thin, 0.5 * skin.texels_per_mm) > 0.5 * strength * 0.9
    ) & region[rows]
    canvas.fault[mask & (canvas.fault == 0)] = layers.STREAK
    area = float((skin.texel_area_mm2() * mask).sum())
    row = int(np.median(rows))
    return [_mark(canvas, spec, row, skin.column_at(azimuth), pitch, area, float(tone * strength))]


def _crack(
    canvases: list[Canvas], spec: FaultSpec, height_mm: float, rng: np.random.Generator
) -> list[FaultMark]:
    canvas = canvases[0]
    major = spec.severity == "major"
    skin = canvas.skin
    length = float(rng.uniform(22, 48)) if major else float(rng.uniform(8, 18))
    length = min(length, 0.7 * height_mm)
    width = float(rng.uniform(0.5, 1.3)) if major else float(rng.uniform(0.25, 0.4))
    variant = spec.variant or str(rng.choice(["rim", "foot"]))
    azimuth = (
        spec.azimuth_rad if spec.azimuth_rad is not None else float(rng.uniform(-np.pi, np.pi))
    )
    wall = np.flatnonzero(skin.part == WALL)
    lip = np.flatnonzero(skin.part == LIP)
    col = skin.column_at(azimuth)
    if variant == "handle" and len(canvases) > 1:
        root = canvases[1].skin.mesh_mm[-1].mean(axis=0)
        away = np.linalg.norm(skin.points_mm(2) - root, axis=-1)
        away[~np.isin(skin.part[::2], (WALL,))] = 1e6
        row, col = (2 * int(v) for v in np.unravel_index(int(np.argmin(away)), away.shape))
        start, heading = (float(skin.along_mm[row]) - 4.0, -6.0), 0.15
        width_at = [0.6, 1.0, 0.8, 0.3]
        length = min(length, 24.0)
    elif variant == "foot":
        row = int(wall[0])
        start, heading = (float(skin.along_mm[row]) - 3.0, 0.0), np.pi / 2
        width_at = [1.0, 0.9, 0.6, 0.15]
    else:
        # From a little inside, over the lip, down the outside.
        row = int(wall[-1])
        over = float(skin.along_mm[lip[-1]] - skin.along_mm[lip[0]]) if lip.size else 4.0
        start, heading = (float(skin.along_mm[row]) + over + 3.0, 0.0), -np.pi / 2
        length += over + 3.0
        width_at = [0.7, 1.0, 0.7, 0.15]
    step = 0.5
    count = max(8, int(length / step))
    # A crack runs straight with sharp small turns.
    bend = np.cumsum(rng.normal(0, 0.10, count)) * 0.35 + rng.normal(0, 0.42, count)
    angle = heading + bend
    path = np.stack(
        [start[1] + np.cumsum(np.cos(angle) * step), start[0] + np.cumsum(np.sin(angle) * step)], -1
    )
    breadth = width * np.interp(np.linspace(0, 1, count), np.linspace(0, 1, 4), width_at)
    breadth *= 1.0 + 0.25 * rng.standard_normal(count)
    centre_along = float(path[:, 1].mean())
    centre_row = int(np.argmin(np.abs(skin.along_mm - centre_along)))
    rows, cols, right, _ = skin.window(centre_row, col, length / 2 + 4.0)
    along = np.broadcast_to(skin.along_mm[rows][:, None], right.shape)
    # Distance to the line and the line's breadth there, from the nearest of its points.
    fine = np.linspace(0, count - 1, count * 6)
    fx, fy = (
        np.interp(fine, np.arange(count), path[:, 0]),
        np.interp(fine, np.arange(count), path[:, 1]),
    )
    fb = np.interp(fine, np.arange(count), breadth)
    near = np.full(right.shape, 1e6, np.float32)
    for x, y, b in zip(fx, fy, fb, strict=True):
        r0, r1 = np.searchsorted(skin.along_mm[rows], (y - 2.5, y + 2.5))
        block = np.hypot(right[r0:r1] - x, along[r0:r1] - y) - max(b, 0.08) / 2
        near[r0:r1] = np.minimum(near[r0:r1], block)
    line = smoothstep(0.05, -0.05, near)
    halo = np.exp(-np.maximum(near, 0) / 0.25)
    index = np.ix_(rows, cols)
    dark = lab_to_linear((float(rng.uniform(9, 20)), 2.0, 4.0))
    canvas.lay_over(index, dark, (0.95 * line).astype(np.float32))
    canvas.relief_mm[index] -= 0.15 * halo
    canvas.glaze[index] *= 1.0 - 0.9 * line
    mask = near <= 0
    canvas.fault[index] = np.where(mask, layers.CRACK, canvas.fault[index])
    shift = float(np.linalg.norm(linear_to_lab(dark) - linear_to_lab(canvas.clay[row, col])))
    return [_mark(canvas, spec, centre_row, col, length, _label_area(canvas, index, mask), shift)]


def _crawl(
    canvases: list[Canvas], spec: FaultSpec, height_mm: float, rng: np.random.Generator
) -> list[FaultMark]:
    canvas = canvases[0]
    major = spec.severity == "major"
    skin = canvas.skin
    row, col = _place(canvas, spec, height_mm, rng, 0.3, 0.8)
    size = float(rng.uniform(8, 18)) if major else float(rng.uniform(2.5, 5.5))
    size = min(size, 0.35 * height_mm)
    marks = []
    islands = int(rng.integers(1, 4)) if major else 1
    for k in range(islands):
        part = size if k == 0 else size * float(rng.uniform(0.25, 0.5))
        if k:
            row_k = int(
                np.clip(row + rng.normal(0, 0.7) * size * skin.texels_per_mm, 0, skin.shape[0] - 1)
            )
            col_k = (
                int(col + rng.choice([-1, 1]) * rng.uniform(0.6, 0.9) * size * skin.texels_per_mm)
                % skin.shape[1]
            )
        else:
            row_k, col_k = row, col
        rows, cols, right, up = skin.window(row_k, col_k, 1.1 * part + 3.0)
        away = np.hypot(right, up)
        edge = blob_radius(np.arctan2(up, right), part, 0.2, rng)
        depth = edge - away
        bare = smoothstep(-0.12, 0.12, depth)
        breadth = float(np.clip(0.12 * part, 0.6, 1.5))
        rim = np.exp(-(((depth + 0.8 * breadth) / (0.55 * breadth)) ** 2))
        index = np.ix_(rows, cols)
        raw = shift_lab(canvas.clay[index], (5.0, -0.8, -3.0), 1.0)
        if canvas.painted[index].any():
            # Underglaze mostly leaves with the glaze that let go.
            canvas.cover[index] *= 1.0 - 0.8 * bare
        if _is_coloured(canvas, row_k, col_k):
            raw = np.broadcast_to(lab_to_linear((72.0, 5.0, 16.0)), raw.shape).astype(np.float32)
        canvas.lay_over(index, raw, bare)
        # The glaze that drew back stands in a thick, milky, rounded rim.
        rim_tone = shift_lab(canvas.clay[index], (3.0, -1.5, -4.0), 1.0)
        canvas.lay_over(index, rim_tone, (0.6 * rim * (1 - bare)).astype(np.float32))
        canvas.relief_mm[index] += 0.35 * rim - 0.15 * bare
        canvas.glaze[index] *= 1.0 - bare
        mask = depth >= 0
        canvas.fault[index] = np.where(mask, layers.CRAWL, canvas.fault[index])
        tone = np.linalg.norm(
            linear_to_lab(raw).mean((0, 1)) - linear_to_lab(canvas.clay[index]).mean((0, 1))
        )
        marks.append(
            _mark(canvas, spec, row_k, col_k, part, _label_area(canvas, index, mask), float(tone))
        )
    return marks


def _is_coloured(canvas: Canvas, row: int, col: int) -> bool:
    """Whether the glaze hides the clay (its colour differs from the bare foot's by far)."""
    bare = canvas.clay[canvas.skin.part == RING]
    if bare.size == 0 or not canvas.glazed:
        return False
    step = linear_to_lab(bare.reshape(-1, 3).mean(axis=0)) - linear_to_lab(canvas.clay[row, col])
    return float(np.linalg.norm(step)) > 18.0


_Maker = Callable[[list[Canvas], FaultSpec, float, np.random.Generator], list[FaultMark]]
_MAKERS: dict[str, _Maker] = {
    "flake": _flake,
    "pit": _pit,
    "pool": _pool,
    "scorch": _scorch,
    "browning": _browning,
    "streak": _streak,
    "crack": _crack,
    "crawl": _crawl,
}
