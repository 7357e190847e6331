"""The skin of an even pot is even, and a fault shows in the cells where it lies."""

from __future__ import annotations

import numpy as np

from grader.clay import common_clay
from grader.skin import COLUMNS, ROWS, opening_share, read_skin
from grader.zones import find_zones
from tests.drawn import BLUE, Drawn, blob, draw_pot


def skin_of(pot: Drawn):  # type: ignore[no-untyped-def]
    surface = pot.surface()
    zones = find_zones(surface, common_clay([surface]), decorated=None, seen_from_side=True)
    return read_skin(surface, zones, opening_share(zones))


def test_an_even_pot_has_an_even_skin() -> None:
    skin = skin_of(draw_pot())
    assert skin.chroma.shape == (ROWS, COLUMNS, 2)
    assert skin.known.mean() > 0.9
    assert np.nanstd(skin.chroma[..., 0]) < 0.02
    assert np.nanstd(skin.chroma[..., 1]) < 0.02


def test_paint_is_left_out() -> None:
    skin = skin_of(draw_pot(band=BLUE))
    assert 0.4 < skin.known.mean() < 0.8
    assert np.nanmax(np.abs(skin.chroma[..., 1] - np.nanmedian(skin.chroma[..., 1]))) < 0.1


def test_a_scorch_shows_where_it_is() -> None:
    size = (900, 1100)
    pot = draw_pot(layers={"scorch": (0.8 * blob(size, 550, 560, 40), (0.3, 0.18, 0.1))})
    skin = skin_of(pot)
    row, col = np.unravel_index(np.nanargmin(skin.chroma[..., 1]), (ROWS, COLUMNS))
    x, y = skin.map_x[row, col], skin.map_y[row, col]
    surface = pot.surface()
    assert abs(x + surface.origin_px[0] - 550) < 25
    assert abs(y + surface.origin_px[1] - 560) < 25


def test_cells_are_measured_in_millimetres() -> None:
    skin = skin_of(draw_pot())
    assert 0.9 < skin.cell_mm[0] < 1.2


def test_what_the_other_side_of_the_body_does_not_have_is_left_out() -> None:
    """An outline that takes in a strip of table beside the foot must not pass for clay."""
    clean = draw_pot()
    taken_in = draw_pot()
    rows, cols = np.flatnonzero(clean.mask.any(1)), np.flatnonzero(clean.mask.any(0))
    low = np.s_[rows[-1] - 330 : rows[-1] - 10, cols[0] - 130 : cols[0]]
    taken_in.mask[low] = True
    # Table in the shadow of the pot, lit by it: nearly of its colour.
    body = clean.rgb[rows[-1] - 330 : rows[-1] - 10, cols[0] + 60 : cols[0] + 190].astype(float)
    taken_in.rgb[low] = (body * (1.0, 0.985, 0.965)).astype(np.uint8)
    seen, told = skin_of(clean), skin_of(taken_in)
    assert told.known.mean() < seen.known.mean() - 0.02
    grid = told.chroma[..., 1]
    assert np.nanmax(np.abs(grid - np.nanmedian(grid))) < 0.03
