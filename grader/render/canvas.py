"""What lies on a skin, texel by texel: clay, paint, glaze, relief, and the true label."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from .forms import RING
from .noise import FloatArray
from .skin import Skin

# Label ids of the truth pictures.
BACKGROUND, CLAY, PAINTED, FOOT = 0, 1, 2, 3
FLAKE, PIT, POOL, SCORCH, BROWNING, STREAK, CRACK, CRAWL = range(10, 18)
LABEL_NAMES = {
    BACKGROUND: "background",
    CLAY: "body",
    PAINTED: "painted",
    FOOT: "bare",
    FLAKE: "flake",
    PIT: "pit",
    POOL: "pool",
    SCORCH: "scorch",
    BROWNING: "browning",
    STREAK: "streak",
    CRACK: "crack",
    CRAWL: "crawl",
}


@dataclass(slots=True)
class Canvas:
    """Layers over one skin; all arrays have its shape (H, W) or (H, W, 3).

    Attributes
    ----------
    skin : Skin
    clay : numpy.ndarray of float32, linear reflectance of the bare or glazed clay
    paint : numpy.ndarray of float32, linear reflectance of the underglaze
    cover : numpy.ndarray of float32, how far the paint hides the clay, 0 to 1
    painted : numpy.ndarray of bool, where the maker painted, whether or not the paint held
    glaze : numpy.ndarray of float32, share of glassy surface, 0 to 1
    relief_mm : numpy.ndarray of float32, height above the smooth surface
    fault : numpy.ndarray of uint8, label id of a fault or 0
    glazed : bool
    """

    skin: Skin
    clay: FloatArray
    paint: FloatArray
    cover: FloatArray
    painted: npt.NDArray[np.bool_]
    glaze: FloatArray
    relief_mm: FloatArray
    fault: npt.NDArray[np.uint8]
    glazed: bool
    over: FloatArray = field(init=False)
    over_cover: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        """Add the empty top layer, for what lies over clay and paint alike."""
        self.over = np.zeros((*self.skin.shape, 3), np.float32)
        self.over_cover = np.zeros(self.skin.shape, np.float32)

    def albedo(self) -> FloatArray:
        """Flatten clay, paint and the top layer into one linear reflectance."""
        out = self.clay + self.cover[..., None] * (self.paint - self.clay)
        return out + self.over_cover[..., None] * (self.over - out)

    def labels(self) -> npt.NDArray[np.uint8]:
        """True label of each texel: a fault before paint before bare foot before clay."""
        out = np.full(self.skin.shape, CLAY, np.uint8)
        out[self.skin.part == RING] = FOOT
        out[self.painted] = PAINTED
        return np.where(self.fault > 0, self.fault, out).astype(np.uint8)

    def lay_over(
        self, index: tuple[npt.NDArray[np.intp], ...], colour: FloatArray, amount: FloatArray
    ) -> None:
        """Put a colour over everything in a window.

        Parameters
        ----------
        index : tuple of numpy.ndarray
            Result of ``numpy.ix_(rows, cols)``.
        colour : numpy.ndarray of float32, shape (3,) or (h, w, 3)
        amount : numpy.ndarray of float32, shape (h, w)
            How far it hides what is below, 0 to 1.
        """
        below = self.over_cover[index]
        total = amount + below * (1.0 - amount)
        share = np.divide(amount, total, out=np.zeros_like(total), where=total > 1e-6)[..., None]
        self.over[index] += share * (colour - self.over[index])
        self.over_cover[index] = total


def blank_canvas(
    skin: Skin, clay: FloatArray, glaze: FloatArray, relief_mm: FloatArray, glazed: bool
) -> Canvas:
    """Start a canvas with clay and glaze and nothing painted."""
    return Canvas(
        skin=skin,
        clay=clay,
        paint=np.zeros_like(clay),
        cover=np.zeros(skin.shape, np.float32),
        painted=np.zeros(skin.shape, bool),
        glaze=glaze,
        relief_mm=relief_mm,
        fault=np.zeros(skin.shape, np.uint8),
        glazed=glazed,
    )
