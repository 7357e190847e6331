"""Problems of photos: each bad photo named, and a good one left in peace."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from grader.checks import check_casts, check_photo, check_size, check_views
from grader.findings import Problem
from grader.photo import Photo
from grader.piece import Silhouette
from grader.target import Colour, Scale, Target
from tests.scenes import Camera, backdrop, develop, pot

CAMERA = Camera(size_px=(1200, 900))
PX_PER_MM = 6.2  # the beaker is 620 px and stands for 100 mm


def _target(**changes: object) -> Target:
    target = Target(Scale(PX_PER_MM, "marker"), Colour(np.eye(3), "backdrop"))
    return replace(target, **changes)  # type: ignore[arg-type]


def _silhouette(mask: np.ndarray, **changes: object) -> Silhouette:
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    box = (
        int(columns[0]),
        int(rows[0]),
        int(np.ptp(columns)) + 1,
        int(np.ptp(rows)) + 1,
    )
    return replace(Silhouette(mask, box, 1.0), **changes)  # type: ignore[arg-type]


def _check(
    *,
    gain: float = 1.0,
    blur_px: float = 0.8,
    lamp_px: int = 0,
    shake_px: int = 0,
    view: str = "front",
    near: float | None = 7.0,
    target: Target | None = None,
    **silhouette: object,
) -> dict[str, Problem]:
    picture, mask = pot(backdrop(CAMERA, (0.16, 0.16, 0.16)))
    if lamp_px:
        spot = cv2.circle(np.zeros(mask.shape, np.uint8), (560, 420), lamp_px, 1, -1) > 0
        picture[spot] = 3.0
    rgb = develop(picture, gains=(gain, gain, gain), blur_px=blur_px)
    if shake_px:
        kernel = np.zeros((shake_px, shake_px), np.float32)
        kernel[shake_px // 2] = 1 / shake_px
        rgb = cv2.filter2D(rgb, -1, kernel)
    photo = Photo("K07/front.jpg", Path("K07/front.jpg"), rgb)
    problems = check_photo(
        photo,
        target or _target(),
        _silhouette(mask, **silhouette),
        view=view,
        near_px_per_mm=near,
    )
    assert [p.blocks for p in problems] == sorted((p.blocks for p in problems), reverse=True)
    return {problem.code: problem for problem in problems}


def test_a_good_photo_has_no_problem() -> None:
    assert _check() == {}


@pytest.mark.parametrize(("blur_px", "blocks"), [(2.6, False), (6.0, True)])
def test_focus(blur_px: float, blocks: bool) -> None:
    problem = _check(blur_px=blur_px)["out_of_focus"]
    assert problem.blocks is blocks
    assert "tap the piece" in problem.text


def test_shake() -> None:
    assert "self-timer" in _check(shake_px=25)["shaken"].text


def test_glare_names_its_share() -> None:
    problem = _check(lamp_px=120)["glare"]
    assert "%" in problem.text and "lamp" in problem.text


def test_exposure() -> None:
    assert not _check(gain=2.6)["over_exposed"].blocks
    assert _check(gain=8.0)["over_exposed"].blocks
    assert not _check(gain=0.25)["too_dark"].blocks
    assert _check(gain=0.02)["too_dark"].blocks


def test_too_far_names_the_pixels() -> None:
    assert check_size(6.0) == ()
    (problem,) = check_size(4.0)
    assert problem.text.startswith("Too far: 0.5 mm is 2.0 px here")
    assert check_size(None) == ()


def test_cut_off_blocks_a_side_but_not_a_look_inside() -> None:
    assert _check(touches_frame=True)["cut_off"].blocks
    assert "cut_off" not in _check(touches_frame=True, view="inside")


def test_background() -> None:
    assert "backdrop" in _check(certainty=0.3)["background"].text


def test_target() -> None:
    nothing = _target(scale=Scale())
    assert "no_scale" in _check(target=nothing, near=None)
    assert "no_scale" not in _check(target=nothing, near=6.0)  # the height was given
    refused = _target(
        chart_refused=True,
        notes=("A colour chart was seen but not used: it is over-exposed or too dark.",),
    )
    assert "over-exposed" in _check(target=refused)["chart_unusable"].text
    disagree = _target(notes=("Two markers disagree about the scale; ...",))
    assert "markers_disagree" in _check(target=disagree)


def test_no_piece_at_all() -> None:
    photo = Photo("a.jpg", Path("a.jpg"), np.zeros((90, 120, 3), np.uint8))
    (problem,) = check_photo(photo, _target(), None, view="front")
    assert problem.blocks and problem.code == "no_piece"


def test_views() -> None:
    sides = ("front", "right", "back", "left")
    assert check_views(sides, sides) == ()
    (problem,) = check_views(("front", "right", "left"), sides)
    assert problem.text == "The back was not photographed." and problem.blocks
    assert check_views(("front", "view 2", "view 3", "view 4"), sides) == ()
    (advice,) = check_views((*sides, "top"), sides, ("inside", "foot"))
    assert "foot" in advice.text and not advice.blocks


def test_a_cast_in_one_of_four_photos() -> None:
    def of_colour(*linear: float) -> Target:
        return _target(surroundings_linear=np.array(linear))

    same = {name: of_colour(0.4, 0.4, 0.38) for name in ("a", "b", "c")}
    assert check_casts(same | {"d": of_colour(0.2, 0.2, 0.19)}) == {}  # darker only
    found = check_casts(same | {"d": of_colour(0.44, 0.4, 0.27)})
    assert list(found) == ["d"] and found["d"].code == "colour_cast"
    # A photo's own chart has taken the cast out already.
    matrix = np.diag([0.4 / 0.44, 1.0, 0.38 / 0.27])
    corrected = replace(of_colour(0.44, 0.4, 0.27), colour=Colour(matrix, "chart"))
    assert check_casts(same | {"d": corrected}) == {}
    assert check_casts({"a": of_colour(0.4, 0.4, 0.4), "b": of_colour(0.5, 0.4, 0.2)}) == {}
