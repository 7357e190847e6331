"""A joint of the table that was cut out with the piece is told from a crack."""

from __future__ import annotations

import numpy as np

from grader.faults import crack
from grader.faults.beyond import lies_on_table
from grader.faults.lines import carry_on, trace_dark_lines
from grader.faults.slots import as_slot
from tests.faults import made
from tests.faults.made import Picture


def _line(start: tuple[float, float]) -> Picture:
    down = made.crack_path((0, 0), 9, seed=2)
    return np.asarray(down[:, ::-1] * [1, 0.6] + start)


def _with_table() -> Picture:
    """A wall whose cut-out took in 13 mm of the table."""
    return made.lay(made.wall(), made.box(0, 0, 13, made.HIGH_MM), made.TABLE)


def test_a_joint_whose_sides_are_the_table_beyond_is_no_crack() -> None:
    joint = made.line(_line((2.0, 30.0)), 0.5)
    evidence = made.seen(made.lay(_with_table(), joint, made.SLOT))
    assert crack.find(evidence) == []
    view = evidence.views[0]
    slots = [
        as_slot(view.surface, line)
        for line in trace_dark_lines(view.surface, carry_on(view.surface), view.zones.wall)
    ]
    assert any(slot and slot.likeness > 0.5 and lies_on_table(view, slot) for slot in slots)


def test_a_crack_in_clay_beside_the_outline_lies_not_on_the_table() -> None:
    slot = made.line(_line((2.0, 30.0)), 0.5)
    (found,) = crack.find(made.seen(made.lay(made.wall(), slot, made.SLOT)))
    assert found.certainty > 0.5
