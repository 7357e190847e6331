"""sRGB, light and CIELAB against colour-science and against themselves."""

from __future__ import annotations

import numpy as np
import pytest

from grader.colour.srgb import (
    decode_srgb,
    encode_srgb,
    lab_to_linear,
    linear_to_lab,
    srgb_to_lab,
)


def _some_levels() -> np.ndarray:
    return np.random.default_rng(1).integers(0, 256, (50, 60, 3), dtype=np.uint8)


def test_decoding_against_colour_science() -> None:
    colour = pytest.importorskip("colour")
    levels = np.arange(256, dtype=np.uint8)
    expected = colour.cctf_decoding(levels / 255.0, function="sRGB")
    assert np.abs(decode_srgb(levels) - expected).max() < 1e-6


def test_lab_against_colour_science() -> None:
    colour = pytest.importorskip("colour")
    rgb = _some_levels()
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    expected = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(rgb / 255.0), d65)
    # colour-science uses the four-digit matrix of IEC 61966-2-1, this the seven-digit one.
    assert np.abs(srgb_to_lab(rgb) - expected).max() < 0.03


def test_every_level_survives_decoding_and_encoding() -> None:
    levels = np.arange(256, dtype=np.uint8)
    assert np.array_equal(encode_srgb(decode_srgb(levels)), levels)
    rgb = _some_levels()
    assert np.array_equal(encode_srgb(decode_srgb(rgb)), rgb)


def test_neutrals_have_no_colour_and_white_is_100() -> None:
    greys = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
    lab = srgb_to_lab(greys)
    assert np.abs(lab[:, 1:]).max() < 1e-3
    assert lab[255, 0] == pytest.approx(100, abs=1e-4)
    assert np.all(np.diff(lab[:, 0]) > 0)


def test_shape_does_not_change_the_answer() -> None:
    rgb = _some_levels()
    flat = srgb_to_lab(rgb.reshape(-1, 3))
    assert np.allclose(srgb_to_lab(rgb).reshape(-1, 3), flat, atol=1e-4)
    assert linear_to_lab(np.zeros((0, 3))).shape == (0, 3)
    assert linear_to_lab([1.0, 1.0, 1.0]).shape == (3,)


def test_more_pixels_than_one_block() -> None:
    light = np.random.default_rng(2).random((300, 301, 3), dtype=np.float32)
    assert np.allclose(linear_to_lab(light)[-1, -1], linear_to_lab(light[-1, -1]), atol=1e-4)


def test_lab_back_to_light() -> None:
    light = np.random.default_rng(6).random((200, 3)) * 1.2
    assert np.allclose(lab_to_linear(linear_to_lab(light)), light, atol=1e-4)


def test_light_beyond_white_is_carried_on() -> None:
    assert linear_to_lab([2.0, 2.0, 2.0])[0] > 120
    assert tuple(encode_srgb([2.0, -1.0, 0.5])) == (255, 0, 188)
