"""Work shared among processes: each result as it comes, and no item costs another."""

from __future__ import annotations

import os

import pytest

from grader.errors import PhotoError
from grader.sharing import Failed, each_result


def halved(number: int) -> int:
    if number == 99:
        os._exit(9)  # as the system does to a process for which there is no memory
    if number < 0:
        raise PhotoError("is negative", where=str(number), remedy="Take another")
    if number % 2:
        raise ValueError("odd")
    return number // 2


@pytest.mark.parametrize("workers", [1, 2])
def test_each_item_has_its_result_or_its_reason(workers: int) -> None:
    results = dict(each_result(halved, [2, 3, 4, -1, 10], workers=workers))
    assert {position: results[position] for position in (0, 2, 4)} == {0: 1, 2: 2, 4: 5}
    assert results[1] == "The analysis failed (ValueError: odd)."
    assert results[3] == "-1: is negative. Take another."
    assert isinstance(results[1], Failed) and isinstance(results[3], Failed)


def test_a_process_that_dies_costs_only_its_own_item() -> None:
    results = dict(each_result(halved, [2, 99, 4], workers=2))
    assert (results[0], results[2]) == (1, 2)
    assert "ended by the system" in str(results[1])


def test_nothing_is_worked_on_that_nobody_asks_for() -> None:
    done: list[int] = []
    results = each_result(lambda number: done.append(number), [1, 2, 3], workers=1)
    next(results)
    results.close()  # type: ignore[attr-defined]
    assert done == [1]


def test_no_items_give_no_results() -> None:
    assert list(each_result(halved, [], workers=None)) == []
