"""Shares of small numbers: how sure they are, and whether two of them differ."""

from __future__ import annotations

from collections.abc import Sequence

from scipy.stats import binomtest, fisher_exact, hypergeom

# Pieces of the overall rate that a group is thought to hold beside its own: about as many as a
# shelf carries. A group of two then says little, one of twenty nearly what it shows.
SHRINK_PIECES = 5.0


def wilson(hits: int, total: int, confidence: float = 0.95) -> tuple[float, float]:
    """Interval that holds the true share, by Wilson's score method.

    Parameters
    ----------
    hits, total : int
        0 <= hits <= total, total > 0.
    confidence : float, default 0.95

    Returns
    -------
    (low, high) : tuple of float
        0..1.

    References
    ----------
    Wilson, E. B. (1927). Journal of the American Statistical Association 22, 209-212.
    """
    interval = binomtest(hits, total).proportion_ci(confidence, method="wilson")
    return float(interval.low), float(interval.high)


def fisher_mid_p(hits: int, total: int, other_hits: int, other_total: int) -> float:
    """Two-sided probability that two groups differ as much by chance, Fisher's exact mid-p.

    Half of the probability of the table itself is taken off Fisher's value, which is too
    careful with small groups.

    Parameters
    ----------
    hits, total, other_hits, other_total : int

    Returns
    -------
    float
        0..1.

    References
    ----------
    Lancaster, H. O. (1961). Journal of the American Statistical Association 56, 223-234.
    """
    table = [[hits, total - hits], [other_hits, other_total - other_hits]]
    exact = float(fisher_exact(table)[1])
    chance = hypergeom.pmf(hits, total + other_total, hits + other_hits, total)
    return max(0.0, exact - 0.5 * float(chance))


def holm(values: Sequence[float]) -> list[float]:
    """Probabilities corrected for how many comparisons are shown together, in the same order.

    Parameters
    ----------
    values : sequence of float
        0..1 each.

    Returns
    -------
    list of float
        Each at least as large as its value, at most 1.

    References
    ----------
    Holm, S. (1979). Scandinavian Journal of Statistics 6, 65-70.
    """
    corrected = [0.0] * len(values)
    highest = 0.0
    for rank, index in enumerate(sorted(range(len(values)), key=values.__getitem__)):
        highest = max(highest, min(1.0, values[index] * (len(values) - rank)))
        corrected[index] = highest
    return corrected


def shrunk(hits: int, total: int, overall: float) -> float:
    """Share of a group drawn toward the overall share, the more the smaller the group is.

    The mean of a beta-binomial whose prior holds `SHRINK_PIECES` pieces at the overall share.

    Parameters
    ----------
    hits, total : int
    overall : float
        0..1.

    Returns
    -------
    float
        0..1, between the group's own share and the overall one.
    """
    return (hits + SHRINK_PIECES * overall) / (total + SHRINK_PIECES)
