"""Colour arithmetic of the picture generator: CIELAB (D65), linear sRGB, Planckian light."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float32]

# IEC 61966-2-1 primaries and D65 white point (linear sRGB to CIE XYZ).
_RGB_TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ],
    dtype=np.float32,
)
_XYZ_TO_RGB = np.linalg.inv(_RGB_TO_XYZ.astype(np.float64)).astype(np.float32)
_WHITE = _RGB_TO_XYZ.sum(axis=1)
# CIE 15: the two constants of the lightness function.
_EPSILON = 216.0 / 24389.0
_KAPPA = 24389.0 / 27.0
# No fired clay or paper is blacker or whiter than this, and the renderer needs albedo below one.
ALBEDO_MIN = 0.004
ALBEDO_MAX = 0.92


def lab_to_linear(lab: npt.ArrayLike) -> FloatArray:
    """Turn CIELAB (D65) into linear sRGB, held inside what a surface can reflect.

    Parameters
    ----------
    lab : array_like of float, shape (..., 3)
        L* in [0, 100], a* and b*.

    Returns
    -------
    numpy.ndarray of float32, shape (..., 3)
        Linear reflectance in [0.004, 0.92].
    """
    values = np.asarray(lab, dtype=np.float32)
    f_y = (values[..., 0] + 16.0) / 116.0
    f = np.stack([f_y + values[..., 1] / 500.0, f_y, f_y - values[..., 2] / 200.0], axis=-1)
    cubed = f**3
    xyz = np.where(cubed > _EPSILON, cubed, (116.0 * f - 16.0) / _KAPPA) * _WHITE
    return np.clip(xyz @ _XYZ_TO_RGB.T, ALBEDO_MIN, ALBEDO_MAX).astype(np.float32)


def linear_to_lab(rgb: npt.ArrayLike) -> FloatArray:
    """Turn linear sRGB into CIELAB (D65).

    Parameters
    ----------
    rgb : array_like of float, shape (..., 3)
        Linear sRGB, 1.0 for the white.

    Returns
    -------
    numpy.ndarray of float32, shape (..., 3)
        L*, a*, b*.
    """
    xyz = (np.asarray(rgb, dtype=np.float32) @ _RGB_TO_XYZ.T) / _WHITE
    f = np.where(xyz > _EPSILON, np.cbrt(np.maximum(xyz, 0)), (_KAPPA * xyz + 16.0) / 116.0)
    lab = [
        116.0 * f[..., 1] - 16.0,
        500.0 * (f[..., 0] - f[..., 1]),
        200.0 * (f[..., 1] - f[..., 2]),
    ]
    return np.stack(lab, axis=-1).astype(np.float32)


def shift_lab(
    rgb: FloatArray, shift: tuple[float, float, float], amount: FloatArray | float
) -> FloatArray:
    """Move linear colours by a CIELAB shift, scaled for each texel.

    Parameters
    ----------
    rgb : numpy.ndarray of float32, shape (..., 3)
    shift : tuple of float
        Change of L*, a*, b* where `amount` is one.
    amount : numpy.ndarray of float32, shape (...), or float
        Share of the shift, 0 to 1.

    Returns
    -------
    numpy.ndarray of float32, shape (..., 3)
    """
    share = np.asarray(amount, dtype=np.float32)[..., None]
    return lab_to_linear(linear_to_lab(rgb) + share * np.asarray(shift, dtype=np.float32))


def encode_srgb(linear: FloatArray) -> FloatArray:
    """Apply the sRGB transfer curve (IEC 61966-2-1) to values clipped to [0, 1]."""
    clipped = np.clip(linear, 0.0, 1.0)
    high = 1.055 * np.power(np.maximum(clipped, 1e-6), np.float32(1 / 2.4)) - 0.055
    return np.where(clipped <= 0.0031308, 12.92 * clipped, high).astype(np.float32)


def planckian_rgb(temperature_k: float) -> FloatArray:
    """Colour of a glowing body as linear sRGB with luminance one.

    Parameters
    ----------
    temperature_k : float
        Correlated colour temperature in kelvin, 1667 to 25000.

    Returns
    -------
    numpy.ndarray of float32, shape (3,)

    References
    ----------
    Kim et al. 2002 (US patent 7024034), cubic fit of the Planckian locus; coefficients from memory,
    checked in the tests against D65's neighbourhood and the order warm to cool.
    """
    t = 1000.0 / temperature_k
    if temperature_k < 4000:
        x = -0.2661239 * t**3 - 0.2343589 * t**2 + 0.8776956 * t + 0.179910
    else:
        x = -3.0258469 * t**3 + 2.1070379 * t**2 + 0.2226347 * t + 0.240390
    if temperature_k < 2222:
        y = -1.1063814 * x**3 - 1.34811020 * x**2 + 2.18555832 * x - 0.20219683
    elif temperature_k < 4000:
        y = -0.9549476 * x**3 - 1.37418593 * x**2 + 2.09137015 * x - 0.16748867
    else:
        y = 3.0817580 * x**3 - 5.87338670 * x**2 + 3.75112997 * x - 0.37001483
    xyz = np.array([x / y, 1.0, (1.0 - x - y) / y], dtype=np.float32)
    return np.maximum(_XYZ_TO_RGB @ xyz, 0.02).astype(np.float32)
