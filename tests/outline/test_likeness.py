"""Where a colour lies between piece and table, and how sure that is."""

from __future__ import annotations

import numpy as np
import pytest

from grader.outline.likeness import like_table, spread_about

PIECE, TABLE = np.array([0.4, -0.6]), np.array([0.0, 0.0])


@pytest.mark.parametrize("share", [-0.5, 0.0, 0.3, 1.0, 2.0])
def test_it_runs_from_the_piece_to_the_table_and_on(share: float) -> None:
    like, sure = like_table(PIECE + share * (TABLE - PIECE), PIECE, TABLE, 0.0)
    assert like == pytest.approx(share - 0.5)
    assert sure > 0.99


def test_it_is_unsure_where_both_are_alike_or_spread_wide() -> None:
    _, alike = like_table(PIECE, PIECE, PIECE, 0.0)
    _, wide = like_table(PIECE, PIECE, TABLE, 4.0)
    assert alike == 0.0
    assert wide < 0.2


def test_spread_is_the_variance_of_normal_noise() -> None:
    noise = np.random.default_rng(1).normal(0.0, 0.1, (20000, 2))
    assert spread_about(noise, np.median(noise, axis=0)) == pytest.approx(2 * 0.1**2, rel=0.05)
