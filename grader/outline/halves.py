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
from grader.outline.parts import CLOSED_COST, connected_parts, fill_bays, mirrored, rim_of
from grader.outline.regions import Mask, Plane, Regions
from grader.outline.surroundings import Evidence

_MET, _NO_EDGE = 0.6, 1.7
"""Where less of the rim meets that of the mirror image, it may be laid amiss: a side is painted, a
handle draws it, or a pot beside the middle of the photo leans. Then a part does not go that would
cost so much more (mean cost of a border) to take off than an edge, and than its own end, together:
shadows that end softly beside a sharp foot had up to 1.6, sides that an image laid amiss lacked had
1.8 and more."""

_OVERLAP = 0.75
"""Share of the most that a piece can overlap its mirror image by, as it does where that is laid
right, but for handles and shadows: not every pair of strong edges is a rim."""

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
    edges = edge_chance(regions, evidence)
    for _ in range(_ROUNDS):
        again = _settled(regions, evidence, chosen, edges)
        if (again == chosen).all():
            break
        chosen = again
    mask = chosen[regions.labels]
    other = mirrored(mask, mirror_shift(mask, edges)[0], False)
    return fill_bays(regions, evidence, chosen, expected=other, closed_share=_CLOSED_SHARE)


def edge_chance(regions: Regions, evidence: Evidence) -> Plane:
    """Chance of each pixel that the outline of a piece runs there, shape (h, w); none at cards."""
    chance = np.exp(-evidence.edge_cost).astype(np.float32)
    chance[(regions.card_share[regions.pairs] > 0.5).any(1)] = 0.0
    known = regions.pairs[:, 0] * regions.count + regions.pairs[:, 1]
    out = np.zeros(regions.labels.shape, np.float32)
    for here, there in ((np.s_[:-1], np.s_[1:]), (np.s_[:, :-1], np.s_[:, 1:])):
        one, other = (regions.labels[at].astype(np.int64) for at in (here, there))
        border = one != other
        one, other = one[border], other[border]
        keys = np.minimum(one, other) * regions.count + np.maximum(one, other)
        at = chance[np.searchsorted(known, keys)]
        for side in (here, there):
            out[side][border] = np.maximum(out[side][border], at)
    return out


def mirror_shift(mask: Mask, edges: Plane) -> tuple[tuple[int, int], float]:
    """Shift of the mirror image of an outline to where most of both rims run together.

    A shadow beside a piece moves the middle of its area, but not the rim of all the rest. Of the
    rim each part counts as likely as it is an edge: where a side has the table's colour, the cut
    ran anywhere.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
    edges : ndarray of float32, shape (h, w)
        As `edge_chance` gives them.

    Returns
    -------
    shift : tuple of int
        (rows, columns) by which ``mask[:, ::-1]`` is to be shifted; hardly any rows.
    met : float
        0..1, share of the rim that meets that of the mirror image.
    """
    small = max(1.0, max(mask.shape) / LONG_SIDE_PX)
    little = resized(mask, 1 / small)
    likely = cv2.dilate(edges, np.ones((3, 3), np.uint8))
    likely = cv2.resize(likely, little.shape[::-1], interpolation=cv2.INTER_AREA)
    rim = _rim(little, likely)
    high, wide = rim.shape
    length = int(fft.next_fast_len(2 * wide, real=True))
    own, other = (fft.rfft(each, length, axis=1) for each in (rim, rim[:, ::-1]))
    body, turned = (
        fft.rfft(each.astype(np.float32), length, axis=1) for each in (little, little[:, ::-1])
    )
    overlap = fft.irfft((body * np.conj(turned)).sum(0), length)
    out_of_question = overlap < _OVERLAP * overlap.max()
    spectra = []
    for tilt in range(-_TILT_PX, _TILT_PX + 1):
        at, of, rows = max(0, tilt), max(0, -tilt), high - abs(tilt)
        spectra.append((own[at : at + rows] * np.conj(other[of : of + rows])).sum(0))
    common = fft.irfft(np.stack(spectra), length, axis=1)
    common[:, out_of_question] = -np.inf
    tilted, across = peak_of(common, (len(common), wide))
    down = tilted - _TILT_PX
    # A pixel of the reduced outline is more than one of the outline: the peak lies between two.
    between = _top_between(*(float(common[tilted, across + by]) for by in (-1, 0, 1)))
    # A picture of odd width is not mirrored about a pixel of its reduced self.
    odd = mask.shape[1] - small * wide
    met = float(common.max()) / max(1e-9, float((rim**2).sum()))
    return (round(small * down), round(small * (across + between) - odd)), met


def _top_between(before: float, most: float, after: float) -> float:
    """Where a parabola through three values one apart has its top, -0.5..0.5 from the middle one.

    With `before` and `after` no more than `most`; 0 where one of them is out of the question.
    """
    bend = 2 * most - before - after
    return 0.5 * (after - before) / bend if 0 < bend < np.inf else 0.0


def _rim(mask: Mask, likely: Plane) -> Plane:
    """The rim of an outline, two pixels wide and blurred, so that near lines still meet."""
    rim = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    return np.asarray(cv2.GaussianBlur(rim * likely, (0, 0), _MEETING_PX), np.float32)


def _settled(regions: Regions, evidence: Evidence, chosen: Mask, edges: Plane) -> Mask:
    mask = chosen[regions.labels]
    shift, met = mirror_shift(mask, edges)
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
    if met < _MET:
        again = _without_edgeless(regions, evidence, chosen, again)
    return take_over(regions, evidence, chosen, again, expected, (missing, extra))


def _without_edgeless(regions: Regions, evidence: Evidence, chosen: Mask, again: Mask) -> Mask:
    """What another cut makes of one, but for parts without which the outline runs along no edge."""
    out = again.copy()
    for part in connected_parts(regions, chosen & ~again):
        rim, beyond = rim_of(regions, part)
        cost, length = evidence.edge_cost[rim], regions.border_px[rim]
        to_piece, to_table = (
            float(cost[at] @ length[at]) / max(1.0, float(length[at].sum()))
            for at in (chosen[beyond], ~chosen[beyond])
        )
        out[part] = (to_piece - CLOSED_COST) + (to_piece - to_table) > _NO_EDGE
    return out


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
