"""The way along a strip is the cheapest closed one."""

from __future__ import annotations

import numpy as np

from grader.outline.strip import follow


def test_the_way_follows_a_wave_and_closes() -> None:
    length, width = 120, 21
    true = np.round(10 + 6 * np.sin(np.arange(length) * 2 * np.pi / length)).astype(int)
    cost = np.ones((length, width), np.float32)
    cost[np.arange(length), true] = 0.0
    way = follow(cost, turn_cost=0.1)
    assert np.array_equal(way, true)


def test_a_short_cheap_lobe_is_not_worth_the_turns() -> None:
    cost = np.ones((60, 21), np.float32)
    cost[:, 10] = 0.2
    cost[30:33, 16] = 0.0
    assert (follow(cost, turn_cost=0.1) == 10).all()
