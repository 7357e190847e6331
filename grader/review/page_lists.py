"""The lists of a load: to read, to print, to take along as files."""

from __future__ import annotations

from datetime import date

import streamlit as st

from grader.lists import lists_of
from grader.record.graded import graded_batch
from grader.record.lines import pieces_word
from grader.record.queries import batches
from grader.record.studio import Studio
from grader.review.choice import chosen_batch
from grader.review.listed import LISTS, list_html
from grader.review.printing import page_file, page_running, page_trouble, start_page
from grader.review.state import Workshop, rules_of
from grader.review.viewer import print_button
from grader.verdict import Grade

_CHOICES: dict[str, Grade] = {kind.title: grade for grade, kind in LISTS.items()}


def show(workshop: Workshop) -> None:
    """Show the page."""
    studio = workshop.studio
    with st.container(key="unprinted_head"):
        st.header("Lists")
        batch_id = chosen_batch(studio, with_all=False)
        if batch_id is None:
            st.write("No load is in the record yet. Bring photos in under **Unload**.")
            return
        row = batches(studio, batch_id=batch_id)[0]
        if row.undecided:
            st.write(
                f"The grade of {row.undecided} of {pieces_word(row.pieces)} is only proposed: "
                "your word is not on it yet."
            )
        choice, button = st.columns([4, 1], vertical_alignment="bottom")
        title = choice.segmented_control("List", list(_CHOICES), default="Seconds") or "Seconds"
        with button:
            print_button(key="print", data={"label": "Print this list"})
    st.html(
        list_html(
            studio, rules_of(studio), _CHOICES[title], batch_id=batch_id, load=row.label,
            today=date.today(),
        )
    )  # fmt: skip
    with st.container(key="unprinted_files"):
        st.subheader("As files")
        columns = st.columns(3)
        for column, name in zip(columns, ("seconds.csv", "refire.csv", "firsts.csv"), strict=True):
            column.download_button(
                name, data=_list_maker(studio, batch_id, name), file_name=name, mime="text/csv",
                on_click="ignore", width="stretch",
            )  # fmt: skip
        _whole_page(workshop, batch_id)


def _list_maker(studio: Studio, batch_id: int, name: str):  # type: ignore[no-untyped-def]
    return lambda: lists_of(graded_batch(studio, batch_id=batch_id))[name]


@st.fragment(run_every=2.0)
def _whole_page(workshop: Workshop, batch_id: int) -> None:
    studio = workshop.studio
    trouble = page_trouble(studio, batch_id)
    if trouble:
        st.error(f"The page was not made. {trouble}", icon=None)
    if page_running(studio, batch_id):
        st.write("The page of the whole load is being made. You can go on with other things.")
        return
    made = page_file(studio, batch_id)
    left, right = st.columns(2)
    if left.button("Make the page of the whole load, with close-ups", width="stretch"):
        start_page(studio, batch_id)
        st.rerun(scope="fragment")
    if made.is_file():
        right.download_button(
            "Take that page along (HTML)", data=made.read_bytes, file_name="batch.html",
            mime="text/html", on_click="ignore", width="stretch",
        )  # fmt: skip
