"""Millimetres against projected geometry, where the true scale is known."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.scale import (
    Marker,
    find_markers,
    focal_px,
    near_surface_px_per_mm,
    scale_at_row,
    surface_px_per_mm,
)
from tests.scenes import Camera, backdrop, card_corners, develop, marker_texture, paste

MARKER_MM = 20.0
BORDER = 0.2


def _shoot(
    camera: Camera,
    distance_mm: float,
    *,
    at_mm: tuple[float, float] = (60.0, 40.0),
    lean_deg: float = 0.0,
    turn_deg: float = 0.0,
    roll_deg: float = 0.0,
    paper: float = 0.85,
    ground: float = 0.45,
    number: int = 7,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the picture, and the true corners of the black square and of the card, in px."""
    middle = (*at_mm, distance_mm)
    side = MARKER_MM * (1 + 2 * BORDER)
    tilt = {"lean_deg": lean_deg, "turn_deg": turn_deg, "roll_deg": roll_deg}
    card = card_corners(side, side, middle, **tilt)
    square = card_corners(MARKER_MM, MARKER_MM, middle, **tilt)
    picture = backdrop(camera, (ground, ground, ground))
    picture = paste(picture, marker_texture(number, BORDER, paper), card, camera)
    return develop(picture), camera.project(square), camera.project(card)


def _one(rgb: np.ndarray, focal_35mm: float | None = None) -> Marker:
    (marker,) = find_markers(rgb, marker_mm=MARKER_MM, focal_35mm=focal_35mm)
    return marker


@pytest.mark.parametrize("distance_mm", [250.0, 500.0, 900.0])
@pytest.mark.parametrize("roll_deg", [0.0, 33.0, 180.0])
def test_corners_to_a_fraction_of_a_pixel(distance_mm: float, roll_deg: float) -> None:
    camera = Camera()
    rgb, square, card = _shoot(camera, distance_mm, roll_deg=roll_deg, at_mm=(30.0, 20.0))
    marker = _one(rgb)
    assert marker.number == 7
    # Clockwise as printed, whichever way up it stands.
    assert np.abs(marker.corners_px - square).max() < 0.3
    assert marker.px_per_mm == pytest.approx(camera.focal_px / distance_mm, rel=0.005)
    # The card is not much larger than it is, and never smaller.
    assert np.abs(marker.card_px - card).max() < 3 + 0.02 * np.ptp(card[:, 0])
    assert cv2.contourArea(marker.card_px.astype(np.float32)) >= 0.99 * cv2.contourArea(
        card.astype(np.float32)
    )


@pytest.mark.parametrize("focal_35mm", [26.0, 52.0, 77.0])
@pytest.mark.parametrize(
    ("lean_deg", "turn_deg"), [(0, 0), (15, 0), (-20, 10), (0, 30), (30, -25), (5, 40)]
)
def test_the_tilt_of_the_marker_is_taken_out(
    focal_35mm: float, lean_deg: float, turn_deg: float
) -> None:
    camera = Camera(focal_35mm=focal_35mm)
    # So that the field is 250 mm wide, with the marker in its outer third.
    distance = 250.0 * camera.focal_px / camera.size_px[0]
    rgb, _, _ = _shoot(camera, distance, lean_deg=lean_deg, turn_deg=turn_deg, at_mm=(85, 50))
    truth = camera.focal_px / distance
    with_lens, without = _one(rgb, focal_35mm), _one(rgb)
    assert with_lens.px_per_mm == pytest.approx(truth, rel=0.01)
    assert with_lens.tilt_deg == pytest.approx(
        math.degrees(
            math.acos(math.cos(math.radians(lean_deg)) * math.cos(math.radians(turn_deg)))
        ),
        abs=6,
    )
    # Without the lens known the tilt of an outer marker in a wide picture is less sure.
    limit = 0.06 if focal_35mm < 35 else 0.025
    assert without.px_per_mm == pytest.approx(truth, rel=limit)


def test_a_clipped_card_has_no_paper_colour_and_a_grey_one_has() -> None:
    camera = Camera()
    rgb, _, _ = _shoot(camera, 400, paper=0.6)
    paper = _one(rgb).paper_linear
    assert paper is not None
    assert np.allclose(paper, 0.6, atol=0.03)
    rgb, _, _ = _shoot(camera, 400, paper=1.4)
    assert _one(rgb).paper_linear is None


def test_white_card_on_white_paper_still_has_an_outline() -> None:
    camera = Camera()
    rgb, _, card = _shoot(camera, 400, paper=0.7, ground=0.75)
    assert np.abs(_one(rgb).card_px - card).max() < 0.1 * MARKER_MM * camera.focal_px / 400


def test_no_marker_too_small_a_marker_and_another_alphabet() -> None:
    camera = Camera()
    plain = develop(backdrop(camera))
    assert find_markers(plain) == ()
    tiny, _, _ = _shoot(camera, 4000)
    assert find_markers(tiny) == ()
    noise = np.random.default_rng(3).integers(0, 256, (1500, 2000, 3), dtype=np.uint8)
    assert find_markers(noise) == ()


def test_squares_without_paper_around_them_are_no_markers() -> None:
    # A pattern painted on dark clay: right modules, but nothing bright around the square.
    camera = Camera()
    texture = marker_texture(7, 0.2)
    texture[texture > 0.5] = 0.06
    card = card_corners(28, 28, (0, 0, 400))
    rgb = develop(paste(backdrop(camera, (0.06, 0.06, 0.06)), texture, card, camera))
    assert find_markers(rgb) == ()


# --- the near surface ----------------------------------------------------------------------


def _near_truth(camera: Camera, radius_mm: float, distance_mm: float) -> tuple[float, float]:
    """True px per mm on the nearest line of a cylinder, and its width in the picture."""
    mark = np.array([[-0.5, 0, distance_mm - radius_mm], [0.5, 0, distance_mm - radius_mm]])
    left, right = camera.project(mark)
    azimuth = np.linspace(0, 2 * np.pi, 20_001)
    ring = np.stack(
        [
            radius_mm * np.sin(azimuth),
            np.zeros_like(azimuth),
            distance_mm - radius_mm * np.cos(azimuth),
        ],
        axis=1,
    )
    return float(right[0] - left[0]), float(np.ptp(camera.project(ring)[:, 0]))


@given(
    focal_35mm=st.floats(23, 80),
    radius_mm=st.floats(20, 120),
    share=st.floats(0.15, 0.7),
)
def test_near_surface_with_the_lens_known(
    focal_35mm: float, radius_mm: float, share: float
) -> None:
    camera = Camera(focal_35mm=focal_35mm)
    # The piece fills a share of the width of the picture.
    distance = radius_mm * 2 / share * camera.focal_px / camera.size_px[0]
    truth, width = _near_truth(camera, radius_mm, distance)
    near = near_surface_px_per_mm(camera.focal_px / distance, camera.size_px, focal_35mm, width)
    assert near.px_per_mm == pytest.approx(truth, rel=0.001)
    assert near.error_share <= 0.04
    # Five percent of error in the lens and in the width stay within 4 %.
    if share < 0.5 and focal_35mm >= 35:
        rough = near_surface_px_per_mm(
            camera.focal_px / distance, camera.size_px, focal_35mm * 1.05, width * 0.98
        )
        assert rough.px_per_mm == pytest.approx(truth, rel=0.04)


@given(
    focal_35mm=st.floats(24, 80),
    radius_mm=st.floats(20, 120),
    share=st.floats(0.15, 0.6),
)
def test_near_surface_without_the_lens_states_its_error(
    focal_35mm: float, radius_mm: float, share: float
) -> None:
    camera = Camera(focal_35mm=focal_35mm)
    distance = radius_mm * 2 / share * camera.focal_px / camera.size_px[0]
    truth, width = _near_truth(camera, radius_mm, distance)
    near = near_surface_px_per_mm(camera.focal_px / distance, camera.size_px, None, width)
    assert abs(near.px_per_mm / truth - 1) <= near.error_share


def test_the_scale_between_the_nearest_line_and_the_outline() -> None:
    camera, radius, distance = Camera(), 40.0, 420.0
    truth, width = _near_truth(camera, radius, distance)
    axis = camera.focal_px / distance
    near = near_surface_px_per_mm(axis, camera.size_px, camera.focal_35mm, width)
    scales = surface_px_per_mm(near, axis, [0.0, 0.6, 1.0, -1.3])
    assert scales[0] == pytest.approx(truth, rel=0.001)
    assert scales[1] == pytest.approx(camera.focal_px / (distance - 0.8 * radius), rel=0.001)
    assert scales[2] == scales[3] == pytest.approx(axis)


def test_focal_length_of_the_35_mm_format() -> None:
    # 36 mm wide frame: a 36 mm lens sees as far as the frame is wide.
    assert focal_px((3600, 2400), 36.0) == pytest.approx(3600)


@pytest.mark.parametrize("focal_35mm", [26.0, 35.0, 52.0, 77.0])
@pytest.mark.parametrize("pitch_deg", [0.0, 10.0, 20.0, 30.0])
def test_a_card_on_the_table_gives_the_scale_of_the_piece_above_it(
    focal_35mm: float, pitch_deg: float
) -> None:
    """From pixels to the near surface: an upright card, a camera that looks down on a beaker."""
    camera = Camera(focal_35mm=focal_35mm)
    radius, height, card_height = 40.0, 100.0, 14.0
    pitch = np.radians(pitch_deg)
    # The beaker fills 45 % of the height of the picture.
    distance = height / 0.45 * camera.focal_px / camera.size_px[1]

    def seen(points_mm: np.ndarray) -> np.ndarray:
        """World (right, up, away), origin in the middle of the beaker, to the camera's."""
        right, up, away = points_mm.T
        return np.stack(
            [
                right,
                -up * np.cos(pitch) - away * np.sin(pitch),
                distance - up * np.sin(pitch) + away * np.cos(pitch),
            ],
            axis=1,
        )

    card_middle = np.array([radius + 22.0, card_height - height / 2, 0.0])
    half = 14.0
    corners = card_middle + half * np.array([[-1, 1, 0], [1, 1, 0], [1, -1, 0], [-1, -1, 0]])
    picture = paste(backdrop(camera), marker_texture(), seen(corners), camera)
    marker = _one(develop(picture), focal_35mm)
    assert marker.px_per_mm == pytest.approx(
        camera.focal_px / seen(card_middle[None])[0, 2], rel=0.02
    )
    assert marker.pitch_deg == pytest.approx(pitch_deg, abs=5)

    around = np.linspace(0, 2 * np.pi, 721)
    ring = np.stack([radius * np.sin(around), np.zeros(721), radius * np.cos(around)], axis=1)
    width = float(np.ptp(camera.project(seen(ring))[:, 0]))
    middle_row = float(camera.project(seen(np.zeros((1, 3))))[0, 1])
    axis = scale_at_row(
        marker.px_per_mm,
        camera.size_px,
        focal_35mm,
        pitch_deg=marker.pitch_deg,
        from_row_px=float(marker.corners_px[:, 1].mean()),
        to_row_px=middle_row,
    )
    assert axis == pytest.approx(camera.focal_px / distance, rel=0.02)
    near = near_surface_px_per_mm(
        axis, camera.size_px, focal_35mm, width, pitch_deg=marker.pitch_deg
    )
    speck = np.array([[-0.5, 0.0, -radius], [0.5, 0.0, -radius]])
    left, right = camera.project(seen(speck))
    assert near.px_per_mm == pytest.approx(float(right[0] - left[0]), rel=0.03)
