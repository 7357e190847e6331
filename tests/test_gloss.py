"""Light mirrored by a glaze, and milk in it, follow the dichromatic model; paint does not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from grader.gloss import added_light, is_clay_beneath
from tests.faults import made

CLAYS = [made.BUFF, made.RED, (0.09, 0.05, 0.035)]


Plane = NDArray[np.float32]


def _planes(
    seen: NDArray[np.float64], clay: tuple[float, float, float]
) -> tuple[Plane, Plane, Plane, Plane]:
    """Chroma and tone of light, of shape (n, 3), and of clay, of shape (3,)."""
    logs = np.log(np.broadcast_to(seen, (len(seen), 3)))
    body = np.log(np.broadcast_to(np.array(clay), logs.shape))
    chromas = [(each[:, [0, 2]] - each[:, [1]]).astype(np.float32) for each in (logs, body)]
    tones = [each.mean(1).astype(np.float32) for each in (logs, body)]
    return chromas[0], tones[0], chromas[1], tones[1]


def _judged(seen: NDArray[np.float64], clay: tuple[float, float, float]) -> bool:
    return is_clay_beneath(*_planes(seen, clay))


# Shafer 1985, doi:10.1002/col.5080100409: body light and the light of the source add up.
@given(
    clay=st.sampled_from(CLAYS),
    part=st.floats(0.25, 0.65),
    shading=st.floats(0.95, 1.15),
)
def test_mirrored_light_is_clay(
    clay: tuple[float, float, float], part: float, shading: float
) -> None:
    mirrored = part / (1 - part) * clay[1] * np.linspace(0.8, 1.2, 40)
    assert _judged(np.array(clay) * shading + mirrored[:, None], clay)


@pytest.mark.parametrize("clay", CLAYS)
def test_milk_that_runs_out_is_clay(clay: tuple[float, float, float]) -> None:
    cover = np.linspace(0.1, 0.9, 60)[:, None]
    milk = np.array(clay)[1] * 1.1
    assert _judged(np.array(clay) * (1 - cover) + cover * milk, clay)


@pytest.mark.parametrize("clay", CLAYS)
@pytest.mark.parametrize("paint", [made.COBALT, made.OCHRE, made.BLACK, (0.75, 0.75, 0.74)])
def test_paint_is_no_clay(
    clay: tuple[float, float, float], paint: tuple[float, float, float]
) -> None:
    waver = np.random.default_rng(0).normal(1.0, 0.04, (60, 1))
    assert not _judged(np.array(paint) * waver, clay)


def test_an_even_wash_that_shines_no_more_than_clay_is_paint() -> None:
    """White slip brushed thin lets half of the clay through, but does so everywhere."""
    clay = np.array(made.RED)
    waver = np.random.default_rng(0).normal(1.0, 0.04, (60, 1))
    wash = 0.5 * clay + 0.5 * clay.mean()
    assert not _judged(wash * waver, made.RED)


@given(
    clay=st.sampled_from(CLAYS),
    part=st.floats(0.05, 0.65),
    shading=st.floats(1.0, 1.15),
    tint=st.floats(0.97, 1.03),
)
def test_the_share_of_mirrored_light_is_told_at_each_place(
    clay: tuple[float, float, float], part: float, shading: float, tint: float
) -> None:
    """Share of the green light, as the chroma is green as 1; the lamp may be a little warm."""
    body = np.array(clay) * shading
    lamp = part / (1 - part) * body[1] * np.array([tint, 1.0, 1 / tint])
    share = added_light(*_planes((body + lamp)[None], clay), np.zeros(1, bool))
    assert share[0] == pytest.approx(part, abs=0.12)


@pytest.mark.parametrize("clay", CLAYS)
@pytest.mark.parametrize("paint", [made.COBALT, made.OCHRE, made.BLACK, (0.75, 0.75, 0.74)])
def test_paint_has_no_share_of_mirrored_light(
    clay: tuple[float, float, float], paint: tuple[float, float, float]
) -> None:
    assert np.isnan(added_light(*_planes(np.array([paint]), clay), np.zeros(1, bool)))[0]


def test_clipped_red_is_told_by_its_blue() -> None:
    body = np.array(made.RED) * 1.1
    seen = body + 0.5 * body[1]
    seen[0] *= 0.7
    told = [added_light(*_planes(seen[None], made.RED), np.array([cut])) for cut in (False, True)]
    assert np.isnan(told[0][0])
    assert told[1][0] == pytest.approx(1 / 3, abs=0.05)


def test_a_place_that_lacks_the_shine_of_the_fit_is_clay() -> None:
    """A glaze mirrors 4 % of the room (index 1.5, Fresnel); dark red clay returns little more."""
    clay = np.array((0.09, 0.05, 0.035))
    fit = tuple((clay + 0.007).tolist())
    share = added_light(*_planes(clay[None], (fit[0], fit[1], fit[2])), np.zeros(1, bool))
    assert -0.25 < share[0] < 0
