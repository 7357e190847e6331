"""Steps of tone or colour: how high each place of a plane would be, were it an ideal step."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from grader import channels
from grader.surface import Plane


def jump(shift: NDArray[np.float32], sigma_px: float) -> Plane:
    """Height of the step at each place, were it an ideal step.

    Parameters
    ----------
    shift : ndarray of float32, shape (h, w, c)
    sigma_px : float

    Returns
    -------
    ndarray of float32, shape (h, w)

    Notes
    -----
    The slope of a step of height h under a Gaussian of width sigma peaks at h / (sigma sqrt(2 pi));
    a ramp many sigmas wide stays far below that.
    """
    across, down = slopes(shift, sigma_px)
    return step_height(across, down, sigma_px)


def slopes(shift: NDArray[np.float32], sigma_px: float) -> tuple[Plane, Plane]:
    """Slope across and down, per pixel, under a Gaussian of width sigma; shape as of the shift."""
    calm = cv2.GaussianBlur(shift, (0, 0), sigma_px)
    across = cv2.Sobel(calm, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(calm, cv2.CV_32F, 0, 1, scale=1 / 8)
    return across, down


def step_height(across: Plane, down: Plane, sigma_px: float) -> Plane:
    """Height of an ideal step that has these `slopes`; see `jump`."""
    squares = across**2 + down**2
    slope = np.sqrt(channels.total(squares) if squares.ndim == 3 else squares)
    return slope * np.float32(sigma_px * np.sqrt(2 * np.pi))
