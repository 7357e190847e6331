"""From the patches of a chart to the correction of a photo, or to the reason why not.

The correction is one 3 x 3 matrix in linear light: what a change of lamp, of exposure and of
camera primaries does to matt colours, and nothing that could bend one colour apart from its
neighbours. It is fitted where the eye measures, in CIELAB, with patches that do not agree with
the others counting less and less. How well it does is told by predicting each patch from all
the others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.colour.chart import PATCHES, ChartReading
from grader.colour.difference import ciede2000
from grader.colour.reference import CHART_LAB, CHART_LINEAR, GREY_ROW
from grader.colour.srgb import linear_to_lab

# The gate. A right chart under daylight or a lamp leaves 1 to 4 dE00 on a phone photo; a grid
# that was invented on something else leaves far more than 6 in the mean.
MIN_PATCHES = 18
MAX_MEAN_DE00 = 6.0
MAX_PATCH_DE00 = 15.0

# With so many patches that agree, a card is a chart even where it cannot be used: 36 figures
# are explained by 9.
_RECOGNISED_PATCHES = 12

# Beyond this the patch shows something else than the chart: a finger, a reflection.
_COVERED_DE00 = 15.0

# Residual, in CIE76, at which a patch starts to lose weight (Tukey's biweight reaches zero at
# 4.685 spreads); never below 1, which print and camera noise explain.
_SPREAD_FLOOR = 1.0
_TUKEY = 4.685
_ROUNDS = 12


@dataclass(frozen=True, slots=True)
class ChartFit:
    """A correction that passed the gate.

    Attributes
    ----------
    matrix : ndarray of float64, shape (3, 3)
        ``linear_rgb @ matrix.T`` is linear sRGB under D65, with diffuse white at 1.
    leave_one_out_de00 : float
        Mean CIEDE2000 of each used patch predicted without itself.
    worst_de00 : float
        Largest CIEDE2000 left by the fit on a used patch.
    used : ndarray of bool, shape (24,)
    """

    matrix: NDArray[np.float64]
    leave_one_out_de00: float
    worst_de00: float
    used: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class ChartRefusal:
    """Why a chart cannot be used.

    Attributes
    ----------
    reason : str
        A clause in plain words, "it is ...".
    is_chart : bool
        True where it is a chart beyond doubt, only not fit for measuring; False where the
        detector may have invented it.
    """

    reason: str
    is_chart: bool = False


def fit_chart(reading: ChartReading) -> ChartFit | ChartRefusal:
    """Fit the correction to a chart, and gate it.

    Parameters
    ----------
    reading : ChartReading

    Returns
    -------
    ChartFit or ChartRefusal
        The chart may lie upside down.
    """
    fits = [_fit_in_order(reading, order) for order in (slice(None), slice(None, None, -1))]
    good = [fit for fit in fits if isinstance(fit, ChartFit)]
    if good:
        return min(good, key=lambda fit: fit.leave_one_out_de00)
    return max((fit for fit in fits if isinstance(fit, ChartRefusal)), key=lambda fit: fit.is_chart)


def _fit_in_order(reading: ChartReading, order: slice) -> ChartFit | ChartRefusal:
    camera = reading.linear_rgb[order]
    clipped, spoilt = reading.clipped[order], reading.spoilt[order]
    used = ~clipped & ~spoilt
    if used.sum() < MIN_PATCHES:
        known = _is_chart(camera, used)
        if clipped.sum() > spoilt.sum():
            return ChartRefusal("it is over-exposed or too dark", known)
        return ChartRefusal("part of it is covered, uneven or outside the picture", known)
    greys = camera[GREY_ROW].sum(axis=1)
    if not np.all(np.diff(greys) < 0):
        return ChartRefusal("its grey row does not run from white to black")
    matrix = _robust_fit(camera, used)
    if matrix is None:
        return ChartRefusal("its patches do not tell colours apart")
    residual = _residual_de00(matrix, camera)
    covered = used & (residual > _COVERED_DE00)
    if covered.any():
        used &= ~covered
        if used.sum() < MIN_PATCHES:
            return ChartRefusal("its patches do not have the colours of the standard chart")
        matrix = _robust_fit(camera, used)
        if matrix is None:
            return ChartRefusal("its patches do not tell colours apart")
        residual = _residual_de00(matrix, camera)
    if residual[used].mean() > MAX_MEAN_DE00 or residual[used].max() > MAX_PATCH_DE00:
        return ChartRefusal("its patches do not have the colours of the standard chart")
    left_out = _leave_one_out_de00(camera, used)
    if not np.isfinite(left_out) or left_out > MAX_MEAN_DE00:
        return ChartRefusal("its patches do not agree with each other")
    return ChartFit(matrix, left_out, float(residual[used].max()), used)


def _is_chart(camera: NDArray[np.float64], used: NDArray[np.bool_]) -> bool:
    if used.sum() < _RECOGNISED_PATCHES:
        return False
    matrix = _robust_fit(camera, used)
    if matrix is None:
        return False
    residual = _residual_de00(matrix, camera)[used]
    return bool(residual.mean() <= MAX_MEAN_DE00 and residual.max() <= MAX_PATCH_DE00)


def _residual_de00(matrix: NDArray[np.float64], camera: NDArray[np.float64]) -> NDArray[np.float64]:
    lab = linear_to_lab(camera @ matrix.T).astype(np.float64)
    return ciede2000(lab, CHART_LAB[: len(lab)]).astype(np.float64)


def _lab_slopes() -> NDArray[np.float64]:
    """Derivatives (24, 3, 3) of CIELAB by linear RGB at each patch's true colour."""
    step = 1e-3
    slopes = np.empty((PATCHES, 3, 3))
    for channel in range(3):
        shift = np.zeros(3)
        # A share of the patch's own light, so that dark patches are not stepped over.
        shift[channel] = 1.0
        size = step * np.abs(CHART_LINEAR).max(axis=1, keepdims=True)
        up = linear_to_lab(CHART_LINEAR + shift * size).astype(np.float64)
        down = linear_to_lab(CHART_LINEAR - shift * size).astype(np.float64)
        slopes[:, :, channel] = (up - down) / (2 * size)
    return slopes


_SLOPES = _lab_slopes()


def _solve(camera: NDArray[np.float64], weight: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Weighted least squares for the matrix; the error is linearised into CIELAB."""
    root = np.sqrt(weight)[:, None, None]
    # Row k of the error of patch i is sum over m, n of slope[i, k, m] matrix[m, n] camera[i, n].
    design = (_SLOPES[:, :, :, None] * camera[:, None, None, :]).reshape(PATCHES, 3, 9) * root
    wanted = np.einsum("ikm,im->ik", _SLOPES, CHART_LINEAR)[:, :, None] * root
    solution, _, rank, _ = np.linalg.lstsq(design.reshape(-1, 9), wanted.reshape(-1), rcond=None)
    return solution.reshape(3, 3) if rank == 9 and np.isfinite(solution).all() else None


def _robust_weights(
    camera: NDArray[np.float64], used: NDArray[np.bool_]
) -> NDArray[np.float64] | None:
    """Tukey's biweight, by iteration from plain least squares (Huber & Ronchetti 2009, ch. 7)."""
    weight = used.astype(np.float64)
    for _ in range(_ROUNDS):
        matrix = _solve(camera, weight)
        if matrix is None:
            return None
        error = np.linalg.norm(
            np.einsum("ikm,im->ik", _SLOPES, camera @ matrix.T - CHART_LINEAR), axis=1
        )
        # 1.48 makes the median absolute deviation the spread of a normal distribution.
        spread = max(_SPREAD_FLOOR, 1.48 * float(np.median(error[used])))
        weight = used * np.clip(1 - (error / (_TUKEY * spread)) ** 2, 0, 1) ** 2
    return weight


def _robust_fit(camera: NDArray[np.float64], used: NDArray[np.bool_]) -> NDArray[np.float64] | None:
    weight = _robust_weights(camera, used)
    return None if weight is None else _solve(camera, weight)


def _leave_one_out_de00(camera: NDArray[np.float64], used: NDArray[np.bool_]) -> float:
    weight = _robust_weights(camera, used)
    if weight is None:
        return float("inf")
    errors = []
    for left in np.flatnonzero(used):
        without = weight.copy()
        without[left] = 0.0
        matrix = _solve(camera, without)
        if matrix is None:
            return float("inf")
        errors.append(_residual_de00(matrix, camera)[left])
    return float(np.mean(errors))
