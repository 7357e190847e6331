"""What one half of an outline tells about the other.

What is thrown, coiled or moulded is nearly alike on the left and on the right of its axis, but for
handles and spouts. What one half alone has may be a shadow, and what the other alone lacks may be
a painted side of the table's colour: of a place and its mirror image either both belong to the
piece or neither does, unless the colours of what is beyond dispute say otherwise.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy import fft

from grader.outline.agreement import (
    LONG_SIDE_PX,
    Expected,
    disputes,
    matters,
    peak_of,
    resized,
    take_over,
)
from grader.outline.cut import Ties, cut_again, learn_from
from grader.outline.parts import fill_bays, mirrored
from grader.outline.regions import Mask, Plane, Regions
from grader.outline.surroundings import Evidence

_TILT_PX = 2
"""Rows by which a mirror image may be shifted at `LONG_SIDE_PX`: a phone is not quite level."""

_MEETING_PX = 1.5
"""Blur of a rim: half the width at which two of them count as one line."""

_ROUNDS = 2
"""Once a shadow is gone, the mirror image is laid over again; a third time changes nothing."""

_CLOSED_SHARE = 0.95
"""What one half lacks is won back where an edge closes it nearly all round, whatever its colour:
the foot of a dipped pot. A shadow that the other half took in has no such edge."""

_ALIKE = 3.0
"""Log odds that a place is what its mirror image is: twenty to one."""


def settle_halves(regions: Regions, evidence: Evidence, chosen: Mask) -> Mask:
    """Settle what one half of an outline has or lacks alone.

    Parameters
    ----------
    regions : Regions
        Of a photo on which the piece stands upright.
    evidence : Evidence
    chosen : ndarray of bool, shape (n,)
        The cut that was made without looking at its halves.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    for _ in range(_ROUNDS):
        again = _settled(regions, evidence, chosen)
        if (again == chosen).all():
            break
        chosen = again
    mask = chosen[regions.labels]
    other = mirrored(mask, mirror_shift(mask), False)
    return fill_bays(regions, evidence, chosen, expected=other, closed_share=_CLOSED_SHARE)


def mirror_shift(mask: Mask) -> tuple[int, int]:
    """Shift of the mirror image of an outline to where most of both rims run together.

    A shadow beside a piece moves the middle of its area, but not the rim of all the rest.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)

    Returns
    -------
    tuple of int
        (rows, columns) by which ``mask[:, ::-1]`` is to be shifted; hardly any rows.
    """
    small = max(1.0, max(mask.shape) / LONG_SIDE_PX)
    rim = _rim(resized(mask, 1 / small))
    shape = tuple(int(fft.next_fast_len(2 * long, real=True)) for long in rim.shape)
    common = fft.irfft2(fft.rfft2(rim, shape) * np.conj(fft.rfft2(rim[:, ::-1], shape)), shape)
    common[_TILT_PX + 1 : -_TILT_PX] = -np.inf
    down, across = peak_of(common, rim.shape)
    # A picture of odd width is not mirrored about a pixel of its reduced self.
    wide = mask.shape[1] - small * rim.shape[1]
    return round(small * down), round(small * across - wide)


def _rim(mask: Mask) -> Plane:
    """The rim of an outline, two pixels wide and blurred, so that near lines still meet."""
    rim = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    return np.asarray(cv2.GaussianBlur(rim.astype(np.float32), (0, 0), _MEETING_PX), np.float32)


def _settled(regions: Regions, evidence: Evidence, chosen: Mask) -> Mask:
    mask = chosen[regions.labels]
    shift = mirror_shift(mask)
    other = mirrored(mask, shift, False)
    expected = Expected(other, other)
    disputed = disputes(mask, expected)
    if not matters(mask, disputed):
        return chosen
    missing, extra = (regions.share_of(each) > 0.5 for each in disputed)
    # Neither piece nor surroundings are learned from what may be either.
    known = learn_from(regions, evidence, chosen, doubtful=missing | extra)
    if known is None:
        return chosen
    again = cut_again(regions, evidence, known, _ties(regions, shift))
    return take_over(regions, evidence, chosen, again, expected, (missing, extra))


def _ties(regions: Regions, shift: tuple[int, int]) -> Ties:
    """Each region with those its mirror image covers, and the log odds summed over the pixels."""
    labels = mirrored(regions.labels, shift, -1)
    covered = labels >= 0
    keys = regions.labels[covered].astype(np.int64) * regions.count + labels[covered]
    pairs, pixels = np.unique(keys, return_counts=True)
    one, other = np.divmod(pairs, regions.count)
    # A pixel is met twice, once from each half; on the axis a region is its own image.
    apart = one != other
    return np.stack([one, other], axis=1)[apart], 0.5 * _ALIKE * pixels[apart]
