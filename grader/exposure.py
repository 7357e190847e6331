"""What light does to the piece on one photo: burnt-out surface, glare, and darkness."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader import channels
from grader.colour.srgb import decode_srgb
from grader.reduce import reduce_picture

# A channel at this level has run out of range; some phones stop short of 255.
_CLIPPED_LEVEL = 252

# The light is judged on a smaller picture; shares of the surface do not change with it.
_WORK_PX = 1000

# Glare is the lamp in the glaze: beyond its soft rim (a fiftieth of the height of the piece is
# enough on everything but a mirror ball) the surface is far darker. Where it is still nearly as
# bright, in linear light, the surface itself is burnt out.
_RIM_SHARE = 0.02
_STILL_BRIGHT = 0.6

# Glare has the colour of the light, so that all channels come this near to their end (encoded).
_GLARE_LEVEL = 244
# The image of a window in a pot is no larger than this share of it; a larger white is the pot.
_LARGEST_GLARE = 0.25


@dataclass(frozen=True, slots=True)
class Exposure:
    """Shares, 0..1, of the visible surface of the piece.

    Attributes
    ----------
    burnt_share : float
        Surface that is over-exposed by its own brightness, in one channel or more: its colour is
        not sure.
    lost_share : float
        The part of it that is over-exposed in all channels: nothing can be seen on it.
    glare_share : float
        Reflections of lamps and windows, which hide what is below them.
    brightest : float
        Linear light, 0..1, that one pixel in a hundred of the whole photo exceeds.
    piece_median : float
        Median linear light of the piece.
    """

    burnt_share: float
    lost_share: float
    glare_share: float
    brightest: float
    piece_median: float


def measure_exposure(rgb: NDArray[np.uint8], mask: NDArray[np.bool_]) -> Exposure | None:
    """Measure how the piece is lit.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
    mask : ndarray of bool, shape (height, width)
        The piece.

    Returns
    -------
    Exposure or None
        None where the mask is empty.
    """
    small, _ = reduce_picture(rgb, _WORK_PX)
    size = (small.shape[1], small.shape[0])
    piece = cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST).astype(bool)
    area = int(piece.sum())
    if not area:
        return None
    luminance = channels.mean(decode_srgb(small))
    # Channels that clip one by one burn colour away; what nearly clips in all may be a lamp's
    # image.
    clipped = piece & (channels.largest(small) >= _CLIPPED_LEVEL)
    least = channels.smallest(small)
    lost = piece & (least >= _CLIPPED_LEVEL)
    white = piece & (least >= _GLARE_LEVEL)
    height = int(np.ptp(np.flatnonzero(piece.any(axis=1)))) + 1
    glare = _glare(white, piece, luminance, max(2, round(_RIM_SHARE * height)))
    return Exposure(
        burnt_share=float((clipped & ~glare).sum() / area),
        lost_share=float((lost & ~glare).sum() / area),
        glare_share=float(glare.sum() / area),
        brightest=float(np.percentile(luminance, 99)),
        piece_median=float(np.median(luminance[piece])),
    )


def _glare(
    bright: NDArray[np.bool_],
    piece: NDArray[np.bool_],
    luminance: NDArray[np.floating],
    rim_px: int,
) -> NDArray[np.bool_]:
    """Mark the bright spots whose surroundings on the piece are much darker."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(bright.astype(np.uint8))
    glare = np.zeros_like(bright)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * rim_px + 1, 2 * rim_px + 1))
    # Largest first, and no more than can matter: below a ten-thousandth of the piece a spot
    # changes no share that is reported.
    order = np.argsort(-stats[1:, cv2.CC_STAT_AREA])[:60] + 1
    area = stats[order, cv2.CC_STAT_AREA] / piece.sum()
    for label in order[(area > 1e-4) & (area < _LARGEST_GLARE)]:
        left, top, width, height = stats[label, :4]
        window = (
            slice(max(0, top - 2 * rim_px), top + height + 2 * rim_px),
            slice(max(0, left - 2 * rim_px), left + width + 2 * rim_px),
        )
        spot = (labels[window] == label).astype(np.uint8)
        soft = cv2.dilate(spot, kernel)
        beyond = (cv2.dilate(soft, kernel) > 0) & (soft == 0) & piece[window] & ~bright[window]
        if beyond.any() and float(np.median(luminance[window][beyond])) < _STILL_BRIGHT:
            glare[window] |= (soft > 0) & piece[window]
    return glare
