"""Broad coats: a dip or a band that goes round a piece shows soft faults as bare clay does.

The skin of a piece is that of its clay, and paint is left out of it. A slip that a pot was dipped
into, or a band laid on the wheel, is as even as clay and lies at the same height on every side: its
own skin is read and compared in the same way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from grader.faults.evidence import ViewEvidence
from grader.skin import opening_share, read_skin

_FEWEST_SIDES = 3
_COVERS, _BUT_ONE = 0.6, 1
"""Share of the width of a row that is coat on all sides but one, on which a handle may hide it."""

_LEAST_ROWS = 6
"""Rows of the grid, 8 mm on a pot of 100 mm: a narrower stripe has hardly more than edges."""

_MOST_UNEVEN = 0.08
"""Median deviation of the log-chromaticities of a coat: brushed and dipped ones had up to 0.07,
what is patterned in two paints 0.1 and more (measured on rendered pieces)."""

_OTHER = 0.5
"""Log-chromaticity off the middle of the coat from which a cell is of another paint; milk over
black slip shifts it by half of that."""


def coated_sides(sides: Sequence[ViewEvidence]) -> list[ViewEvidence]:
    """The sides of a piece with the skin of its broad coat in place of that of its clay.

    Parameters
    ----------
    sides : sequence of ViewEvidence
        Side views, each with a skin.

    Returns
    -------
    list of ViewEvidence
        Empty where no even coat goes round.
    """
    if len(sides) < _FEWEST_SIDES or not all(view.zones.paint.any() for view in sides):
        return []
    opening = float(np.median([opening_share(view.zones) for view in sides]))
    skins = [read_skin(view.surface, view.zones, opening, coat=True) for view in sides]
    covered = np.stack([skin.known.mean(1) > _COVERS for skin in skins])
    rows = covered.sum(0) >= len(sides) - _BUT_ONE
    if rows.sum() < _LEAST_ROWS:
        return []
    chroma = np.stack([skin.chroma[rows] for skin in skins])
    middle = np.nanmedian(chroma, axis=(0, 1, 2))
    if np.nanmedian(np.abs(chroma - middle), axis=(0, 1, 2)).max() > _MOST_UNEVEN:
        return []
    out = []
    for view, skin in zip(sides, skins, strict=True):
        known = skin.known & rows[:, None]
        known[known] = np.abs(skin.chroma[known] - middle).max(-1) < _OTHER
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
    return out
