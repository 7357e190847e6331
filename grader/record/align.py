"""Lay a refired piece over itself: how it stands turned, and how the camera stood otherwise.

The unrolled walls before and after are shifted along each other until painting and specks agree
best. The camera may have looked down on the piece more steeply one time than the other; then a
level line round the pot sags more on that photo, and heights are stretched. Both are tried, too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

from grader.record.alignment import UNKNOWN, Alignment
from grader.record.walls import FIRST_ROW, HALF_WALL_DEG, LAST_ROW, ROWS, Wall

WIDEST_TURN_DEG = 40
"""A piece is put back by eye with the same side to the camera; more than this off, and another
view is nearer (common practice, no source)."""

_WIDEST_SHIFT_ROWS = 20
"""About 20 % of the height: what a knob or the inside, seen from higher up, adds to the top, or
what the cutting out left away."""

_TILTS = (0.0, 0.2, 0.4, 0.6)
"""Sines of the camera's height angle that are tried: 0, 12, 24 and 37 degrees; between them the
sag of a level line is off by less than a twentieth of the height."""

_STRETCHES = (0.77, 0.84, 0.92, 1.0, 1.09, 1.19, 1.3)
"""How much taller the wall may be on the later photo, as a share of the piece, for the same
reasons; steps of 9 %, which put the top and the foot 4 % off at most."""

_LEAST_AGREEMENT = 0.35
"""Correlation from which the best turn is believed. Walls that have nothing in common but clay and
light stay below 0.25 however they are laid; the same wall in other light reaches 0.5 and more."""

_LEAST_LEAD = 0.08
"""By how much the best turn must beat every turn that is more than 12 degrees off: a painting
that repeats round the pot fits in several places, and then no turn can be told."""

_NEIGHBOUR_DEG = 12

_NOISE_FLOOR = 0.01
"""Spread (natural log units) below which a channel is JPEG noise of a plain wall."""

_PADDED = (128, 256)
"""Rows and columns of the transforms: no less than wall and shift together, or walls would be
compared round the corner."""


def align_walls(before: Mapping[str, Wall], after: Mapping[str, Wall]) -> Alignment:
    """Find how the piece stands on the later photos.

    Turn and camera are the same in all side views of a session, so all views are asked at once.

    Parameters
    ----------
    before, after : mapping of view to Wall
        From `grader.record.walls.surface_only`; views that only one of them has do not count.

    Returns
    -------
    Alignment
    """
    views = sorted(before.keys() & after.keys())
    if not views:
        return UNKNOWN
    ours = np.concatenate([before[view].detail for view in views], axis=2)
    theirs = np.concatenate([after[view].detail for view in views], axis=2)
    # One scale for both, so that a channel that says little weighs little.
    spread = np.sqrt(0.5 * (ours.var(axis=(0, 1)) + theirs.var(axis=(0, 1))))
    ours, theirs = (each / np.maximum(spread, _NOISE_FLOOR) for each in (ours, theirs))
    wide_before = float(np.median([before[view].radius_share for view in views]))
    wide_after = float(np.median([after[view].radius_share for view in views]))
    firsts = [
        (sag, _spectrum(_levelled(ours, sag, 1.0), conj=True))
        for sag in (tilt * wide_before for tilt in _TILTS)
    ]
    best, best_at = np.full(2 * WIDEST_TURN_DEG + 1, -1.0), [UNKNOWN] * (2 * WIDEST_TURN_DEG + 1)
    for tilt in _TILTS:
        for stretch in _STRETCHES:
            sag_after = tilt * wide_after
            second = _spectrum(_levelled(theirs, sag_after, stretch), conj=False)
            for sag_before, first in firsts:
                scores = _scores(first, second)
                rows = scores.argmax(axis=0)
                values = scores[rows, np.arange(scores.shape[1])]
                for column in np.flatnonzero(values > best):
                    best[column] = values[column]
                    shift = float(rows[column] - _WIDEST_SHIFT_ROWS) * _SHARE_OF_A_ROW
                    best_at[column] = Alignment(
                        turned_deg=float(column - WIDEST_TURN_DEG),
                        known=True,
                        agreement=float(values[column]),
                        sag_before=sag_before,
                        sag_after=sag_after,
                        stretch=stretch,
                        shift=shift,
                    )
    turn = int(np.argmax(best))
    far = np.abs(np.arange(best.size) - turn) > _NEIGHBOUR_DEG
    if best[turn] < _LEAST_AGREEMENT or best[turn] - best[far].max() < _LEAST_LEAD:
        return Alignment(agreement=float(best[turn]))
    return best_at[turn]


_SHARE_OF_A_ROW = (LAST_ROW - FIRST_ROW) / (ROWS - 1)


def _levelled(wall: NDArray[np.float32], sag: float, stretch: float) -> NDArray[np.float32]:
    """Make level lines straight and take the stretch out.

    Row by row of the result it is asked where that level lies on the wall as it was unrolled.
    """
    heights = np.linspace(FIRST_ROW, LAST_ROW, ROWS)[:, None]
    angles = np.deg2rad(np.arange(-HALF_WALL_DEG, HALF_WALL_DEG + 1))[None]
    source = 0.5 + stretch * (heights - 0.5) - sag * (1 - np.cos(angles))
    map_y = ((source - FIRST_ROW) / _SHARE_OF_A_ROW).astype(np.float32)
    map_x = np.broadcast_to(np.arange(angles.size, dtype=np.float32), map_y.shape).copy()
    channels = [
        cv2.remap(np.ascontiguousarray(wall[..., k]), map_x, map_y, cv2.INTER_LINEAR, borderValue=0)
        for k in range(wall.shape[2])
    ]
    return np.stack(channels)


@dataclass(frozen=True, slots=True)
class _Spectrum:
    """Transforms of the channels, of their energy, and of where there is a wall at all."""

    values: NDArray[np.complex64]
    energy: NDArray[np.complex64]
    there: NDArray[np.complex64]


def _spectrum(channels: NDArray[np.float32], *, conj: bool) -> _Spectrum:
    there = (np.abs(channels).sum(axis=0) > 0).astype(np.float32)
    parts = [
        fft.rfft2(each, s=_PADDED).astype(np.complex64)
        for each in (channels, (channels**2).sum(axis=0), there)
    ]
    if conj:
        parts = [np.conj(each) for each in parts]
    return _Spectrum(*parts)


def _scores(first: _Spectrum, second: _Spectrum) -> NDArray[np.float64]:
    """Correlation over what both show, for each shift (rows) and each turn (columns)."""
    both = _back((first.values * second.values).sum(axis=0))
    ours = _back(first.energy * second.there)
    theirs = _back(first.there * second.energy)
    energy = np.sqrt(np.maximum(ours, 0) * np.maximum(theirs, 0))
    # With hardly anything to compare, chance would decide.
    least = 0.1 * float(energy.max())
    scores: NDArray[np.float64] = np.where(energy > least, both / np.maximum(energy, 1e-9), -1.0)
    return scores


def _back(spectrum: NDArray[np.complex64]) -> NDArray[np.float64]:
    plane = fft.irfft2(spectrum, s=_PADDED)
    rows = np.arange(-_WIDEST_SHIFT_ROWS, _WIDEST_SHIFT_ROWS + 1)
    columns = np.arange(-WIDEST_TURN_DEG, WIDEST_TURN_DEG + 1)
    return np.asarray(plane[np.ix_(rows, columns)], dtype=np.float64)
