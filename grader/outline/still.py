"""What stays as it was while the piece is turned: table, wall and cards.

The phone is on its stand and the piece is turned before it. Of two photos of two sides all that is
not the piece is the same picture, grain by grain; of the piece itself only an even wall is. So a
region that changes belongs to the piece, and one whose texture stays is what the piece stands on,
its shadow included, whatever their colours are. Where the camera or the table moved between two
photos, the cards and the margins show it, and nothing is concluded.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader import channels
from grader.outline.regions import Mask, Regions, Values

_BLUR_PX, _FINE_PX = 0.7, 4.0
"""The grain of a camera is finer than the first; light that the piece throws on the table changes
more slowly than the second."""

_SAME_SCENE = 0.7
"""Correlation of fine contrast in margins and cards from which two photos are of one scene. Of some
2900 pairs of sides nearly all came from one stand and had 0.89 and more; those with the camera in
hand had 0.2 at most, and none lay between."""

_SHIFT_PX = (0.05, 3.0)
"""A stand that was touched moves the picture by less than half a percent; below the first nothing
is gained by moving it back."""

_FEWEST = 2
"""Other sides that are needed: of one alone a symmetric painting might be the same."""

_TURNED, _TURNED_SHARE = 4.0, 0.03
"""Squared change, in spreads of noise, and share of the photo that has at least that where a piece
was turned: of all pairs a twelfth and more had. Else the photo was taken, or copied, twice."""

_LEAST_NOISE = 0.3
"""Squared 8-bit steps: rounding alone makes so much in three colours."""

_DARK = 4.0
"""8-bit steps added before the ratio of two exposures is taken: below it colour is noise."""

# Fitted by logistic regression, beside the log odds of `surroundings`, on the regions of 450 photos
# with known outlines: log of the least change, of the usual shift of light and of the contrast,
# each in spreads of the camera's noise, and 1.
_WEIGHTS = np.array([0.84, 1.15, -0.72, -0.79])

_CHANGE, _SHIFT = (0.3, 300.0), 100.0
"""Range of a squared change, and most of a shift, that are told apart."""

_MOST = 5.0
"""Log odds beyond which stillness proves no more: an even wall turns without a change."""


@dataclass(frozen=True, slots=True)
class OneStand:
    """Photos of the sides of one piece, reduced alike.

    Attributes
    ----------
    own : ndarray of uint8, shape (h, w, 3)
        The side in question.
    others : tuple of ndarray of uint8, each shape (h, w, 3)
        Those of another size are passed over.
    """

    own: NDArray[np.uint8]
    others: tuple[NDArray[np.uint8], ...]


def weigh_still(regions: Regions, fixed: Mask, stand: OneStand) -> Values:
    """Log odds of being the piece, by what changes from side to side.

    Parameters
    ----------
    regions : Regions
    fixed : ndarray of bool, shape (n,)
        Margins and cards, which are no piece.
    stand : OneStand

    Returns
    -------
    ndarray of float, shape (n,)
        -5..5, to be added to those by colour and edges; 0 where too few photos are of one scene.
    """
    own = _calm(stand.own, regions.labels.shape)
    fine = _fine(own)
    scene = fixed[regions.labels]
    margins = fixed & (regions.card_share == 0)
    if not margins.any():
        return np.zeros(regions.count)
    least_px = _TURNED_SHARE * regions.labels.size
    measured = [
        _change(regions, (own, fine), (seen, _fine(seen)), margins)
        for other in stand.others
        if other.shape == stand.own.shape
        and (seen := _same_scene(_calm(other, regions.labels.shape), own, fine, scene)) is not None
    ]
    turned = [each for each in measured if regions.area_px[each[0] > _TURNED].sum() > least_px]
    if len(turned) < _FEWEST:
        return np.zeros(regions.count)
    changes, shifts, noises = zip(*turned, strict=True)
    contrast = regions.mean_of(channels.total(fine**2)) / float(np.median(noises))
    # What one side hides another shows: a place that is the same on one photo is still.
    least = np.log(np.clip(np.min(changes, axis=0), *_CHANGE))
    usual = np.log1p(np.minimum(np.median(shifts, axis=0), _SHIFT))
    measures = np.stack([least, usual, np.log1p(contrast)], axis=1)
    return np.clip(measures @ _WEIGHTS[:-1] + _WEIGHTS[-1], -_MOST, _MOST)


def _change(
    regions: Regions,
    own: tuple[NDArray[np.float32], NDArray[np.float32]],
    seen: tuple[NDArray[np.float32], NDArray[np.float32]],
    margins: Mask,
) -> tuple[Values, Values, float]:
    """Squared change of the fine contrast and shift of the light, in spreads of noise, and that.

    Of either photo the light and its fine contrast are given.
    """
    change = regions.mean_of(channels.total((own[1] - seen[1]) ** 2))
    steps = [regions.mean_of(plane) for plane in cv2.split(own[0] - seen[0])]
    shift = np.sqrt(np.sum(np.square(steps), axis=0))
    noise = max(_LEAST_NOISE, float(np.median(change[margins])))
    drift = max(_LEAST_NOISE, 1.4826 * float(np.median(shift[margins])))
    return change / noise, shift / drift, noise


def _same_scene(
    other: NDArray[np.float32],
    own: NDArray[np.float32],
    fine: NDArray[np.float32],
    scene: Mask,
) -> NDArray[np.float32] | None:
    """Another photo, exposed as this one and laid on it; None where the camera was moved."""
    gain = np.median((own[scene] + _DARK) / (other[scene] + _DARK), axis=0)
    seen = np.asarray((other + _DARK) * gain - _DARK, np.float32)
    other_fine = _fine(seen)
    alike = _correlation(fine, other_fine, scene)
    one, two = (np.asarray(channels.mean(each) * scene, np.float64) for each in (fine, other_fine))
    (across, down), _ = cv2.phaseCorrelate(one, two)
    if _SHIFT_PX[0] < np.hypot(across, down) < _SHIFT_PX[1]:
        by = np.array([[1, 0, -across], [0, 1, -down]], np.float32)
        moved = np.asarray(
            cv2.warpAffine(seen, by, scene.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
        )
        moved_alike = _correlation(fine, _fine(moved), scene)
        if moved_alike > alike:
            seen, alike = moved, moved_alike
    return seen if alike > _SAME_SCENE else None


def _correlation(one: NDArray[np.float32], other: NDArray[np.float32], where: Mask) -> float:
    a, b = (plane[where] - plane[where].mean() for plane in (one, other))
    # A blank margin without a card tells nothing.
    return float((a * b).sum() / max(1e-9, float(np.sqrt((a * a).sum() * (b * b).sum()))))


def _calm(rgb: NDArray[np.uint8], shape: tuple[int, ...]) -> NDArray[np.float32]:
    """A photo at the size of the regions, without the grain of the camera."""
    small = cv2.resize(rgb, shape[::-1], interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(small.astype(np.float32), (0, 0), _BLUR_PX))


def _fine(calm: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(calm - cv2.GaussianBlur(calm, (0, 0), _FINE_PX))
