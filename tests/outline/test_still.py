"""What stays as it was while the piece is turned is none of it."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from grader.batch import Shot
from grader.outline.regions import divide
from grader.outline.still import OneStand, weigh_still
from grader.outline.surroundings import weigh_surroundings
from grader.piece import cut_out
from grader.survey import _stands

Photo = NDArray[np.uint8]

HIGH, WIDE = 360, 480
ROWS, COLS = np.mgrid[0:HIGH, 0:WIDE]
BODY = (np.abs(COLS - 240) < 80) & (np.abs(ROWS - 190) < 100)
SHADOW = (np.abs(COLS - 350) < 60) & (np.abs(ROWS - 270) < 22) & ~BODY
ROUND = 0.25
NO_CARDS = np.zeros((HIGH, WIDE), bool)


def _grain(seed: int, blur_px: float = 1.5) -> NDArray[np.float32]:
    plane = np.random.default_rng(seed).normal(0, 1, (HIGH, WIDE)).astype(np.float32)
    plane = cv2.GaussianBlur(plane, (0, 0), blur_px)
    return np.asarray(plane / plane.std())


def _side(
    number: int, *, table: int = 7, exposure: float = 1.0, shift_px: tuple[float, float] = (0, 0)
) -> Photo:
    """A pot of the colour and the grain of its table, turned a quarter a number."""
    level = 120 + 9 * np.where(BODY, _grain(100 + number), _grain(table))
    level = level * np.where(BODY, 1 - ROUND * ((COLS - 240) / 80) ** 2, 1.0)
    level = level * np.where(SHADOW, 0.75, 1.0)
    rgb = level[..., None] * np.array([1.0, 0.93, 0.85])
    by = np.array([[1, 0, shift_px[0]], [0, 1, shift_px[1]]], np.float32)
    rgb = cv2.warpAffine(rgb, by, (WIDE, HIGH), borderMode=cv2.BORDER_REFLECT)
    rgb = exposure * rgb + np.random.default_rng(number).normal(0, 1.0, rgb.shape)
    return np.asarray(np.clip(np.round(rgb), 0, 255), np.uint8)


def _odds(own: Photo, *others: Photo) -> NDArray[np.float64]:
    regions = divide(own, NO_CARDS)
    evidence = weigh_surroundings(regions, NO_CARDS)
    assert evidence is not None
    odds = weigh_still(regions, evidence.fixed, OneStand(own, others))
    assert odds.shape == (regions.count,)
    return np.asarray(odds[regions.labels])


def _overlap(one: NDArray[np.bool_], other: NDArray[np.bool_]) -> float:
    return float((one & other).sum() / (one | other).sum())


@settings(max_examples=12, deadline=None)
@given(
    exposure=st.floats(0.75, 1.25),
    across=st.floats(-1.5, 1.5),
    down=st.floats(-1.5, 1.5),
    sides=st.integers(2, 3),
)
def test_a_pot_changes_and_its_table_and_shadow_do_not(
    exposure: float, across: float, down: float, sides: int
) -> None:
    """Whatever the exposure of the others is, and where the stand was touched a little."""
    others = [_side(2, exposure=exposure, shift_px=(across, down)), _side(3), _side(4)]
    odds = _odds(_side(1), *others[:sides])
    inner = cv2.erode(BODY.astype(np.uint8), np.ones((15, 15))) > 0
    assert np.quantile(odds[inner], 0.2) > 0.5
    assert np.quantile(odds[SHADOW], 0.75) < -0.5
    apart = cv2.dilate((BODY | SHADOW).astype(np.uint8), np.ones((15, 15))) == 0
    assert np.quantile(odds[apart], 0.9) < 0


def test_a_pot_of_the_table_is_cut_out_by_what_changes() -> None:
    own, others = _side(1), tuple(_side(number) for number in (2, 3, 4))
    alone = cut_out(own, upright=True)
    together = cut_out(own, upright=True, stand=OneStand(own, others))
    assert together is not None
    assert _overlap(together.mask, BODY) > 0.92
    assert alone is None


@pytest.mark.parametrize(
    "others",
    [
        pytest.param(lambda: [_side(2, table=8), _side(3, table=9)], id="camera in hand"),
        pytest.param(lambda: [_side(2, shift_px=(25, 8)), _side(3, shift_px=(-30, 3))], id="moved"),
        pytest.param(lambda: [_side(2)], id="one other side"),
        pytest.param(lambda: [_side(1)] * 3, id="one photo, copied"),
        pytest.param(lambda: [np.full_like(_side(2), 120)] * 2, id="blank"),
        pytest.param(lambda: [_side(2)[:, 40:], _side(3).swapaxes(0, 1)], id="other formats"),
        pytest.param(list, id="no other side"),
    ],
)
def test_nothing_is_concluded_unless_two_other_sides_are_of_the_scene(others: object) -> None:
    seen = others()  # type: ignore[operator]
    with np.errstate(divide="raise", invalid="raise"):
        assert not _odds(_side(1), *(np.ascontiguousarray(each) for each in seen)).any()


def test_only_sides_stand_together_and_a_photo_that_cannot_be_read_is_passed_over(
    tmp_path: Path,
) -> None:
    shots = []
    for number, view in enumerate(("front", "right", "back", "inside", "foot")):
        path = tmp_path / f"{view}.jpg"
        Image.fromarray(_side(number)).resize((4 * WIDE, 4 * HIGH)).save(path)
        shots.append(Shot(f"V01/{view}.jpg", path, view))  # type: ignore[arg-type]
    (tmp_path / "right.jpg").write_bytes(b"no photo")
    stands = _stands(shots)
    assert sorted(stands) == [0, 2]
    assert [len(stand.others) for stand in stands.values()] == [1, 1]
    # Read no larger than needed.
    assert stands[0].own.shape == (2 * HIGH, 2 * WIDE, 3)
