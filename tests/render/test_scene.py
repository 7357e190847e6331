"""One tiny path-traced view: picture and labels show the same piece."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from grader.render import scene
from grader.render.camera import develop, frame_view
from grader.render.canvas import PAINTED
from grader.render.piece import make_piece
from grader.render.samples import sample_jobs
from grader.render.shots import plan_shot, sensor_for
from grader.render.targets import MARKER_CARD_MM, MARKER_ID, MARKER_MM, marker_side_mm
from grader.scale import find_markers


def test_framing_keeps_every_point_in_the_picture() -> None:
    points = np.random.default_rng(0).uniform(-60, 60, (200, 3)) + np.array([0.0, 0.0, 60.0])
    view = frame_view(points, np.array([0, 0, 60.0]), 25.0, 35.0, (640, 480), 0.9)
    px = view.project(points)
    assert (px[:, 0] > 0).all() and (px[:, 0] < 640).all()
    assert (px[:, 1] > 0).all() and (px[:, 1] < 480).all()
    reach = np.abs(px[:, :2] / [320, 240] - 1).max()
    assert reach == pytest.approx(0.9, abs=0.01)


def test_marker_is_twenty_millimetres() -> None:
    # The card is drawn in whole texels; the truth of each picture carries the side as drawn.
    assert abs(marker_side_mm() - MARKER_MM) <= 0.101


def test_without_its_compiler_the_renderer_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(scene, "_find_llvm", lambda: None)
    with pytest.raises(scene.RendererMissingError, match=r"LLVM 17 or newer.*libllvm19"):
        scene.load_mitsuba()


def test_a_rendered_view_agrees_with_its_labels() -> None:
    pytest.importorskip("mitsuba")
    from grader.render.scene import Studio

    job = next(sample_jobs(["M12"]))
    session = replace(job.session, size_px=(160, 120), noise=0.0, blur_px=0.0, chart=False)
    piece = make_piece(job.plan, 2.5)
    shot = plan_shot(piece, session, "front", np.random.default_rng(0))
    with Studio(piece, session.setting) as studio:
        picture = studio.render(shot.view, shot.pose, list(shot.cards), (8, 8), 1)
    assert picture.light.shape == (120, 160, 3)
    on_piece = picture.labels > 0
    # The piece is where projection says that it is.
    ys, _ = np.nonzero(on_piece)
    body = piece.canvases[0].skin.mesh_mm.reshape(-1, 3) @ shot.pose[:3, :3].T + shot.pose[:3, 3]
    px = shot.view.project(body)
    assert abs(ys.max() - px[:, 1].max()) < 2.5 and abs(ys.min() - px[:, 1].min()) < 2.5
    # Cobalt paint is bluer than white clay by far; streaks lie inside it.
    rgb = develop(
        picture.light, sensor_for(session, picture.light, on_piece), np.random.default_rng(0)
    )
    ratio = rgb[..., 2].astype(float) / np.maximum(rgb[..., 0], 1)
    assert ratio[picture.labels == PAINTED].mean() > 1.3 * ratio[picture.labels == 1].mean()


def test_the_rendered_marker_reads_true() -> None:
    pytest.importorskip("mitsuba")
    from grader.render.scene import Studio

    job = next(sample_jobs(["M08"]))
    session = replace(job.session, size_px=(480, 360), noise=0.0, chart=False)
    piece = make_piece(job.plan, 2.0)
    shot = plan_shot(piece, session, "front", np.random.default_rng(0))
    with Studio(piece, session.setting) as studio:
        picture = studio.render(shot.view, shot.pose, list(shot.cards), (6, 0), 1)
    rgb = develop(
        picture.light,
        sensor_for(session, picture.light, picture.labels > 0),
        np.random.default_rng(0),
    )
    # The bare detector answers in whole pixels of the black print, so a side comes out a pixel and
    # more too short; the grader's own reading finds the corners to a fraction, in linear light.
    (marker,) = find_markers(rgb, marker_mm=marker_side_mm(), focal_35mm=shot.view.focal_35mm)
    assert marker.number == MARKER_ID
    # Whole numbers are the centres of pixels to the reader, and their borders to `project`.
    card = shot.cards[0].corners_mm.astype(np.float64)
    square = card.mean(0) + (card - card.mean(0)) * marker_side_mm() / MARKER_CARD_MM
    true = shot.view.project(square)[:, :2] - 0.5
    assert np.abs(marker.corners_px - true).max() < 0.4
    assert marker.px_per_mm == pytest.approx(shot.marker_px_per_mm, rel=0.005)
    assert marker.pitch_deg == pytest.approx(session.elevation_deg, abs=1.5)
