"""What one side alone has or lacks is disputed by the others, and settled by colours."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from grader.outline.agreement import Expected, expect, is_disputed, settle, take_over
from grader.piece import Silhouette, cut_out_again
from tests.drawn import divided, draw_pot, half, handled, shadowed

Mask = NDArray[np.bool_]


def _side(*, handle: int = 0, shift: tuple[int, int] = (0, 0), scale: float = 1.0) -> Mask:
    """A mug of 90 by 120 px; `handle` 1 to the right, -1 to the left."""
    side = np.zeros((240, 320), np.uint8)
    cv2.rectangle(side, (115, 60), (205, 180), 1, -1)
    if handle:
        cv2.ellipse(side, (160 + handle * 48, 115), (32, 34), 0, 0, 360, 1, 10)
    (across, down), about = shift, (160, 120)
    by = np.array(
        [[scale, 0, across + about[0] * (1 - scale)], [0, scale, down + about[1] * (1 - scale)]],
        np.float32,
    )
    return np.asarray(cv2.warpAffine(side, by, (320, 240)) > 0)


def _around(*, shift: tuple[int, int] = (0, 0)) -> list[Mask]:
    return [_side(), _side(handle=1, shift=shift), _side(), _side(handle=-1)]


def test_sides_that_were_not_set_down_alike_dispute_nothing() -> None:
    masks = _around(shift=(40, -25))
    expected = expect(masks)
    assert not any(map(is_disputed, masks, expected))
    # The body is common to all of them, in the frame of the side that was set down elsewhere.
    body = _side(shift=(40, -25))
    assert (expected[1].core & body).sum() > 0.95 * body.sum()


def test_photos_may_lie_on_their_side() -> None:
    masks = [*_around()[:3], np.ascontiguousarray(np.pad(_side(handle=-1), ((40, 40), (0, 80))))]
    upright = [each[:, 40:280] for each in masks[:3]]
    assert not any(map(is_disputed, [*upright, masks[3]], expect([*upright, masks[3]])))


@pytest.mark.parametrize("scale", [0.6, 1.5])
def test_a_side_from_another_distance_agrees_by_its_scale(scale: float) -> None:
    masks = [*_around()[:3], _side(handle=-1, scale=scale)]
    assert any(map(is_disputed, masks, expect(masks)))
    assert not any(map(is_disputed, masks, expect(masks, [2.0, 2.0, 2.0, 2.0 * scale])))


def test_what_one_side_alone_has_or_lacks_is_disputed() -> None:
    masks = _around()
    masks[0] = masks[0].copy()
    cv2.ellipse(shadow := np.zeros((240, 320), np.uint8), (80, 170), (40, 10), 0, 0, 360, 1, -1)
    masks[0] |= shadow > 0
    masks[2] = masks[2].copy()
    masks[2][160:, :] = False
    disputed = [is_disputed(mask, each) for mask, each in zip(masks, expect(masks), strict=True)]
    assert disputed == [True, False, True, False]


@pytest.mark.parametrize(("lacking", "told"), [((0, 1), True), ((0, 2), False)])
def test_of_two_sides_that_lack_a_foot_neighbours_are_told_and_opposites_are_not(
    lacking: tuple[int, int], told: bool
) -> None:
    """A pool of the table's colour shows on two sides in turn; an oval dish is narrower on two
    opposite ones."""
    masks = [_side().copy() for _ in range(4)]
    for number in lacking:
        masks[number][160:, :] = False
    found = expect(masks, opposite=[2, 3, 0, 1])
    disputed = [is_disputed(mask, each) for mask, each in zip(masks, found, strict=True)]
    assert disputed == [told and number in lacking for number in range(4)]
    assert not any(map(is_disputed, masks, expect(masks)))


def test_a_cut_that_finds_nothing_settles_nothing() -> None:
    pot = half(draw_pot())
    regions, evidence = divided(pot.rgb)
    chosen = regions.share_of(pot.mask) > 0.5
    nothing, everything = np.zeros_like(chosen), np.ones_like(chosen)
    empty = np.zeros_like(pot.mask)
    disputed = (nothing, everything)
    taken = take_over(regions, evidence, chosen, nothing, Expected(empty, empty), disputed)
    assert (taken == chosen).all()


def _settled(rgb: NDArray[np.uint8], first: Mask, expected: Expected) -> Mask:
    regions, evidence = divided(rgb)
    chosen = settle(regions, evidence, regions.share_of(first) > 0.5, expected)
    return np.asarray(chosen[regions.labels])


def test_a_shadow_that_no_other_side_has_goes_and_nothing_else_changes() -> None:
    rgb, pot, shade = shadowed()
    left = _settled(rgb, pot | shade, Expected(pot, pot))
    assert (left & shade).sum() < 0.1 * shade.sum()
    assert (left & pot).sum() > 0.98 * pot.sum()


def test_what_all_other_sides_have_is_won_back() -> None:
    pot = half(draw_pot(clay=(0.62, 0.45, 0.30), table=(0.42, 0.43, 0.45)))
    low = pot.mask & (np.arange(len(pot.mask)) > np.flatnonzero(pot.mask.any(1))[-1] - 50)[:, None]
    left = _settled(pot.rgb, pot.mask & ~low, Expected(pot.mask, pot.mask))
    assert (left & low).sum() > 0.9 * low.sum()


@pytest.mark.parametrize("colour", [(206, 178, 149), (150, 170, 188)])
def test_the_bow_of_a_handle_that_only_one_side_shows_is_kept(colour: tuple[int, ...]) -> None:
    """Whether it has the colour of the pot or nearly that of the table: table is seen through."""
    rgb, pot, handle = handled(colour)
    both = pot | handle
    assert is_disputed(both, Expected(pot, pot))
    left = _settled(rgb, both, Expected(pot, pot))
    assert (left & handle).sum() > 0.9 * handle.sum()


def test_the_outline_of_a_disputed_photo_is_found_again_at_its_full_size() -> None:
    rgb, pot, shade = shadowed()
    large = cv2.resize(rgb, None, fx=2.0, fy=2.0, interpolation=cv2.INTER_CUBIC)
    twice, wrong = (
        cv2.resize(each.astype(np.uint8), None, fx=2.0, fy=2.0) > 0 for each in (pot, pot | shade)
    )
    first = Silhouette(wrong, (0, 0, 1, 1), 0.7)
    found = cut_out_again(np.asarray(large, np.uint8), first, Expected(pot, pot))
    assert found is not None
    assert (found.mask & twice).sum() / (found.mask | twice).sum() > 0.97
    assert found.certainty == first.certainty
    assert found.bbox_px[2] < twice.any(0).sum() * 1.05
