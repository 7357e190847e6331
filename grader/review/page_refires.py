"""Before and after: what a refire did to each place, and what refiring has mended so far."""

from __future__ import annotations

from typing import Any

import streamlit as st

from grader.record.bench import piece_view
from grader.record.decisions import MENDED_STATES, say_mended
from grader.record.figures import mended_figures, new_after_refire
from grader.record.queries import piece_list, references
from grader.record.refires import BeforeAfter, PlaceMark, before_and_after
from grader.record.studio import Studio
from grader.review.going import to_bench
from grader.review.page_load import sheet_item
from grader.review.shown import MOST_IN_QUEUE, fault_table, shown_photo
from grader.review.state import Workshop, rules_of, sitting, undisturbed
from grader.review.viewer import contact_sheet, photo_pair
from grader.rules import Rules


def show(workshop: Workshop) -> None:
    """Show the page."""
    st.header("Before and after")
    studio = workshop.studio
    rows = [row for row in piece_list(studio, order="latest", most=MOST_IN_QUEUE) if row.number]
    if rows:
        code = st.selectbox(
            "Piece",
            [row.code for row in rows],
            format_func={row.code: _name(row.code, row.design) for row in rows}.__getitem__,
        )
        _pair(workshop, str(code))
    else:
        st.write(
            "No piece has come back from a refire yet. Grade a piece **refire**, mend and fire it, "
            "photograph it again and bring the photos in under **Unload**: here its places then "
            "stand side by side, healed, unchanged or worse."
        )
        st.write(
            "Grind or sand wet, with eye protection and a respirator: the dust holds silica. Ware "
            "that was used or washed must be dried fully before it goes into the kiln again."
        )
    _figures(studio)
    _references(workshop)


def _name(code: str, design: str) -> str:
    return f"{code}, {design}" if design else code


@st.fragment
def _pair(workshop: Workshop, code: str) -> None:
    studio, rules = workshop.studio, rules_of(workshop.studio)
    found = before_and_after(studio, code)
    if found is None:
        st.write("Its new photos were not looked at yet. They come here by themselves.")
        return
    st.text(f"Done in between: {found.remedy}. {turned_words(found)}")
    photo_pair(
        key="pair",
        data=pair_data(studio, rules, found),
        on_say_change=lambda: _say(workshop, code),
    )


def turned_words(found: BeforeAfter) -> str:
    """Return how the piece stood on the later photos, as far as it could be told."""
    if not found.alignment.known:
        return "How it stood could not be told, so places are paired more loosely."
    turn = abs(found.alignment.turned_deg)
    if turn < 2:
        return "It stood as before."
    side = "right" if found.alignment.turned_deg > 0 else "left"
    return f"It stood turned by {turn:.0f} degrees to the {side}."


def pair_data(studio: Studio, rules: Rules, found: BeforeAfter) -> dict[str, Any]:
    """Return two firings as the page shows them side by side."""
    before = piece_view(studio, found.code, number=found.before.number)
    after = piece_view(studio, found.code, number=found.after.number)
    return {
        "code": found.code,
        "faults": fault_table(rules),
        "states": list(MENDED_STATES),
        "views": [
            {
                "view": view,
                "before": [shown_photo(each, before.reports.get(each.id)) for each in old],
                "after": [shown_photo(each, after.reports.get(each.id)) for each in new],
            }
            for view, old, new in found.views
        ],
        "marks": [_mark(mark) for mark in found.marks],
    }


def _mark(mark: PlaceMark) -> dict[str, Any]:
    sides: dict[str, Any] = {"state": mark.state, "text": mark.text}
    for side, stored in (("before", mark.before), ("after", mark.after)):
        sides[side] = stored and {
            "side": side,
            "place": stored.place_id,
            "photo": stored.photo_id,
            "view": stored.finding.view,
            "fault": stored.finding.fault,
            "box_px": list(stored.finding.bbox_px),
            "outline_px": [list(point) for point in stored.finding.outline_px],
        }
    return sides


def _say(workshop: Workshop, code: str) -> None:
    with undisturbed(lambda: (st.session_state["pair"].get("say"), sitting())) as (said, ours):
        if said:
            outcome = say_mended(
                workshop.studio, code, int(said["place"]), str(said["state"]), window=ours.window
            )
            ours.keep([(code, outcome.event.id)])


def _figures(studio: Studio) -> None:
    figures = mended_figures(studio)
    if not figures:
        return
    st.subheader("What refiring has mended in this studio")
    for figure in figures:
        st.text(figure.text)
    hit, trials = new_after_refire(studio)
    st.text(f"{hit} of {trials} refired pieces came out with a new fault.")


def _references(workshop: Workshop) -> None:
    st.subheader("Reference pieces")
    rows = references(workshop.studio)
    if not rows:
        st.write(
            "A reference piece shows what a good one of its design looks like. Choose one on the "
            "bench, under “More”; from then on, P holds it beside the others of its design."
        )
        return
    result = contact_sheet(
        key="references",
        data={
            "groups": [
                {
                    "title": "",
                    # What else is to say of a piece is said on the page of the load.
                    "items": [{**sheet_item(row), "note": ""} for row in rows],
                }
            ],
            "faults": fault_table(rules_of(workshop.studio)),
        },
        on_open_change=lambda: None,
    )
    if result.open:
        to_bench(str(result.open))
