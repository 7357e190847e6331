"""Broad coats: a dip or a band that goes round a piece shows soft faults as bare clay does.

The skin of a piece is that of its clay, and paint is left out of it. A slip that a pot was dipped
into, or a band laid on the wheel, is as even as clay and lies at the same height on every side: its
own skin is read and compared in the same way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from grader import channels
from grader.faults.evidence import ViewEvidence
from grader.skin import common_opening, read_skin

_FEWEST_SIDES = 3
_COVERS, _BUT_ONE = 0.6, 1
"""Share of the width of a row that is coat on all sides but one, on which a handle may hide it."""

_LEAST_ROWS = 6
"""Rows of the grid, 8 mm on a pot of 100 mm: a narrower stripe has hardly more than edges."""

_MOST_UNEVEN = 0.12
"""Median deviation of the log-chromaticities of a coat: brushed and dipped ones had up to 0.07, one
with milk on a third of it 0.09, what is patterned in two paints 0.14 and more (measured on rendered
pieces)."""

_OFF_LINE = 0.3
"""Log-chromaticity off the way from the coat to milk by which a cell is of another paint: mixed
light runs along a bow that leaves the straight line by half of that at most."""

MILK = (-0.15, 0.16)
"""Log(R/G) and log(B/G) of milk: white with a breath of blue (from memory, no source; over every
slip but white and black the way to it hardly turns if it is a little more blue or less)."""

_TOLD = 0.12
"""Log-chromaticity by which a coat must differ from milk for the way to it to be known."""


@dataclass(frozen=True, slots=True)
class Coat:
    """A broad coat that goes round.

    Attributes
    ----------
    sides : tuple of ViewEvidence
        The sides of the piece with the skin of the coat in place of that of the clay.
    to_milk : tuple of float or None
        Step of log(R/G) and log(B/G) to milk; None where the coat has nearly its colour.
    """

    sides: tuple[ViewEvidence, ...]
    to_milk: tuple[float, float] | None


def find_coat(sides: Sequence[ViewEvidence]) -> Coat | None:
    """Find the broad coat of a piece, if it has one.

    Parameters
    ----------
    sides : sequence of ViewEvidence
        Side views, each with a skin.

    Returns
    -------
    Coat or None
        None where no even coat goes round.
    """
    if len(sides) < _FEWEST_SIDES or not all(view.zones.paint.any() for view in sides):
        return None
    opening = common_opening([view.zones for view in sides])
    skins = [read_skin(view.surface, view.zones, opening, coat=True) for view in sides]
    covered = np.stack([skin.known.mean(1) > _COVERS for skin in skins])
    rows = covered.sum(0) >= len(sides) - _BUT_ONE
    if rows.sum() < _LEAST_ROWS:
        return None
    chroma = np.stack([skin.chroma[rows] for skin in skins])
    middle = np.nanmedian(chroma, axis=(0, 1, 2))
    if np.nanmedian(np.abs(chroma - middle), axis=(0, 1, 2)).max() > _MOST_UNEVEN:
        return None
    step = np.array(MILK) - middle
    away = float(np.hypot(*step))
    unit = step / max(away, 1e-6)
    out = []
    for view, skin in zip(sides, skins, strict=True):
        known = skin.known & rows[:, None]
        along = np.clip((skin.chroma - middle) @ unit, 0, away)[..., None] * unit
        off = channels.length(skin.chroma - middle - along)
        known[known] = off[known] < _OFF_LINE
        out.append(
            replace(
                view,
                skin=replace(
                    skin,
                    chroma=np.where(known[..., None], skin.chroma, np.nan),
                    tone=np.where(known, skin.tone, np.nan),
                    known=known,
                ),
            )
        )
    return Coat(tuple(out), (float(step[0]), float(step[1])) if away > _TOLD else None)
