"""Bays that an edge closes are won back, and holes in the middle of a piece are filled."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from grader.outline.agreement import Expected, settle
from grader.outline.parts import fill_bays, fill_holes, open_gaps, without_whiskers
from tests.drawn import divided, draw_pot, half

Mask = NDArray[np.bool_]
_SIZE = (900, 1100)


def _dipped() -> tuple[NDArray[np.uint8], Mask, Mask]:
    """A red pot whose foot and one side were dipped in white slip, and outlines of both."""
    rows, cols = np.mgrid[0 : _SIZE[0], 0 : _SIZE[1]]
    layer = (rows > 620 - 0.35 * (cols - 550), (0.80, 0.78, 0.75))
    pot = draw_pot(clay=(0.55, 0.20, 0.09), table=(0.40, 0.39, 0.38), layers={"dip": layer})
    return half(pot).rgb, half(pot).mask, pot.layers["dip"][::2, ::2]


def test_a_dipped_foot_is_won_back_where_an_edge_closes_it() -> None:
    rgb, pot, dip = _dipped()
    regions, evidence = divided(rgb)
    chosen = regions.share_of(pot & ~dip) > 0.5
    alone = fill_bays(regions, evidence, chosen)[regions.labels]
    expected = fill_bays(regions, evidence, chosen, expected=pot)[regions.labels]
    assert (dip & alone).sum() < 0.5 * dip.sum()
    assert (dip & expected).sum() > 0.9 * dip.sum()
    assert (expected & ~pot).sum() < 0.02 * pot.sum()
    settled = settle(regions, evidence, chosen, Expected(pot, pot))[regions.labels]
    assert (dip & settled).sum() > 0.9 * dip.sum()


def test_a_bay_that_stays_while_the_piece_is_turned_is_seen_through_a_handle() -> None:
    rgb, pot, dip = _dipped()
    regions, evidence = divided(rgb)
    chosen = regions.share_of(pot & ~dip) > 0.5
    for odds, won in ((-3.0, False), (0.0, True), (3.0, True)):
        still = np.where(regions.share_of(dip) > 0.5, odds, 0.0)
        found = fill_bays(regions, replace(evidence, still=still), chosen, expected=pot)
        share = (dip & found[regions.labels]).sum() / dip.sum()
        assert share > 0.9 if won else share < 0.1


def test_what_no_edge_closes_stays_table_whatever_is_expected() -> None:
    pot = half(draw_pot(clay=(0.55, 0.20, 0.09)))
    regions, evidence = divided(pot.rgb)
    wider = cv2.dilate(pot.mask.astype(np.uint8), np.ones((1, 121), np.uint8)) > 0
    chosen = regions.share_of(pot.mask) > 0.5
    found = fill_bays(regions, evidence, chosen, expected=wider, closed_share=0.8)[regions.labels]
    assert (found & ~pot.mask).sum() < 0.01 * pot.mask.sum()


@pytest.mark.parametrize(
    ("aside", "radius_px", "stays"), [(0.1, 10, False), (0.1, 60, True), (0.8, 10, True)]
)
def test_only_a_small_hole_in_the_middle_is_filled(
    aside: float, radius_px: int, stays: bool
) -> None:
    """A large one is seen through a handle over the pot, one at the side through one beside it."""
    pot = half(draw_pot())
    rows, cols = np.flatnonzero(pot.mask.any(1)), np.flatnonzero(pot.mask.any(0))
    at = (int(cols.mean() + aside * len(cols) / 2), int(rows.mean()))
    hole = np.zeros(pot.mask.shape, np.uint8)
    cv2.circle(hole, at, radius_px, 1, -1)
    rgb = np.where(hole[..., None] > 0, np.array((30, 30, 32)), pot.rgb).astype(np.uint8)
    regions, evidence = divided(rgb)
    chosen = regions.share_of(pot.mask & (hole == 0)) > 0.5
    found = fill_holes(regions, evidence, chosen)[regions.labels]
    assert (found & (hole > 0)).sum() / hole.sum() == pytest.approx(0 if stays else 1, abs=0.15)


@pytest.mark.parametrize(
    ("parts", "lit"),
    [
        ({1: 4}, 0.0),
        ({-1: 4, 1: 4}, 0.0),
        ({1: 4}, 0.3),
        ({-1: 9, 1: 9}, 0.0),
        ({-1: 8, 1: 6}, 0.0),
    ],
)
def test_the_gaps_of_one_handle_or_of_two_are_taken_out(parts: dict[int, int], lit: float) -> None:
    """Also one into which the pot throws so much of its light that it stands out itself."""
    pot = half(draw_pot(clay=(0.62, 0.45, 0.30), table=(0.15, 0.35, 0.6)))
    rows, cols = np.flatnonzero(pot.mask.any(1)), np.flatnonzero(pot.mask.any(0))
    bow, lobe = np.zeros(pot.mask.shape, np.uint8), np.zeros(pot.mask.shape, np.uint8)
    for side, part in parts.items():
        middle = (int(cols[-1] if side > 0 else cols[0]), int(rows[0] + 0.45 * len(rows)))
        size = (len(cols) // part, len(rows) // part)
        cv2.ellipse(bow, middle, size, 0, 0, 360, 1, 16 if part == 4 else 7)
        cv2.ellipse(lobe, middle, size, 0, 0, 360, 1, -1)
    handle = (bow > 0) & ~pot.mask
    gap = (lobe > 0) & ~handle & ~pot.mask
    clay = np.array((206, 178, 149))
    rgb = np.where(handle[..., None], clay, pot.rgb)
    rgb = np.where(gap[..., None], (1 - lit) * rgb + lit * clay, rgb).astype(np.uint8)
    regions, evidence = divided(rgb)
    chosen = regions.share_of(pot.mask | handle | gap) > 0.5
    found = open_gaps(regions, evidence, chosen)[regions.labels]
    assert (found & gap).sum() < 0.1 * gap.sum()
    assert (found & (pot.mask | handle)).sum() > 0.98 * (pot.mask | handle).sum()


def test_squares_that_mirror_each_other_on_the_wall_are_no_gaps() -> None:
    white = (0.8, 0.78, 0.75)
    size = (900, 1100)
    rows, cols = np.mgrid[0 : size[0], 0 : size[1]]
    square = (np.abs(np.abs(cols - 550) - 120) < 50) & (np.abs(rows - 450) < 60)
    pot = draw_pot(size=size, table=white, layers={"squares": (square, white)})
    regions, evidence = divided(half(pot).rgb)
    chosen = regions.share_of(half(pot).mask) > 0.5
    assert (open_gaps(regions, evidence, chosen) == chosen).all()


def test_a_thin_line_beside_a_pot_is_none_of_it_but_its_handle_is() -> None:
    pot = half(draw_pot())
    rows, cols = np.flatnonzero(pot.mask.any(1)), np.flatnonzero(pot.mask.any(0))
    crack, bow = np.zeros(pot.mask.shape, np.uint8), np.zeros(pot.mask.shape, np.uint8)
    low = int(rows[0] + 0.8 * len(rows))
    cv2.line(crack, (int(cols.mean()), low), (60, low), 1, 4)
    middle = (int(cols[-1]), int(rows[0] + 0.45 * len(rows)))
    cv2.ellipse(bow, middle, (len(cols) // 4, len(rows) // 4), 0, 0, 360, 1, 8)
    line, handle = (crack > 0) & ~pot.mask, (bow > 0) & ~pot.mask
    rgb = np.where((line | handle)[..., None], np.array((40, 30, 25)), pot.rgb).astype(np.uint8)
    regions, _ = divided(rgb)
    chosen = regions.share_of(pot.mask | handle | line) > 0.5
    found = without_whiskers(regions, chosen)[regions.labels]
    assert (found & line).sum() < 0.15 * line.sum()
    assert (found & (pot.mask | handle)).sum() > 0.99 * (pot.mask | handle).sum()
