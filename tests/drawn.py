"""A pot drawn with numpy: quick enough for every test, with its truth beside it.

It is no photograph, but has what the measures lean on: shading round a cylinder, a soft shadow, a
rim seen from above, grain, sensor noise, and colours given as reflectances.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.clay import common_clay
from grader.colour.srgb import encode_srgb
from grader.outline.regions import Regions, divide
from grader.outline.surroundings import Evidence as OutlineEvidence
from grader.outline.surroundings import weigh_surroundings
from grader.piece import Silhouette
from grader.surface import Surface, read_surface
from grader.target import Colour, Scale, Target
from grader.zones import Zones, find_zones

CLAY = (0.62, 0.52, 0.40)
BLUE = (0.08, 0.13, 0.32)
TABLE = (0.42, 0.43, 0.45)
PX_PER_MM = 8.0


@dataclass
class Drawn:
    """A picture and what is in it."""

    rgb: NDArray[np.uint8]
    mask: NDArray[np.bool_]
    layers: dict[str, NDArray[np.bool_]] = field(default_factory=dict)

    def surface(self, *, view: str = "front", px_per_mm: float | None = PX_PER_MM) -> Surface:
        """Cut with the true outline, so that a test of later stages rests on nothing else."""
        rows, cols = np.flatnonzero(self.mask.any(1)), np.flatnonzero(self.mask.any(0))
        box = (
            int(cols[0]),
            int(rows[0]),
            int(cols[-1] - cols[0] + 1),
            int(rows[-1] - rows[0] + 1),
        )
        target = Target(Scale(px_per_mm), Colour(np.eye(3)))
        return read_surface(
            self.rgb,
            Silhouette(self.mask, box, 1.0),
            target,
            photo=f"X1/{view}.jpg",
            view=view,
            px_per_mm=px_per_mm,
        )


def half(pot: Drawn) -> Drawn:
    """The whole pot within 550 px: regions of its outline are those of a small picture."""
    small = cv2.resize(pot.rgb, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    return replace(pot, rgb=np.asarray(small, np.uint8), mask=pot.mask[::2, ::2])


def draw_pot(
    *,
    size: tuple[int, int] = (900, 1100),
    clay: tuple[float, float, float] = CLAY,
    table: tuple[float, float, float] = TABLE,
    light: tuple[float, float, float] = (1.0, 1.0, 1.0),
    exposure: float = 1.0,
    handle: bool = False,
    band: tuple[float, float, float] | None = None,
    layers: dict[str, tuple[NDArray[np.bool_] | NDArray[np.float32], tuple[float, float, float]]]
    | None = None,
    noise: float = 0.004,
    seed: int = 1,
) -> Drawn:
    """Draw a straight cup 70 mm wide and 76 mm high at 8 px/mm.

    Parameters
    ----------
    size : tuple of int
        (height, width).
    clay, table, band : tuple of float
        Linear reflectances; `band` is painted across the middle.
    light, exposure
        Colour and strength of the lamp.
    handle : bool
        A ring on the right, with its gap.
    layers : mapping of name to (weight 0..1 or mask, reflectance)
        Laid over the wall in order; kept in the result.
    noise : float
        Standard deviation of the sensor in linear light.
    seed : int

    Returns
    -------
    Drawn
    """
    height, width = size
    rows, cols = np.mgrid[0:height, 0:width].astype(np.float32)
    middle, half = width / 2, 35 * PX_PER_MM
    top, bottom, sag = 150, 150 + 76 * PX_PER_MM, 45.0
    across = (cols - middle) / half
    arc = sag * np.sqrt(np.clip(1 - across**2, 0, 1))
    wall = (np.abs(across) <= 1) & (rows >= top + arc) & (rows <= bottom + 0.6 * arc)
    inside = (np.abs(across) <= 1) & (rows >= top - arc) & (rows < top + arc)
    mask = wall | inside
    ring = np.zeros(size, bool)
    if handle:
        radius = np.hypot((cols - middle - half) / 1.0, (rows - (top + bottom) / 2) / 1.35)
        ring = (np.abs(radius - 130) <= 28) & (cols > middle + half - 4)
        mask = mask | ring
    albedo = np.empty((height, width, 3), np.float32)
    albedo[:] = np.asarray(table, np.float32)
    albedo[mask] = clay
    kept: dict[str, NDArray[np.bool_]] = {"wall": wall, "inside": inside}
    if band is not None:
        painted = wall & (np.abs(rows - (top + bottom) / 2) < 90)
        albedo[painted] = band
        kept["band"] = painted
    for name, (weight, colour) in (layers or {}).items():
        share = np.asarray(weight, np.float32)[..., None] * wall[..., None]
        albedo = albedo * (1 - share) + share * np.asarray(colour, np.float32)
        kept[name] = share[..., 0] > 0.5
    shade = np.ones(size, np.float32)
    shade[wall] = (0.55 + 0.45 * np.sqrt(np.clip(1 - (across - 0.3) ** 2 / 1.8, 0, 1)))[wall]
    shade[inside] = 0.45
    shade[ring] = 0.75
    spread = ((cols - middle + 150) / 420) ** 2 + ((rows - bottom) / 90) ** 2
    shade[~mask] *= (1 - 0.5 * np.exp(-spread))[~mask]
    shade *= 1 - 0.12 * rows / height
    picture = albedo * shade[..., None] * np.asarray(light, np.float32) * exposure
    picture = cv2.GaussianBlur(picture, (0, 0), 0.8)
    random = np.random.default_rng(seed)
    picture = picture + random.normal(0, noise, picture.shape)
    return Drawn(encode_srgb(picture), mask, kept)


def shadowed(
    tone: tuple[int, int, int] = (150, 122, 98),
) -> tuple[NDArray[np.uint8], NDArray[np.bool_], NDArray[np.bool_]]:
    """A pot on grey with a brown shadow beside it, of nearly its own tone; outlines of both."""
    pot = half(draw_pot(clay=(0.62, 0.45, 0.30), table=(0.42, 0.43, 0.45)))
    rows, cols = np.flatnonzero(pot.mask.any(1)), np.flatnonzero(pot.mask.any(0))
    patch = np.zeros(pot.mask.shape, np.uint8)
    middle = (int(cols[-1] + 0.1 * len(cols)), int(rows[0] + 0.85 * len(rows)))
    cv2.ellipse(patch, middle, (len(cols) // 3, len(rows) // 8), 0, 0, 360, 1, -1)
    shade = (patch > 0) & ~pot.mask
    brown = np.where(shade[..., None], np.array(tone), pot.rgb).astype(np.uint8)
    return brown, pot.mask, shade


def handled(
    colour: tuple[int, ...],
) -> tuple[NDArray[np.uint8], NDArray[np.bool_], NDArray[np.bool_]]:
    """A pot with the bow of a handle on its right; outlines of the pot and of the bow."""
    pot = half(draw_pot(clay=(0.62, 0.45, 0.30), table=(0.3, 0.4, 0.5)))
    rows, cols = np.flatnonzero(pot.mask.any(1)), np.flatnonzero(pot.mask.any(0))
    bow = np.zeros(pot.mask.shape, np.uint8)
    middle = (int(cols[-1]), int(rows[0] + 0.45 * len(rows)))
    cv2.ellipse(bow, middle, (len(cols) // 4, len(rows) // 4), 0, 0, 360, 1, 16)
    handle = (bow > 0) & ~pot.mask
    rgb = np.where(handle[..., None], np.array(colour), pot.rgb).astype(np.uint8)
    return rgb, pot.mask, handle


def divided(
    rgb: NDArray[np.uint8], cards: NDArray[np.bool_] | None = None
) -> tuple[Regions, OutlineEvidence]:
    """A picture in its regions, and what tells them from their surroundings."""
    cards = np.zeros(rgb.shape[:2], bool) if cards is None else cards
    regions = divide(rgb, cards)
    evidence = weigh_surroundings(regions, cards)
    assert evidence is not None
    return regions, evidence


def blob(size: tuple[int, int], x: float, y: float, radius_px: float) -> NDArray[np.float32]:
    """A Gaussian hill of height 1, for soft faults."""
    rows, cols = np.mgrid[0 : size[0], 0 : size[1]]
    return np.exp(-((cols - x) ** 2 + (rows - y) ** 2) / (2 * radius_px**2)).astype(np.float32)


def island(
    size: tuple[int, int], x: float, y: float, diameter_px: float, seed: int = 3
) -> NDArray[np.bool_]:
    """An irregular island of a given equal-area diameter."""
    rows, cols = np.mgrid[0 : size[0], 0 : size[1]]
    random = np.random.default_rng(seed)
    angle = np.arctan2(rows - y, cols - x)
    wave = sum(
        random.uniform(0.04, 0.16) * np.cos(k * angle + random.uniform(0, 6.28)) for k in (2, 3, 5)
    )
    reach = np.hypot(rows - y, cols - x) / np.maximum(1 + wave, 0.3)
    area = np.pi * (diameter_px / 2) ** 2
    order = np.sort(reach.ravel())
    return np.asarray(reach <= order[round(area)])


def zones_of(pot: Drawn, decorated: bool | None = None) -> tuple[Surface, Zones]:
    """Surface and zones of a drawn pot, seen from the side."""
    surface = pot.surface()
    clay = common_clay([surface])
    return surface, find_zones(surface, clay, decorated=decorated, seen_from_side=True)


def cut(pot: Drawn, surface: Surface, name: str) -> NDArray[np.bool_]:
    """A layer of the drawing on the working picture of its surface."""
    x, y = (int(value) for value in surface.origin_px)
    height, width = surface.mask.shape
    return pot.layers[name][y : y + height, x : x + width]
