"""Shapes and skins: closed walls, true millimetres."""

from __future__ import annotations

import numpy as np
import pytest

from grader.render.forms import BASE, FORM_NAMES, INSIDE, LIP, RING, WALL, make_form, wall_outline
from grader.render.skin import body_skin, piece_skins


@pytest.mark.parametrize("name", FORM_NAMES)
def test_every_form_is_a_sound_pot(name: str) -> None:
    form = make_form(name, np.random.default_rng(3))
    outline = wall_outline(form)
    radius, height = outline.points_mm.T
    assert radius.min() >= 0
    assert height.min() >= -0.05
    assert height.max() == pytest.approx(form.height_mm, abs=2.0)
    # The parts come in the order base, foot, wall, lip, inside, each in one run.
    runs = outline.part[np.flatnonzero(np.diff(outline.part, prepend=255))].tolist()
    assert runs == [BASE, RING, WALL, LIP, INSIDE]
    # The inside never cuts through the outside.
    wall, inner = radius[outline.part == WALL], outline.points_mm[outline.part == INSIDE]
    outer_at = np.interp(inner[:, 1], height[outline.part == WALL], wall)
    above = inner[:, 1] > height[outline.part == WALL][0]
    assert (inner[above, 0] < outer_at[above] - 0.5).all()


def test_texels_add_up_to_the_area_of_a_cylinder() -> None:
    form = make_form("mug", np.random.default_rng(1))
    skin = body_skin(form, 4.0)
    rows = (skin.part == WALL) & (skin.height_mm > 20) & (skin.height_mm < 60)
    area = float(skin.texel_area_mm2()[rows].sum())
    radius = float(skin.radius_mm[rows].mean())
    length = float(np.ptp(skin.along_mm[rows])) + float(np.diff(skin.along_mm).mean())
    assert area == pytest.approx(2 * np.pi * radius * length, rel=0.01)


def test_a_window_measures_millimetres_across_the_seam() -> None:
    skin = body_skin(make_form("beaker", np.random.default_rng(2)), 4.0)
    row = skin.row_at_height(50.0)
    rows, cols, right, up = skin.window(row, 0, 6.0)
    assert cols.min() == 0 and cols.max() == skin.shape[1] - 1
    assert np.abs(right).max() < 12.0
    points = skin.points_mm()[np.ix_(rows, cols)]
    centre = skin.points_mm()[row, 0]
    true = np.linalg.norm(points - centre, axis=-1)
    flat = np.hypot(right, up)
    near = flat < 5.0
    assert np.abs(true[near] - flat[near]).max() < 0.35


def test_handles_and_lids_get_their_own_skin() -> None:
    rng = np.random.default_rng(0)
    assert [s.name for s in piece_skins(make_form("mug", rng), 3.0)] == ["body", "handle"]
    assert [s.name for s in piece_skins(make_form("salt pot", rng), 3.0)] == ["body", "lid"]


def test_a_squared_plan_keeps_its_mean_radius() -> None:
    cross = make_form("squared pot", np.random.default_rng(4)).cross
    theta = np.linspace(-np.pi, np.pi, 720, endpoint=False)
    factor = cross.factor(theta)
    assert factor.mean() == pytest.approx(1.0, abs=0.04)
    assert factor.max() / factor.min() > 1.1
