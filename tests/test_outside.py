"""Photographs and files that others made, as registry packages carry them.

The folder named by the environment variable GRADER_OUTSIDE holds the unpacked source packages
colour-checker-detection and pillow-heif and Debian's opencv-doc; nothing of it is stored here.
"""

from __future__ import annotations

import base64
import io
import json
import os
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from grader.colour.chart import find_charts
from grader.colour.difference import ciede2000
from grader.colour.fit import ChartFit, fit_chart
from grader.colour.reference import CHART_LAB
from grader.colour.srgb import linear_to_lab
from grader.errors import PhotoError
from grader.photo import read_photo
from grader.scale import find_markers


def _outside(pattern: str) -> list[Path]:
    folder = os.environ.get("GRADER_OUTSIDE", "")
    return sorted(Path(folder).glob(pattern)) if folder else []


def _one(pattern: str) -> Path:
    found = _outside(pattern)
    if not found:
        pytest.skip(f"GRADER_OUTSIDE holds no {pattern}")
    return found[0]


# --- real chart photographs ----------------------------------------------------------------


def _chart_photos() -> list[np.ndarray]:
    """Pictures that the chart package's own notebook shows, photographs among diagrams."""
    book = json.loads(
        _one(
            "colour_checker_detection-*/colour_checker_detection/examples/"
            "examples_detection_segmentation.ipynb"
        ).read_text(encoding="utf-8")
    )
    pictures = []
    for cell in book["cells"]:
        for output in cell.get("outputs", []):
            data = output.get("data", {}).get("image/png")
            if data:
                raw = base64.b64decode("".join(data))
                pictures.append(np.array(Image.open(io.BytesIO(raw)).convert("RGB")))
    return pictures


def test_real_chart_photographs_are_found_and_fitted() -> None:
    pictures = _chart_photos()
    # The first two are the photographs as they are: strong warm light, a passport-size and a
    # full-size chart.
    for picture in pictures[:2]:
        readings = find_charts(picture)
        fits = [fit for r in readings if isinstance(fit := fit_chart(r), ChartFit)]
        assert len(fits) == 1
        (fit,) = fits
        assert fit.leave_one_out_de00 < 3.5
        assert fit.used.sum() >= 20
        # Before: 15 dE00 and more off, the light was that warm.
        reading = next(r for r in readings if isinstance(fit_chart(r), ChartFit))
        raw = ciede2000(linear_to_lab(reading.linear_rgb), CHART_LAB)
        assert raw.mean() > 10
    found = [[fit_chart(reading) for reading in find_charts(picture)] for picture in pictures[2:]]
    accepted = [fit for fits in found for fit in fits if isinstance(fit, ChartFit)]
    # Four charts more, with lines drawn over them and in two rooms; diagrams give none that is
    # worse than the gate.
    assert len(accepted) >= 4
    assert max(fit.leave_one_out_de00 for fit in accepted) <= 6


# --- real HEIC files -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "size_px", "focal_35mm", "year"),
    [
        ("heif_other/pug.heic", (4032, 3024), 26, 2023),  # Display P3
        ("heif_other/arrow.heic", (3024, 4032), 28, 2018),  # Display P3, orientation 6
        ("heif_special/guitar_cw90.hif", (4672, 7008), 35, 2023),  # a camera's, turned, 33 MP
        ("heif_special/xiaomi.heic", (2592, 1944), 48, 2023),
        ("heif_special/aux_YCbCr.heic", (4000, 1848), 115, 2025),  # P3, another profile
        ("heif_other/cat.hif", (4240, 2832), 48, 2020),
    ],
)
def test_real_heic_photos(
    name: str, size_px: tuple[int, int], focal_35mm: float, year: int
) -> None:
    photo = read_photo(_one(f"pillow_heif-*/tests/images/{name}"))
    assert photo.rgb.shape == (size_px[1], size_px[0], 3)
    assert photo.focal_35mm == focal_35mm
    assert photo.captured_at is not None and photo.captured_at.year == year
    assert photo.notes == ()
    # A picture, not a black or grey one.
    assert photo.rgb.std() > 20


def test_display_p3_of_a_phone_is_converted() -> None:
    path = _one("pillow_heif-*/tests/images/heif_other/pug.heic")
    rgb = read_photo(path).rgb.astype(np.int16)
    with Image.open(path) as image:
        raw = np.asarray(image.convert("RGB")).astype(np.int16)
    colourful = np.ptp(raw, axis=2) > 40
    assert colourful.any()
    # sRGB needs larger differences between the channels for the same colour.
    assert np.ptp(rgb[colourful], axis=1).mean() > np.ptp(raw[colourful], axis=1).mean() + 2


@pytest.mark.parametrize(
    "pattern",
    [
        "heif_corrupted/corrupted.heic",
        "heif_corrupted/corrupted.hif",
        "heif_corrupted/empty.heic",
        "heif_special/200MP.heic",
    ],
)
def test_broken_and_huge_heic_files_are_errors(pattern: str) -> None:
    with pytest.raises(PhotoError):
        read_photo(_one(f"pillow_heif-*/tests/images/{pattern}"))


def test_no_file_of_that_package_does_anything_but_read_or_say_why() -> None:
    _one("pillow_heif-*/tests/images/heif/*.heif")
    files = _outside("pillow_heif-*/tests/images/**/*.*")
    read = 0
    for path in files:
        try:
            photo = read_photo(path)
        except PhotoError:
            continue
        read += 1
        assert photo.rgb.ndim == 3 and photo.rgb.shape[2] == 3 and photo.rgb.dtype == np.uint8
    assert read > 20


# --- a real photograph of markers ----------------------------------------------------------


def test_markers_on_a_real_photograph() -> None:
    path = _one("opencv-doc/usr/share/doc/opencv-doc/**/singlemarkersoriginal.jpg")
    rgb = read_photo(path).rgb
    markers = find_markers(rgb, dictionary=cv2.aruco.DICT_6X6_250)
    assert sorted(marker.number for marker in markers) == [23, 40, 62, 98, 124, 203]
    for marker in markers:
        # The cards lie on a table seen from above at a slant.
        assert 5 < marker.tilt_deg < 70
        assert cv2.contourArea(marker.card_px.astype(np.float32)) > cv2.contourArea(
            marker.corners_px.astype(np.float32)
        )
    assert find_markers(rgb) == ()
