"""Ways from one page to another that keep what the window has said so far."""

from __future__ import annotations

import streamlit as st


def to_page(address: str) -> None:
    """Go to a page of the review."""
    st.switch_page(st.session_state["pages"][address])


def to_bench(code: str) -> None:
    """Put a piece on the bench."""
    # Kept here, not in the address: the code of a piece may be any text.
    st.session_state["wanted_piece"] = code
    to_page("bench")
