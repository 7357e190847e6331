"""Linear fits in which the few that lie far off have no say."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_OUTLIER = 2.5
"""Spreads from which a value lies far off: of a normal spread one in eighty does."""


def fit_of_most(
    terms: NDArray[np.float64],
    values: NDArray[np.floating],
    *,
    rounds: int,
    least_spread: float,
    fewest: int,
) -> NDArray[np.float64]:
    """Weights of a linear least-squares fit from which outliers are dropped, round by round.

    Parameters
    ----------
    terms : ndarray of float64, shape (n, terms)
    values : ndarray, shape (n, channels)
        What is an outlier in one channel is left out of all.
    rounds : int
        Number of fits at most.
    least_spread : float
        Added to the spread of the rest, in the unit of `values`: rounding is no outlier.
    fewest : int
        Where fewer than these are left, the last fit stands.

    Returns
    -------
    ndarray of float64, shape (terms, channels)
    """
    keep = np.ones(len(values), bool)
    weights = np.zeros((terms.shape[1], values.shape[1]))
    for _ in range(rounds):
        weights = np.linalg.lstsq(terms[keep], values[keep], rcond=None)[0]
        rest = np.abs(values - terms @ weights)
        spread = 1.4826 * np.median(rest[keep], axis=0) + least_spread
        keep = (rest < _OUTLIER * spread).all(1)
        if keep.sum() < fewest:
            break
    return weights
