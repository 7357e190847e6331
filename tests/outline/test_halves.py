"""What one half of an outline has or lacks alone is settled together with its mirror image."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from grader.outline.halves import edge_chance, mirror_shift, settle_halves
from grader.outline.parts import mirrored
from grader.piece import cut_out
from tests.drawn import divided, draw_pot, half, handled, shadowed

Mask = NDArray[np.bool_]


def _settled(rgb: NDArray[np.uint8], first: Mask) -> Mask:
    regions, evidence = divided(rgb)
    chosen = settle_halves(regions, evidence, regions.share_of(first) > 0.5)
    return np.asarray(chosen[regions.labels])


def _share(of: Mask, kept: Mask) -> float:
    return float((of & kept).sum() / of.sum())


@settings(max_examples=30, deadline=None)
@given(
    size=st.tuples(st.integers(120, 900), st.integers(120, 900)),
    middle=st.floats(0.35, 0.65),
    wide=st.floats(0.3, 0.6),
    shade=st.floats(0.0, 0.12),
)
# One pixel of the reduced outline off its peak, the image lies three of the outline amiss.
@example(size=(425, 425), middle=0.5345424596128401, wide=0.3, shade=0.0)
def test_the_axis_is_that_of_the_rim_whatever_lies_beside(
    size: tuple[int, int], middle: float, wide: float, shade: float
) -> None:
    height, width = size
    rows, cols = np.mgrid[0:height, 0:width]
    axis = middle * (width - 1)
    body = (np.abs(cols - axis) < 0.5 * wide * width * (0.7 + 0.3 * rows / height)) & (
        np.abs(rows - 0.5 * height) < 0.4 * height
    )
    beside = (rows > 0.75 * height) & body.any(1)[:, None] & (cols > axis)
    mask = body | (beside & (cols < axis + (0.5 * wide + shade) * width))
    shift, met = mirror_shift(mask, np.ones(size, np.float32))
    other = mirrored(mask, shift, False)
    # A pixel of the reduced outline is this wide, and the axis lies between two at best.
    slack = max(1.0, max(size) / 320)
    upper = body & (rows < 0.7 * height)
    apart = (other ^ mask) & (rows < 0.7 * height)
    assert met > 0.4
    assert apart.sum() <= 2.5 * slack * upper.any(1).sum()


def test_a_mirror_image_keeps_its_kind_and_marks_what_lies_beyond() -> None:
    labels = np.arange(12, dtype=np.int32).reshape(3, 4)
    found = mirrored(labels, (1, -1), -1)
    assert found.dtype == np.int32
    assert found.tolist() == [[-1, -1, -1, -1], [2, 1, 0, -1], [6, 5, 4, -1]]


def test_the_axis_is_that_of_the_edges_where_a_cut_ran_anywhere() -> None:
    rows, cols = np.mgrid[0:300, 0:400]
    body = (np.abs(cols - 200) < 90) & (np.abs(rows - 150) < 120)
    mask = body & ~((cols > 262) & (rows > 90))
    edges = np.full(mask.shape, 0.01, np.float32)
    outline = cv2.morphologyEx(body.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    edges[outline > 0] = 0.9
    assert mirror_shift(mask, np.ones_like(edges))[0][1] == pytest.approx(-27, abs=4)
    assert mirror_shift(mask, edges)[0][1] == pytest.approx(1, abs=6)


def test_the_edge_of_a_card_is_none_of_a_piece() -> None:
    pot = half(draw_pot())
    card = np.zeros(pot.mask.shape, bool)
    card[300:380, 20:100] = True
    rgb = pot.rgb.copy()
    rgb[card] = 255
    edge = cv2.morphologyEx(card.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    unknown, known = (edge_chance(*divided(rgb, cards)) for cards in (None, card))
    assert np.median(unknown[edge > 0]) > 0.2
    assert np.median(known[edge > 0]) == 0.0


@pytest.mark.parametrize("lean_deg", [-3.0, 3.0])
def test_a_pot_that_leans_in_the_photo_keeps_both_its_sides(lean_deg: float) -> None:
    pot = half(draw_pot(clay=(0.46, 0.44, 0.42), table=(0.42, 0.43, 0.45)))
    height, width = pot.mask.shape
    slope = np.tan(np.radians(lean_deg))
    by = np.array([[1, slope, -slope * height / 2], [0, 1, 0]], np.float32)
    rgb = cv2.warpAffine(pot.rgb, by, (width, height), borderMode=cv2.BORDER_REPLICATE)
    leaning = cv2.warpAffine(pot.mask.astype(np.uint8), by, (width, height)) > 0
    left = _settled(np.asarray(rgb, np.uint8), leaning)
    assert (left & leaning).sum() > 0.985 * (left | leaning).sum()


def test_a_shadow_on_one_side_goes_and_the_pot_stays() -> None:
    rgb, pot, shade = shadowed((128, 116, 106))
    left = _settled(rgb, pot | shade)
    assert _share(shade, left) < 0.1
    assert _share(pot, left) > 0.98


def test_a_side_that_was_lost_is_won_back() -> None:
    pot = half(draw_pot(clay=(0.62, 0.45, 0.30), table=(0.42, 0.43, 0.45)))
    rows, cols = np.flatnonzero(pot.mask.any(1)), np.flatnonzero(pot.mask.any(0))
    lost = pot.mask.copy()
    lost[:, : cols[-1] - len(cols) // 8] = False
    lost[: rows[0] + len(rows) // 2] = False
    left = _settled(pot.rgb, pot.mask & ~lost)
    assert _share(lost, left) > 0.9
    assert not (left & ~pot.mask).sum() > 0.02 * pot.mask.sum()


@pytest.mark.parametrize("colour", [(206, 178, 149), (150, 170, 188)])
def test_the_bow_of_a_handle_is_kept_and_given_no_twin(colour: tuple[int, ...]) -> None:
    rgb, pot, handle = handled(colour)
    left = _settled(rgb, pot | handle)
    assert _share(handle, left) > 0.9
    assert (left & ~(pot | handle)).sum() < 0.01 * pot.sum()


def test_only_a_piece_that_stands_is_held_against_its_mirror_image(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[int] = []

    def counted(regions: object, evidence: object, chosen: Mask) -> Mask:
        asked.append(1)
        return chosen

    monkeypatch.setattr("grader.piece.settle_halves", counted)
    pot = half(draw_pot())
    assert cut_out(pot.rgb) is not None
    assert not asked
    assert cut_out(pot.rgb, upright=True) is not None
    assert asked == [1]
