"""Smaller pictures for what does not need every pixel."""

from __future__ import annotations

from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray


def reduce_picture(picture: NDArray[np.uint8], longest_px: int) -> tuple[NDArray[np.uint8], float]:
    """Shrink a picture by averaging, so that its longest side is at most ``longest_px``.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width) or (height, width, 3)
    longest_px : int

    Returns
    -------
    ndarray of uint8
        The picture itself where it is small enough.
    float
        Factor from the picture to the result, at most 1. A whole coordinate is a pixel's
        centre: ``small = (full + 0.5) * factor - 0.5``.
    """
    height, width = picture.shape[:2]
    factor = min(1.0, longest_px / max(height, width))
    if factor == 1.0:
        return picture, 1.0
    # Slivers must keep one pixel, or the library refuses them.
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    return cast("NDArray[np.uint8]", small), factor
