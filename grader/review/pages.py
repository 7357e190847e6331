"""The pages of the review: where each is, and what all of them share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import streamlit as st

from grader.errors import GraderError
from grader.record.studio import default_place
from grader.review import page_bench, page_clean, page_lists, page_load, page_refires, page_unload
from grader.review.state import Workshop, open_workshop
from grader.review.viewer import pane_text

Page = Callable[[Workshop], None]

PAGES: tuple[tuple[str, str, Page], ...] = (
    ("Unload", "unload", page_unload.show),
    ("Bench", "bench", page_bench.show),
    ("Clean ones", "clean", page_clean.show),
    ("The load", "load", page_load.show),
    ("Lists", "lists", page_lists.show),
    ("Before and after", "refires", page_refires.show),
)
"""Title, address and body of each page."""

_FIRST = "bench"
"""Page where the review opens: it says what to do while there is nothing to judge."""


def main(studio_dir: Path | None = None) -> None:
    """Show the page that the browser asks for.

    Parameters
    ----------
    studio_dir : Path, optional
        The studio folder; the environment variable ``GRADER_STUDIO``, else the user's data place.
    """
    st.set_page_config(page_title="Kiln review", layout="wide", initial_sidebar_state="collapsed")
    st.html(f"<style>{pane_text('page.css')}</style>")
    folder = (studio_dir or default_place()).expanduser().resolve()
    try:
        workshop = open_workshop(folder)
    except GraderError as error:
        tell(error)
        return
    pages = [
        st.Page(guarded(body, workshop), title=title, url_path=path, default=path == _FIRST)
        for title, path, body in PAGES
    ]
    # By address, for what leads from one page to another.
    addresses = (address for _, address, _ in PAGES)
    st.session_state["pages"] = dict(zip(addresses, pages, strict=True))
    st.navigation(pages, position="top").run()


def tell(error: GraderError) -> None:
    """Show an error of the maker's: what, where, and what to do."""
    with st.container(border=True):
        st.subheader("This did not work")
        # `st.text` takes no markup: names of files and pieces are in here.
        st.text(f"{error.where}: {error.what}." if error.where else f"{error.what}.")
        if error.remedy:
            st.text(f"{error.remedy}.")


def guarded(body: Page, workshop: Workshop) -> Callable[[], None]:
    """Return the body of a page, with the maker's errors told on the page."""

    def run() -> None:
        try:
            body(workshop)
        except GraderError as error:
            tell(error)

    return run
