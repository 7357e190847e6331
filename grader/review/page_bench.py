"""The bench: one piece at a time, the maker has the last word."""

from __future__ import annotations

from typing import Any

import streamlit as st

from grader.errors import GraderError
from grader.review.choice import choose_batch_of, chosen_batch
from grader.review.going import to_page
from grader.review.keys import key_table
from grader.review.said import Sitting, carry_out
from grader.review.shown import fault_table, in_session_order, queue, queue_row, shown_piece
from grader.review.state import Workshop, rules_of, sitting, undisturbed
from grader.review.viewer import piece_viewer
from grader.review.working import is_looking

_KEY = "bench"
_MOST_WANTED = 4
"""Pieces sent at once, besides those spoken of: that on the bench, the next two, the one before."""


def show(workshop: Workshop) -> None:
    """Show the page."""
    asked = st.session_state.pop("wanted_piece", "") or st.query_params.get("piece", "")
    if asked:
        choose_batch_of(workshop.studio, asked)
    batch_id = chosen_batch(workshop.studio, headed=False)
    rows = queue(workshop.studio, batch_id)
    if not rows:
        _nothing_yet(workshop)
        return
    # A new visit sorts the queue anew; while the maker works, it stays as it is.
    st.session_state["bench_order"] = [row.code for row in rows]
    codes = {row.code.casefold(): row.code for row in rows}
    start = codes.get(asked.casefold(), "") or next(
        (row.code for row in rows if row.decided is None and not row.pending), rows[0].code
    )
    _bench(workshop, batch_id, start)


@st.fragment
def _bench(workshop: Workshop, batch_id: int | None, start: str) -> None:
    ours = sitting()
    state = st.session_state.get(_KEY) or {}
    said = dict(state.get("said") or {})
    data = bench_data(workshop, ours, batch_id, start, said)
    result = piece_viewer(
        key=_KEY,
        data=data,
        on_said_change=lambda: _carry_out(workshop),
        on_go_change=lambda: None,
    )
    if result.go:
        to_page(str(result.go))


def bench_data(
    workshop: Workshop,
    ours: Sitting,
    batch_id: int | None,
    start: str,
    said: dict[str, Any],
) -> dict[str, Any]:
    """Return what the viewer is told: queue, pieces, and what became of its acts."""
    studio, rules = workshop.studio, rules_of(workshop.studio)
    order: list[str] = st.session_state["bench_order"]
    rows = in_session_order(queue(studio, batch_id, also=set(order)), order)
    wanted = [str(code) for code in said.get("want", ())][:_MOST_WANTED] or [start]
    spoken = [str(act.get("code", "")) for act in said.get("acts", ())]
    codes = dict.fromkeys([*wanted, *reversed(spoken), *([ours.jump[1]] if ours.jump[1] else [])])
    pieces, missing = [], []
    for code in codes:
        try:
            pieces.append(shown_piece(studio, code, rules, workshop.sound))
        except GraderError as error:
            ours.tell(code, str(error))
            missing.append(code)
    return {
        "keys": key_table(),
        "faults": fault_table(rules),
        "queue": [queue_row(row) for row in rows],
        "pieces": pieces,
        "missing": missing,
        "at": start,
        "acked": dict(ours.done),
        "jump": list(ours.jump),
        "notices": [
            {"number": each.number, "code": each.code, "text": each.text, "insist": each.insist}
            for each in ours.notices
        ],
        "looking": is_looking(studio),
    }


def _carry_out(workshop: Workshop) -> None:
    with undisturbed(lambda: (st.session_state.get(_KEY) or {}, sitting())) as (state, ours):
        carry_out(workshop.studio, ours, state.get("said"))


def _nothing_yet(workshop: Workshop) -> None:
    st.header("Nothing on the bench yet")
    st.markdown(
        "1. Unload the kiln when it is cool. Shards and glaze drips cut: wear gloves.\n"
        "2. Photograph each piece from front, right, back and left, then foot and inside. Lay the "
        "scale card beside it.\n"
        "3. Bring the photos in under **Unload**. What was looked at comes to the bench by itself."
    )
