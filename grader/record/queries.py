"""Lists of pieces and batches, as the pages and the command line ask for them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, cast

from grader.record.pieces import (
    PHOTO_COLUMNS,
    PlacedPhoto,
)
from grader.record.studio import Studio
from grader.verdict import GRADES, Grade

Order = Literal["review", "code", "grade", "design", "fault", "latest"]


@dataclass(frozen=True, slots=True)
class PieceRow:
    """A piece in a list.

    Attributes
    ----------
    code, design, form, firing : str
    number : int
        Firings of the piece that the record holds before this one; `Round.refires` counts those
        before the record too.
    photos : int
    cover : PlacedPhoto or None
        The photo that shows the piece in lists.
    pending : bool
        True while its photos wait to be looked at.
    trouble : str
        Why looking failed, else empty.
    proposed, decided, grade : str or None
        By the rules, by the maker, and the one that holds.
    overruled : bool
        True where the maker decided otherwise than the rules propose now.
    reason : str
        The maker's reason, or else the first reason of the verdict.
    discard, decor_only : bool
    fate : str
        ``sold``, ``given``, ``broken`` or empty.
    price : float or None
        The maker's, else what the rules suggest.
    reference : bool
    faults : tuple of str
        Faults that count or call for a look, the most frequent first.
    findings, unjudged : int
    doubt : float
        0..1: how much a look can change.
    state_id : int
        To hand in as ``seen`` with a decision.
    """

    code: str
    design: str
    form: str
    firing: str
    number: int
    photos: int
    cover: PlacedPhoto | None
    pending: bool
    trouble: str
    proposed: Grade | None
    decided: Grade | None
    grade: Grade | None
    overruled: bool
    reason: str
    discard: bool
    decor_only: bool
    fate: str
    price: float | None
    reference: bool
    faults: tuple[str, ...]
    findings: int
    unjudged: int
    doubt: float
    state_id: int


@dataclass(frozen=True, slots=True)
class BatchRow:
    """A batch at a glance.

    Attributes
    ----------
    id : int
    label, opened_at : str
    complete : bool
        False while photos are still being taken in, or after a stop.
    pieces, pending, undecided : int
    grades : mapping of str to int
        How many pieces of each grade hold.
    faults : mapping of str to int
        Pieces with each fault, the most frequent first.
    problems : tuple of str
    """

    id: int
    label: str
    opened_at: str
    complete: bool
    pieces: int
    pending: int
    undecided: int
    grades: Mapping[str, int]
    faults: Mapping[str, int]
    problems: tuple[str, ...]


_COVER = PHOTO_COLUMNS.replace("round_id, view, turn_deg", "P.round_id, P.view, P.turn_deg")
_LIST = f"""
SELECT code, N.design, N.form, N.firing, N.number, N.photos, N.pending, N.trouble, N.proposed,
  N.decided, N.grade, iif(N.reason <> '', N.reason, N.why), N.discard, N.decor_only, N.fate,
  coalesce(N.price, N.suggested), N.reference, N.faults, N.findings, N.unjudged, N.doubt,
  N.state_id, {_COVER}
FROM now_pieces AS N
JOIN pieces ON pieces.id = N.piece_id
LEFT JOIN photos ON photos.id = N.cover_id
LEFT JOIN now_photos AS P ON P.photo_id = N.cover_id
"""

_ORDERS: Mapping[Order, str] = {
    # What a look can change most comes first; decided pieces last.
    "review": "N.decided IS NOT NULL, N.pending, N.doubt DESC, N.findings DESC, sort_key, code",
    "code": "sort_key, code",
    "grade": (
        "CASE N.grade WHEN 'ungraded' THEN 0 WHEN 'refire' THEN 1 WHEN 'second' THEN 2 ELSE 3 END, "
        "sort_key, code"
    ),
    "design": "N.design, sort_key, code",
    "fault": "N.faults = '', N.faults, sort_key, code",
    "latest": "N.piece_id DESC",
}


def piece_list(
    studio: Studio,
    *,
    batch_id: int | None = None,
    firing: str | None = None,
    grade: Grade | None = None,
    undecided: bool = False,
    in_studio: bool = False,
    order: Order = "code",
    most: int | None = None,
    after: int = 0,
) -> tuple[PieceRow, ...]:
    """List pieces.

    Parameters
    ----------
    studio : Studio
    batch_id, firing, grade : optional
        Only those of a batch, of a firing, of a grade that holds.
    undecided : bool
        Only those that wait for the maker's word.
    in_studio : bool
        Without those that were sold, given or broken.
    order : str
        ``review`` puts uncertain pieces first.
    most, after : int, optional
        A page of the list: at most so many, after so many.
    """
    chosen, values = "N.photos > 0", cast("list[object]", [])
    for column, value in (("batch_id", batch_id), ("firing", firing), ("grade", grade)):
        if value is not None:
            chosen += f" AND N.{column} = ?"
            values.append(value)
    if undecided:
        chosen += " AND N.decided IS NULL"
    if in_studio:
        chosen += " AND N.fate = ''"
    if most is not None or after:
        # Sort the bare numbers and fetch only the page, not all of the rows to throw most away.
        chosen = (
            "N.piece_id IN (SELECT N.piece_id FROM now_pieces AS N JOIN pieces "
            f"ON pieces.id = N.piece_id WHERE {chosen} ORDER BY {_ORDERS[order]} LIMIT ? OFFSET ?)"
        )
        values += [-1 if most is None else most, after]
    query = f"{_LIST} WHERE {chosen} ORDER BY {_ORDERS[order]}"
    with studio.reading() as db:
        return tuple(_piece_row(row) for row in db.execute(query, values))


def review_list(
    studio: Studio, *, batch_id: int | None = None, most: int | None = None
) -> tuple[PieceRow, ...]:
    """List what waits for the maker's word, what a look can change most first."""
    return piece_list(studio, batch_id=batch_id, undecided=True, order="review", most=most)


def clear_firsts(studio: Studio, *, batch_id: int | None = None) -> tuple[PieceRow, ...]:
    """List pieces that wait, are proposed as first, and have nothing that calls for a look."""
    rows = piece_list(studio, batch_id=batch_id, grade="first", undecided=True)
    return tuple(row for row in rows if row.unjudged == 0 and not row.pending)


def batches(studio: Studio, *, batch_id: int | None = None) -> tuple[BatchRow, ...]:
    """Return the batches at a glance, the latest first."""
    with studio.reading() as db:
        where = "" if batch_id is None else " AND batch_id = :batch"
        names = {"batch": batch_id}
        counts = db.execute(
            "SELECT batch_id, grade, count(*), sum(pending), sum(decided IS NULL) FROM now_pieces "
            f"WHERE photos > 0{where} GROUP BY batch_id, grade",
            names,
        ).fetchall()
        faults = db.execute(
            "SELECT batch_id, fault, count(DISTINCT piece_id) AS pieces FROM now_pieces "
            "JOIN weights USING (verdict_id) JOIN findings ON findings.id = finding_id "
            f"WHERE weight = 'counts' AND photos > 0{where} "
            "GROUP BY batch_id, fault ORDER BY pieces DESC, fault",
            names,
        ).fetchall()
        rows = db.execute(
            "SELECT batches.id, label, opened_at, problems FROM batches "
            "LEFT JOIN batch_ends ON batch_id = batches.id "
            f"{'' if batch_id is None else 'WHERE batches.id = :batch'} ORDER BY batches.id DESC",
            names,
        ).fetchall()
    return tuple(_batch_row(row, counts, faults) for row in rows)


def references(studio: Studio, design: str | None = None) -> tuple[PieceRow, ...]:
    """Return the reference pieces, of one design where it is named; case does not matter."""
    with studio.reading() as db:
        rows = db.execute(
            f"{_LIST} WHERE N.photos > 0 AND N.reference = 1 "
            "AND (?1 IS NULL OR N.design = ?1 COLLATE NOCASE) ORDER BY sort_key, code",
            (design,),
        ).fetchall()
    return tuple(_piece_row(row) for row in rows)


def _piece_row(row: tuple[Any, ...]) -> PieceRow:
    (
        code, design, form, firing, number, photos, pending, trouble, proposed, decided, grade,
        reason, discard, decor_only, fate, price, reference, faults, findings, unjudged, doubt,
        state_id, *cover,
    ) = row  # fmt: skip
    return PieceRow(
        code=code,
        design=design,
        form=form,
        firing=firing,
        number=number,
        photos=photos,
        cover=PlacedPhoto(*cover) if cover[0] is not None else None,
        pending=bool(pending),
        trouble=trouble,
        proposed=proposed,
        decided=decided,
        grade=grade,
        overruled=decided is not None and decided != proposed,
        reason=reason,
        discard=bool(discard),
        decor_only=bool(decor_only),
        fate=fate,
        price=price,
        reference=bool(reference),
        faults=tuple(faults.split(",")) if faults else (),
        findings=findings,
        unjudged=unjudged,
        doubt=doubt,
        state_id=state_id,
    )


def _batch_row(
    row: tuple[int, str, str, str | None],
    counts: Sequence[tuple[int, str | None, int, int, int]],
    faults: Sequence[tuple[int, str, int]],
) -> BatchRow:
    batch_id, label, opened_at, problems = row
    ours = [each for each in counts if each[0] == batch_id]
    return BatchRow(
        id=batch_id,
        label=label,
        opened_at=opened_at,
        complete=problems is not None,
        pieces=sum(each[2] for each in ours),
        pending=sum(each[3] for each in ours),
        undecided=sum(each[4] for each in ours),
        grades={grade: sum(e[2] for e in ours if e[1] == grade) for grade in GRADES},
        faults={fault: pieces for of_batch, fault, pieces in faults if of_batch == batch_id},
        problems=tuple(json.loads(problems)) if problems else (),
    )
