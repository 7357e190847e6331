"""Which load the pages are about: the latest, another one, or all that waits."""

from __future__ import annotations

from contextlib import suppress

import streamlit as st

from grader.record.bench import piece_view
from grader.record.clock import local_words
from grader.record.errors import UnknownPieceError
from grader.record.lines import pieces_word
from grader.record.queries import BatchRow, batches
from grader.record.studio import Studio

_ALL = 0
"""Choice of all that waits; rows of the record begin at 1."""


def chosen_batch(studio: Studio, *, with_all: bool = True, headed: bool = True) -> int | None:
    """Return the id of the load that the maker chose; None for all that waits.

    The choice is shown only where there is one.

    Parameters
    ----------
    studio : Studio
    with_all : bool
        False leaves out all that waits.
    headed : bool
        False says only to screen readers what is chosen here, to save a line.
    """
    rows = [row for row in batches(studio) if row.pieces]
    if not rows:
        return None
    if len(rows) == 1:
        return rows[0].id
    names = {row.id: load_name(row) for row in rows}
    options = [*names, *([_ALL] if with_all else [])]
    kept = st.session_state.get("load")
    chosen = st.selectbox(
        "Load",
        options,
        index=options.index(kept) if kept in options else 0,
        format_func=lambda batch_id: names.get(batch_id, "All that waits, of every load"),
        label_visibility="visible" if headed else "collapsed",
    )
    st.session_state["load"] = chosen
    return chosen or None


def load_name(row: BatchRow) -> str:
    """Return the name of a load with its day and what waits in it."""
    waits = f", {row.undecided} without your word" if row.undecided else ", all graded"
    return f"{row.label} ({local_words(row.opened_at)[:10]}, {pieces_word(row.pieces)}{waits})"


def choose_batch_of(studio: Studio, code: str) -> None:
    """Choose the load that a piece came with; nothing changes where there is no such piece."""
    with suppress(UnknownPieceError):
        st.session_state["load"] = piece_view(studio, code).round.batch_id
