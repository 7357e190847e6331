"""Marker, chart and paper together: what a photo can be measured with."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from grader.colour.difference import ciede2000
from grader.colour.reference import CHART_LAB, CHART_LINEAR
from grader.colour.srgb import linear_to_lab
from grader.photo import Photo
from grader.target import Target, apply_session, read_target, session_colour
from tests.scenes import (
    CHART_MM,
    Camera,
    backdrop,
    card_corners,
    chart_texture,
    develop,
    marker_texture,
    paste,
)

CAMERA = Camera(size_px=(1600, 1200))
DISTANCE_MM = 450.0


def _photo(
    *,
    marker: int | None = 7,
    chart: bool = True,
    gains: tuple[float, float, float] = (0.8, 0.7, 0.5),
    ground: tuple[float, float, float] = (0.45, 0.45, 0.45),
    name: str = "K07/front.jpg",
) -> Photo:
    picture = backdrop(CAMERA, ground)
    if marker is not None:
        card = card_corners(28, 28, (70, 40, DISTANCE_MM))
        picture = paste(picture, marker_texture(marker), card, CAMERA)
    if chart:
        card = card_corners(*CHART_MM, (-60, 30, DISTANCE_MM), lean_deg=8)
        picture = paste(picture, chart_texture(), card, CAMERA)
    rgb = develop(picture, gains=gains)
    return Photo(name=name, path=Path(name), rgb=rgb, focal_35mm=CAMERA.focal_35mm)


def _error(target: Target, gains: tuple[float, float, float]) -> float:
    seen = CHART_LINEAR * np.array(gains)
    return float(ciede2000(linear_to_lab(seen @ target.colour.matrix.T), CHART_LAB).mean())


def test_marker_and_chart() -> None:
    target = read_target(_photo())
    assert target.scale.source == "marker"
    assert target.scale.px_per_mm == pytest.approx(CAMERA.focal_px / DISTANCE_MM, rel=0.01)
    assert target.scale.marker_px is not None and target.scale.marker_px.shape == (4, 2)
    assert target.colour.source == "chart"
    assert target.colour.leave_one_out_de00 is not None
    assert target.colour.leave_one_out_de00 < 1.5
    assert target.colour.patches_used >= 22
    assert len(target.cards_px) == 2
    assert target.notes == ()
    assert _error(target, (0.8, 0.7, 0.5)) < 1.5


def test_a_larger_marker_means_fewer_pixels_per_mm() -> None:
    photo = _photo(chart=False)
    twenty, forty = read_target(photo), read_target(photo, marker_mm=40.0)
    assert twenty.scale.px_per_mm is not None and forty.scale.px_per_mm is not None
    assert forty.scale.px_per_mm == pytest.approx(twenty.scale.px_per_mm / 2, rel=1e-6)


def test_height_takes_the_place_of_a_marker_and_its_absence_is_said() -> None:
    photo = _photo(marker=None)
    by_height = read_target(photo, height_px_and_mm=(540.0, 90.0))
    assert (by_height.scale.source, by_height.scale.px_per_mm) == ("height", 6.0)
    nothing = read_target(photo)
    assert nothing.scale.source is None and nothing.scale.px_per_mm is None
    assert any("share of the height" in note for note in nothing.notes)
    with_marker = read_target(_photo(), height_px_and_mm=(540.0, 90.0))
    assert with_marker.scale.source == "marker"


def test_two_markers_that_disagree_are_named() -> None:
    picture = backdrop(CAMERA)
    for number, distance in ((7, 450.0), (8, 650.0)):
        card = card_corners(28, 28, (60 if number == 7 else -60, 0, distance))
        picture = paste(picture, marker_texture(number), card, CAMERA)
    target = read_target(Photo("a.jpg", Path("a.jpg"), develop(picture)))
    assert target.scale.px_per_mm == pytest.approx(CAMERA.focal_px / 450.0, rel=0.02)
    assert any("Two markers" in note for note in target.notes)
    assert len(target.cards_px) == 2


def test_without_a_chart_paper_then_backdrop_then_nothing() -> None:
    gains = (0.75, 0.7, 0.62)
    paper = read_target(_photo(chart=False, gains=gains))
    assert paper.colour.source == "backdrop"
    assert any("paper" in note for note in paper.notes)
    ground = read_target(_photo(chart=False, marker=None, gains=gains))
    assert ground.colour.source == "backdrop"
    nothing = read_target(_photo(chart=False, marker=None, gains=gains, ground=(0.5, 0.3, 0.15)))
    assert nothing.colour.source is None
    assert np.array_equal(nothing.colour.matrix, np.eye(3))
    # The less there is, the wider the limits.
    chart = read_target(_photo(gains=gains))
    widths = [t.colour.expected_de00 for t in (chart, paper, ground, nothing)]
    assert widths == sorted(widths) and len(set(widths)) == 4
    # The cast is gone with paper; only brightness stays as it was.
    for target in (paper, ground):
        lab = linear_to_lab(target.colour.matrix @ (np.array(gains) * 0.4))
        assert np.hypot(lab[1], lab[2]) < 2.0


def test_an_over_exposed_chart_is_refused_and_said() -> None:
    target = read_target(_photo(gains=(1.7, 1.7, 1.7)))
    assert target.colour.source != "chart"
    assert target.chart_refused
    assert any("exposed" in note for note in target.notes)
    # It is a card all the same.
    assert len(target.cards_px) == 2


def test_one_chart_serves_a_session_in_fixed_light() -> None:
    with_chart = read_target(_photo(name="chart.jpg"))
    # The phone has changed exposure and white balance meanwhile.
    gains = (0.55, 0.6, 0.5)
    other = read_target(_photo(chart=False, gains=gains))
    session = session_colour((other, with_chart))
    assert session is not None and session.from_photo == "chart.jpg"
    served = apply_session(other, session)
    assert served.colour.source == "chart"
    assert served.colour.expected_de00 > with_chart.colour.expected_de00
    assert any("chart.jpg" in note for note in served.notes)
    assert _error(served, gains) < 1.5
    assert _error(other, gains) > 5
    assert read_target(_photo(chart=False, gains=gains), session_colour=session).colour.source
    # Its own chart is better than anybody else's.
    assert apply_session(with_chart, session) is with_chart
    assert session_colour((other,)) is None


def test_the_surroundings_tie_photos_without_paper() -> None:
    with_chart = read_target(_photo(name="chart.jpg", gains=(0.8, 0.7, 0.6)))
    gains = (0.7, 0.65, 0.58)
    session = session_colour(
        (replace(with_chart, colour=replace(with_chart.colour, paper_linear=None)),)
    )
    other = read_target(_photo(chart=False, marker=None, gains=gains))
    assert session is not None
    served = apply_session(other, session)
    assert served.colour.source == "chart"
    assert _error(served, gains) < 2.0


def test_a_chart_from_another_light_or_table_is_not_used() -> None:
    session = session_colour((read_target(_photo(name="chart.jpg", gains=(0.8, 0.8, 0.8))),))
    assert session is not None
    other_lamp = apply_session(read_target(_photo(chart=False, gains=(0.9, 0.6, 0.25))), session)
    assert other_lamp.colour.source != "chart"
    assert any("differs" in note for note in other_lamp.notes)
    other_table = apply_session(
        read_target(_photo(chart=False, marker=None, ground=(0.4, 0.25, 0.15))), session
    )
    assert other_table.colour.source != "chart"


def test_a_picture_of_nothing() -> None:
    for shape in ((1, 1, 3), (1, 3000, 3), (40, 30, 3)):
        target = read_target(Photo("x.png", Path("x.png"), np.zeros(shape, dtype=np.uint8)))
        assert target.scale.source is None and target.colour.source is None
        assert target.cards_px == ()


def test_a_chart_that_is_washed_out_is_no_part_of_the_piece() -> None:
    target = read_target(_photo(gains=(2.6, 2.6, 2.6)))
    assert target.colour.source != "chart"
    assert target.chart_refused
    assert len(target.cards_px) == 2
