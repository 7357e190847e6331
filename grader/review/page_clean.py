"""Clean pieces passed at once, after a look at their contact sheet."""

from __future__ import annotations

from typing import Any

import streamlit as st

from grader.record.bench import piece_view
from grader.record.queries import PieceRow, clear_firsts
from grader.record.studio import Studio
from grader.review.choice import chosen_batch
from grader.review.going import to_bench
from grader.review.routes import SMALL_PX, photo_url
from grader.review.said import pass_sheet, take_back
from grader.review.shown import fault_table
from grader.review.state import Workshop, rules_of, sitting, undisturbed
from grader.review.viewer import contact_sheet

_MOST = 120
"""Pieces on one sheet: six photos each are as many as a person can look over at a time."""


def show(workshop: Workshop) -> None:
    """Show the page."""
    st.header("Clean ones")
    batch_id = chosen_batch(workshop.studio)
    _sheet(workshop, batch_id)


@st.fragment
def _sheet(workshop: Workshop, batch_id: int | None) -> None:
    studio = workshop.studio
    rows = clear_firsts(studio, batch_id=batch_id)[:_MOST]
    said = st.session_state.get("clean_said", "")
    if said:
        line, button = st.columns([4, 1], vertical_alignment="center")
        line.success(said)
        if sitting().steps and button.button("Take back", width="stretch"):
            _back(workshop)
            st.rerun(scope="fragment")
    if not rows:
        st.write(
            "No clean piece waits. Here come pieces on which nothing was found, or nothing that "
            "counts, once their photos were looked at."
        )
        return
    st.write(
        "Nothing that counts was found on these. Look at each once; leave out what you want to "
        "take in the hand. A photo never shows all: feel the lip and the foot for sharp places."
    )
    result = contact_sheet(
        key="clean_sheet",
        data={
            "groups": [{"title": "", "items": [clean_item(studio, row) for row in rows]}],
            "faults": fault_table(rules_of(studio)),
            "pass": True,
        },
        on_pass_change=lambda: _pass(workshop),
        on_back_change=lambda: _back(workshop),
        on_open_change=lambda: None,
    )
    if result.open:
        to_bench(str(result.open))


def clean_item(studio: Studio, row: PieceRow) -> dict[str, Any]:
    """Return a clean piece as the sheet shows it, with all of its views."""
    return {
        "code": row.code,
        "design": row.design,
        "state": row.state_id,
        "faults": [],
        "photos": [
            {"view": photo.view, "src": photo_url(photo, SMALL_PX)}
            for photo in piece_view(studio, row.code).photos
        ],
    }


def _pass(workshop: Workshop) -> None:
    with undisturbed(lambda: (st.session_state["clean_sheet"].get("pass") or {}, sitting())) as (
        seen,
        ours,
    ):
        passed, others = pass_sheet(
            workshop.studio, ours, {str(code): int(state) for code, state in seen.items()}
        )
        said = f"{passed} passed as first." if passed != 1 else "One passed as first."
        if others:
            said += f" Somebody spoke of {', '.join(others)} meanwhile: see them on the bench."
        st.session_state["clean_said"] = said


def _back(workshop: Workshop) -> None:
    with undisturbed(sitting) as ours:
        if ours.steps:
            codes = take_back(workshop.studio, ours)
            st.session_state["clean_said"] = f"Taken back: {', '.join(codes)}."
