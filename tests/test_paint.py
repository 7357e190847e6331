"""Paint has an edge; veils, scorches, shine and the light of a face have none, or none of paint."""

from __future__ import annotations

import numpy as np
import pytest

from grader.zones import Zones
from tests.drawn import BLUE, blob, cut, draw_pot, zones_of
from tests.faults import made


@pytest.mark.parametrize("colour", [BLUE, (0.06, 0.055, 0.05), (0.2, 0.35, 0.12)])
def test_a_painted_band_is_found(colour: tuple[float, float, float]) -> None:
    pot = draw_pot(band=colour)
    surface, zones = zones_of(pot)
    truth = cut(pot, surface, "band") & zones.wall
    common = (zones.paint & truth).sum() / (zones.paint | truth).sum()
    assert common > 0.93


def test_nothing_is_paint_where_the_potter_says_so() -> None:
    _, zones = zones_of(draw_pot(band=BLUE), decorated=False)
    assert not zones.painted.any()


@pytest.mark.parametrize("colour", [(0.55, 0.56, 0.52), (0.35, 0.22, 0.13)])
def test_a_soft_veil_or_scorch_stays_clay(colour: tuple[float, float, float]) -> None:
    size = (900, 1100)
    pot = draw_pot(layers={"soft": (0.7 * blob(size, 560, 560, 60), colour)})
    _, zones = zones_of(pot)
    assert zones.paint.mean() < 0.002


def test_warm_light_from_one_side_is_no_paint() -> None:
    pot = draw_pot()
    tint = np.linspace(0.85, 1.15, pot.rgb.shape[1])[None, :, None] ** np.array([1, 0, -1])
    pot.rgb[:] = np.clip(pot.rgb * tint, 0, 255).astype(np.uint8)
    _, zones = zones_of(pot)
    assert zones.paint.mean() < 0.002


def _zones(picture: made.Picture, light: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> Zones:
    return made.seen(picture, decorated=True, light=light, noise=0.01).views[0].zones


def _faceted(wall: made.Picture) -> made.Picture:
    """Two ringed faces: a lamp reaches one, the other has but the warm light of a table."""
    right, down = made.places_mm()
    rings = 0.85 + 0.15 * np.sin(2 * np.pi * down / 4)
    lamp = np.where(right < 24, 0.6, 0.12) * rings
    table = np.array([1.2, 1.0, 0.76]) * 0.4
    return np.asarray(wall * (lamp[..., None] + table))


def test_the_flanks_of_rings_in_two_lights_are_no_paint() -> None:
    """The upper flank of a sharp ring sees a warm lamp, the lower a bluish sky."""
    right, down = made.places_mm()
    deep = np.where(right > 24, 0.25, 0.08)
    lamp = 0.5 + (deep * np.tanh(4 * np.sin(2 * np.pi * down / 5)))[..., None]
    light = lamp * np.array([1.1, 1.0, 0.88]) + 0.35 * np.array([0.85, 1.0, 1.2])
    zones = _zones(made.wall() * light)
    assert zones.paint.sum() < 0.07 * zones.wall.sum()


def test_paint_on_a_face_in_shade_is_found() -> None:
    leaf = made.ellipse((34, 30), 12, 20)
    zones = _zones(_faceted(made.lay(made.wall(), leaf, made.OCHRE)))
    area_mm2 = zones.paint.sum() / made.PX_PER_MM**2
    assert area_mm2 == pytest.approx(np.pi * 6 * 10, rel=0.15)


def test_shine_on_the_rings_of_dark_clay_is_no_paint() -> None:
    dark = (0.09, 0.05, 0.035)
    right, down = made.places_mm()
    bands = (np.sin(2 * np.pi * down / 4) > 0.3) & (np.hypot(right - 20, down - 25) < 12)
    shine = 0.05 * bands[..., None]
    painted = made.lay(made.wall(dark), made.box(5, 45, 40, 50), made.OCHRE)
    zones = _zones(np.asarray(painted + shine), light=(3.0, 3.0, 3.0))
    rows = np.flatnonzero(zones.paint.any(1))
    # Only the painted band is left; it begins 45 mm below the top and the margin of the picture.
    first_row = zones.body_rows[0]
    assert (rows[0] - first_row) / made.PX_PER_MM > 43


def test_too_little_red_in_an_overexposed_place_is_no_paint() -> None:
    right, down = made.places_mm()
    bright = np.where(np.hypot(right - 20, down - 25) < 8, 2.0, 1.0)[..., None]
    zones = _zones(np.asarray(made.wall((0.62, 0.47, 0.44)) * bright))
    assert zones.paint.sum() < 0.01 * zones.wall.sum()


def _area_mm2(mask: np.ndarray) -> float:
    return float(mask.sum()) / made.PX_PER_MM**2


def test_shine_on_clay_between_painted_squares_is_no_paint() -> None:
    """One window mirrored over a chequered band joins shining clay to the paint."""
    right, down = made.places_mm()
    squares = ((right // 5 + down // 5) % 2 < 1) & (down > 20) & (down < 40)
    squares &= (right > 9) & (right < 39)
    picture = made.lay(made.wall(made.RED), squares.astype(np.float32), made.COBALT)
    window = np.clip(4 - np.abs(right - 24) / 1.5, 0, 1) * np.clip(8 - np.abs(down - 30) / 2, 0, 1)
    dull, lit = (
        _area_mm2(_zones(np.asarray(picture + shine * window[..., None])).paint)
        for shine in (0.0, 0.2)
    )
    assert lit == pytest.approx(dull, rel=0.08)
