"""The fine outline keeps shadows out, corners and handles in, and has no thorns."""

from __future__ import annotations

import cv2
import numpy as np

from grader.colour.srgb import encode_srgb
from grader.outline.sharp import sharpen

SIZE = 900

CLAY, TABLE = np.array([0.55, 0.42, 0.30]), np.array([0.45, 0.45, 0.46])


def picture() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A pot with straight sides, the shadow under its right foot, and the photo of both."""
    pot, shadow = np.zeros((SIZE, SIZE), np.uint8), np.zeros((SIZE, SIZE), np.uint8)
    cv2.rectangle(pot, (240, 180), (660, 600), 1, cv2.FILLED)
    cv2.ellipse(pot, (450, 600), (210, 54), 0, 0, 180, 1, cv2.FILLED)
    cv2.ellipse(shadow, (456, 608), (210, 54), 0, 0, 180, 1, cv2.FILLED)
    dark = 1.0 - 0.7 * cv2.GaussianBlur(shadow.astype(np.float32), (0, 0), 3.0)
    light = np.where(pot[..., None] > 0, CLAY, TABLE * dark[..., None])
    grain = np.random.default_rng(1).normal(0, 0.004, (SIZE, SIZE, 3))
    rgb = encode_srgb(np.clip(light + grain, 0, 1).astype(np.float32))
    return np.asarray(rgb, np.uint8), pot > 0, (shadow > 0) & (pot == 0)


def test_a_shadow_that_the_coarse_outline_took_in_is_left_out() -> None:
    rgb, pot, shadow = picture()
    found = sharpen(rgb, pot | shadow, np.zeros_like(pot))
    assert (found & shadow).sum() < 0.15 * shadow.sum()
    assert (found & pot).sum() / (found | pot).sum() > 0.985


def test_corners_of_the_rim_stay() -> None:
    rgb, pot, _ = picture()
    found = sharpen(rgb, pot, np.zeros_like(pot))
    assert found[184:190, 244:250].all()
    assert found[184:190, 650:656].all()


def test_a_thorn_is_cut_off() -> None:
    rgb, pot, _ = picture()
    coarse = pot.copy()
    coarse[360:362, 661:720] = True
    found = sharpen(rgb, coarse, np.zeros_like(pot))
    assert not found[:, 672:].any()


def test_a_card_is_never_piece() -> None:
    rgb, pot, _ = picture()
    cards = np.zeros_like(pot)
    cards[180:360, 600:720] = True
    assert not (sharpen(rgb, pot, cards) & cards).any()


def test_nothing_stays_nothing() -> None:
    rgb, pot, _ = picture()
    assert not sharpen(rgb, np.zeros_like(pot), np.zeros_like(pot)).any()


def test_paint_at_the_outline_draws_neither_notch_nor_thorn() -> None:
    """The edges of a mark are sharper than the outline of a pale pot on a pale table."""
    pot = np.zeros((SIZE, SIZE), np.uint8)
    cv2.ellipse(pot, (450, 450), (210, 260), 0, 0, 360, 1, cv2.FILLED)
    light = np.where(pot[..., None] > 0, CLAY, [0.47, 0.42, 0.36])
    mark = np.zeros((SIZE, SIZE), np.uint8)
    cv2.ellipse(mark, (638, 450), (8, 9), 0, 0, 360, 1, cv2.FILLED)
    light = np.where((mark & pot)[..., None] > 0, [0.02, 0.10, 0.12], light)
    grain = np.random.default_rng(2).normal(0, 0.004, (SIZE, SIZE, 3))
    rgb = np.asarray(encode_srgb(np.clip(light + grain, 0, 1).astype(np.float32)), np.uint8)
    # The coarse outline left out the mark, and took in a piece of table below.
    notch, thorn = np.zeros_like(pot), np.zeros_like(pot)
    cv2.rectangle(notch, (645, 441), (662, 459), 1, cv2.FILLED)
    cv2.rectangle(thorn, (440, 690), (458, 732), 1, cv2.FILLED)
    true = pot > 0
    coarse = (true & ~(notch > 0)) | (thorn > 0)
    found = sharpen(rgb, coarse, np.zeros_like(true))
    wrong = found != true
    assert wrong[notch > 0].mean() < 0.2
    assert (found & (thorn > 0) & ~true).sum() < 0.35 * ((thorn > 0) & ~true).sum()
