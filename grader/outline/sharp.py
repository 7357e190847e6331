"""The outline of chosen regions, moved onto the sharpest edge nearby at a finer scale."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.segmentation import watershed

from grader.outline.regions import Mask, edge_strength, log_look

_REACH_SHARE = 0.005
"""How far the outline may move, as a share of the photo: half a region."""

_CORE_PX = 1
"""What is left untouched of a part narrower than the reach, as a handle is."""


def sharpen(rgb: NDArray[np.uint8], coarse: Mask, cards: Mask) -> Mask:
    """Let inside and outside grow until they meet on the sharpest edge near a coarse outline.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
    coarse : ndarray of bool, shape (h, w)
    cards : ndarray of bool, shape (h, w)
        Pixels that are no piece.

    Returns
    -------
    ndarray of bool, shape (h, w)
    """
    reach = max(2.0, _REACH_SHARE * max(coarse.shape))
    rows, cols = np.flatnonzero(coarse.any(1)), np.flatnonzero(coarse.any(0))
    pad = int(reach) + 4
    window = np.s_[
        max(0, rows[0] - pad) : rows[-1] + pad + 1, max(0, cols[0] - pad) : cols[-1] + pad + 1
    ]
    logs = cv2.GaussianBlur(log_look(rgb[window]), (0, 0), 1.0)
    markers = np.zeros(logs.shape[:2], np.int32)
    markers[_kept(~coarse[window], reach) | cards[window]] = 1
    markers[_kept(coarse[window] & ~cards[window], reach)] = 2
    out = np.zeros_like(coarse)
    out[window] = watershed(edge_strength(logs), markers) == 2
    return out


def _kept(mask: Mask, reach: float) -> Mask:
    """What lies deeper than the reach; of narrow parts their middle."""
    depth = cv2.distanceTransform(np.pad(mask, 1, mode="edge").astype(np.uint8), cv2.DIST_L2, 3)
    depth = depth[1:-1, 1:-1]
    # Deepest point within reach: where that itself is shallow, the part is narrow.
    size = 2 * round(reach) + 1
    ridge = cv2.dilate(depth, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))
    needed = np.minimum(reach, np.maximum(0.75 * ridge - _CORE_PX, _CORE_PX))
    return mask & (depth > needed)
