"""The piece is cut out whole, and nothing but the piece."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage import data

from grader.piece import _without_strings, cut_out
from tests.drawn import draw_pot


def overlap(found: np.ndarray, true: np.ndarray) -> float:
    return float((found & true).sum() / (found | true).sum())


@pytest.mark.parametrize(
    "table", [(0.42, 0.43, 0.45), (0.05, 0.05, 0.06), (0.8, 0.8, 0.78), (0.25, 0.33, 0.25)]
)
def test_found_on_tables_of_any_tone(table: tuple[float, float, float]) -> None:
    pot = draw_pot(table=table)
    found = cut_out(pot.rgb)
    assert found is not None
    assert overlap(found.mask, pot.mask) > 0.97
    assert not found.touches_frame


def test_a_handle_belongs_to_the_piece_and_its_gap_does_not() -> None:
    pot = draw_pot(handle=True)
    found = cut_out(pot.rgb)
    assert found is not None
    assert overlap(found.mask, pot.mask) > 0.97


@pytest.mark.parametrize("texture", ["brick", "grass", "gravel"])
def test_photographed_textures_behind_break_nothing(texture: str) -> None:
    """The textures are photographs that scikit-image carries (`skimage.data`)."""
    pot = draw_pot(clay=(0.66, 0.42, 0.26))
    image = getattr(data, texture)()
    tiled = np.tile(image, (2, 3))[: pot.mask.shape[0], : pot.mask.shape[1]]
    # A dulled backdrop, as a tablecloth would be, so that the pot can be told from it at all.
    grey = (90 + 0.25 * tiled).astype(np.uint8)
    rgb = np.where(pot.mask[..., None], pot.rgb, grey[..., None]).astype(np.uint8)
    found = cut_out(rgb)
    assert found is not None
    assert overlap(found.mask, pot.mask) > 0.93


def test_cards_are_no_part_of_it() -> None:
    pot = draw_pot()
    rgb = pot.rgb.copy()
    rgb[600:760, 850:1000] = (200, 40, 40)
    card = np.array([[850, 600], [1000, 600], [1000, 760], [850, 760]], float)
    found = cut_out(rgb, [card])
    assert found is not None
    assert not found.mask[600:760, 856:1000].any()


def test_an_empty_table_holds_no_piece() -> None:
    pot = draw_pot()
    empty = np.full_like(pot.rgb, 128)
    assert cut_out(empty) is None


def test_a_piece_that_leaves_the_frame_is_named() -> None:
    pot = draw_pot()
    found = cut_out(pot.rgb[:560])
    assert found is not None
    assert found.touches_frame


@pytest.mark.parametrize("room_px", [14, 24])
def test_a_piece_that_nearly_touches_the_frame_ends_on_its_own_edge(room_px: int) -> None:
    pot = draw_pot()
    top = int(np.flatnonzero(pot.mask.any(1))[0])
    close = np.s_[top - room_px :]
    found = cut_out(np.ascontiguousarray(pot.rgb[close]))
    assert found is not None
    assert not found.touches_frame
    assert overlap(found.mask, pot.mask[close]) > 0.97


def test_a_grain_of_wood_that_leads_to_the_frame_is_no_part_of_it() -> None:
    """Found with the piece and as dark as it, the joint of two boards is no wall that runs out."""
    pot = draw_pot()
    chosen = cv2.resize(pot.mask.astype(np.uint8), (640, 640)) > 0
    middle = int(np.flatnonzero(chosen.any(1)).mean())
    joint = chosen.copy()
    joint[middle : middle + 6, 320:] = True
    assert overlap(_without_strings(joint), chosen) > 0.99
    assert not _without_strings(joint)[:, -1].any()
    # A handle that leaves the picture stays, and so does a wall.
    handle = chosen.copy()
    handle[middle : middle + 24, 320:] = True
    assert (_without_strings(handle) == handle).all()
    wall = chosen[:middle]
    assert (_without_strings(wall) == wall).all()


def test_a_table_of_the_colour_of_the_clay_needs_only_an_edge() -> None:
    pot = draw_pot(clay=(0.46, 0.43, 0.38), table=(0.42, 0.40, 0.35))
    found = cut_out(pot.rgb)
    assert found is not None
    assert overlap(found.mask, pot.mask) > 0.95 or found.certainty < 0.5


def test_the_strong_edges_of_a_band_do_not_hide_the_pot_round_it() -> None:
    pot = draw_pot(band=(0.05, 0.25, 0.30))
    found = cut_out(pot.rgb)
    assert found is not None
    assert overlap(found.mask, pot.mask) > 0.97


def test_the_outline_does_not_depend_on_how_the_photo_was_taken() -> None:
    pot = draw_pot(handle=True)
    plain = cut_out(pot.rgb)
    assert plain is not None
    mirrored = cut_out(np.ascontiguousarray(pot.rgb[:, ::-1]))
    assert mirrored is not None
    assert overlap(mirrored.mask[:, ::-1], plain.mask) > 0.97
    turned = cut_out(np.ascontiguousarray(np.rot90(pot.rgb)))
    assert turned is not None
    assert overlap(np.rot90(turned.mask, -1), plain.mask) > 0.97
    dimmer = draw_pot(handle=True, exposure=0.6)
    found = cut_out(dimmer.rgb)
    assert found is not None
    assert overlap(found.mask, plain.mask) > 0.97
    half = cut_out(np.ascontiguousarray(pot.rgb[::2, ::2]))
    assert half is not None
    assert overlap(half.mask, plain.mask[::2, ::2]) > 0.97
