"""What stands beside the piece for measuring: the marker for scale, the chart for colour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Scale:
    """Pixels per millimetre in the plane of the marker, or from the piece's own height.

    Attributes
    ----------
    px_per_mm : float or None
        In the plane of the piece's axis.
    source : {"marker", "height"} or None
    marker_px : ndarray of float, shape (4, 2), or None
        Corners (x, y) of the marker.
    """

    px_per_mm: float | None = None
    source: Literal["marker", "height"] | None = None
    marker_px: NDArray[np.float64] | None = None


@dataclass(frozen=True, slots=True)
class Colour:
    """How linear camera RGB becomes linear sRGB under the reference light.

    Attributes
    ----------
    matrix : ndarray of float, shape (3, 3)
        ``linear_rgb @ matrix.T``; the identity where nothing could be corrected.
    source : {"chart", "grey", "backdrop"} or None
    leave_one_out_de00 : float or None
        Mean CIEDE2000 of each patch predicted without itself.
    """

    matrix: NDArray[np.float64]
    source: Literal["chart", "grey", "backdrop"] | None = None
    leave_one_out_de00: float | None = None


@dataclass(frozen=True, slots=True)
class Target:
    """Everything that was found beside the piece.

    Attributes
    ----------
    scale : Scale
    colour : Colour
    cards_px : tuple of ndarray, each shape (4, 2)
        Outlines (x, y) of every card in the picture, its border included: no part of the piece.
    notes : tuple of str
        What was missing or refused, in plain words.
    """

    scale: Scale
    colour: Colour
    cards_px: tuple[NDArray[np.float64], ...] = ()
    notes: tuple[str, ...] = ()
