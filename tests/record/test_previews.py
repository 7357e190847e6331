"""Small, full-size and turned copies: upright, and made again when missing."""

from __future__ import annotations

import hashlib
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image

from grader.errors import PhotoError
from grader.photo import read_photo
from grader.record.photos import keep_photo
from grader.record.previews import THUMB_PX, full_file, preview_file, working_file
from grader.record.studio import Studio


@pytest.fixture
def kept(studio: Studio, tmp_path: Path) -> str:
    """A photo held on its side: upright, it is 300 wide, 400 high, with a red lower left corner."""
    upright = np.full((400, 300, 3), 128, np.uint8)
    upright[300:, :100] = (255, 0, 0)
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    tags = exif.get_ifd(ExifTags.IFD.Exif)
    tags[ExifTags.Base.DateTimeOriginal] = "2026:11:20 09:15:02"
    tags[ExifTags.Base.FocalLengthIn35mmFilm] = 26
    path = tmp_path / "side.jpg"
    # Orientation 6 is undone by a quarter turn clockwise, so it is stored turned the other way.
    Image.fromarray(np.rot90(upright).copy()).save(path, quality=95, exif=exif)
    return keep_photo(studio, path).file


def red_corner(path: Path) -> tuple[int, int, str]:
    """Width, height, and the corner that is red."""
    rgb = read_photo(path).rgb.astype(int)
    height, width = rgb.shape[:2]
    red = rgb[..., 0] - rgb[..., 1] > 120
    rows, columns = np.nonzero(red)
    down = "lower" if rows.mean() > height / 2 else "upper"
    across = "right" if columns.mean() > width / 2 else "left"
    return width, height, f"{down} {across}"


def test_a_preview_is_small_and_upright(studio: Studio, kept: str) -> None:
    assert red_corner(preview_file(studio, kept, edge_px=200)) == (150, 200, "lower left")
    assert preview_file(studio, kept).name.endswith(f"-{THUMB_PX}-0.webp")
    # Never larger than the photo.
    assert red_corner(preview_file(studio, kept, edge_px=5000))[:2] == (300, 400)


@pytest.mark.parametrize(
    ("turn_deg", "seen"),
    [
        (0, (300, 400, "lower left")),
        (90, (400, 300, "upper left")),
        (180, (300, 400, "upper right")),
        (270, (400, 300, "lower right")),
    ],
)
def test_turns_are_clockwise_everywhere(
    studio: Studio, kept: str, turn_deg: int, seen: tuple[int, int, str]
) -> None:
    assert red_corner(working_file(studio, kept, turn_deg=turn_deg)) == seen
    assert red_corner(full_file(studio, kept, turn_deg=turn_deg)) == seen
    assert red_corner(preview_file(studio, kept, edge_px=5000, turn_deg=turn_deg)) == seen


def test_a_turned_copy_is_exact_and_keeps_what_the_analysis_needs(
    studio: Studio, kept: str
) -> None:
    original = read_photo(studio.folder / kept)
    turned = read_photo(working_file(studio, kept, turn_deg=90))
    assert np.array_equal(np.rot90(original.rgb, -1), turned.rgb)
    assert turned.captured_at == original.captured_at == datetime(2026, 11, 20, 9, 15, 2)
    assert turned.focal_35mm == original.focal_35mm == 26


def test_the_original_itself_is_shown_and_never_touched(studio: Studio, kept: str) -> None:
    path = studio.folder / kept
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    assert full_file(studio, kept) == path
    assert working_file(studio, kept) == path
    for turn_deg in (90, 180):
        full_file(studio, kept, turn_deg=turn_deg)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before == path.stem


def test_a_kind_that_browsers_do_not_show_gets_a_copy(studio: Studio, tmp_path: Path) -> None:
    path = tmp_path / "scan.tif"
    Image.fromarray(np.full((40, 30, 3), 90, np.uint8)).save(path)
    file = keep_photo(studio, path).file
    shown = full_file(studio, file)
    assert shown.suffix == ".jpg"
    assert read_photo(shown).rgb.shape == (40, 30, 3)


def test_a_lost_preview_is_made_again(studio: Studio, kept: str) -> None:
    made = preview_file(studio, kept)
    data = made.read_bytes()
    made.unlink()
    assert preview_file(studio, kept).read_bytes() == data
    assert not list(studio.previews.rglob(".part-*"))


def test_a_broken_photo_is_named(studio: Studio, tmp_path: Path) -> None:
    path = tmp_path / "broken.jpg"
    path.write_bytes(b"not a photo")
    with pytest.raises(PhotoError):
        preview_file(studio, keep_photo(studio, path).file)
    assert not [each for each in studio.previews.rglob("*") if each.is_file()]
