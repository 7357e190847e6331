"""The chart: found at any place and tilt, refused where it cannot be believed."""

from __future__ import annotations

import subprocess
import sys
import textwrap

import cv2
import numpy as np
import pytest

from grader.colour.chart import find_charts
from grader.colour.difference import ciede2000
from grader.colour.fit import ChartFit, ChartRefusal, fit_chart
from grader.colour.reference import CHART_LAB, CHART_LINEAR
from grader.colour.srgb import linear_to_lab
from tests.scenes import (
    CHART_MM,
    Camera,
    backdrop,
    card_corners,
    chart_texture,
    develop,
    paste,
)

CAMERA = Camera()
# A camera that mixes its channels and is not balanced.
MIX = np.array([[0.80, 0.14, 0.02], [0.06, 0.86, 0.08], [0.02, 0.12, 0.90]])


def _shoot(
    texture: np.ndarray, *, gains: tuple[float, float, float] = (1, 1, 1), **tilt: float
) -> tuple[np.ndarray, np.ndarray]:
    corners = card_corners(*CHART_MM, (-40.0, 15.0, 480.0), **tilt)
    picture = paste(backdrop(CAMERA), texture, corners, CAMERA)
    return develop(picture, gains=gains), CAMERA.project(corners)


def _fit(rgb: np.ndarray) -> ChartFit | ChartRefusal | None:
    readings = find_charts(rgb)
    return fit_chart(readings[0]) if readings else None


@pytest.mark.parametrize(
    "tilt",
    [
        {},
        {"lean_deg": 25.0},
        {"turn_deg": -30.0},
        {"roll_deg": 20.0},
        {"roll_deg": 90.0},
        {"roll_deg": 180.0},
        {"roll_deg": -70.0, "lean_deg": 15.0, "turn_deg": 15.0},
    ],
)
def test_colours_come_back_at_any_tilt(tilt: dict[str, float]) -> None:
    rgb, corners = _shoot(chart_texture(CHART_LINEAR @ MIX.T), gains=(0.9, 0.8, 0.6), **tilt)
    (reading,) = find_charts(rgb)
    fit = fit_chart(reading)
    assert isinstance(fit, ChartFit)
    assert fit.leave_one_out_de00 < 1.5
    # What the fit does to other colours than its patches, of known truth.
    other = np.random.default_rng(2).uniform(0.05, 0.7, (50, 3))
    seen = other @ MIX.T * np.array([0.9, 0.8, 0.6])
    error = ciede2000(linear_to_lab(seen @ fit.matrix.T), linear_to_lab(other))
    assert np.median(error) < 1.5
    # The outline is the card's, whichever corner comes first.
    distance = np.linalg.norm(reading.outline_px[:, None] - corners[None], axis=2).min(axis=1)
    assert distance.max() < 8


def test_a_chart_at_the_edge_of_the_picture_uses_what_is_there() -> None:
    corners = card_corners(*CHART_MM, (-122.0, 15.0, 480.0))
    rgb = develop(paste(backdrop(CAMERA), chart_texture(), corners, CAMERA))
    assert CAMERA.project(corners)[0, 0] < 0
    fit = _fit(rgb)
    assert isinstance(fit, ChartFit)
    assert 18 <= fit.used.sum() < 24


def test_a_finger_on_one_patch_is_left_out() -> None:
    texture = chart_texture()
    height, width = texture.shape[:2]
    texture[: height // 4, width // 2 : width * 2 // 3] = (0.45, 0.25, 0.17)
    rgb, _ = _shoot(texture)
    fit = _fit(rgb)
    assert isinstance(fit, ChartFit)
    assert not fit.used[3]
    assert ciede2000(linear_to_lab(CHART_LINEAR @ fit.matrix.T), CHART_LAB).mean() < 2


@pytest.mark.parametrize("share", [0.4, 0.6, 0.9])
def test_a_covered_chart_is_never_believed(share: float) -> None:
    texture = chart_texture()
    texture[:, : int(texture.shape[1] * share)] = (0.5, 0.45, 0.35)
    rgb, _ = _shoot(texture)
    assert not isinstance(_fit(rgb), ChartFit)


@pytest.mark.parametrize("exposure", [2.2, 4.0, 20.0, 0.004])
def test_an_over_or_under_exposed_chart_is_never_believed(exposure: float) -> None:
    rgb, _ = _shoot(chart_texture(), gains=(exposure, exposure, exposure))
    assert not isinstance(_fit(rgb), ChartFit)


def test_other_squares_are_no_chart() -> None:
    rng = np.random.default_rng(7)
    for colours in (
        rng.uniform(0.03, 0.9, (24, 3)),
        CHART_LINEAR[rng.permutation(24)],
        np.repeat(np.linspace(0.9, 0.05, 24)[:, None], 3, axis=1),
    ):
        rgb, _ = _shoot(chart_texture(colours))
        fit = _fit(rgb)
        assert not isinstance(fit, ChartFit)
        assert fit is None or not fit.is_chart


@pytest.mark.parametrize("exposure", [1.0, 2.2, 3.0])
def test_a_washed_out_chart_is_known_for_a_card_by_its_form(exposure: float) -> None:
    rgb, corners = _shoot(chart_texture(), gains=(exposure, exposure, exposure), lean_deg=20.0)
    (reading,) = find_charts(rgb)
    assert reading.is_card
    off = np.linalg.norm(reading.outline_px[:, None] - corners[None], axis=-1).min(0)
    assert off.max() < 0.3 * reading.pitch_px


def test_what_has_no_gaps_or_few_colours_is_no_card_by_its_form() -> None:
    """A chequer of two paints in dark lines; a quilt of many colours without any."""
    two = np.where(np.arange(24)[:, None] % 2 == 0, 0.6, [[0.5, 0.1, 0.05]])
    patched = CHART_LINEAR[np.arange(24)]
    texture = chart_texture(patched)
    height, width = texture.shape[:2]
    rows, cols = np.mgrid[:height, :width]
    quilt = patched[(rows * 4 // height) * 6 + cols * 6 // width]
    for squares in (chart_texture(two), quilt):
        assert not any(each.is_card for each in find_charts(_shoot(squares)[0]))


def test_a_search_that_breaks_off_finds_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    class Broken:
        @staticmethod
        def create() -> Broken:
            return Broken()

        def setColorChartType(self, kind: int) -> None:
            assert kind == cv2.mcc.MCC24

        def process(self, picture: np.ndarray, most: int) -> bool:
            raise cv2.error("no solution")

    monkeypatch.setattr(cv2.mcc, "CCheckerDetector", Broken)
    assert find_charts(_shoot(chart_texture())[0]) == ()


def test_two_charts_side_by_side_and_half_over_each_other() -> None:
    left = card_corners(*CHART_MM, (-48.0, 15.0, 480.0))
    for shift in (95.0, 30.0):
        right = left + np.array([shift, 0.0, 0.0])
        picture = paste(backdrop(CAMERA), chart_texture(), left, CAMERA)
        rgb = develop(paste(picture, chart_texture(), right, CAMERA), gains=(0.8, 0.7, 0.5))
        for reading in find_charts(rgb):
            fit = fit_chart(reading)
            if isinstance(fit, ChartFit):
                seen = CHART_LINEAR * np.array([0.8, 0.7, 0.5])
                error = ciede2000(linear_to_lab(seen @ fit.matrix.T), CHART_LAB)
                assert error.mean() < 2


def test_the_same_answer_every_time() -> None:
    rgb, _ = _shoot(chart_texture(), roll_deg=12.0)
    first, second = _fit(rgb), _fit(rgb)
    assert isinstance(first, ChartFit) and isinstance(second, ChartFit)
    assert np.array_equal(first.matrix, second.matrix)


def test_a_failed_search_does_not_end_the_interpreter() -> None:
    # Touching the detector's result after a failed search is a segmentation fault, which only
    # another process survives.
    program = textwrap.dedent(
        """
        import numpy as np
        from grader.colour.chart import find_charts
        rng = np.random.default_rng(1)
        pictures = [
            np.zeros((600, 800, 3), np.uint8),
            np.full((600, 800, 3), 255, np.uint8),
            rng.integers(0, 256, (600, 800, 3), dtype=np.uint8),
            np.tile(np.uint8([[[0], [255]]]).repeat(40, 0).repeat(40, 1), (8, 8, 3)),
            np.zeros((8, 8, 3), np.uint8),
            np.zeros((1, 3000, 3), np.uint8),
        ]
        for picture in pictures:
            for _ in range(3):
                find_charts(picture)
        print("alive")
        """
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "alive"
