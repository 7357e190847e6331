"""Whether a place is piece or table by its chromaticity, which a shadow cannot change."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_CHROMA_NOISE = 0.04
"""Change of log-chromaticity (natural log units) that is no change of material: the light that a
piece throws on its table, and the noise of JPEG in dark places."""


def spread_about(chroma: NDArray[np.floating], middle: NDArray[np.floating]) -> float:
    """Squared spread of chromaticities about their median, both channels together.

    Parameters
    ----------
    chroma : ndarray of float, shape (n, 2)
        log(R/G) and log(B/G).
    middle : ndarray of float, shape (2,)

    Returns
    -------
    float
    """
    # 1.4826 medians are one standard deviation of a normal spread.
    return float(((1.4826 * np.median(np.abs(chroma - middle), axis=0)) ** 2).sum())


def like_table(
    place: NDArray[np.floating],
    piece: NDArray[np.floating],
    table: NDArray[np.floating],
    spread: float,
) -> tuple[float, float]:
    """Place a colour on the way from that of the piece to that of the table.

    Parameters
    ----------
    place, piece, table : ndarray of float, shape (2,)
        log(R/G) and log(B/G).
    spread : float
        Squared spread of piece and table together.

    Returns
    -------
    like_table : float
        -0.5 where the place looks like the piece, 0.5 like the table; beyond these it is further
        off than either.
    sure : float
        0..1: share of the squared difference between piece and table that is no noise and no
        spread.
    """
    change = table - piece
    size = float(change @ change)
    away = place - 0.5 * (piece + table)
    return float(away @ change) / max(1e-9, size), size / (size + spread + _CHROMA_NOISE**2)
