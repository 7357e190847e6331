"""Clay bodies and glazes: base colour, grain, throwing rings, iron specks, gloss."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from .canvas import Canvas, blank_canvas
from .forms import BASE, INSIDE, LIP, RING
from .noise import FloatArray, blob_radius, flat_noise, smoothstep, solid_noise
from .skin import Skin
from .tones import lab_to_linear, shift_lab


@dataclass(frozen=True, slots=True)
class ClayBody:
    """A clay as fired and unglazed; CIELAB judged by eye from common stoneware and earthenware.

    `speck_per_cm2` counts iron specks of 0.2 to 1.2 mm.
    """

    name: str
    lab: tuple[float, float, float]
    speck_per_cm2: float
    grain: float


CLAYS = {
    "white": ClayBody("white", (88.0, 1.0, 6.0), 0.0, 0.010),
    "buff": ClayBody("buff", (77.0, 5.5, 20.0), 0.15, 0.022),
    "speckled": ClayBody("speckled", (78.0, 2.5, 14.0), 5.5, 0.016),
    "red": ClayBody("red", (55.0, 27.0, 31.0), 0.1, 0.028),
    "toasty": ClayBody("toasty", (66.0, 13.0, 28.0), 1.2, 0.030),
    "dark brown": ClayBody("dark brown", (33.0, 8.5, 11.0), 0.0, 0.035),
}
# Coloured glazes: thin over edges (break) and thick in hollows (pool of the same glaze).
COLOURED_GLAZES: dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "celadon": ((74.0, -8.0, 8.0), (82.0, -3.0, 8.0)),
    "tenmoku": ((20.0, 6.0, 6.0), (38.0, 20.0, 24.0)),
    "cobalt": ((33.0, 2.0, -32.0), (48.0, 2.0, -20.0)),
    "copper green": ((46.0, -20.0, 12.0), (62.0, -8.0, 16.0)),
    "oatmeal": ((76.0, 3.0, 13.0), (58.0, 12.0, 24.0)),
    "rust": ((42.0, 22.0, 24.0), (30.0, 12.0, 12.0)),
}


@dataclass(frozen=True, slots=True)
class Surface:
    """What the clay of one piece looks like; drawn once a piece (or once a design)."""

    clay: str
    finish: str
    lab: tuple[float, float, float]
    ring_pitch_mm: float
    ring_mm: float
    gloss: float
    speck_per_cm2: float
    glaze_colour: str = ""


def draw_surface(
    clay: str, finish: str, rng: np.random.Generator, glaze_colour: str = ""
) -> Surface:
    """Draw the look of one batch of a clay.

    Parameters
    ----------
    clay : str
        Key of `CLAYS`.
    finish : str
        "raw", "glazed" (clear) or "coloured".
    rng : numpy.random.Generator
    glaze_colour : str
        Key of `COLOURED_GLAZES`, only for finish "coloured".

    Returns
    -------
    Surface
    """
    body = CLAYS[clay]
    spread = rng.normal(0.0, (2.0, 0.9, 1.8))
    lab = tuple(float(v) for v in np.asarray(body.lab) + spread)
    return Surface(
        clay=clay,
        finish=finish,
        lab=(lab[0], lab[1], lab[2]),
        ring_pitch_mm=float(rng.uniform(3.0, 8.0)),
        ring_mm=float(rng.choice([0.02, rng.uniform(0.02, 0.09)])),
        gloss=float(rng.uniform(0.88, 1.0)),
        speck_per_cm2=body.speck_per_cm2 * float(rng.uniform(0.6, 1.6)),
        glaze_colour=glaze_colour,
    )


def clay_canvas(skin: Skin, surface: Surface, rng: np.random.Generator) -> Canvas:
    """Lay clay, relief, specks and glaze on a skin.

    Parameters
    ----------
    skin : Skin
    surface : Surface
    rng : numpy.random.Generator

    Returns
    -------
    Canvas
    """
    body = CLAYS[surface.clay]
    shape, density = skin.shape, skin.texels_per_mm
    glazed = surface.finish != "raw"
    bare_rows = skin.part == RING
    if glazed:
        bare_rows |= (skin.part == BASE) & (skin.height_mm < 0.5)
    step = max(1, int(density))
    coarse = solid_noise(skin.points_mm(step), 22.0, rng)
    cloud = np.repeat(np.repeat(coarse, step, 0), step, 1)[: shape[0], : shape[1]]
    cloud = _soften(cloud, step)
    grain = flat_noise(shape, 0.09 * density, rng) + 0.6 * flat_noise(shape, 0.35 * density, rng)
    # Texels narrow to nothing at the middle of base and floor: grain fades out there.
    even = smoothstep(0.5, 9.0, skin.radius_mm)[:, None] if skin.name != "handle" else 1.0
    grain = (grain * even).astype(np.float32)
    shade = 1.0 + body.grain * grain + 0.012 * cloud
    raw = lab_to_linear(surface.lab)
    under_glaze = shift_lab(raw, (-4.0, 0.5, 2.0), 1.0)
    base = np.where(bare_rows[:, None, None] | (not glazed), raw, under_glaze).astype(np.float32)
    clay = base * shade[..., None]

    relief = _relief(skin, surface, grain, rng, glazed)
    glaze = np.full(shape, surface.gloss if glazed else 0.0, np.float32)
    if glazed:
        glaze *= 1.0 + 0.04 * np.clip(cloud, -2, 1)
        # The wax line above the foot is wiped by hand: it wanders by a few tenths of a millimetre.
        glaze[bare_rows] = 0.0
    if surface.finish == "coloured":
        clay = _coloured(skin, surface, clay, cloud, bare_rows, rng)
    canvas = blank_canvas(skin, np.clip(clay, 0.004, 0.92), np.clip(glaze, 0, 1), relief, glazed)
    if surface.speck_per_cm2 > 0 and surface.finish != "coloured":
        _specks(canvas, surface.speck_per_cm2, rng)
    return canvas


def _soften(field: FloatArray, step: int) -> FloatArray:
    return np.asarray(cv2.GaussianBlur(field, (0, 0), max(0.8, step / 1.5)), np.float32)


def _relief(
    skin: Skin, surface: Surface, grain: FloatArray, rng: np.random.Generator, glazed: bool
) -> FloatArray:
    shape = skin.shape
    rings = np.zeros(shape, np.float32)
    if skin.name == "body":
        # One throwing groove climbs as a spiral; its pitch and depth wander.
        drift = flat_noise((shape[0], 8), (6.0 * skin.texels_per_mm, 2.0), rng)[:, :1]
        turn = skin.along_mm[:, None] / surface.ring_pitch_mm + skin.azimuth_rad[None, :] / (
            2 * np.pi
        )
        rings = np.sin(2 * np.pi * (turn + 0.35 * drift)) * surface.ring_mm * (1 + 0.3 * drift)
        fade = smoothstep(0.0, 6.0, np.abs(skin.along_mm - _rim_along(skin)))
        rings = rings * fade[:, None] * smoothstep(3.0, 14.0, skin.radius_mm)[:, None]
    # A clear glaze fills the grain; bare clay keeps it.
    rough = 0.004 if glazed else 0.012
    return np.asarray(rings + rough * grain, np.float32)


def _rim_along(skin: Skin) -> float:
    lip = skin.along_mm[skin.part == LIP]
    return float(lip.mean()) if lip.size else 0.0


def _coloured(
    skin: Skin,
    surface: Surface,
    clay: FloatArray,
    cloud: FloatArray,
    bare_rows: npt.NDArray[np.bool_],
    rng: np.random.Generator,
) -> FloatArray:
    thick_lab, thin_lab = COLOURED_GLAZES[surface.glaze_colour]
    rim = _rim_along(skin)
    near_edge = np.exp(-(((skin.along_mm - rim) / 2.2) ** 2)) if rim else np.zeros(skin.shape[0])
    run = flat_noise(skin.shape, (9.0 * skin.texels_per_mm, 2.5 * skin.texels_per_mm), rng)
    thin = np.clip(near_edge[:, None] + 0.10 * run + 0.06 * cloud + 0.08, 0, 1).astype(np.float32)
    lab = np.asarray(thick_lab, np.float32) + thin[..., None] * (
        np.asarray(thin_lab, np.float32) - np.asarray(thick_lab, np.float32)
    )
    glaze = lab_to_linear(lab) * (1.0 + 0.01 * cloud[..., None])
    inside = skin.part == INSIDE
    glaze[inside] = glaze[inside] * 0.98
    return np.where(bare_rows[:, None, None], clay, glaze).astype(np.float32)


def _specks(canvas: Canvas, per_cm2: float, rng: np.random.Generator) -> None:
    """Strew iron specks: soft-edged, brown to black, evenly over the area in mm²."""
    skin = canvas.skin
    row_area = skin.texel_area_mm2().sum(axis=1)
    count = rng.poisson(per_cm2 * row_area.sum() / 100.0)
    rows = rng.choice(skin.shape[0], size=count, p=row_area / row_area.sum())
    cols = rng.integers(0, skin.shape[1], count)
    # Most are small: log-normal about 0.4 mm, cut to what reads as a speck.
    sizes = np.clip(rng.lognormal(np.log(0.38), 0.45, count), 0.2, 1.2)
    iron = lab_to_linear((24.0, 7.0, 9.0))
    for row, col, size in zip(rows, cols, sizes, strict=True):
        r, c, right, up = skin.window(int(row), int(col), float(size))
        # At the middle of the base and floor a texel is stretched: no speck there.
        if skin.radius_mm[row] < 3.0:
            continue
        edge = blob_radius(np.arctan2(up, right), float(size), 0.15, rng)
        soft = 0.22 * size
        amount = smoothstep(-soft, soft, edge - np.hypot(right, up)) * rng.uniform(0.45, 0.95)
        index = np.ix_(r, c)
        canvas.clay[index] += amount[..., None] * (iron - canvas.clay[index])
