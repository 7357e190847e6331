"""Sorting a folder of photos into pieces and views."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import ExifTags, Image

from grader.batch import Batch, find_batch, natural_key
from grader.errors import BatchError, FactsError
from grader.separator import SLIP_PREFIX

START = datetime(2026, 5, 1, 9, 0, 0)


def _photo(path: Path, minute: float | None = None, picture: Image.Image | None = None) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    exif = Image.Exif()
    if minute is not None:
        moment = START + timedelta(minutes=minute)
        exif[ExifTags.Base.DateTime] = moment.strftime("%Y:%m:%d %H:%M:%S")
    (picture or Image.new("RGB", (32, 24), (90, 80, 70))).save(path, exif=exif)
    return path


def _slip(code: str) -> Image.Image:
    """A photo of a slip: the square code on white paper on a grey table, a little turned."""
    modules = cv2.QRCodeEncoder.create().encode(SLIP_PREFIX + code)
    paper = cv2.resize(modules, (420, 420), interpolation=cv2.INTER_NEAREST)
    turn = cv2.getRotationMatrix2D((210, 210), 8, 1.0)
    turn[:, 2] += (190, 120)
    grey = cv2.warpAffine(paper, turn, (800, 660), flags=cv2.INTER_AREA, borderValue=150)
    return Image.fromarray(np.stack([grey] * 3, axis=-1))


def _views(batch: Batch) -> dict[str, list[tuple[str, str]]]:
    return {piece.code: [(shot.name, shot.view) for shot in piece.shots] for piece in batch.pieces}


def test_sub_folders_with_named_views(tmp_path: Path) -> None:
    for code in ("K10", "K2"):
        for name in ("Left.jpg", "front.jpeg", "BACK.png", "k-right.jpg", "the base.jpg"):
            _photo(tmp_path / code / name)
    found = _views(find_batch(tmp_path))
    assert list(found) == ["K2", "K10"]
    assert found["K10"] == [
        ("K10/front.jpeg", "front"),
        ("K10/k-right.jpg", "right"),
        ("K10/BACK.png", "back"),
        ("K10/Left.jpg", "left"),
        ("K10/the base.jpg", "foot"),
    ]


def test_prefixes(tmp_path: Path) -> None:
    for name in ("K07_front.jpg", "K07-back.jpg", "K07 left 2.jpg", "K07-2.jpg", "k08-front.jpg"):
        _photo(tmp_path / name)
    found = _views(find_batch(tmp_path))
    assert found == {
        "K07": [
            ("K07_front.jpg", "front"),
            ("K07-2.jpg", "right"),
            ("K07-back.jpg", "back"),
            ("K07 left 2.jpg", "left"),
        ],
        "k08": [("k08-front.jpg", "front")],
    }


@pytest.mark.parametrize(
    ("name", "code", "view"),
    [
        ("K07-front-2.jpg", "K07", "front"),
        ("K07front.jpg", "K07front", "front"),
        ("newt-cup-3-front.jpg", "newt-cup-3", "front"),
        ("newt-cup-3.jpg", "newt-cup", "front"),
        ("left-handed-jug_back.jpg", "left-handed-jug", "back"),
        ("moth vase (2).jpg", "moth vase", "front"),
        ("R2026.041.foot.jpg", "R2026.041", "foot"),
        ("frontier.jpg", "frontier", "front"),
    ],
)
def test_one_name(tmp_path: Path, name: str, code: str, view: str) -> None:
    _photo(tmp_path / name)
    assert _views(find_batch(tmp_path)) == {code: [(name, view)]}


def test_codes_of_the_list_win_over_guessing(tmp_path: Path) -> None:
    (tmp_path / "pieces.csv").write_text("piece\nnewt-cup-3\nIMG_5\n")
    for name in ("newt-cup-3.jpg", "newt-cup-3-2.jpg", "IMG_5_front.jpg", "newt-cup-3inside.jpg"):
        _photo(tmp_path / name)
    found = _views(find_batch(tmp_path))
    assert set(found) == {"IMG_5", "newt-cup-3"}
    assert ("newt-cup-3inside.jpg", "inside") in found["newt-cup-3"]
    assert len(found["newt-cup-3"]) == 3


def test_a_detail_belongs_to_its_piece(tmp_path: Path) -> None:
    for name in ("K07_front.jpg", "K07_detail.jpg"):
        _photo(tmp_path / name)
    assert set(_views(find_batch(tmp_path))) == {"K07"}


def test_a_folder_that_is_itself_one_piece(tmp_path: Path) -> None:
    for name in ("front.jpg", "back.jpg"):
        _photo(tmp_path / "K07" / name)
    assert set(_views(find_batch(tmp_path / "K07"))) == {"K07"}


def test_views_by_capture_time_in_the_set_order(tmp_path: Path) -> None:
    for minute, name in enumerate(("z.jpg", "b.jpg", "y.jpg", "a.jpg")):
        _photo(tmp_path / "K07" / name, minute)
    shots = find_batch(tmp_path, view_order=("foot", "front", "back")).pieces[0].shots
    assert [(shot.path.name, shot.view) for shot in shots] == [
        ("z.jpg", "foot"),
        ("b.jpg", "front"),
        ("y.jpg", "back"),
        ("a.jpg", "view 4"),
    ]
    assert shots[0].captured_at == START


def test_without_times_names_give_the_order_and_numbers_count(tmp_path: Path) -> None:
    for name in ("IMG_10.jpg", "IMG_9.jpg", "IMG_8.jpg"):
        _photo(tmp_path / "K07" / name)
    assert _views(find_batch(tmp_path))["K07"] == [
        ("K07/IMG_8.jpg", "front"),
        ("K07/IMG_9.jpg", "right"),
        ("K07/IMG_10.jpg", "back"),
    ]


def test_slips_part_loose_photos_from_a_camera(tmp_path: Path) -> None:
    names = iter(f"PXL_20260501_0900{k:02d}123.jpg" for k in range(60, 0, -1))
    minute = iter(range(99))
    for code in ("K07", "moth vase 2"):
        _photo(tmp_path / next(names), next(minute), _slip(code))
        for _ in range(3):
            _photo(tmp_path / next(names), next(minute))
    batch = find_batch(tmp_path)
    assert {p.code: [s.view for s in p.shots] for p in batch.pieces} == {
        "K07": ["front", "right", "back"],
        "moth vase 2": ["front", "right", "back"],
    }
    assert not batch.problems


def test_a_slip_left_standing_in_every_photo(tmp_path: Path) -> None:
    for k in range(3):
        _photo(tmp_path / f"IMG_000{k}.jpg", k, _slip("K07"))
    assert [shot.view for shot in find_batch(tmp_path).pieces[0].shots] == [
        "front",
        "right",
        "back",
    ]


def test_photos_before_the_first_slip_and_slips_without_photos(tmp_path: Path) -> None:
    _photo(tmp_path / "IMG_0001.jpg", 1)
    _photo(tmp_path / "IMG_0002.jpg", 2, _slip("K07"))
    _photo(tmp_path / "IMG_0003.jpg", 3, _slip("K08"))
    _photo(tmp_path / "IMG_0004.jpg", 4)
    batch = find_batch(tmp_path)
    assert [piece.code for piece in batch.pieces] == ["K08"]
    assert {problem.code for problem in batch.problems} == {"unknown_piece", "no_photos"}
    assert all(problem.blocks for problem in batch.problems)


def test_camera_names_without_slips_are_no_pieces(tmp_path: Path) -> None:
    for name in ("IMG_1234.JPG", "DSC01234.jpg", "20260501_090807.jpg", "IMG-20260501-WA0001.jpg"):
        _photo(tmp_path / name)
    with pytest.raises(BatchError, match="slip"):
        find_batch(tmp_path)


def test_what_is_no_photo_is_left_alone(tmp_path: Path) -> None:
    _photo(tmp_path / "K07" / "front.jpg")
    for name in (
        ".hidden.jpg",
        "._front.jpg",
        "front_truth.png",
        "front_thumb.jpg",
        "thumbs/front.jpg",
        ".cache/front.jpg",
        "front.aae",
        "notes.txt",
    ):
        _photo(tmp_path / "K07" / "x.png").replace(tmp_path / "K07" / "moved")
        target = tmp_path / "K07" / name
        target.parent.mkdir(exist_ok=True)
        (tmp_path / "K07" / "moved").replace(target)
    _photo(tmp_path / "__MACOSX" / "front.jpg")
    (tmp_path / "earlier" / "pictures").mkdir(parents=True)
    _photo(tmp_path / "earlier" / "K07.jpg")
    (tmp_path / "earlier" / "seconds.csv").write_text("piece\n")
    batch = find_batch(tmp_path)
    assert _views(batch) == {"K07": [("K07/front.jpg", "front")]}
    assert not batch.problems


def test_nested_folders_raw_files_and_twins_are_reported(tmp_path: Path) -> None:
    _photo(tmp_path / "K07" / "front.jpg")
    _photo(tmp_path / "K07" / "front.png")
    _photo(tmp_path / "K07" / "old" / "front.jpg")
    (tmp_path / "K07" / "back.DNG").write_bytes(b"raw")
    batch = find_batch(tmp_path)
    assert _views(batch) == {"K07": [("K07/front.jpg", "front")]}
    assert {p.code for p in batch.problems} == {"nested_folder", "same_photo_twice", "raw_file"}


def test_the_list_is_joined_and_gaps_on_both_sides_are_named(tmp_path: Path) -> None:
    (tmp_path / "Pieces.CSV").write_text("piece,form\nk07,bowl\nK80,jug\n")
    _photo(tmp_path / "K07" / "front.jpg")
    _photo(tmp_path / "K08" / "front.jpg")
    batch = find_batch(tmp_path)
    assert [piece.code for piece in batch.pieces] == ["K07", "K08", "K80"]
    assert batch.pieces[0].facts.form == "bowl"
    assert batch.pieces[0].facts.piece == "K07"
    assert batch.pieces[2].shots == ()
    codes = {problem.code: problem for problem in batch.problems}
    assert codes["not_listed"].text.startswith("K08") and not codes["not_listed"].blocks
    assert codes["no_photos"].text.startswith("K80") and codes["no_photos"].blocks
    assert "Is it K08?" in codes["no_photos"].text


def test_a_list_named_apart(tmp_path: Path) -> None:
    _photo(tmp_path / "photos" / "K07" / "front.jpg")
    path = tmp_path / "load 12.csv"
    path.write_text("piece,form\nK07,bowl\n")
    batch = find_batch(tmp_path / "photos", facts_file=path)
    assert batch.pieces[0].facts.form == "bowl"
    with pytest.raises(FactsError):
        find_batch(tmp_path / "photos", facts_file=tmp_path / "gone.csv")


def test_no_folder_no_photos(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("no photos here")
    for folder in (tmp_path, tmp_path / "gone", tmp_path / "notes.txt"):
        with pytest.raises(BatchError) as caught:
            find_batch(folder)
        assert caught.value.remedy


def test_nothing_is_written_into_the_folder(tmp_path: Path) -> None:
    _photo(tmp_path / "K07" / "front.jpg")
    before = sorted(tmp_path.rglob("*"))
    find_batch(tmp_path)
    assert sorted(tmp_path.rglob("*")) == before


def test_numbers_sort_by_value() -> None:
    codes = ["K10", "k9", "K2b", "K2", "10", "9"]
    assert sorted(codes, key=natural_key) == ["9", "10", "K2", "K2b", "k9", "K10"]
