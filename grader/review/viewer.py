"""The bench's viewer and the other panes, as components of the page.

The page's framework takes their HTML, style and script as text; nothing of it is fetched from
anywhere. Photos are addresses of this server (`grader.review.routes.photo_url`).
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

import streamlit as st
from streamlit.components.v2.types import ComponentRenderer

_BENCH_SCRIPTS = ("pictures.js", "stage.js", "loupe.js", "panel.js", "frame.js", "viewer.js")
_PAIR_SCRIPTS = ("pictures.js", "stage.js", "pair.js")
"""In the order in which they build on each other."""


def piece_viewer(**mount: Any) -> Any:
    """Mount the bench: one piece, its photos, its findings, its grade."""
    return _component("bench", "viewer.html", ("viewer.css",), _BENCH_SCRIPTS)(**mount)


def contact_sheet(**mount: Any) -> Any:
    """Mount a contact sheet: pieces in groups, to look over, to open, or to pass at once."""
    return _component("sheet", "sheet.html", ("sheet.css",), ("pictures.js", "sheet.js"))(**mount)


def photo_sorter(**mount: Any) -> Any:
    """Mount the rows of thumbnails in which photos are put right."""
    return _component("sorter", "sorter.html", ("sorter.css",), ("pictures.js", "sorter.js"))(
        **mount
    )


def photo_pair(**mount: Any) -> Any:
    """Mount two firings of one piece side by side."""
    return _component("pair", "pair.html", ("viewer.css", "pair.css"), _PAIR_SCRIPTS)(**mount)


def print_button(**mount: Any) -> Any:
    """Mount a button that opens the browser's print window."""
    return _component("print", "print.html", ("print.css",), ("print.js",))(**mount)


def pane_text(name: str) -> str:
    """Return one of the files beside this module."""
    return (files("grader.review") / "viewer" / name).read_text("utf-8")


@cache
def _component(
    name: str, html: str, styles: tuple[str, ...], scripts: tuple[str, ...]
) -> ComponentRenderer:
    # Registered once in a process: the framework warns of every further time.
    return st.components.v2.component(
        f"grader_{name}",
        html=pane_text(html),
        css="\n".join(pane_text(style) for style in styles),
        # One module: what a file exports to the next needs no import statement between.
        js="\n".join(_unexported(script) for script in scripts),
    )


def _unexported(script: str) -> str:
    text = pane_text(script)
    for kind in ("function", "class", "const"):
        text = text.replace(f"\nexport {kind} ", f"\n{kind} ")
    return text
