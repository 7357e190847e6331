"""Made pictures of a straight-sided beaker, ready to be searched, whose flaws are known.

A wall is a picture of reflectance, unrolled flat at 28 px/mm; what is drawn on it is given in
millimetres, x right and y down from its upper left corner. `seen` photographs it: round shading,
a table behind, lens blur, noise, eight bits; then the project's own code reads surface and zones.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from grader.clay import common_clay
from grader.facts import Finish
from grader.faults import Evidence, ViewEvidence
from grader.findings import Finding
from grader.piece import Silhouette
from grader.relief import find_reliefs
from grader.skin import opening_share, read_skin
from grader.surface import Surface, read_surface
from grader.target import Colour, Scale, Target
from grader.zones import find_zones
from tests.scenes import develop

Picture = NDArray[np.float64]

PX_PER_MM = 7.0
WIDE_MM, HIGH_MM = 48.0, 60.0
_FINER = 4
MARGIN_MM = 5.0
_SIZE = (round(HIGH_MM * PX_PER_MM * _FINER), round(WIDE_MM * PX_PER_MM * _FINER))

BUFF = (0.52, 0.42, 0.29)
RED = (0.33, 0.14, 0.08)
ORANGE = (0.75, 0.24, 0.08)
WHITE_CLAY = (0.72, 0.69, 0.62)
COBALT = (0.05, 0.06, 0.24)
BLACK = (0.025, 0.024, 0.024)
OCHRE = (0.40, 0.25, 0.07)
BROWN = (0.13, 0.07, 0.045)
SLOT = (0.015, 0.012, 0.010)
TABLE = (0.23, 0.24, 0.25)


def wall(colour: Sequence[float] = BUFF, seed: int = 0) -> Picture:
    """An even wall of one colour with a fired clay's fine grain of 2 %."""
    return np.asarray(np.array(colour) * _grain(seed)[..., None])


@lru_cache(8)
def _grain(seed: int) -> NDArray[np.float64]:
    """Light of a wall over its mean; the tests of a file ask for few seeds, and often."""
    coarse = np.random.default_rng(seed).standard_normal((_SIZE[0] // 4, _SIZE[1] // 4))
    return 1 + 0.02 * cv2.resize(coarse, _SIZE[::-1], interpolation=cv2.INTER_CUBIC)


def dipped(clay: Sequence[float], slip: Sequence[float]) -> list[Picture]:
    """Four walls whose lower half was dipped into a slip."""
    foot = box(0, HIGH_MM / 2, WIDE_MM, HIGH_MM)
    return [lay(wall(clay, seed), foot, slip) for seed in range(4)]


def blank() -> NDArray[np.float32]:
    """Coverage of nothing, of the size of a wall."""
    return np.zeros(_SIZE, np.float32)


def places_mm() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Millimetres right and down of each pixel of a wall."""
    height, width = _SIZE
    rows, cols = np.mgrid[0:height, 0:width]
    return cols * WIDE_MM / width, rows * HIGH_MM / height


def lay(picture: Picture, cover: NDArray[np.floating], colour: npt.ArrayLike) -> Picture:
    """Lay a colour over a wall where `cover` (0..1) says so."""
    out = picture.copy()
    rows, cols = np.flatnonzero(cover.any(1)), np.flatnonzero(cover.any(0))
    if rows.size:
        # Most shapes are small: only their window is worked on.
        window = np.s_[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
        out[window] += cover[window][..., None] * (np.array(colour) - out[window])
    return np.asarray(out)


def _px(points_mm: object) -> NDArray[np.int32]:
    return np.round(np.asarray(points_mm, float) * PX_PER_MM * _FINER).astype(np.int32)


def line(points_mm: object, width_mm: object) -> NDArray[np.float32]:
    """Coverage of a line through points; the width may change from point to point."""
    points = _px(points_mm)
    widths = np.broadcast_to(np.asarray(width_mm, float), len(points))
    cover = blank()
    for start, end, width in zip(points[:-1], points[1:], widths[:-1], strict=True):
        thick = max(1, round(width * PX_PER_MM * _FINER))
        cv2.line(cover, tuple(map(int, start)), tuple(map(int, end)), 1.0, thick)
    return cover


def island(centre_mm: tuple[float, float], size_mm: float, seed: int = 0) -> NDArray[np.float32]:
    """Coverage of a ragged island of a mean diameter; no circle and no star."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    radius = np.ones_like(turn)
    for wave in range(2, 6):
        radius += (
            0.14 / (wave - 1) * rng.standard_normal() * np.cos(wave * turn + rng.uniform(0, 6))
        )
    radius *= size_mm / 2 / np.sqrt((radius**2).mean())
    outline = np.column_stack([np.cos(turn), np.sin(turn)]) * radius[:, None] + centre_mm
    cover = blank()
    cv2.fillPoly(cover, [_px(outline)], 1.0)
    return cover


def ellipse(
    centre_mm: tuple[float, float], across_mm: float, high_mm: float
) -> NDArray[np.float32]:
    """Coverage of a painted dot."""
    cover = blank()
    axes = (round(across_mm / 2 * PX_PER_MM * _FINER), round(high_mm / 2 * PX_PER_MM * _FINER))
    cv2.ellipse(cover, tuple(map(int, _px(centre_mm))), axes, 0, 0, 360, 1.0, -1)
    return cover


def box(left: float, top: float, right: float, bottom: float) -> NDArray[np.float32]:
    """Coverage of a rectangle, in mm."""
    cover = blank()
    (x0, y0), (x1, y1) = _px([(left, top), (right, bottom)])
    cover[y0:y1, x0:x1] = 1.0
    return cover


def ring_round(cover: NDArray[np.float32], width_mm: float) -> NDArray[np.float32]:
    """Soft coverage of a band just outside of a shape."""
    away = cv2.distanceTransform((cover < 0.5).astype(np.uint8), cv2.DIST_L2, 5)
    away /= PX_PER_MM * _FINER
    return np.asarray(np.where(cover < 0.5, np.exp(-(((away / width_mm - 0.6) / 0.4) ** 2)), 0.0))


def specks(picture: Picture, per_cm2: float, seed: int = 0) -> Picture:
    """Strew iron specks of 0.3 to 0.9 mm."""
    rng = np.random.default_rng(seed)
    cover = blank()
    for _ in range(round(per_cm2 * WIDE_MM * HIGH_MM / 100)):
        centre = _px((rng.uniform(0, WIDE_MM), rng.uniform(0, HIGH_MM)))
        radius = round(rng.uniform(0.15, 0.45) * PX_PER_MM * _FINER)
        cv2.circle(cover, tuple(map(int, centre)), radius, 0.8, -1)
    return lay(picture, cv2.GaussianBlur(cover, (0, 0), 2.0), (0.07, 0.04, 0.03))


def crack_path(start_mm: tuple[float, float], length_mm: float, seed: int = 0) -> Picture:
    """A jagged path that runs down."""
    rng = np.random.default_rng(seed)
    turns = rng.normal(0, 0.4, max(2, round(length_mm / 0.5)))
    steps = np.column_stack([np.sin(turns), np.cos(turns)]) * 0.5
    return np.asarray(np.vstack([[0, 0], np.cumsum(steps, axis=0)]) + start_mm)


def crack(
    picture: Picture,
    start_mm: tuple[float, float] = (22.0, 12.0),
    length_mm: float = 20.0,
    width_mm: float = 0.4,
    seed: int = 0,
) -> Picture:
    """Cut a jagged slot that tapers to nothing."""
    path = crack_path(start_mm, length_mm, seed)
    return lay(picture, line(path, width_mm * np.linspace(1.0, 0.15, len(path))), SLOT)


def text_cover(words: str, at_mm: tuple[float, float], high_mm: float) -> NDArray[np.float32]:
    """Coverage of letters with strokes of an eighth of their height."""
    cover = np.zeros(blank().shape, np.uint8)
    scale = high_mm * PX_PER_MM * _FINER / 22
    thick = max(1, round(high_mm / 8 * PX_PER_MM * _FINER))
    x, y = _px(at_mm)
    cv2.putText(cover, words, (int(x), int(y)), cv2.FONT_HERSHEY_SIMPLEX, scale, 1, thick)
    return cover.astype(np.float32)


def pressed(picture: Picture, cover: NDArray[np.floating], depth: float = 0.45) -> Picture:
    """Press a shape into the clay: its floor in shade, its lower flank in the light."""
    soft = cv2.GaussianBlur(cover.astype(np.float32), (0, 0), 0.12 * PX_PER_MM * _FINER)
    below = np.roll(soft, round(0.5 * PX_PER_MM * _FINER), axis=0) * (1 - soft)
    return np.asarray(picture * (1 - depth * soft + 0.2 * below)[..., None])


def _surface(
    picture: Picture,
    view: str,
    light: Sequence[float],
    noise: float,
    seed: int,
    blur_px: float,
    fewer: int,
) -> Surface:
    size = (round(WIDE_MM * PX_PER_MM), round(HIGH_MM * PX_PER_MM))
    flat = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    # The lamp stands to the left; the wall turns away from it to the right.
    across = np.linspace(-1, 1, size[0])
    shade = 0.55 + 0.45 * np.sqrt(np.clip(1 - ((across + 0.25) / 1.4) ** 2, 0, 1))
    margin = round(MARGIN_MM * PX_PER_MM)
    whole = np.ones((size[1] + 2 * margin, size[0] + 2 * margin, 3)) * TABLE
    inner = np.s_[margin : margin + size[1], margin : margin + size[0]]
    whole[inner] = flat * shade[None, :, None]
    rgb = develop(whole * np.array(light), noise=noise, blur_px=blur_px, seed=seed)
    mask = np.zeros(whole.shape[:2], bool)
    mask[inner] = True
    box = (margin, margin, *size)
    if fewer > 1:
        small = (rgb.shape[1] // fewer, rgb.shape[0] // fewer)
        rgb = cv2.resize(rgb, small, interpolation=cv2.INTER_AREA)
        mask = cv2.resize(mask.astype(np.uint8), small, interpolation=cv2.INTER_NEAREST) > 0
        box = (box[0] // fewer, box[1] // fewer, box[2] // fewer, box[3] // fewer)
    silhouette = Silhouette(mask, box, 1.0)
    px_per_mm = PX_PER_MM / fewer
    target = Target(Scale(px_per_mm, "marker"), Colour(np.eye(3)))
    return read_surface(
        rgb, silhouette, target, photo=f"{view}.jpg", view=view, px_per_mm=px_per_mm
    )


def seen(
    *pictures: Picture,
    finish: Finish = "glazed",
    decorated: bool | None = None,
    light: Sequence[float] = (1.0, 1.0, 1.0),
    noise: float = 0.02,
    blur_px: float = 0.8,
    fewer: int = 1,
) -> Evidence:
    """Photograph walls as the sides of one piece.

    Parameters
    ----------
    *pictures : ndarray, linear reflectance as from `wall`
    finish, decorated
        As the potter's facts say.
    light : sequence of float
        Factor of red, green and blue: a brighter or a warmer lamp.
    noise : float
        Of the camera at mid grey, relative.
    blur_px : float
        Of the lens, standard deviation.
    fewer : int
        By how much the picture is made smaller along each side.

    Returns
    -------
    Evidence
    """
    names = ("front", "right", "back", "left")
    surfaces = [
        _surface(picture, names[number], light, noise, number, blur_px, fewer)
        for number, picture in enumerate(pictures)
    ]
    clay = common_clay(surfaces)
    zones = [
        find_zones(surface, clay, decorated=decorated, seen_from_side=True) for surface in surfaces
    ]
    views = tuple(
        ViewEvidence(surface, zone, read_skin(surface, zone, opening_share(zone)), relief, shade)
        for surface, zone, (relief, shade) in zip(
            surfaces, zones, find_reliefs(surfaces, zones), strict=True
        )
    )
    return Evidence(views, finish, decorated)


def place_mm(found: Finding) -> tuple[float, float]:
    """Middle of a finding in millimetres of the wall."""
    x, y, width, height = found.bbox_px
    return (
        (x + width / 2) / PX_PER_MM - MARGIN_MM,
        (y + height / 2) / PX_PER_MM - MARGIN_MM,
    )


def mirrored(picture: Picture) -> Picture:
    """The same wall, left and right changed."""
    return np.ascontiguousarray(picture[:, ::-1])
