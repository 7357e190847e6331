"""How different two colours look."""

from __future__ import annotations

from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray
from skimage.color import deltaE_ciede2000

OBJECTED_DE00 = 1.8
"""What half of observers object to on a field of colour (Paravina et al. 2015)."""


def ciede2000(lab1: ArrayLike, lab2: ArrayLike) -> NDArray[np.floating]:
    """Colour difference CIEDE2000 with kL = kC = kH = 1.

    Parameters
    ----------
    lab1, lab2 : array_like of float, shape (..., 3)
        CIELAB; the shapes are broadcast against each other.

    Returns
    -------
    ndarray, shape (...)
        float32 where both are float32 (0.2 s a megapixel), else float64. 0.8 is seen by half of
        observers, `OBJECTED_DE00` is objected to by half (Paravina et al. 2015).

    References
    ----------
    Sharma, Wu & Dalal (2005), Color Research & Application 30(1), doi:10.1002/col.20070.
    """
    one, two = np.asarray(lab1), np.asarray(lab2)
    depth = max(one.ndim, two.ndim)
    # The library wants as many axes on both sides.
    one = one.reshape((1,) * (depth - one.ndim) + one.shape)
    two = two.reshape((1,) * (depth - two.ndim) + two.shape)
    return cast("NDArray[np.floating]", np.asarray(deltaE_ciede2000(one, two)))
