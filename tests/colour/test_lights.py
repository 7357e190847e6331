"""The chart under real lamps and a real sensor: spectra in, corrected colours out.

Nothing here is made with the arithmetic under test: reflectances of the chart (Ohta 1997),
sensitivities of a camera (measured by the National Physical Laboratory, Darrodi et al. 2015) and
lamps come from colour-science; only the clays and paints are made up, as smooth curves.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from numpy.typing import NDArray

from grader.colour.chart import ChartReading
from grader.colour.difference import ciede2000
from grader.colour.fit import ChartFit, fit_chart
from grader.colour.srgb import (
    LINEAR_RGB_TO_XYZ,
    decode_srgb,
    encode_srgb,
    linear_to_lab,
)
from grader.colour.white import white_balance

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    colour = pytest.importorskip("colour")

Array = NDArray[np.float64]
SHAPE = colour.SpectralShape(400, 700, 10)
WAVELENGTHS: Array = SHAPE.wavelengths
# Auto white balance is never right: warm, cool, and well met; and two exposures.
BALANCES = [(1.0, 1.0, 1.0), (1.12, 1.0, 0.85), (0.93, 1.0, 1.1)]
EXPOSURES = [0.95, 0.5]


def _rise(low: float, high: float, middle_nm: float, width_nm: float) -> Array:
    return low + (high - low) / (1 + np.exp(-(WAVELENGTHS - middle_nm) / width_nm))


# White, cream and red clay, buff clay scorched, grey slip, blue, green and ochre underglaze.
PIECES = np.array(
    [
        _rise(0.60, 0.80, 450, 60),
        _rise(0.25, 0.75, 520, 60),
        _rise(0.05, 0.45, 590, 40),
        _rise(0.08, 0.30, 600, 50),
        _rise(0.30, 0.34, 550, 60),
        0.6 * np.exp(-(((WAVELENGTHS - 460) / 60) ** 2)) + 0.05,
        0.35 * np.exp(-(((WAVELENGTHS - 540) / 45) ** 2)) + 0.06,
        _rise(0.10, 0.60, 560, 25),
    ]
)


def _chart() -> Array:
    spectra = colour.SDS_COLOURCHECKERS["cc_ohta"].values()
    return np.array([sd.copy().align(SHAPE).values for sd in spectra])


def _truth(reflectance: Array) -> Array:
    """CIELAB under D65, straight from the spectra."""
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(SHAPE).values
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
    xyz = (reflectance * light) @ observer / (light @ observer[:, 1])
    return linear_to_lab(xyz @ np.linalg.inv(LINEAR_RGB_TO_XYZ).T).astype(np.float64)


def _camera_levels(
    reflectance: Array, kelvin: float, balance: tuple[float, ...], exposure: float
) -> NDArray[np.uint8]:
    """What the phone writes: sensor, white balance, its daylight matrix, exposure, 8 bit."""
    sensor = colour.MSDS_CAMERA_SENSITIVITIES["Nikon 5100 (NPL)"].copy().align(SHAPE).values
    lamp = colour.sd_blackbody(kelvin, SHAPE).values
    chart = _chart()
    day = colour.SDS_ILLUMINANTS["D65"].copy().align(SHAPE).values
    daylight = (chart * day) @ sensor / (day @ sensor)
    wanted = (
        colour.Lab_to_XYZ(_truth(chart), [0.31271, 0.32902]) @ np.linalg.inv(LINEAR_RGB_TO_XYZ).T
    )
    matrix = np.linalg.lstsq(daylight, wanted, rcond=None)[0]
    raw = (reflectance * lamp) @ sensor / (lamp @ sensor) * np.array(balance)
    return encode_srgb(raw / max(balance) * exposure @ matrix)


@pytest.mark.parametrize("exposure", EXPOSURES)
@pytest.mark.parametrize("balance", BALANCES)
@pytest.mark.parametrize("kelvin", [3000.0, 4000.0, 5500.0, 7000.0])
def test_colours_of_pieces_are_true_with_the_chart_and_worse_without(
    kelvin: float, balance: tuple[float, ...], exposure: float
) -> None:
    levels = _camera_levels(_chart(), kelvin, balance, exposure)
    seen = decode_srgb(levels).astype(np.float64)
    reading = ChartReading(
        linear_rgb=seen,
        clipped=(levels.max(axis=1) >= 252) | (levels.min(axis=1) == 0),
        spoilt=np.zeros(24, dtype=bool),
        outline_px=np.zeros((4, 2)),
        pitch_px=50.0,
    )
    fit = fit_chart(reading)
    assert isinstance(fit, ChartFit)
    pieces = decode_srgb(_camera_levels(PIECES, kelvin, balance, exposure)).astype(np.float64)
    truth = _truth(PIECES)
    error = ciede2000(linear_to_lab(pieces @ fit.matrix.T), truth)
    assert np.median(error) <= 2.0
    assert fit.leave_one_out_de00 <= 3.0
    # Without: exposure and balance stay in. With a grey patch alone the balance is repaired.
    raw = np.median(ciede2000(linear_to_lab(pieces), truth))
    grey = white_balance(seen[21])
    balanced = pieces @ grey.T
    # Brightness is not the grey card's to say, so it is compared at the chart's.
    balanced *= (fit.matrix @ seen[21])[1] / (grey @ seen[21])[1]
    by_grey = np.median(ciede2000(linear_to_lab(balanced), truth))
    assert np.median(error) < raw
    assert by_grey < max(raw, 5.0)


def test_one_piece_under_all_lights_has_one_colour() -> None:
    """Spread over lights, balances and exposures, against an ideal observer of one light."""
    seen = []
    for kelvin in (3000.0, 4000.0, 5500.0, 7000.0):
        for balance in BALANCES[:2]:
            for exposure in EXPOSURES:
                levels = _camera_levels(_chart(), kelvin, balance, exposure)
                fit = fit_chart(
                    ChartReading(
                        decode_srgb(levels).astype(np.float64),
                        (levels.max(axis=1) >= 252) | (levels.min(axis=1) == 0),
                        np.zeros(24, dtype=bool),
                        np.zeros((4, 2)),
                        50.0,
                    )
                )
                assert isinstance(fit, ChartFit)
                pieces = decode_srgb(_camera_levels(PIECES, kelvin, balance, exposure))
                seen.append(linear_to_lab(pieces @ fit.matrix.T))
    lab = np.array(seen, dtype=np.float64)
    spread = ciede2000(lab, np.median(lab, axis=0))
    assert np.median(spread) < 1.0
    assert np.percentile(spread, 90) < 2.5
