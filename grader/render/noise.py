"""Random fields in millimetre space, all from a given generator, so that a seed is a picture."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
from scipy import ndimage

FloatArray = npt.NDArray[np.float32]
# Cells of the wrapped random lattice along each axis; a power of two keeps the wrap cheap.
_LATTICE = 64


def smoothstep(low: float, high: float, values: npt.ArrayLike) -> FloatArray:
    """Rise from 0 at `low` to 1 at `high` with flat ends (cubic Hermite)."""
    t = np.clip((np.asarray(values, dtype=np.float32) - low) / (high - low), 0.0, 1.0)
    return (t * t * (3.0 - 2.0 * t)).astype(np.float32)


def solid_noise(
    points_mm: FloatArray, wavelength_mm: float, rng: np.random.Generator, octaves: int = 3
) -> FloatArray:
    """Sample smooth noise of a solid body at points of its surface.

    Noise of the solid has no seam and no pole, unlike noise of the unwrapped surface.

    Parameters
    ----------
    points_mm : numpy.ndarray of float32, shape (..., 3)
    wavelength_mm : float
        Size of the largest blobs.
    rng : numpy.random.Generator
    octaves : int
        Each one halves the size and the strength.

    Returns
    -------
    numpy.ndarray of float32, shape (...)
        Mean near 0, standard deviation near 1.
    """
    total = np.zeros(points_mm.shape[:-1], dtype=np.float32)
    power = 0.0
    for octave in range(octaves):
        lattice = rng.standard_normal((_LATTICE,) * 3).astype(np.float32)
        lattice = ndimage.gaussian_filter(lattice, 0.6, mode="wrap")
        lattice /= lattice.std()
        # Turning each octave hides the lattice directions.
        turn, _ = np.linalg.qr(rng.standard_normal((3, 3)))
        step = wavelength_mm / 2.0 / 2**octave
        where = (points_mm.reshape(-1, 3) @ turn.astype(np.float32)) / step
        where += rng.uniform(0, _LATTICE, 3).astype(np.float32)
        sample = ndimage.map_coordinates(lattice, where.T, order=1, mode="grid-wrap")
        total += (0.5**octave) * sample.reshape(total.shape)
        power += 0.25**octave
    return (total / np.sqrt(power) / 0.75).astype(np.float32)


def flat_noise(
    shape: tuple[int, int],
    blur_px: float | tuple[float, float],
    rng: np.random.Generator,
    wrap_x: bool = True,
) -> FloatArray:
    """Blurred white noise on a grid, standard deviation one.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns.
    blur_px : float or tuple of float
        Gaussian sigma along rows and columns, in grid cells.
    rng : numpy.random.Generator
    wrap_x : bool
        Whether the columns close on themselves.

    Returns
    -------
    numpy.ndarray of float32, shape (rows, cols)
    """
    sigma_y, sigma_x = (blur_px, blur_px) if isinstance(blur_px, (int, float)) else blur_px
    # Long waves are made on a coarse grid and enlarged: the same look for a fraction of the time.
    step_y, step_x = max(1, int(sigma_y / 2.0)), max(1, int(sigma_x / 2.0))
    rows, cols = -(-shape[0] // step_y) + 2, max(4, -(-shape[1] // step_x))
    field = rng.standard_normal((rows, cols), dtype=np.float32)
    sigmas = (sigma_y / step_y, sigma_x / step_x)
    field = ndimage.gaussian_filter(
        field, sigmas, mode=("nearest", "wrap" if wrap_x else "nearest")
    )
    if (step_y, step_x) != (1, 1):
        pad = cv2.copyMakeBorder(
            field, 0, 0, 2, 2, cv2.BORDER_WRAP if wrap_x else cv2.BORDER_REFLECT
        )
        scale = shape[1] / cols
        big = cv2.resize(pad, (round((cols + 4) * scale), shape[0]), interpolation=cv2.INTER_CUBIC)
        start = round(2 * scale)
        field = big[:, start : start + shape[1]]
        if field.shape[1] < shape[1]:
            field = np.pad(field, ((0, 0), (0, shape[1] - field.shape[1])), mode="edge")
    field = field[: shape[0]] - field.mean()
    return (field / max(float(field.std()), 1e-6)).astype(np.float32)


def blob_radius(
    angle: FloatArray, diameter_mm: float, raggedness: float, rng: np.random.Generator
) -> FloatArray:
    """Edge of an irregular island, as a radius for each angle, its area that of the asked circle.

    Parameters
    ----------
    angle : numpy.ndarray of float32
        Directions in radians.
    diameter_mm : float
        Diameter of the circle of equal area.
    raggedness : float
        0 for a circle, 0.3 for a torn edge.
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray of float32, the shape of `angle`
        Radius in mm.
    """
    waves = np.arange(2, 8)
    strengths = raggedness * rng.uniform(0.3, 1.0, waves.size) / np.sqrt(waves - 1.0)
    # Equal lobes could cut the island in two: keep the sum of all waves below one.
    strengths *= min(1.0, 0.85 / max(float(strengths.sum()), 1e-9))
    phases = rng.uniform(0, 2 * np.pi, waves.size)
    edge = np.ones_like(angle, dtype=np.float32)
    for wave, strength, phase in zip(waves, strengths, phases, strict=True):
        edge += np.float32(strength) * np.cos(wave * angle + np.float32(phase))
    area_gain = 1.0 + float((strengths**2).sum()) / 2.0
    return (edge * (diameter_mm / 2.0) / np.sqrt(area_gain)).astype(np.float32)
