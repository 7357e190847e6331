"""The colours that the patches of the standard 24-patch chart should have."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from grader.colour.srgb import D65_WHITE, LINEAR_RGB_TO_XYZ, linear_to_lab

# Chromaticity x, y and luminance Y under D50, 2 degree observer: mean of thirty charts
# (D. Pascale, 2006, "RGB coordinates of the 24-patch chart"). Charts made before and after
# November 2014 differ from it by 0.5 and 0.8 dE00 in the mean and by 1.5 at most, less than a
# phone is off, so that one table serves both.
_CHART_XYY_D50 = np.array(
    [
        [0.4325, 0.3788, 0.1034],  # dark skin
        [0.4191, 0.3748, 0.3525],  # light skin
        [0.2761, 0.3004, 0.1847],  # blue sky
        [0.3700, 0.4501, 0.1335],  # foliage
        [0.3020, 0.2877, 0.2324],  # blue flower
        [0.2856, 0.3910, 0.4174],  # bluish green
        [0.5291, 0.4075, 0.3117],  # orange
        [0.2339, 0.2155, 0.1140],  # purplish blue
        [0.5008, 0.3293, 0.1979],  # moderate red
        [0.3326, 0.2556, 0.0644],  # purple
        [0.3989, 0.4998, 0.4435],  # yellow green
        [0.4962, 0.4428, 0.4358],  # orange yellow
        [0.2040, 0.1696, 0.0579],  # blue
        [0.3270, 0.5033, 0.2307],  # green
        [0.5709, 0.3298, 0.1268],  # red
        [0.4694, 0.4732, 0.6081],  # yellow
        [0.4177, 0.2704, 0.2007],  # magenta
        [0.2151, 0.3037, 0.1903],  # cyan
        [0.3488, 0.3628, 0.9129],  # white, density 0.05
        [0.3451, 0.3596, 0.5885],  # neutral 8, density 0.23
        [0.3446, 0.3590, 0.3595],  # neutral 6.5, density 0.44
        [0.3438, 0.3589, 0.1912],  # neutral 5, density 0.70
        [0.3423, 0.3576, 0.0893],  # neutral 3.5, density 1.05
        [0.3439, 0.3565, 0.0320],  # black, density 1.5
    ]
)
_D50_XY = (0.34567, 0.35850)  # CIE 15, as rounded by ASTM E308

# Bradford cone responses (ICC.1:2010, annex E).
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)

GREY_ROW = slice(18, 24)
"""The six greys of the chart, white first."""


def _chart_linear() -> NDArray[np.float64]:
    x, y, luminance = _CHART_XYY_D50.T
    xyz = np.stack([x / y * luminance, luminance, (1 - x - y) / y * luminance], axis=1)
    d50 = np.array([_D50_XY[0] / _D50_XY[1], 1.0, (1 - sum(_D50_XY)) / _D50_XY[1]])
    gain = (_BRADFORD @ D65_WHITE) / (_BRADFORD @ d50)
    to_d65 = np.linalg.inv(_BRADFORD) @ np.diag(gain) @ _BRADFORD
    return np.asarray(xyz @ to_d65.T @ np.linalg.inv(LINEAR_RGB_TO_XYZ).T)


CHART_LINEAR: NDArray[np.float64] = _chart_linear()
"""Linear sRGB of the patches, shape (24, 3); cyan lies a little outside sRGB."""

CHART_LAB: NDArray[np.float64] = linear_to_lab(CHART_LINEAR).astype(np.float64)
"""CIELAB of the patches under D65, shape (24, 3)."""
