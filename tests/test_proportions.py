"""Small numbers against published and independent values."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.proportions import fisher_mid_p, holm, shrunk, wilson


# Figures for 5/10 against 0/10 and 7/20 against 1/20 as used in the trade's guidance:
# Fisher .033 and .044, mid-p .024 and .034.
@pytest.mark.parametrize(
    ("hits", "total", "others", "of", "mid_p"), [(5, 10, 0, 10, 0.024), (7, 20, 1, 20, 0.034)]
)
def test_mid_p(hits: int, total: int, others: int, of: int, mid_p: float) -> None:
    assert fisher_mid_p(hits, total, others, of) == pytest.approx(mid_p, abs=0.0005)


# 34 of 36 and 55 of 61 are the least numbers whose 95 % Wilson lower bound is above 0.80;
# the bound itself by Wilson's closed formula (1927).
@pytest.mark.parametrize(
    ("hits", "total", "above"), [(34, 36, True), (33, 36, False), (55, 61, True)]
)
def test_wilson_against_its_closed_formula(hits: int, total: int, above: bool) -> None:
    z = 1.959963984540054
    share = hits / total
    middle = share + z * z / (2 * total)
    half = z * (share * (1 - share) / total + z * z / (4 * total * total)) ** 0.5
    low, high = wilson(hits, total)
    assert low == pytest.approx((middle - half) / (1 + z * z / total))
    assert high == pytest.approx((middle + half) / (1 + z * z / total))
    assert (low > 0.80) is above


# Holm 1979: the sorted values times 4, 3, 2, 1, made non-decreasing.
def test_holm_by_hand() -> None:
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm([]) == []


@given(st.lists(st.floats(0, 1), max_size=10))
def test_holm_never_makes_a_value_smaller_nor_changes_their_order(values: list[float]) -> None:
    corrected = holm(values)
    assert all(low <= high <= 1 for low, high in zip(values, corrected, strict=True))
    order = sorted(range(len(values)), key=values.__getitem__)
    assert [corrected[i] for i in order] == sorted(corrected)


@given(st.integers(0, 30), st.integers(1, 30), st.floats(0, 1))
def test_a_shrunk_share_lies_between_its_own_and_the_overall(
    hits: int, total: int, overall: float
) -> None:
    hits = min(hits, total)
    own = hits / total
    value = shrunk(hits, total, overall)
    assert min(own, overall) - 1e-12 <= value <= max(own, overall) + 1e-12
    assert abs(shrunk(10 * hits, 10 * total, overall) - own) <= abs(value - own) + 1e-12
