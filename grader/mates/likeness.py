"""The likeness of a piece: what of its looks is kept to hold its batch-mates against it.

Small enough to keep for every piece: the colour of its clay on each side, its paints with the
place they cover, and its small marks, each with its place on the wall. Places are shares of the
wall as a view shows it, 0 at the left and at the rim, 1 at the right and at the foot, so that the
same place of two pots of one design has the same numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from grader.findings import FaultName
from grader.piece import Mask
from grader.skin import COLUMNS, ROWS

VERSION = 2
"""Raised whenever a likeness kept earlier no longer compares with a new one."""

ColourFrom = Literal["chart", "grey", "backdrop"] | None


@dataclass(frozen=True, slots=True)
class SmallMark:
    """A small mark: painted dot, speck or fault alike.

    Attributes
    ----------
    across, down : float
        Place on the wall, 0..1 each.
    size_mm : float
        Diameter of the circle of its area.
    light : tuple of float
        Linear red, green and blue light, 1 being that of clay.
    """

    across: float
    down: float
    size_mm: float
    light: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Flag:
    """Where a finding lies on the wall.

    Attributes
    ----------
    fault : str
    photo : str
    bbox_px : tuple of int
        As in the finding; with fault and photo it tells which one this is.
    across, down : float
        Place of its middle on the wall, 0..1 each.
    size_mm : float
    mark : SmallMark or None
        The small mark that was flagged, if it is one.
    """

    fault: FaultName
    photo: str
    bbox_px: tuple[int, int, int, int]
    across: float
    down: float
    size_mm: float
    mark: SmallMark | None = None


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a piece.

    Attributes
    ----------
    view : str
    wide_mm, high_mm : float
        Of the wall; in units of an assumed height where there is no scale.
    red, blue : float or None
        Log-chromaticities log(R/G) and log(B/G) of the clay; None where too little is seen.
    tone : float or None
        Natural logarithm of its light, with whatever exposure the photo had.
    painted : str
        The painted cells of the grid, packed by rows, eight a byte, as hexadecimal digits.
    marks : tuple of SmallMark
        The strongest first.
    flags : tuple of Flag
    """

    view: str
    wide_mm: float
    high_mm: float
    red: float | None
    blue: float | None
    tone: float | None
    painted: str
    marks: tuple[SmallMark, ...] = ()
    flags: tuple[Flag, ...] = ()

    def painted_cells(self) -> Mask:
        """Painted cells, shape (ROWS, COLUMNS)."""
        packed = np.frombuffer(bytes.fromhex(self.painted), np.uint8)
        return np.unpackbits(packed, count=ROWS * COLUMNS).reshape(ROWS, COLUMNS) > 0


@dataclass(frozen=True, slots=True)
class PaintLook:
    """One paint: its light over that of clay (red, green, blue) and its share of the painting."""

    light: tuple[float, float, float]
    share: float


@dataclass(frozen=True, slots=True)
class Likeness:
    """What is kept of the looks of a piece.

    Attributes
    ----------
    piece : str
    sides : tuple of Side
        In turning order.
    paints : tuple of PaintLook
        The commonest first.
    painted_share : float
        Of the wall, over all sides, 0..1.
    turn : tuple of float or None
        First harmonic of the browning round the piece: how much browner (log-chromaticity) than
        its mean the clay is towards the first side, and towards a quarter turn from it. None with
        fewer than three sides.
    colour_from : {"chart", "grey", "backdrop"} or None
        What the colours were corrected with: the poorest of the photos.
    version : int
    """

    piece: str
    sides: tuple[Side, ...]
    paints: tuple[PaintLook, ...]
    painted_share: float
    turn: tuple[float, float] | None
    colour_from: ColourFrom
    version: int = VERSION

    @property
    def clay(self) -> tuple[float, float] | None:
        """Log-chromaticities of the clay, the median of the sides."""
        known = [(side.red, side.blue) for side in self.sides if side.red is not None]
        if not known:
            return None
        red, blue = np.median(np.array(known, float), axis=0)
        return float(red), float(blue)

    def turned_to(self, number: int) -> float:
        """Cosine of the angle between the browner direction and a side, -1..1; 0 without turn."""
        if self.turn is None:
            return 0.0
        toward = np.arctan2(self.turn[1], self.turn[0])
        return float(np.cos(toward - 2 * np.pi * number / len(self.sides)))

    @property
    def browner_side(self) -> str:
        """View of the side that is browner than the opposite one; "" where that is not known."""
        if self.turn is None:
            return ""
        return self.sides[max(range(len(self.sides)), key=self.turned_to)].view
