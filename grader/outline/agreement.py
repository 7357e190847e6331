"""What the other sides of a piece tell about the outline of one.

A piece is turned before one camera, so that its sides share most of their outline; and of two
opposite sides each is nearly the mirror image of the other, with handles and spouts. What one
side alone has is rarely the piece, and what it alone lacks, or together with one beside it, rarely
the table: a shadow in warm light, a foot of the table's colour. There the colours of what is beyond
dispute decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from grader.outline.cut import cut_again, learn_from
from grader.outline.parts import ball, connected_parts, fill_bays, open_gaps
from grader.outline.regions import Mask, Regions
from grader.outline.surroundings import Evidence

FEWEST_SIDES = 4
"""With fewer a handle or spout may be seen from one side only."""

LONG_SIDE_PX = 320
"""Size at which outlines are laid over each other; one pixel is half a hundredth of a pot."""

_SLACK = 0.03
"""Share of the root of the area by which outlines of one piece differ: it was not set down just
where it stood, and perspective makes a mirror image a little wrong."""

_LEAST_SHARE = 0.003
"""Of the piece; smaller disputes change no measurement and are settled by no colour."""

_SHARED = 3.0
"""Log odds that the sides are right where they agree against one: twenty to one."""

_OF_DISPUTE = 0.3
"""Share of a changed part that must be disputed; the rest is where it meets an edge."""

_CLOSED_SHARE = 0.8
"""What all other sides have is won back where an edge closes so much of it, whatever its colour:
white slip against a white wall."""

_GAP_SHARE = 0.01
"""Of the piece, from which a gap in it is that of a handle."""


@dataclass(frozen=True, slots=True)
class Expected:
    """What the other sides of a piece lead one to expect of a side.

    Attributes
    ----------
    core : ndarray of bool, shape (h, w)
        Where all of them, and their mirror images, have the piece; or all but one, if the opposite
        side is not that one.
    reach : ndarray of bool, shape (h, w)
        Where any of them has it.
    """

    core: Mask
    reach: Mask


def resized(mask: Mask, by: float) -> Mask:
    """An outline at another size.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
    by : float
        Factor of its height and width.

    Returns
    -------
    ndarray of bool
    """
    if by == 1.0:
        return mask
    # Bytes, as a whole photo in floats would be four times as large.
    cover = mask.astype(np.uint8) * 255
    return np.asarray(cv2.resize(cover, None, fx=by, fy=by, interpolation=cv2.INTER_AREA) > 127)


def expect(
    masks: Sequence[Mask],
    scales: Sequence[float] | None = None,
    opposite: Sequence[int | None] | None = None,
) -> list[Expected]:
    """Lay the outlines of all sides of a piece over each other.

    Parameters
    ----------
    masks : sequence of ndarray of bool, each shape (h, w)
        One for each side, `FEWEST_SIDES` or more; their photos reduced to `LONG_SIDE_PX`.
    scales : sequence of float, optional
        Pixels to a millimetre in each; all alike when left out.
    opposite : sequence of (int or None), optional
        Number of the mask of the side that was seen half a turn from each.

    Returns
    -------
    list of Expected
        In the order of the masks, in the frame of each.
    """
    size = [1.0] * len(masks) if scales is None else list(scales)
    out = []
    for number, mask in enumerate(masks):
        others = {
            at: _close_about(resized(other, size[number] / size[at]))
            for at, other in enumerate(masks)
            if at != number
        }
        shape = tuple(
            int(
                fft.next_fast_len(
                    mask.shape[axis] + max(o.shape[axis] for o in others.values()), real=True
                )
            )
            for axis in (0, 1)
        )
        own = fft.rfft2(mask.astype(np.float32), shape)
        has, reach = {}, np.zeros_like(mask)
        for at, other in others.items():
            image, mirror = (
                _laid_over(mask.shape, own, side, shape) for side in (other, other[:, ::-1])
            )
            has[at] = image & mirror
            reach |= image | mirror
        votes = np.sum(list(has.values()), axis=0)
        core = votes == len(has)
        across = None if opposite is None else opposite[number]
        if across is not None:
            # Two handles or the length of an oval dish show on both sides that lie beside this
            # one, but not on the opposite one.
            core |= (votes == len(has) - 1) & has[across]
        out.append(Expected(core, reach))
    return out


def is_disputed(mask: Mask, expected: Expected) -> bool:
    """Whether an outline takes in, or leaves out, what no other side does.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
    expected : Expected
    """
    return matters(mask, disputes(mask, expected))


def matters(mask: Mask, disputed: tuple[Mask, Mask]) -> bool:
    """Whether what is disputed of an outline is large enough to be settled.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
    disputed : tuple of ndarray of bool, each shape (h, w)
        As `disputes` gives it.
    """
    most = max(map(np.count_nonzero, disputed))
    return bool(most > _LEAST_SHARE * np.count_nonzero(mask))


def settle(regions: Regions, evidence: Evidence, chosen: Mask, expected: Expected) -> Mask:
    """Settle what is disputed by the colours of what is not; the bow of a handle is kept.

    Parameters
    ----------
    regions : Regions
    evidence : Evidence
    chosen : ndarray of bool, shape (n,)
        The cut that was made of this photo alone.
    expected : Expected
        In the frame of the regions.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    missing, extra = (
        regions.share_of(each) > 0.5 for each in disputes(chosen[regions.labels], expected)
    )
    known = learn_from(regions, evidence, (chosen | missing) & ~extra)
    if known is None:
        return chosen
    again = cut_again(regions, evidence, known + _SHARED * missing - _SHARED * extra)
    taken = take_over(regions, evidence, chosen, again, expected, (missing, extra))
    return fill_bays(regions, evidence, taken, expected=expected.core, closed_share=_CLOSED_SHARE)


def take_over(
    regions: Regions,
    evidence: Evidence,
    chosen: Mask,
    again: Mask,
    expected: Expected,
    disputed: tuple[Mask, Mask],
) -> Mask:
    """Change a cut as another one does, but only where it is disputed.

    Parameters
    ----------
    regions : Regions
    evidence : Evidence
    chosen, again : ndarray of bool, shape (n,)
        The cut, and the one that knows of the dispute, with its gaps and bays still as they were
        cut.
    expected : Expected
        In the frame of the regions.
    disputed : tuple of ndarray of bool, each shape (n,)
        What `chosen` lacks, and what it has, against what is expected.

    Returns
    -------
    ndarray of bool, shape (n,)
        The bow of a handle is kept.
    """
    if not again.any():
        # Nothing was found to stand out: that settles nothing.
        return chosen
    again = fill_bays(regions, evidence, open_gaps(regions, evidence, again))
    missing, extra = disputed
    beyond, within = regions.share_of(~expected.reach) > 0.5, regions.share_of(expected.core) > 0.5
    area, out = regions.area_px, chosen.copy()
    for part in connected_parts(regions, again & ~chosen):
        out[part] = missing[part].any() and _share(area[part], within[part]) > _OF_DISPUTE
    for part in connected_parts(regions, chosen & ~again):
        goes = extra[part].any() and _share(area[part], beyond[part]) > _OF_DISPUTE
        out[part] = not (goes and not _closes_a_gap(regions, chosen, part))
    return out


def disputes(mask: Mask, expected: Expected) -> tuple[Mask, Mask]:
    """What a mask lacks, and what it has, against what is expected.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
    expected : Expected

    Returns
    -------
    missing, extra : ndarray of bool, shape (h, w)
        Without what lies within the slack of an outline.
    """
    slack = max(1, round(_SLACK * float(np.sqrt(np.count_nonzero(mask)))))
    within = ball(2 * slack + 1)
    core = cv2.erode(expected.core.astype(np.uint8), within) > 0
    reach = cv2.dilate(expected.reach.astype(np.uint8), within) > 0
    return core & ~mask, mask & ~reach


def _share(area: NDArray[np.float64], of: Mask) -> float:
    return float(area[of].sum()) / max(1.0, float(area.sum()))


def _closes_a_gap(regions: Regions, chosen: Mask, part: NDArray[np.int64]) -> bool:
    """Whether a part is the bow of a handle: without it a gap would lie open."""
    without = chosen.copy()
    without[part] = False
    size = float(regions.area_px[chosen].sum())
    gaps = [_gaps_px(each[regions.labels]) for each in (chosen, without)]
    return gaps[0] - gaps[1] > _GAP_SHARE * size


def _gaps_px(mask: Mask) -> int:
    return int(np.count_nonzero(ndimage.binary_fill_holes(mask) & ~mask))


def _close_about(mask: Mask) -> Mask:
    found = ndimage.find_objects(mask.astype(np.uint8))
    return mask[found[0]] if found else mask


def _laid_over(
    frame: tuple[int, ...], own: NDArray[np.complex64], side: Mask, shape: tuple[int, ...]
) -> Mask:
    """A side, shifted to where it overlaps the most, in the frame of the side it is laid over."""
    overlap = fft.irfft2(own * np.conj(fft.rfft2(side.astype(np.float32), shape)), shape)
    down, across = peak_of(overlap, frame)
    by = np.array([[1, 0, across], [0, 1, down]], np.float32)
    return np.asarray(cv2.warpAffine(side.astype(np.uint8), by, frame[::-1]) > 0)


def peak_of(common: NDArray[np.floating], frame: tuple[int, ...]) -> tuple[int, ...]:
    """Shift (rows, columns) at which two pictures have most in common.

    Parameters
    ----------
    common : ndarray of float
        Their circular cross-correlation.
    frame : tuple of int
        Shape of the picture the other is shifted over; shifts beyond it are backward ones.
    """
    return tuple(
        int(at) if at < within else int(at) - long
        for at, within, long in zip(
            np.unravel_index(common.argmax(), common.shape), frame, common.shape, strict=True
        )
    )
