"""Close-ups and the sound surface beside them, on drawn pots."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from grader.photo import Photo
from grader.pictures import close_up, close_up_box, piece_picture, sound_box
from tests.pieces import a_finding

PIECE = (300, 200, 600, 700)


def drawn() -> NDArray[np.uint8]:
    """A clay-coloured block with a blue band, before a grey wall."""
    rgb = np.full((1000, 1200, 3), 128, np.uint8)
    rgb[200:900, 300:900] = (200, 170, 130)
    rgb[500:700, 300:900] = (60, 80, 140)
    return rgb


def a_photo(rgb: NDArray[np.uint8]) -> Photo:
    return Photo("K01/front.jpg", Path("K01/front.jpg"), rgb)


def decoded(source: str) -> NDArray[np.uint8]:
    content = base64.b64decode(source.removeprefix("data:image/jpeg;base64,"))
    return np.asarray(Image.open(io.BytesIO(content)))


def test_the_piece_fills_its_picture() -> None:
    picture = piece_picture(a_photo(drawn()), PIECE, longest_px=400)
    assert max(picture.width_px, picture.height_px) == 400
    assert picture.box == (265, 165, 670, 770)
    assert decoded(picture.source).shape == (picture.height_px, picture.width_px, 3)
    assert picture.place(265, 165) == (0, 0)


def test_a_piece_at_the_edge_or_not_found_is_still_shown() -> None:
    photo = a_photo(drawn())
    assert piece_picture(photo, (-20, 900, 300, 400), longest_px=300).box[0] == 0
    assert piece_picture(photo, None, longest_px=300).box == (0, 0, 1200, 1000)


def test_a_small_photo_is_not_blown_up() -> None:
    assert piece_picture(a_photo(drawn()), None, longest_px=5000).width_px == 1200


@pytest.mark.parametrize("at", [(0, 0), (1190, 990), (600, 550)])
def test_a_close_up_holds_the_place_and_stays_within_the_photo(at: tuple[int, int]) -> None:
    photo = a_photo(drawn())
    finding = a_finding("flake", at=at, mm=1.0)
    x, y, w, h = close_up_box(photo, finding)
    assert w == h
    assert 0 <= x <= 1200 - w and 0 <= y <= 1000 - h
    assert x <= at[0] and y <= at[1]
    assert close_up(photo, (x, y, w, h), zoom=240 / w).width_px == 240


def test_sound_surface_is_of_the_same_kind_and_holds_no_place() -> None:
    rgb = drawn()
    rgb[580:600, 580:600] = (220, 200, 160)  # a flake in the blue band
    rgb[520:680, 650:660] = (220, 200, 160)  # and another place beside it
    finding = a_finding("flake", at=(580, 580), mm=2.0)
    other = a_finding("flake", at=(650, 520), mm=16.0)
    photo = a_photo(rgb)
    box = close_up_box(photo, finding)
    sound = sound_box(photo, PIECE, box, finding, [finding, other])
    assert sound is not None
    x, y, w, h = sound
    assert w == box[2]
    patch = rgb[y : y + h, x : x + w].reshape(-1, 3)
    assert (patch == (60, 80, 140)).all()


def test_sound_surface_is_smaller_where_there_is_little_room_and_absent_without_any() -> None:
    photo = a_photo(drawn())
    large = a_finding("pool_tint", at=(320, 710), mm=40.0)
    box = close_up_box(photo, large)
    sound = sound_box(photo, PIECE, box, large, [large])
    assert sound is not None and sound[2] < box[2]
    whole = a_finding("pool_tint", at=(300, 200), mm=70.0)
    assert sound_box(photo, PIECE, close_up_box(photo, whole), whole, [whole]) is None
    assert sound_box(photo, None, box, large, [large]) is None


def test_sound_surface_of_a_flake_at_an_edge_of_the_paint_is_paint() -> None:
    rgb = drawn()
    rgb[497:517, 580:600] = (200, 170, 130)  # clay shows across the upper edge of the band
    finding = a_finding("flake", at=(580, 497), mm=2.0)
    photo = a_photo(rgb)
    sound = sound_box(photo, PIECE, close_up_box(photo, finding), finding, [finding])
    assert sound is not None
    x, y, w, h = sound
    assert (np.median(rgb[y : y + h, x : x + w], axis=(0, 1)) == (60, 80, 140)).all()


def test_beside_a_flake_in_a_fine_stroke_sound_paint_is_shown_small_rather_than_clay() -> None:
    rgb = drawn()
    rgb[500:700, 300:900] = (200, 170, 130)
    rgb[600:640, 320:880] = (60, 80, 140)
    rgb[592:612, 580:600] = (200, 170, 130)
    finding = a_finding("flake", at=(580, 592), mm=2.0)
    photo = a_photo(rgb)
    box = close_up_box(photo, finding)
    sound = sound_box(photo, PIECE, box, finding, [finding])
    assert sound is not None
    x, y, w, h = sound
    assert w < box[2]
    assert (np.median(rgb[y : y + h, x : x + w], axis=(0, 1)) == (60, 80, 140)).all()
