"""Throwing rings: what the light of a wall has in common along the lines that go round the pot.

Seen from a little above they are bows of ellipses, each nearly straight over a few millimetres. A
mark is short beside that, and a line that crosses the rings hardly has a part in them.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.piece import Mask
from grader.surface import Plane

_LONG_MM = 6.0
"""Length over which the light is averaged along a ring: fifteen times a crack's breadth, so that a
crack keeps nine tenths of its depth, and short enough for a bow to be straight within the lens's
blur."""

_MIDDLE = 0.2
"""Share of the width, in the middle of a wall, in which rings lie level."""

_STEEPEST, _STEP = 0.6, 0.1
"""Slope of a ring seen from 30 degrees above, out to four fifths of the radius, and the step in
which slopes are tried: between two of them the ends lie 0.15 mm off, half the lens's blur."""

_BLUR_MM = 0.25
_ROUND_MM = 2.5
"""Blur before slopes are measured, and reach over which the slope of the rings is asked for: two or
three of them."""

_LEAST_SHARE = 0.05
"""Share of the length that must lie on the piece."""

_PX_PER_MM = 6.0
"""Finer than this nothing is gained: rings are millimetres apart."""

_BOW = 0.3
"""Depth of the bow of a ring below its ends, over its width, seen from 30 degrees above."""


@dataclass(frozen=True, slots=True)
class Rings:
    """The rings of one view.

    Attributes
    ----------
    tone : ndarray of float32, shape (h, w)
        Log light of the wall as the rings make it.
    bend : ndarray of float32, shape (h, w)
        How strongly that bends down the wall: mean over a few millimetres of the size of its
        second derivative, times the square of the blur (as in `lines`).
    """

    tone: Plane
    bend: Plane


def find_rings(tone: Plane, mask: Mask, px_per_mm: float, *, least: float) -> Rings | None:
    """Find the rings of a wall that is seen from its side.

    Parameters
    ----------
    tone : ndarray of float32, shape (h, w)
        Log light, carried on beyond the outline.
    mask : ndarray of bool, shape (h, w)
    px_per_mm : float
    least : float
        Mean bend from which there are rings worth the time: it is asked of the middle of the wall,
        where they lie level.

    Returns
    -------
    Rings or None
        None where the wall has none so strong.
    """
    scale = min(1.0, _PX_PER_MM / px_per_mm)
    size = (max(2, round(mask.shape[1] * scale)), max(2, round(mask.shape[0] * scale)))
    small = cv2.resize(tone, size, interpolation=cv2.INTER_AREA)
    weight = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    fine = px_per_mm * scale
    cols = np.flatnonzero(weight.max(0) > 0.5)
    if not len(cols):
        return None
    reach = int(np.ptp(cols) * _MIDDLE / 2 + _LONG_MM * fine)
    near = np.s_[:, max(0, int(cols.mean()) - reach) : int(cols.mean()) + reach + 1]
    level = _averaged(small[near], weight[near], 0.0, fine)
    rows = np.flatnonzero((_bend(level, weight[near], fine) > least).any(1))
    if not len(rows):
        return None
    # The middle of a bow is its lowest place.
    around = round(_LONG_MM * fine)
    rise = round(_BOW * float(np.ptp(cols)))
    part = np.s_[max(0, rows[0] - rise - around) : rows[-1] + around + 1]
    out, bend = small.copy(), np.zeros_like(small)
    out[part], bend[part] = _along(small[part], weight[part], fine)
    whole = tone.shape[::-1]
    return Rings(
        *(cv2.resize(plane, whole, interpolation=cv2.INTER_LINEAR) for plane in (out, bend))
    )


def _along(tone: Plane, weight: Plane, px_per_mm: float) -> tuple[Plane, Plane]:
    """Mean of the tone along the rings, whatever their slope, and its bend."""
    slope = _slopes(tone, weight, px_per_mm)
    out = np.zeros_like(tone)
    for each in np.arange(-_STEEPEST, _STEEPEST + _STEP / 2, _STEP):
        share = np.clip(1 - np.abs(slope - each) / _STEP, 0, 1)
        if share.any():
            out += share * _averaged(tone, weight, float(each), px_per_mm)
    return out, _bend(out, weight, px_per_mm)


def _averaged(tone: Plane, weight: Plane, slope: float, px_per_mm: float) -> Plane:
    """Mean of the tone along lines of one slope (rows a column)."""
    height, width = tone.shape
    rise = abs(slope) * width / 2
    shear = np.array([[1, 0, 0], [-slope, 1, slope * width / 2 + rise]], np.float32)
    size = (width, height + int(np.ceil(2 * rise)))
    long = (2 * round(_LONG_MM * px_per_mm / 2) + 1, 1)
    light, share = (
        cv2.blur(cv2.warpAffine(plane, shear, size), long) for plane in (tone * weight, weight)
    )
    mean = light / np.maximum(share, _LEAST_SHARE)
    back = cv2.warpAffine(
        mean, shear, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    return np.asarray(back, np.float32)


def _slopes(tone: Plane, weight: Plane, px_per_mm: float) -> NDArray[np.float32]:
    """Slope along which the light changes least, by the tensor of its gradients.

    J. Bigun and G. H. Granlund, "Optimal orientation detection of linear symmetry", ICCV 1987.
    """
    calm = cv2.GaussianBlur(tone, (0, 0), _BLUR_MM * px_per_mm)
    across, down = (
        cv2.Sobel(calm, cv2.CV_32F, *way, scale=0.125) * weight for way in ((1, 0), (0, 1))
    )
    # Rings change the light more down the wall than across, and what crosses them does not.
    ringed = np.abs(down) >= np.abs(across)
    across, down = across * ringed, down * ringed
    level, both, upright = (
        cv2.GaussianBlur(plane, (0, 0), _ROUND_MM * px_per_mm)
        for plane in (across * across, across * down, down * down)
    )
    turn = 0.5 * np.arctan2(2 * both, level - upright)
    sine = np.maximum(np.abs(np.sin(turn)), 1e-3) * np.where(np.sin(turn) < 0, -1, 1)
    return np.clip(-np.cos(turn) / sine, -_STEEPEST, _STEEPEST).astype(np.float32)


def _bend(tone: Plane, weight: Plane, px_per_mm: float) -> Plane:
    sigma = _BLUR_MM * px_per_mm
    calm = cv2.GaussianBlur(tone, (0, 0), sigma)
    bend = np.abs(cv2.Sobel(calm, cv2.CV_32F, 0, 2, scale=0.25)) * (weight * np.float32(sigma**2))
    return np.asarray(cv2.GaussianBlur(bend, (0, 0), _ROUND_MM * px_per_mm))
