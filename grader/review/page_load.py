"""A load at a glance: grades, faults, what waits, and every piece on one sheet."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from itertools import groupby
from typing import Any

import streamlit as st

from grader.findings import FAULT_NAMES
from grader.record.queries import BatchRow, Order, PieceRow, batches, piece_list
from grader.review.choice import chosen_batch
from grader.review.going import to_bench, to_page
from grader.review.shown import MOST_IN_QUEUE, fault_table, thumb
from grader.review.state import Workshop, rules_of
from grader.review.viewer import contact_sheet
from grader.rules import Rules
from grader.verdict import GRADES

_GRADE_TITLES = {"first": "First", "second": "Second", "refire": "Refire", "ungraded": "Ungraded"}

_ORDERS: Mapping[str, Order] = {
    "grade": "grade",
    "fault": "fault",
    "design": "design",
    "code": "code",
    "what waits": "review",
}


def show(workshop: Workshop) -> None:
    """Show the page."""
    st.header("The load at a glance")
    batch_id = chosen_batch(workshop.studio, with_all=False)
    if batch_id is None:
        st.write("No load is in the record yet. Bring photos in under **Unload**.")
        return
    row = batches(workshop.studio, batch_id=batch_id)[0]
    for problem in row.problems:
        st.warning(problem.replace("$", "\\$"), icon=None)
    sorting, lists = st.columns([4, 1], vertical_alignment="bottom")
    by = sorting.segmented_control("Sorted by", list(_ORDERS), default="grade") or "grade"
    if lists.button("Lists to print", width="stretch"):
        to_page("lists")
    rules = rules_of(workshop.studio)
    rows = piece_list(workshop.studio, batch_id=batch_id, order=_ORDERS[by], most=MOST_IN_QUEUE)
    result = contact_sheet(
        key="load_sheet",
        data={
            "summary": summary(row, rows, rules),
            "groups": groups(rows, by, rules),
            "faults": fault_table(rules),
        },
        on_open_change=lambda: None,
    )
    if result.open:
        to_bench(str(result.open))


def summary(batch: BatchRow, rows: Iterable[PieceRow], rules: Rules) -> dict[str, Any]:
    """Return the counts of a load: each grade, how many of it by the maker, faults, what waits."""
    mine = [row.decided for row in rows if row.decided]
    table = fault_table(rules)
    return {
        "pieces": batch.pieces,
        "waits": batch.undecided,
        "grades": [
            {"grade": grade, "count": batch.grades[grade], "mine": mine.count(grade)}
            for grade in GRADES
        ],
        "faults": [
            {"fault": fault, "pieces": pieces, **table[fault]}
            for fault, pieces in batch.faults.items()
            if fault in FAULT_NAMES
        ],
    }


def groups(rows: Iterable[PieceRow], by: str, rules: Rules) -> list[dict[str, Any]]:
    """Return pieces under headings, in the order in which they come."""

    table = fault_table(rules)

    def by_fault(row: PieceRow) -> str:
        return table[row.faults[0]]["label"].capitalize() if row.faults else "No fault"

    titles: Mapping[str, Callable[[PieceRow], str]] = {
        "grade": lambda row: _GRADE_TITLES.get(row.grade or "", "Still being looked at"),
        "fault": by_fault,
        "design": lambda row: row.design or "No design named",
        "what waits": lambda row: "Graded by you" if row.decided else "Wait for you",
    }
    title = titles.get(by, lambda row: "")
    # Pieces with one heading need not follow each other in the record's order.
    known: dict[str, list[PieceRow]] = {}
    for heading, part in groupby(rows, key=title):
        known.setdefault(heading, []).extend(part)
    return [
        {"title": heading, "items": [sheet_item(row) for row in part]}
        for heading, part in known.items()
    ]


def sheet_item(row: PieceRow) -> dict[str, Any]:
    """Return a piece as the sheet shows it."""
    notes = []
    if row.pending:
        notes.append("being looked at")
    if row.overruled:
        notes.append(f"you say {row.decided}, the rules {row.proposed}")
    if row.fate:
        notes.append(row.fate)
    if row.discard and row.grade == "second":
        notes.append("do not sell")
    elif row.decor_only and row.grade == "second":
        notes.append("decoration only")
    return {
        "code": row.code,
        "design": row.design,
        "cover": thumb(row.cover),
        "grade": row.grade or "",
        "waits": row.decided is None,
        "faults": list(row.faults),
        "note": ", ".join(notes),
    }
