"""`grader check` from the folder to the advice, and the chart that serves a session."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from grader.batch import find_batch
from grader.checkup import BatchCheck, run_check
from grader.errors import BatchError
from grader.session import find_session_colour
from tests.scenes import (
    CHART_MM,
    Camera,
    backdrop,
    card_corners,
    chart_texture,
    develop,
    marker_texture,
    paste,
    pot,
)

CAMERA = Camera(size_px=(1200, 900))
DISTANCE_MM = 300.0


def _shoot(
    path: Path,
    *,
    chart: bool = False,
    gains: tuple[float, float, float] = (1.0, 1.0, 1.0),
    blur_px: float = 0.8,
    seed: int = 1,
    with_pot: bool = True,
) -> None:
    picture = backdrop(CAMERA, (0.2, 0.2, 0.2))
    if with_pot:
        picture, _ = pot(picture, height_px=480, seed=seed)
    card = card_corners(28, 28, (54, 35, DISTANCE_MM))
    picture = paste(picture, marker_texture(paper=0.7), card, CAMERA)
    if chart:
        card = card_corners(CHART_MM[0] * 0.75, CHART_MM[1] * 0.75, (-68, 30, DISTANCE_MM))
        picture = paste(picture, chart_texture(), card, CAMERA)
    path.parent.mkdir(parents=True, exist_ok=True)
    rgb = develop(picture, gains=gains, blur_px=blur_px, seed=seed)
    Image.fromarray(rgb).save(path, quality=95)


@pytest.fixture(scope="module")
def load(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("load")
    for view in ("front", "right", "back", "left"):
        _shoot(folder / "K01" / f"{view}.jpg", chart=view == "front")
    _shoot(folder / "K02" / "front.jpg")
    _shoot(folder / "K02" / "right.jpg", blur_px=7.0)
    _shoot(folder / "K02" / "left.jpg")
    (folder / "K02" / "back.jpg").write_text("not a photo")
    return folder


@pytest.fixture(scope="module")
def checked(load: Path) -> BatchCheck:
    return run_check(load, workers=1)


def test_check_says_what_to_shoot_again(checked: BatchCheck) -> None:
    found = checked
    first, second = found.pieces
    assert first.ready
    assert [photo.problems for photo in first.photos] == [()] * 4
    assert all(photo.usable and photo.scale_from == "marker" for photo in first.photos)
    assert not second.ready
    by_view = {photo.view: photo for photo in second.photos}
    assert not by_view["back"].usable
    assert by_view["back"].problems[0].code == "unreadable"
    assert by_view["right"].problems[0].code == "out_of_focus"
    assert not by_view["right"].usable
    texts = [problem.text for problem in second.problems]
    assert "The right side was not photographed." in texts
    assert "The back was not photographed." in texts
    assert found.problems == ()


def test_check_is_the_same_side_by_side_and_changes_no_file(
    load: Path, checked: BatchCheck
) -> None:
    before = {path: path.read_bytes() for path in load.rglob("*") if path.is_file()}
    assert run_check(load, workers=2) == checked
    assert {path: path.read_bytes() for path in load.rglob("*") if path.is_file()} == before


def test_check_misses_a_chart_in_the_whole_session(tmp_path: Path) -> None:
    _shoot(tmp_path / "K01" / "front.jpg")
    found = run_check(tmp_path, workers=1, required=("front",))
    assert [problem.code for problem in found.problems] == ["no_chart"]
    _shoot(tmp_path / "chart.jpg", chart=True, with_pot=False)
    assert run_check(tmp_path, workers=1, required=("front",)).problems == ()


def test_check_of_an_empty_folder(tmp_path: Path) -> None:
    with pytest.raises(BatchError):
        run_check(tmp_path)


def test_the_chart_of_the_session_is_found(tmp_path: Path, load: Path) -> None:
    session = find_session_colour(find_batch(load))
    assert session is not None
    assert session.from_photo == "K01/front.jpg"
    _shoot(tmp_path / "K01" / "front.jpg")
    assert find_session_colour(find_batch(tmp_path)) is None
    _shoot(tmp_path / "Colour chart.jpg", chart=True, with_pot=False, gains=(0.9, 0.8, 0.6))
    batch = find_batch(tmp_path)
    assert [piece.code for piece in batch.pieces] == ["K01"]
    session = find_session_colour(batch)
    assert session is not None
    assert session.from_photo == "Colour chart.jpg"
    # It undoes the cast: red must lose against blue.
    assert session.matrix[0, 0] < session.matrix[2, 2]


def test_a_chart_photo_before_the_first_slip_is_no_lost_photo(tmp_path: Path) -> None:
    from tests.test_batch import _photo, _slip

    _shoot(tmp_path / "IMG_0001.jpg", chart=True, with_pot=False)
    _photo(tmp_path / "IMG_0002.jpg", None, _slip("K01"))
    _shoot(tmp_path / "IMG_0003.jpg")
    batch = find_batch(tmp_path)
    assert [path.name for path in batch.charts] == ["IMG_0001.jpg"]
    assert not batch.problems
    assert [shot.name for shot in batch.pieces[0].shots] == ["IMG_0003.jpg"]
