"""A shadow that a cut took in is taken out again; a dark part of the piece is not."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from grader.outline.regions import Regions, divide
from grader.outline.shade import without_shadow
from grader.outline.surroundings import weigh_surroundings
from tests.drawn import draw_pot, half


def _beside(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """A patch of table at the lower left of the pot, as wide as a third of it."""
    return _disc(mask, (0.12, 0.8), (0.25, 1 / 6)) & ~mask


def _disc(
    mask: NDArray[np.bool_], at: tuple[float, float], axes: tuple[float, float]
) -> NDArray[np.bool_]:
    """An ellipse; its middle and half axes (x, y) are shares of the width and height of a pot."""
    rows, cols = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    disc = np.zeros(mask.shape, np.uint8)
    middle = (int(cols[0] + at[0] * len(cols)), int(rows[0] + at[1] * len(rows)))
    size = (int(axes[0] * len(cols)), int(axes[1] * len(rows)))
    cv2.ellipse(disc, middle, size, 0, 0, 360, 1, -1)
    return disc > 0


def _cut(
    rgb: NDArray[np.uint8],
    chosen: NDArray[np.bool_],
    *others: NDArray[np.bool_],
    cards: NDArray[np.bool_] | None = None,
    changing: tuple[NDArray[np.bool_], float] | None = None,
) -> tuple[Regions, NDArray[np.bool_]]:
    cards = np.zeros(chosen.shape, bool) if cards is None else cards
    regions = divide(rgb, cards)
    evidence = weigh_surroundings(regions, cards)
    assert evidence is not None
    if changing is not None:
        still = np.where(regions.share_of(changing[0]) > 0.5, changing[1], 0.0)
        evidence = replace(evidence, still=still)
    first, *rest = (regions.share_of(each) > 0.5 for each in (chosen, *others))
    return regions, without_shadow(regions, evidence, first, rest)


@pytest.mark.parametrize("another_cut", [True, False])
def test_table_in_shadow_is_no_part_of_the_piece(another_cut: bool) -> None:
    """Without another cut that leaves it out, a shadow shows by lying on one side only."""
    pot = draw_pot(size=(480, 640), clay=(0.66, 0.42, 0.26), table=(0.42, 0.43, 0.45))
    shade = _beside(pot.mask)
    # A lamp's shadow has a soft edge and leaves two fifths of the light.
    light = 1.0 - 0.6 * cv2.GaussianBlur(shade.astype(np.float32), (0, 0), 4.0)
    darker = pot.rgb * np.where(pot.mask, 1.0, light**0.45)[..., None]
    others = (pot.mask,) if another_cut else ()
    regions, left = _cut(darker.astype(np.uint8), pot.mask | shade, *others)
    taken = left[regions.labels] & shade
    assert taken.sum() < 0.2 * shade.sum()
    assert (left[regions.labels] & pot.mask).sum() > 0.97 * pot.mask.sum()


@pytest.mark.parametrize(("odds", "kept"), [(2.0, True), (0.0, False), (-2.0, False)])
def test_what_changes_as_the_piece_is_turned_is_no_shadow(odds: float, kept: bool) -> None:
    pot = draw_pot(size=(480, 640), clay=(0.66, 0.42, 0.26), table=(0.42, 0.43, 0.45))
    part = _beside(pot.mask)
    light = 1.0 - 0.6 * cv2.GaussianBlur(part.astype(np.float32), (0, 0), 4.0)
    darker = (pot.rgb * np.where(pot.mask, 1.0, light**0.45)[..., None]).astype(np.uint8)
    regions, left = _cut(darker, pot.mask | part, pot.mask, changing=(part, odds))
    share = (left[regions.labels] & part).sum() / part.sum()
    assert share > 0.9 if kept else share < 0.2


def test_what_stays_as_the_piece_is_turned_is_none_of_it_whatever_its_colour() -> None:
    """A part of the pot's own clay, so that no colour tells."""
    pot = half(draw_pot())
    part = _disc(pot.mask, (0.5, 1.0), (0.3, 1 / 6)) & pot.mask
    for odds, kept in ((-2.0, False), (0.0, True)):
        regions, left = _cut(pot.rgb, pot.mask, pot.mask & ~part, changing=(part, odds))
        share = (left[regions.labels] & part).sum() / part.sum()
        assert share > 0.9 if kept else share < 0.2


def test_a_painted_part_stays_though_another_cut_leaves_it_out() -> None:
    pot = draw_pot(size=(480, 640), clay=(0.66, 0.42, 0.26), table=(0.42, 0.43, 0.45))
    rows = np.flatnonzero(pot.mask.any(1))
    foot = pot.mask & (np.arange(len(pot.mask)) > rows[0] + 0.85 * len(rows))[:, None]
    painted = np.where(foot[..., None], [40, 60, 120], pot.rgb).astype(np.uint8)
    regions, left = _cut(painted, pot.mask, pot.mask & ~foot)
    assert (left[regions.labels] & foot).sum() > 0.9 * foot.sum()


def test_a_foot_of_the_clay_above_a_painted_band_stays() -> None:
    """Beside the foot is paint of another hue, from which the clay differs as the table does."""
    drawn = half(draw_pot(clay=(0.62, 0.22, 0.10), table=(0.60, 0.43, 0.26)))
    rgb, pot = drawn.rgb, drawn.mask
    down = np.arange(len(pot)) - np.flatnonzero(pot.any(1))[0]
    share = (down / pot.any(1).sum())[:, None]
    foot, band = pot & (share > 0.9), pot & (share > 0.6) & (share <= 0.9)
    painted = np.where(band[..., None], [40, 150, 150], rgb)
    # The foot turns away from the light.
    painted[foot] = painted[foot] * 0.75
    regions, left = _cut(painted.astype(np.uint8), pot, pot & ~foot)
    assert (left[regions.labels] & foot).sum() > 0.9 * foot.sum()


def test_shadow_that_fades_all_round_into_a_table_of_the_same_colour_is_taken_out() -> None:
    """The foot of the pot is in the shade too, so that neither border of it is an edge."""
    drawn = half(draw_pot(clay=(0.68, 0.56, 0.41), table=(0.66, 0.55, 0.40)))
    rgb, pot = drawn.rgb, drawn.mask
    ring = _disc(pot, (0.5, 0.97), (0.62, 1 / 7))
    shade = ring & ~pot
    light = 1.0 - 0.6 * cv2.GaussianBlur(ring.astype(np.float32), (0, 0), 9.0)
    darker = (rgb * (light**0.45)[..., None]).astype(np.uint8)
    regions, left = _cut(darker, pot | shade, pot)
    assert (left[regions.labels] & shade).sum() < 0.3 * shade.sum()
    assert (left[regions.labels] & pot).sum() > 0.97 * pot.sum()


@pytest.mark.parametrize(
    ("with_card", "hue"),
    [
        (True, (0.56, 0.51, 0.47)),  # midway between pot and table: the card tells
        (False, (0.56, 0.54, 0.52)),  # away from cards it must be nearer to the table
    ],
)
def test_deep_shadow_on_one_side_is_taken_out(
    with_card: bool, hue: tuple[float, float, float]
) -> None:
    """Deeper than shadows are taken for elsewhere."""
    drawn = half(draw_pot(clay=(0.30, 0.20, 0.13), table=(0.74, 0.62, 0.56)))
    rgb, pot = drawn.rgb, drawn.mask
    rows, cols = np.flatnonzero(pot.any(1)), np.flatnonzero(pot.any(0))
    down, across = np.mgrid[0 : pot.shape[0], 0 : pot.shape[1]]
    low = (down > rows[0] + 0.7 * len(rows)) & (down < rows[0] + 0.98 * len(rows))
    card = low & (across > cols[-1] + 40) & (across < cols[-1] + 110)
    shade = low & ~pot & (across > cols.mean()) & (across <= cols[-1] + 40)
    dark = np.where(shade[..., None], rgb * np.array(hue), rgb)
    dark[card] = 235
    cards = card if with_card else np.zeros_like(card)
    regions, left = _cut(dark.astype(np.uint8), pot | shade, pot, cards=cards)
    assert (left[regions.labels] & shade).sum() < 0.2 * shade.sum()
    assert (left[regions.labels] & pot).sum() > 0.97 * pot.sum()


def test_a_handle_that_reaches_a_card_stays() -> None:
    pot = draw_pot(clay=(0.62, 0.42, 0.28), table=(0.5, 0.5, 0.5), handle=True)
    small = half(pot)
    rgb, mask = small.rgb, small.mask
    cols = np.flatnonzero(mask.any(0))
    body = half(draw_pot(clay=(0.62, 0.42, 0.28), table=(0.5, 0.5, 0.5))).mask
    card = np.zeros_like(mask)
    card[200:330, cols[-1] + 1 : cols[-1] + 80] = True
    shown = np.where(card[..., None], 235, rgb).astype(np.uint8)
    regions, left = _cut(shown, mask, body, cards=card)
    handle = mask & ~body
    assert (left[regions.labels] & handle).sum() > 0.9 * handle.sum()


def test_with_no_other_cut_nothing_changes() -> None:
    pot = draw_pot(size=(480, 640))
    regions, left = _cut(pot.rgb, pot.mask)
    assert (left == (regions.share_of(pot.mask) > 0.5)).all()


def test_a_milky_foot_on_one_side_of_a_red_pot_is_no_shadow_of_the_table() -> None:
    """It is paler than the tan table, on the far side of it from the clay, and darker than it."""
    pot = draw_pot(size=(480, 640), clay=(0.55, 0.20, 0.10), table=(0.60, 0.46, 0.33))
    rows, cols = np.flatnonzero(pot.mask.any(1)), np.flatnonzero(pot.mask.any(0))
    down, right = np.indices(pot.mask.shape)
    low = down > rows[0] + 0.88 * len(rows)
    pool = pot.mask & low & (right < cols[0] + 0.5 * len(cols))
    milky = np.where(pool[..., None], [150, 140, 147], pot.rgb).astype(np.uint8)
    regions, left = _cut(milky, pot.mask, pot.mask & ~pool)
    assert (left[regions.labels] & pool).sum() > 0.9 * pool.sum()


@pytest.mark.parametrize("of_the_pot", [False, True])
def test_a_broad_shadow_round_the_foot_is_none_of_it_but_a_dipped_half_is(of_the_pot: bool) -> None:
    """As under a flared bowl, where no other cut leaves it out; both have the table's colour."""
    pot = half(draw_pot(clay=(0.66, 0.60, 0.55), table=(0.24, 0.28, 0.20)))
    rgb, mask = pot.rgb, pot.mask
    part = _disc(mask, (0.5, 0.9), (0.8, 1 / 3)) & (mask if of_the_pot else ~mask)
    light = 1.0 - 0.4 * cv2.GaussianBlur(
        part.astype(np.float32), (0, 0), 1.0 if of_the_pot else 7.0
    )
    table = np.array((0.24, 0.28, 0.20)) ** (1 / 2.2) * 255
    drawn = np.where((part & mask)[..., None], table, rgb) * light[..., None] ** 0.45
    regions, left = _cut(drawn.astype(np.uint8), mask | part)
    found = left[regions.labels]
    assert (found & part).sum() / part.sum() == pytest.approx(1.0 if of_the_pot else 0.0, abs=0.1)
    assert (found & mask).sum() > 0.97 * mask.sum()
