"""The lists of a load as they are read on the screen and printed: seconds, refire work, firsts."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass
from datetime import date

from grader.lists import sold_as
from grader.record.graded import graded_batch
from grader.record.queries import piece_list
from grader.record.studio import Studio
from grader.review.shown import thumb
from grader.rules import Rules
from grader.templating import environment
from grader.verdict import Grade, GradedPiece


@dataclass(frozen=True, slots=True)
class ListKind:
    """One list: whose it is, what its columns are called, and what stands below it.

    Attributes
    ----------
    title, second, last, nothing : str
        Heading, headings of the second and last column, and what to say where it is empty.
    standing : tuple of str
        Keys of the standing cautions that belong to this work.
    """

    title: str
    second: str
    last: str
    nothing: str
    standing: tuple[str, ...]


LISTS: Mapping[Grade, ListKind] = {
    "second": ListKind(
        "Seconds", "Sell as", "Price", "No seconds in this load.", ("food", "crazing")
    ),
    "refire": ListKind(
        "Refire work", "What to do", "Refires so far", "Nothing to refire.",
        ("grinding", "unloading", "kiln"),
    ),
    "first": ListKind("Firsts", "Remarks", "Price", "No firsts yet.", ("food", "crazing")),
    "ungraded": ListKind(
        "Photograph again", "What is missing", "", "Every piece could be graded.", ()
    ),
}  # fmt: skip


_STANDING = ("unloading", "grinding", "kiln", "food", "crazing")


def list_html(
    studio: Studio, rules: Rules, grade: Grade, *, batch_id: int | None, load: str, today: date
) -> str:
    """Return one list as HTML without a script, every name escaped.

    Parameters
    ----------
    studio : Studio
    rules : Rules
    grade : {"second", "refire", "first", "ungraded"}
    batch_id : int or None
        All pieces in the studio where None.
    load : str
        Name of the load, for the heading.
    today : date
    """
    kind = LISTS[grade]
    covers = {row.code: thumb(row.cover) for row in piece_list(studio, batch_id=batch_id)}
    pieces = graded_batch(studio, batch_id=batch_id).of_grade(grade)
    name = studio.setting("name")
    # Said once below the list, not with every piece.
    standing = {rules.cautions[key] for key in _STANDING}
    return (
        environment("grader.review")
        .get_template("list.html")
        .render(
            title=kind.title,
            second=kind.second,
            last=kind.last,
            nothing=kind.nothing,
            studio=f"{name} · " if name else "",
            load=load,
            today=today.isoformat(),
            pieces=[_row(piece, grade, covers, standing) for piece in pieces],
            standing=[rules.cautions[key] for key in kind.standing],
        )
    )


def _row(
    piece: GradedPiece, grade: Grade, covers: Mapping[str, str], standing: Set[str]
) -> dict[str, object]:
    verdict = piece.verdict
    reasons = [reason.text for reason in verdict.reasons]
    price = verdict.price if grade == "second" else piece.facts.price
    what: list[str] = []
    if grade == "second":
        what = [sold_as(piece)]
    elif grade == "refire":
        what = list(verdict.remedies)
    elif grade == "ungraded":
        what = [p.text for photo in piece.survey.photos for p in photo.problems if p.blocks]
    return {
        "code": piece.facts.piece,
        "design": piece.facts.design,
        "cover": covers.get(piece.facts.piece, ""),
        "what": what,
        "why": reasons,
        "cautions": [text for text in verdict.cautions if text not in standing],
        "last": str(piece.refires_done) if grade == "refire" else _price(price),
    }


def _price(price: float | None) -> str:
    return "" if price is None else f"{price:.2f}"
