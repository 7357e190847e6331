"""The cards that stand beside a piece: the square marker and the 24-patch colour chart."""

from __future__ import annotations

import cv2
import numpy as np

from .noise import FloatArray

MARKER_ID = 7
MARKER_MM = 20.0
# White border of four millimetres all round: the detector needs a quiet zone of one module.
MARKER_CARD_MM = 28.0
# Reflectance of plain printed paper.
_PAPER = 0.82
_TONER = 0.035

# Linear sRGB of the 24-patch chart, row by row. Source: colour-science 0.4.7, data set
# CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"] (the maker's published values), from
# its white point to D65 by the Bradford transform; the one negative value (cyan) held at 0.004.
CHART_LINEAR = np.array(
    [
        [0.1737, 0.0788, 0.0529], [0.5598, 0.2774, 0.2109], [0.1042, 0.1889, 0.3289],
        [0.1057, 0.1508, 0.0508], [0.2274, 0.2124, 0.4264], [0.1153, 0.5074, 0.4111],
        [0.7459, 0.2021, 0.0299], [0.0587, 0.1012, 0.3877], [0.5601, 0.0802, 0.1146],
        [0.1092, 0.0420, 0.1381], [0.3328, 0.4974, 0.0426], [0.7710, 0.3579, 0.0204],
        [0.0210, 0.0475, 0.2841], [0.0461, 0.2920, 0.0615], [0.4462, 0.0364, 0.0406],
        [0.8417, 0.5744, 0.0047], [0.5223, 0.0778, 0.2893], [0.0040, 0.2337, 0.3772],
        [0.8795, 0.8850, 0.8342], [0.5845, 0.5922, 0.5845], [0.3577, 0.3671, 0.3653],
        [0.1901, 0.1909, 0.1898], [0.0859, 0.0887, 0.0898], [0.0314, 0.0315, 0.0323],
    ],
    dtype=np.float32,
)  # fmt: skip
CHART_ROWS, CHART_COLS = 4, 6


def marker_card(px: int = 560) -> FloatArray:
    """Reflectance of the marker card, shape (px, px, 3), top row first."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    inner = round(px * MARKER_MM / MARKER_CARD_MM / 6) * 6
    code = cv2.aruco.generateImageMarker(dictionary, MARKER_ID, inner)
    card = np.full((px, px), _PAPER, np.float32)
    start = (px - inner) // 2
    card[start : start + inner, start : start + inner] = np.where(code > 127, _PAPER, _TONER)
    return np.repeat(card[..., None], 3, axis=2)


def marker_side_mm(px: int = 560) -> float:
    """True side of the black square on the card of :func:`marker_card` in mm."""
    return round(px * MARKER_MM / MARKER_CARD_MM / 6) * 6 / px * MARKER_CARD_MM


def chart_card(patch_px: int = 60) -> FloatArray:
    """Reflectance of the colour chart, shape (rows, cols, 3), top row first.

    Parameters
    ----------
    patch_px : int
        Side of a patch; gaps are a sixth of it, the black edge a quarter.

    Returns
    -------
    numpy.ndarray of float32
    """
    gap, edge = patch_px // 6, patch_px // 4
    rows = CHART_ROWS * patch_px + (CHART_ROWS - 1) * gap + 2 * edge
    cols = CHART_COLS * patch_px + (CHART_COLS - 1) * gap + 2 * edge
    card = np.full((rows, cols, 3), 0.03, np.float32)
    for k, colour in enumerate(CHART_LINEAR):
        r, c = divmod(k, CHART_COLS)
        y, x = edge + r * (patch_px + gap), edge + c * (patch_px + gap)
        card[y : y + patch_px, x : x + patch_px] = colour
    return card
