"""Between a cut and a much larger one round it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from grader.outline.choice import _first_together, choose_cut, measure_cut, pick
from grader.outline.regions import divide
from tests.drawn import divided, draw_pot, half

FOOT = (0.42, 0.43, 0.45)


def _low() -> NDArray[np.bool_]:
    rows, _ = np.mgrid[0:900, 0:1100]
    return np.asarray(rows > 660)


@pytest.mark.parametrize(
    ("inner", "outer", "picked"),
    [
        (0.70, 0.30, "outer"),  # a painted band has stronger edges than the pot round it
        (0.70, 0.10, "inner"),  # not credible
        (0.95, 0.25, "inner"),  # a pot with its shadow and a card: far less likely than the pot
        (0.30, 0.70, "outer"),
    ],
)
def test_larger_cut_is_picked_where_it_is_about_as_credible(
    inner: float, outer: float, picked: str
) -> None:
    pot = draw_pot(size=(480, 640))
    regions = divide(pot.rgb, np.zeros(pot.mask.shape, bool))
    whole = regions.share_of(pot.mask) > 0.5
    band = whole & (regions.place[:, 1] > 0.55) & (regions.place[:, 1] < 0.75)
    assert band.any()
    assert pick(regions, [band, whole], [inner, outer]) == ["inner", "outer"].index(picked)


def test_of_two_cuts_the_one_is_chosen_that_holds_all_that_changes() -> None:
    """A light foot on a light table: by colours alone either cut may be right."""
    pot = half(draw_pot(clay=(0.55, 0.20, 0.09), table=FOOT, layers={"foot": (_low(), FOOT)}))
    regions, evidence = divided(pot.rgb)
    foot = pot.mask & _low()[::2, ::2]
    still = np.where(regions.share_of(pot.mask) > 0.5, 2.0, -2.0)
    alone = choose_cut(regions, evidence)
    known = choose_cut(regions, replace(evidence, still=still, log_odds=evidence.log_odds + still))
    assert alone is not None
    assert known is not None
    shares = [(foot & each.regions[regions.labels]).sum() / foot.sum() for each in (alone, known)]
    assert shares[0] < 0.2
    assert shares[1] > 0.9


@pytest.mark.parametrize("kept", [True, False])
def test_where_colours_mislead_what_stays_while_the_piece_turns_is_not_taken_with_it(
    kept: bool,
) -> None:
    """Of first cuts that are as likely by their edges, one holds a piece of the table."""
    pot = half(draw_pot())
    regions, evidence = divided(pot.rgb)
    whole = regions.share_of(pot.mask) > 0.5
    beyond = whole | (np.abs(regions.place - [0.5, 0.9]).max(1) < 0.1)
    assert beyond.sum() > whole.sum()
    # Both are as likely as each other by their edges.
    measures = measure_cut(regions, evidence, whole)
    if not kept:
        evidence = replace(evidence, still=np.where(whole, 2.0, -2.0))
    together = _first_together(regions, evidence, [(whole, measures), (beyond, measures)])
    assert (together == (beyond if kept else whole)).all()
