"""Streaks: thin coats found by their bands, and brush texture, drawings and light left alone."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from grader.faults import streak
from grader.faults.coverage import Coverage, Relative
from grader.findings import Finding
from tests.faults import made

BAND = (0.0, 16.0, made.WIDE_MM, 46.0)


def _found(*pictures: NDArray[np.float64], **how: object) -> list[Finding]:
    return streak.find(made.seen(*pictures, **how))  # type: ignore[arg-type]


def _thinned(
    colour: tuple[float, float, float],
    strength: float,
    pitch_mm: float = 6.0,
    angle_deg: float = 85.0,
    clay: tuple[float, float, float] = made.BUFF,
    shape: NDArray[np.float32] | None = None,
) -> NDArray[np.float64]:
    """A painted band whose coat lets `strength` of the clay through in parallel bands."""
    right, down = made.places_mm()
    angle = np.radians(angle_deg)
    along = right * np.cos(angle) + down * np.sin(angle) + 0.4 * np.sin(right / 9)
    thin = strength * (0.5 + 0.5 * np.cos(2 * np.pi * along / pitch_mm))
    cover = made.box(*BAND) if shape is None else shape
    return made.lay(made.wall(clay), cover * (1 - thin), colour)


def _measure(found: Finding, name: str) -> float:
    return next(value for key, value, _ in found.measures if key == name)


@pytest.mark.parametrize(("colour", "is_found"), [(made.COBALT, True), (made.BROWN, False)])
def test_light_alone_must_swing_by_more_than_throwing_rings_make_it(
    colour: tuple[float, float, float], is_found: bool
) -> None:
    """In a paint of the clay's own hue chromaticity hardly tells how thin a coat is."""
    assert bool(_found(_thinned(colour, 0.2))) == is_found


@pytest.mark.parametrize(
    ("colour", "strength"),
    [
        (made.COBALT, 0.35),
        (made.COBALT, 0.65),
        (made.BROWN, 0.45),
        ((0.10, 0.30, 0.32), 0.35),
    ],
)
@pytest.mark.parametrize("angle_deg", [0, 40, 85])
def test_a_thin_coat_is_found(
    colour: tuple[float, float, float], strength: float, angle_deg: float
) -> None:
    (found,) = _found(_thinned(colour, strength, angle_deg=angle_deg))
    assert found.fault == "streak"
    assert found.zone == "painted"
    assert found.certainty > 0.5
    assert _measure(found, "pitch") == pytest.approx(6.0, rel=0.35)
    assert _measure(found, "clay_share") == pytest.approx(strength, rel=0.35)
    assert (found.shift_de00 or 0) > 3
    _, y, _, height = found.bbox_px
    assert y / made.PX_PER_MM - 5 > BAND[1] - 4
    assert (y + height) / made.PX_PER_MM - 5 < BAND[3] + 4


def test_more_clay_is_a_larger_shift() -> None:
    shifts = [_found(_thinned(made.COBALT, strength))[0].shift_de00 for strength in (0.35, 0.7)]
    assert (shifts[0] or 0) < (shifts[1] or 0)


def test_two_streaked_sides_are_two_findings() -> None:
    picture = _thinned(made.COBALT, 0.6)
    whole = made.lay(made.wall(), made.box(*BAND), made.COBALT)
    assert [each.photo for each in _found(picture, whole, picture)] == ["front.jpg", "back.jpg"]


@pytest.mark.parametrize("light", [(0.5, 0.5, 0.5), (1.25, 1.25, 1.25), (1.2, 1.0, 0.75)])
def test_brighter_or_warmer_light_changes_nothing(light: tuple[float, float, float]) -> None:
    picture = _thinned(made.COBALT, 0.5)
    (plain,), (lit,) = _found(picture), _found(picture, light=light)
    assert lit.certainty == pytest.approx(plain.certainty, abs=0.15)
    assert _measure(lit, "clay_share") == pytest.approx(_measure(plain, "clay_share"), abs=0.1)


def test_mirrored_it_is_the_same() -> None:
    picture = _thinned(made.COBALT, 0.5, angle_deg=60)
    (plain,), (other,) = _found(picture), _found(made.mirrored(picture))
    assert other.certainty == pytest.approx(plain.certainty, abs=0.15)


@pytest.mark.parametrize("colour", [made.COBALT, made.BLACK, made.OCHRE, made.BROWN])
def test_a_whole_coat_has_none(colour: tuple[float, float, float]) -> None:
    assert _found(made.lay(made.wall(), made.box(*BAND), colour)) == []


@pytest.mark.parametrize("seed", range(3))
def test_brush_mottling_is_none(seed: int) -> None:
    height, width = made.blank().shape
    patches = np.random.default_rng(seed).standard_normal((height // 60, width // 60))
    patches = cv2.resize(patches, (width, height), interpolation=cv2.INTER_CUBIC)
    cover = made.box(*BAND) * np.clip(0.94 + 0.03 * patches, 0, 1)
    assert _found(made.lay(made.wall(seed=seed), cover, made.COBALT)) == []


@pytest.mark.parametrize("width_mm", [2.0, 4.0])
def test_painted_stripes_are_none(width_mm: float) -> None:
    picture = made.wall()
    for top in range(10, 50, 7):
        stripe = made.box(0, top, made.WIDE_MM, top + width_mm)
        picture = made.lay(picture, stripe, made.COBALT)
    assert _found(picture, decorated=True) == []


def test_dots_on_a_band_are_none() -> None:
    picture = made.lay(made.wall(), made.box(*BAND), made.COBALT)
    for x in range(6, 46, 6):
        picture = made.lay(picture, made.ellipse((x, 30), 3.5, 3.5), made.OCHRE)
    assert _found(picture, decorated=True) == []


def test_throwing_rings_under_paint_are_none() -> None:
    _, down = made.places_mm()
    for colour in (made.COBALT, made.OCHRE, (0.55, 0.40, 0.36)):
        picture = made.lay(made.wall(), made.box(*BAND), colour)
        picture = picture * (1 + 0.1 * np.sin(2 * np.pi * down / 6))[..., None]
        assert _found(picture, decorated=True) == []


def test_a_shadow_across_paint_is_none() -> None:
    right, _ = made.places_mm()
    picture = made.lay(made.wall(), made.box(*BAND), made.BROWN)
    picture = picture * (1 - 0.5 * np.exp(-(((right - 24) / 3) ** 2)))[..., None]
    assert _found(picture, decorated=True) == []


def test_an_unpainted_piece_has_none() -> None:
    assert _found(_thinned(made.COBALT, 0.6), decorated=False) == []
    assert _found(made.wall()) == []


@pytest.mark.parametrize("width_mm", [4, 6])
def test_the_lamp_on_rings_across_stripes_is_none(width_mm: int) -> None:
    """Gloss lightens stripes and the clay between them in the same bands."""
    right, down = made.places_mm()
    picture = made.wall((0.70, 0.68, 0.64))
    for left in range(4, 46, width_mm + 4):
        stripe = made.box(left, 8, left + width_mm, 52)
        picture = made.lay(picture, stripe, (0.12, 0.17, 0.06))
    bands = np.clip(2 * np.cos(2 * np.pi * down / 9), 0, 1) * np.exp(-(((right - 24) / 12) ** 4))
    assert _found(picture + 0.15 * bands[..., None], decorated=True) == []


def test_what_is_thin_all_over_is_no_coat() -> None:
    full = np.zeros((30, 60), bool)
    full[:, :30] = True
    coat = np.ones(full.shape, bool)
    coat[:, 28:32] = False
    left = streak._whole_somewhere(coat, full)
    assert left[:, :28].all()
    assert not left[:, 28:].any()
    # A band that thins out hangs on what is whole.
    coat[:] = True
    assert streak._whole_somewhere(coat, full).all()


def _read(share: NDArray[np.float32]) -> tuple[Relative, Coverage]:
    """A painted piece seen at 4 px/mm, whose clay shows through by so much."""
    all_of_it = np.ones(share.shape, bool)
    chroma = np.zeros((*share.shape, 2), np.float32)
    light = Relative(4.0, 1.0, np.ones((*share.shape, 3), np.float32), chroma, *[all_of_it] * 4)
    return light, Coverage(share, share, np.zeros_like(share), share)


@pytest.mark.parametrize(("line_mm", "is_coat"), [(1.0, False), (3.0, True)])
def test_what_is_whole_in_fine_lines_only_is_a_drawing_of_lines(
    line_mm: float, is_coat: bool
) -> None:
    """The lens fills the gaps between drawn stalks with their colour, as a thin coat is."""
    share = np.full((120, 160), 0.6, np.float32)
    for left in range(8, 150, 24):
        share[:, left : left + round(line_mm * 4)] = 0.05
    light, coverage = _read(cv2.GaussianBlur(share, (0, 0), 2.0))
    assert streak._coat(light, coverage).any() == is_coat
    assert not streak._coat(replace(light, painted=~light.painted), coverage).any()


@pytest.mark.parametrize("bright", [True, False])
def test_a_coat_shows_between_strokes_upon_it_that_the_camera_clips(bright: bool) -> None:
    """They leave but narrow parts of a streaked paint to be read, and are as whole as it is."""
    rows = np.arange(120, dtype=np.float32)
    share = np.tile((0.35 - 0.33 * np.cos(2 * np.pi * rows / 18))[:, None], (1, 160))
    light, coverage = _read(np.asarray(share, np.float32))
    stroke = np.arange(160) % 13 < 8
    seen = np.tile(~stroke, (120, 1))
    clay = replace(light, seen=seen, painted=light.painted & seen)
    assert streak._coat(replace(light, seen=seen) if bright else clay, coverage).any() == bright


@pytest.mark.parametrize(("flank_px", "is_edge"), [(6, True), (16, False)])
def test_the_edge_of_a_stripe_out_of_focus_is_no_coat(flank_px: int, is_edge: bool) -> None:
    across = np.arange(100, dtype=np.float32)
    profile = np.clip((across - 40) / flank_px, 0.1, 1.0).astype(np.float32)
    share = np.tile(profile, (40, 1))
    coverage = Coverage(share, share, np.zeros_like(share), share)
    flank = streak._flanks(np.ones(share.shape, bool), coverage, 3.0)
    middle = 40 + flank_px // 2
    assert flank[20, middle] == is_edge
    assert not flank[20, :30].any()


@pytest.mark.parametrize(("shift", "seen"), [(1.2, False), (1.8, True), (None, True)])
def test_bands_that_half_of_observers_would_pass_are_none(shift: float | None, seen: bool) -> None:
    """Paravina et al. 2015: the 50:50 % acceptability threshold is 1.8 CIEDE2000."""
    (found,) = _found(_thinned(made.COBALT, 0.65))
    assert streak._is_seen(replace(found, shift_de00=shift)) == seen


@pytest.mark.parametrize("strength", [0.3, 0.6])
def test_a_thin_coat_of_black_is_no_clay_in_the_shade(strength: float) -> None:
    """Its bands have the hue of the clay: light from beyond the painting tells what they lack."""
    (found,) = _found(_thinned(made.BLACK, strength))
    assert found.certainty > 0.5


@pytest.mark.parametrize(("aside", "is_streaked"), [(0.3, True), (0.8, False)])
def test_bands_lie_across_one_way_and_a_pattern_of_squares_across_two(
    aside: float, is_streaked: bool
) -> None:
    """Beside waves down the wall there are such round it, of so many times their height."""
    rows, cols = (each.ravel() for each in np.mgrid[0:56, 0:56])
    share = 0.3 + 0.25 * (np.cos(2 * np.pi * rows / 18) + aside * np.cos(2 * np.pi * cols / 28))
    share = np.clip(share, 0.0, 0.9)
    found = streak._bands(np.stack([share, share, share]), rows, cols, 4.0)
    assert (found is not None and found[0] > 0.5) == is_streaked
