"""Taking in a load: photos in, sorted, facts said, looked at."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import streamlit as st

from grader.errors import GraderError
from grader.findings import PhotoReport
from grader.photo import PHOTO_SUFFIXES
from grader.record.add import Added, end_batch
from grader.record.bench import aside_photos, piece_view
from grader.record.facts import set_facts, table_of_facts, take_table
from grader.record.lines import pieces_word
from grader.record.pieces import CHART_VIEW, VIEW_ORDER, PlacedPhoto
from grader.record.queries import PieceRow, piece_list
from grader.record.studio import Studio
from grader.review.advice import advice_running, missing_views, start_advice
from grader.review.choice import chosen_batch
from grader.review.going import to_page
from grader.review.intake import take_dropped, take_folder, told_of
from grader.review.photo_advice import advice_on
from grader.review.routes import SMALL_PX, photo_url
from grader.review.share import SHARED_VARIABLE
from grader.review.sorting import Placed, put_back, sort_photos
from grader.review.state import Workshop, rules_of, undisturbed
from grader.review.viewer import photo_sorter
from grader.review.working import looking, start_looking
from grader.rules import Rules

_ADVICE_S = 4.0
"""How often the rows show new advice: checking the photos of a piece takes a few seconds."""

_FINISHES: dict[str, str] = {"": "as it is", "raw": "raw clay", "glazed": "clear glaze",
                             "coloured": "coloured glaze"}  # fmt: skip
_USES: dict[str, str] = {"": "as it is", "food": "food or drink", "plant": "plants",
                         "decor": "decoration"}  # fmt: skip
_YES_NO: dict[str, str] = {"": "as it is", "yes": "yes", "no": "no"}
_PAINTED_ON: dict[str, str] = {"": "as it is", "greenware": "greenware", "bisque": "bisque"}


def show(workshop: Workshop) -> None:
    """Show the page."""
    st.header("Unload")
    st.write(
        "Unload only when the kiln is cool. Shards and glaze drips cut: wear gloves. Photograph "
        "each piece from front, right, back and left, then the foot and the inside, with the "
        "scale card beside it. Photos stay on this machine."
    )
    _bring(workshop)
    batch_id = chosen_batch(workshop.studio)
    if not piece_list(workshop.studio, batch_id=batch_id, most=1):
        return
    _work(workshop, batch_id)
    with st.expander("What you know of them: clay, finish, use, shelf, price"):
        _facts(workshop.studio, batch_id)
    st.subheader("Sorted right?")
    # While photos are being checked, their advice comes by itself.
    every = _ADVICE_S if advice_running(workshop.studio) else None
    st.fragment(_sorter, run_every=every)(workshop, batch_id)


# --- bringing photos in ----------------------------------------------------------------------


def _bring(workshop: Workshop) -> None:
    studio = workshop.studio
    # A new key empties the uploader, so that the server does not hold the photos in memory.
    drops = st.session_state.setdefault("drops", 0)
    with st.container(border=True):
        st.subheader("Bring photos in")
        left, right = st.columns(2)
        load = left.text_input("Name of this load", value=f"Load of {date.today():%Y-%m-%d}")
        refire = right.checkbox("These pieces come back from a refire")
        files = st.file_uploader(
            "Drop photos here. Name them after the piece (K07_front.jpg), or put a photo of its "
            "slip before each piece.",
            type=sorted([*(suffix[1:] for suffix in PHOTO_SUFFIXES), "csv"]),
            accept_multiple_files=True,
            key=f"drop{drops}",
        )
        if files:
            # First of all: files that failed once must not come again by themselves.
            st.session_state["drops"] = drops + 1
            _took(studio, lambda: take_dropped(studio, files, load=load or "Load", refire=refire))
        _phone()
        if _is_here():
            folder = st.text_input("Or name a folder of this computer", key="folder")
            if st.button("Take that folder in", disabled=not folder):
                _took(studio, lambda: take_folder(studio, folder, refire=refire))
        for line in st.session_state.get("taken", ()):
            st.text(line)


def _phone() -> None:
    """Say how photos are taken with a phone, straight into their pieces."""
    there = os.environ.get(SHARED_VARIABLE, "")
    if not there:
        st.write(
            "Or take them with a phone, straight into each piece: end this program in its window "
            "(Ctrl-C) and start it again with `grader review --share`."
        )
    elif _is_here():
        st.write(
            f"Or take them with a phone, straight into each piece: open `{there}` on it, with the "
            "code from the window where grader runs."
        )
    else:
        # Markdown's links open a window of their own, which a phone need not juggle.
        st.html('<p class="way"><a href="/shoot">Take photos with this phone</a></p>')


def _is_here() -> bool:
    """Tell whether the page is shown on the computer itself: folders are no phone's business."""
    host = st.context.headers.get("Host", "localhost")
    return host.rsplit(":", 1)[0] in ("localhost", "127.0.0.1", "[::1]")


def _took(studio: Studio, take: Callable[[], Added]) -> None:
    try:
        with st.spinner("Taking the photos in …"):
            added = take()
    except GraderError as error:
        st.session_state["taken"] = [str(error)]
        st.rerun()
    st.session_state["taken"] = told_of(added)
    if added.batch_id is not None:
        st.session_state["load"] = added.batch_id
        start_advice(studio)
    st.rerun()


# --- looking ---------------------------------------------------------------------------------


@st.fragment(run_every=3.0)
def _work(workshop: Workshop, batch_id: int | None) -> None:
    studio = workshop.studio
    state = looking(studio)
    rows = piece_list(studio, batch_id=batch_id)
    here = [row for row in rows if row.pending]
    if state.trouble:
        st.error(f"The look ended early. {state.trouble} What was done is kept: begin again.")
    failed = [row for row in rows if row.trouble]
    if failed:
        with st.expander(f"{len(failed)} could not be looked at"):
            for row in failed:
                st.text(f"{row.code}: {row.trouble}")
    done = len(rows) - len(here)
    if state.running:
        st.progress(
            done / len(rows) if rows else 1.0,
            f"{done} of {len(rows)} looked at. You can leave this page; it goes on by itself.",
        )
    elif here:
        st.write(f"To be looked at for faults: {len(here)} of {pieces_word(len(rows))}.")
        if st.button("Sorted: look at them now", type="primary"):
            if batch_id is not None:
                end_batch(studio, batch_id)
            start_looking(studio)
            st.rerun(scope="fragment")
    elif rows:
        st.write(f"Looked at: {pieces_word(len(rows))}, which is all.")
    # One button before and after the end of the work: a press on one just replaced would be lost.
    ready = done if state.running else rows and not here
    if ready and st.button("To the bench", type="primary", key="to_bench"):
        to_page("bench")


# --- sorting ---------------------------------------------------------------------------------


def _sorter(workshop: Workshop, batch_id: int | None) -> None:
    said = st.session_state.pop("sort_said", "")
    if said:
        st.text(said)
    if advice_running(workshop.studio):
        st.text("The photos are being checked. Advice comes as it is found.")
    photo_sorter(
        key="sorter",
        data=sorter_data(workshop.studio, rules_of(workshop.studio), batch_id),
        on_act_change=lambda: _sort(workshop.studio),
        on_back_change=lambda: _unsort(workshop.studio),
    )


def sorter_data(studio: Studio, rules: Rules, batch_id: int | None) -> dict[str, Any]:
    """Return the rows of thumbnails, with the advice on photos and sides that are missing."""
    rows = piece_list(studio, batch_id=batch_id, undecided=batch_id is None)
    return {
        "pieces": [_tray(studio, rules, row) for row in rows],
        "aside": [
            _thumb(studio, photo) for photo in aside_photos(studio) if photo.view != CHART_VIEW
        ],
        "views": list(VIEW_ORDER),
        "free": free_code({row.code for row in piece_list(studio)}),
        "back": bool(_sorted().steps),
        "answered": _sorted().answered,
    }


def free_code(known: set[str]) -> str:
    """Return a code that no piece has, for a piece that is split off."""
    taken = {code.casefold() for code in known}
    number = len(taken) + 1
    while f"n{number}" in taken:
        number += 1
    return f"N{number}"


def _tray(studio: Studio, rules: Rules, row: PieceRow) -> dict[str, Any]:
    view = piece_view(studio, row.code)
    photos = list(view.photos)
    return {
        "code": row.code,
        "design": row.design,
        "state": "waits for its look" if row.pending else row.decided or row.proposed or "",
        "photos": [_thumb(studio, photo, view.reports.get(photo.id)) for photo in photos],
        "problems": missing_views(photos, rules),
    }


def _thumb(studio: Studio, photo: PlacedPhoto, report: PhotoReport | None = None) -> dict[str, Any]:
    return {
        "id": photo.id,
        "view": photo.view,
        "name": photo.name,
        "thumb": photo_url(photo, SMALL_PX),
        "problems": [problem.text for problem in advice_on(studio, photo, report) or ()],
    }


def _sort(studio: Studio) -> None:
    with undisturbed(lambda: (st.session_state["sorter"].get("act"), _sorted())) as (act, ours):
        if not act or not ours.is_new(act):
            return
        try:
            ours.steps.append(sort_photos(studio, act))
        except GraderError as error:
            st.session_state["sort_said"] = str(error)


def _unsort(studio: Studio) -> None:
    with undisturbed(lambda: (st.session_state["sorter"].get("back"), _sorted())) as (act, ours):
        if act and ours.is_new(act) and ours.steps:
            put_back(studio, ours.steps.pop())
            st.session_state["sort_said"] = "Taken back."


@dataclass(slots=True)
class _Sorted:
    """What was put right in this window.

    Attributes
    ----------
    steps : list of tuple of Placed
        What can be put back, the latest last.
    answered : int
        Number of the last act that was carried out; the page sends each until it is answered.
    """

    steps: list[tuple[Placed, ...]] = field(default_factory=list)
    answered: int = 0

    def is_new(self, act: Mapping[str, Any]) -> bool:
        """Tell whether an act was not carried out yet, and count it as carried out."""
        is_new = int(act["turn"]) > self.answered
        self.answered = max(self.answered, int(act["turn"]))
        return is_new


def _sorted() -> _Sorted:
    ours: _Sorted = st.session_state.setdefault("sorted", _Sorted())
    return ours


# --- facts -----------------------------------------------------------------------------------


def _facts(studio: Studio, batch_id: int | None) -> None:
    codes = [row.code for row in piece_list(studio, batch_id=batch_id)]
    with st.form("facts", clear_on_submit=True):
        st.write("Say it of many pieces at once. What you leave empty stays as it is.")
        chosen = st.multiselect("Pieces", codes, placeholder="All of this load")
        first, second, third = st.columns(3)
        words = {
            "design": first.text_input("Design"),
            "form": first.text_input("Form"),
            "clay": first.text_input("Clay"),
            "finish": _pick(second, "Finish", _FINISHES),
            "decorated": _pick(second, "Painted", _YES_NO),
            "painted_on": _pick(second, "Painted on", _PAINTED_ON),
            "use": _pick(third, "Made for", _USES),
            "firing": third.text_input("Firing"),
            "shelf": third.text_input("Shelf"),
            "height_mm": first.text_input("Height in mm, without a scale card"),
            "price": third.text_input("Full price"),
            "done": second.text_input("Done before its refire"),
        }
        if st.form_submit_button("Say it of these pieces"):
            said = {name: value for name, value in words.items() if value}
            changed = set_facts(studio, chosen or codes, said) if said else {}
            count = sum(map(bool, changed.values()))
            st.session_state["facts_said"] = (
                f"Changed: {count} of {pieces_word(len(chosen or codes))}."
            )
            st.rerun()
    if st.session_state.get("facts_said"):
        st.text(st.session_state.pop("facts_said"))
    _table(studio, codes)


def _pick(column: Any, label: str, choices: dict[str, str]) -> str:
    picked: str = column.selectbox(label, list(choices), format_func=choices.__getitem__)
    return picked


def _table(studio: Studio, codes: list[str]) -> None:
    with st.container(border=True):
        st.write("Or as a table, for a spreadsheet")
        st.download_button(
            "pieces.csv", data=lambda: table_of_facts(studio, codes), file_name="pieces.csv",
            mime="text/csv", on_click="ignore",
        )  # fmt: skip
        number = st.session_state.setdefault("tables", 0)
        table = st.file_uploader("Read it back", type="csv", key=f"table{number}")
        if table is None:
            return
        file = studio.previews / "facts-incoming.csv"
        file.write_bytes(table.getbuffer())
        try:
            changed, unknown = take_table(studio, file)
        finally:
            file.unlink(missing_ok=True)
        said = f"Changed: {pieces_word(sum(map(bool, changed.values())))}."
        if unknown:
            said += f" Not in the record: {', '.join(unknown)}."
        st.session_state["facts_said"] = said
        st.session_state["tables"] = number + 1
        st.rerun()
