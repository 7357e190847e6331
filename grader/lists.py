"""The lists that the maker works from, as CSV: seconds with reasons, refire work, firsts."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence

from grader.verdict import GradedBatch, GradedPiece

Cell = str | float | None

# A spreadsheet takes a text that starts with one of these for a formula and would run it.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def lists_of(batch: GradedBatch) -> dict[str, bytes]:
    """Every list of a batch as file name and content.

    Parameters
    ----------
    batch : GradedBatch

    Returns
    -------
    dict of str to bytes
        ``seconds.csv``, ``refire.csv`` and ``firsts.csv``, UTF-8, one row a piece. A list is
        there, with its header, even when no piece is on it.
    """
    return {
        "seconds.csv": _table(_SECONDS, batch.of_grade("second")),
        "refire.csv": _table(_REFIRE, batch.of_grade("refire")),
        "firsts.csv": _table(_FIRSTS, batch.of_grade("first")),
    }


def safe_text(text: str) -> str:
    """A text that no spreadsheet takes for a formula: a leading apostrophe where needed."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def sold_as(piece: GradedPiece) -> str:
    """What a second may be sold as, in the maker's words."""
    if piece.verdict.discard:
        return "do not sell"
    return "decoration only" if piece.verdict.decor_only else "second"


Columns = Mapping[str, Callable[[GradedPiece], Cell]]


def _table(columns: Columns, pieces: Sequence[GradedPiece]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(columns)
    for piece in pieces:
        writer.writerow([_cell(value(piece)) for value in columns.values()])
    return text.getvalue().encode()


def _cell(value: Cell) -> str:
    if value is None:
        return ""
    return safe_text(value) if isinstance(value, str) else f"{value:g}"


def _reasons(piece: GradedPiece) -> str:
    return " ".join(reason.text for reason in piece.verdict.reasons)


def _faults(piece: GradedPiece) -> str:
    named = (reason.fault for reason in piece.verdict.reasons if reason.fault)
    return ", ".join(fault.replace("_", " ") for fault in dict.fromkeys(named))


_WHO: Columns = {
    "piece": lambda piece: piece.facts.piece,
    "design": lambda piece: piece.facts.design,
    "form": lambda piece: piece.facts.form,
}
_SECONDS: Columns = {
    **_WHO,
    "sell_as": sold_as,
    "full_price": lambda piece: piece.facts.price,
    "price": lambda piece: piece.verdict.price,
    "faults": _faults,
    "reasons": _reasons,
    "cautions": lambda piece: " ".join(piece.verdict.cautions),
}
_REFIRE: Columns = {
    **_WHO,
    "faults": _faults,
    "work": lambda piece: " ".join(piece.verdict.remedies),
    "refires_done": lambda piece: piece.refires_done,
    "reasons": _reasons,
    "cautions": lambda piece: " ".join(piece.verdict.cautions),
}
_FIRSTS: Columns = {
    **_WHO,
    "price": lambda piece: piece.facts.price,
    "remarks": lambda piece: " ".join(r.text for r in piece.verdict.reasons if r.fault),
}
