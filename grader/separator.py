"""Photos that show no piece: the printed slip before each piece, and the chart of a session."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.colour.chart import find_charts
from grader.colour.fit import ChartFit, fit_chart
from grader.errors import PhotoError
from grader.photo import read_photo
from grader.reduce import reduce_picture

SLIP_PREFIX = "PIECE:"
"""What the square code on a slip begins with, so that a code on a parcel is no slip."""

# Longest sides, px, of the pictures that are searched, quickest first. A slip is photographed
# from near, or stands where the piece will stand; its code has 25 to 33 modules, which must be
# 3 px each.
_SEARCH_PX = (800, 1600)


def read_slip_code(path: Path) -> str | None:
    """Return the code of the piece whose slip a photo shows.

    Parameters
    ----------
    path : Path

    Returns
    -------
    str or None
        None where the photo shows no slip, or cannot be read.
    """
    try:
        rgb = read_photo(path).rgb
    except PhotoError:
        # Said by whoever reads it for measuring.
        return None
    return find_slip_code(rgb)


def find_slip_code(rgb: NDArray[np.uint8]) -> str | None:
    """Look for the square code of a slip in a picture, shape (height, width, 3)."""
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    detector = cv2.QRCodeDetector()
    for search_px in _SEARCH_PX:
        small, _ = reduce_picture(grey, search_px)
        try:
            text, corners, _ = detector.detectAndDecode(small)
        except (cv2.error, UnicodeDecodeError):
            # The decoder trips over what only looks like a code.
            continue
        if text.startswith(SLIP_PREFIX):
            return text[len(SLIP_PREFIX) :].strip() or None
        if corners is None:
            # Nothing like a code at this size: a finer look costs four times as much.
            return None
    return None


def shows_chart(path: Path) -> bool:
    """Tell whether a photo shows a colour chart that can be used."""
    try:
        rgb = read_photo(path).rgb
    except PhotoError:
        return False
    return any(isinstance(fit_chart(reading), ChartFit) for reading in find_charts(rgb))
