"""The paints of a piece: which colours lie on it, how much of each, and whether one draws a line.

Each colour is kept as a share of the light of the clay beneath, which neither lamp nor shading
changes, so that paint on one view tells what a line on another is drawn with.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.faults.evidence import ViewEvidence
from grader.faults.slots import Slot, tint_of
from grader.surface import light_of, shrink

CORE_MM = 0.3
"""The blurred edge of a painted shape, where its colour mixes with that of the clay."""

_EVERY = 3
"""Every third row and column is enough to measure areas of many square millimetres."""

_BIN = 0.06
"""Natural logarithm of light in which paints are told apart: brush marks in one coat make more."""

_LEAST_LIGHT = 1e-3

_TINT = 0.1
"""Of the three widths of a line over their mean: by so much one paint differs from place to place
of a coat (brush marks, gloss, lamps of different colour)."""

_PLATEAU = 0.06
"""Share of light by which one coat of paint lies deeper in one place than in another."""

_ERRORS = 2.0
"""Standard errors of the tint of a line by which the limit on colour gives way."""

_FAINT = 0.15
"""Paint that takes less light than this draws no dark line."""


@dataclass(frozen=True, slots=True)
class Like:
    """How much paint a line may have been drawn with.

    Attributes
    ----------
    area_mm2 : float
        Of all paints that fit.
    off_tint : float
        Difference between the tints of the line and of the paint that fits best; infinite if none.
    """

    area_mm2: float
    off_tint: float


@dataclass(frozen=True, slots=True)
class Paints:
    """Colours of the paint on all views of a piece.

    Attributes
    ----------
    over_clay : ndarray of float64, shape (n, 3)
        Red, green and blue light of a paint over that of the clay.
    area_mm2 : ndarray of float64, shape (n,)
        How much of it there is.
    """

    over_clay: NDArray[np.float64]
    area_mm2: NDArray[np.float64]

    def like(self, slot: Slot, clay: NDArray[np.float64]) -> Like:
        """Hold the colour and depth of a line against each paint.

        Parameters
        ----------
        slot : Slot
        clay : ndarray of float64, shape (3,)
            Linear light of sound clay along the line, as from `clay_along`.

        Returns
        -------
        Like
        """
        sides = np.maximum(np.median(slot.line.sides, axis=(0, 1)), _LEAST_LIGHT)
        best = Like(0.0, float(np.inf))
        # Beside a line on clay lies clay, and it tells more than the fit over the whole piece.
        for ground in (clay, sides):
            taken = 1.0 - ground * self.over_clay / sides
            depth = taken.mean(1)
            # The lens makes a line paler than its paint, but never darker.
            deep = (depth > _FAINT) & (depth > slot.deepest - _PLATEAU)
            seen = tint_of(1.0 + slot.tint[slot.tells])
            off = np.abs(tint_of(taken[:, slot.tells]) - seen).max(1)
            fits = deep & (off < _TINT + _ERRORS * slot.tint_error)
            area = float(self.area_mm2[fits].sum())
            if area > best.area_mm2:
                best = Like(area, float(off[fits].min()))
        return best


def clay_along(view: ViewEvidence, slot: Slot) -> NDArray[np.float64]:
    """Linear light (red, green, blue) of sound clay along a line."""
    rows, cols = slot.line.pixels(view.surface.mask.shape)
    zones = view.zones
    clay = light_of(zones.clay_chroma[rows, cols], zones.clay_tone[rows, cols])
    return np.asarray(np.median(clay, axis=0), np.float64)


def paints_of(views: Sequence[ViewEvidence]) -> Paints:
    """Read the colours of the paint of a piece.

    Parameters
    ----------
    views : sequence of ViewEvidence
        All views of the piece.

    Returns
    -------
    Paints
    """
    bins: list[NDArray[np.int64]] = []
    areas: list[NDArray[np.float64]] = []
    pick = np.s_[::_EVERY, ::_EVERY]
    for view in views:
        surface, zones = view.surface, view.zones
        core = shrink(zones.paint, surface.px(CORE_MM)) & ~surface.clipped
        if view.skin is not None:
            core &= zones.facing
        where = core[pick]
        clay = light_of(zones.clay_chroma[pick][where], zones.clay_tone[pick][where])
        light = np.maximum(surface.light[pick][where], _LEAST_LIGHT)
        logs = np.log(light / np.maximum(clay, _LEAST_LIGHT))
        bins.append(np.round(logs / _BIN).astype(np.int64))
        areas.append(np.full(len(logs), (_EVERY / surface.px_per_mm) ** 2))
    if not bins or not sum(map(len, bins)):
        return Paints(np.empty((0, 3)), np.empty(0))
    colours, which = np.unique(np.concatenate(bins), axis=0, return_inverse=True)
    area = np.bincount(which.ravel(), np.concatenate(areas), len(colours)).astype(np.float64)
    return Paints(np.exp(colours * _BIN), area)
