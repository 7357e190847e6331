"""White balance without a chart: from a grey card, the marker's paper, or a paper backdrop.

One neutral surface tells the colour of the light but nothing of the camera's own primaries, so
only the three channels are evened out; brightness stays as it was shot.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.colour.srgb import LINEAR_RGB_TO_XYZ, decode_srgb, linear_to_lab
from grader.reduce import reduce_picture
from grader.scale import Marker

GREY_CARD_NUMBERS = range(40, 50)
"""A marker with one of these numbers stands left of a window in which a grey card shows. The
window is a square as large as the marker, a quarter of its side to the right of it."""

_WINDOW_START_SIDES = 1.25
# Only the middle of the window: the frame's edge throws a shadow on the card behind it.
_WINDOW_MIDDLE = 0.6

# A neutral under any lamp, after the phone's own white balance, keeps within this chroma
# (CIELAB): 3000 K light left at daylight balance gives about 45, mixed light in a kitchen 20.
_MAX_CARD_CHROMA = 50.0
# A backdrop is only believed to be neutral paper where it looks so already: tinted paper, wood
# and walls start at about 8.
_MAX_BACKDROP_CHROMA = 8.0
# Darker than this it may be anything, and noise tints it.
_MIN_BACKDROP_LIGHTNESS = 25.0

# Robust spread of CIELAB a* and b* within an even neutral surface, camera noise included.
_MAX_SPREAD = 6.0

_CLIPPED_LEVEL = 252
_CLIPPED_SHARE = 0.2

# Longest side, px, of the reduced picture from which the backdrop is taken.
_BACKDROP_PX = 400
# Strips along the left, right and upper edge of the picture, as shares of its width and
# height: the piece stands in the middle, and the lower edge is often the table.
_STRIP_SIDE, _STRIP_TOP = 0.10, 0.10


def white_balance(neutral_linear: NDArray[np.floating]) -> NDArray[np.float64]:
    """Return the matrix (3, 3) that makes a surface neutral and keeps its luminance.

    Parameters
    ----------
    neutral_linear : ndarray of float, shape (3,)
        Linear camera colour of a neutral surface, each above 0.
    """
    colour = np.asarray(neutral_linear, dtype=np.float64)
    luminance = float(LINEAR_RGB_TO_XYZ[1] @ colour)
    return np.diag(luminance / colour)


def read_grey_card(
    rgb: NDArray[np.uint8], marker: Marker
) -> tuple[NDArray[np.float64] | None, str]:
    """Read the grey card in the window beside a marker of `GREY_CARD_NUMBERS`.

    Returns
    -------
    linear colour (3,), or None
    str
        Why not; empty where it could be read.
    """
    size = 60
    half = _WINDOW_MIDDLE / 2
    middle = _WINDOW_START_SIDES + 0.5
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=np.float32)
    window = (square - 0.5) * (2 * half) + np.array([middle, 0.5], dtype=np.float32)
    to_photo = cv2.getPerspectiveTransform(square, marker.corners_px.astype(np.float32))
    corners = cv2.perspectiveTransform(window[None], to_photo)[0]
    height, width = rgb.shape[:2]
    if corners.min() < 0 or (corners > [width - 1, height - 1]).any():
        return None, "it is not wholly in the picture"
    flat_square = square * (size - 1)
    to_photo = cv2.getPerspectiveTransform(flat_square, corners)
    flat = cv2.warpPerspective(
        rgb, to_photo, (size, size), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    return _read_neutral(flat.reshape(-1, 3), _MAX_CARD_CHROMA, 0.0)


def read_backdrop(
    rgb: NDArray[np.uint8], cards_px: tuple[NDArray[np.float64], ...] = ()
) -> tuple[NDArray[np.float64] | None, str]:
    """Read the colour of a white or grey paper backdrop along the edges of the picture.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
    cards_px : tuple of ndarray, each shape (4, 2)
        Outlines of cards, which are left out.

    Returns
    -------
    linear colour (3,), or None
    str
        Why not; empty where it could be read.
    """
    levels = _surroundings(rgb, cards_px)
    if not len(levels):
        return None, "cards cover the edges of the picture"
    return _read_neutral(levels, _MAX_BACKDROP_CHROMA, _MIN_BACKDROP_LIGHTNESS)


def read_surroundings(
    rgb: NDArray[np.uint8], cards_px: tuple[NDArray[np.float64], ...] = ()
) -> NDArray[np.float64] | None:
    """Median linear camera colour (3,) along the edges of the picture, neutral or not.

    It ties photos to each other that were made on one stand. None where it is clipped or black.
    """
    levels = _surroundings(rgb, cards_px)
    if not len(levels) or (levels.max(axis=1) >= _CLIPPED_LEVEL).mean() > _CLIPPED_SHARE:
        return None
    colour = np.median(decode_srgb(levels), axis=0).astype(np.float64)
    return colour if colour.min() > 0 else None


def _surroundings(
    rgb: NDArray[np.uint8], cards_px: tuple[NDArray[np.float64], ...]
) -> NDArray[np.uint8]:
    small, factor = reduce_picture(rgb, _BACKDROP_PX)
    height, width = small.shape[:2]
    side, top = round(_STRIP_SIDE * width), round(_STRIP_TOP * height)
    mask = np.zeros((height, width), dtype=np.uint8)
    mask[:, :side] = mask[:, width - side :] = mask[:top] = 1
    for card in cards_px:
        cv2.fillPoly(mask, [np.round(card * factor).astype(np.int32)], 0)
    return np.asarray(small[mask.astype(bool)])


def _read_neutral(
    levels: NDArray[np.uint8], max_chroma: float, min_lightness: float
) -> tuple[NDArray[np.float64] | None, str]:
    """Judge pixels (n, 3) that should all show one neutral surface, shaded as it may be."""
    if (levels.max(axis=1) >= _CLIPPED_LEVEL).mean() > _CLIPPED_SHARE:
        return None, "it is over-exposed"
    light = decode_srgb(levels)
    lab = linear_to_lab(light)
    middle = np.median(lab, axis=0)
    spread = 1.48 * np.median(np.abs(lab[:, 1:] - middle[1:]), axis=0)
    if spread.max() > _MAX_SPREAD:
        return None, "it is not of one colour"
    if float(np.hypot(*middle[1:])) > max_chroma:
        return None, "it is not neutral"
    colour = np.median(light, axis=0).astype(np.float64)
    if middle[0] < max(min_lightness, 10.0) or colour.min() <= 0:
        return None, "it is too dark"
    return colour, ""
