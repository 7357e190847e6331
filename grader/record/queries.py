"""Lists of pieces and batches, as the pages and the command line ask for them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, cast

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
        Refires done.
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


_LIST = """
SELECT pieces.code, now_pieces.number, now_pieces.photos, pending, trouble, proposed, decided,
  now_pieces.grade, now_pieces.reason, coalesce(discard, 0), coalesce(decor_only, 0), fate,
  coalesce(now_pieces.price, verdicts.price), reference, findings, unjudged, doubt, state_id,
  coalesce(json_extract(verdicts.reasons, '$[0][2]'), ''),
  (SELECT value FROM now_facts WHERE piece_id = now_pieces.piece_id AND round_id = 0
     AND name = 'design'),
  (SELECT value FROM now_facts WHERE piece_id = now_pieces.piece_id AND round_id = 0
     AND name = 'form'),
  (SELECT value FROM now_facts WHERE piece_id = now_pieces.piece_id
     AND round_id = now_pieces.round_id AND name = 'firing'),
  (SELECT group_concat(fault) FROM (SELECT fault FROM weights
     JOIN findings ON findings.id = weights.finding_id
     WHERE weights.verdict_id = now_pieces.verdict_id AND weight IN ('counts', 'look')
     GROUP BY fault ORDER BY count(*) DESC, fault)),
  {photo}
FROM now_pieces
JOIN pieces ON pieces.id = now_pieces.piece_id
LEFT JOIN verdicts ON verdicts.id = now_pieces.verdict_id
LEFT JOIN photos ON photos.id = cover_id
LEFT JOIN now_photos ON now_photos.photo_id = cover_id
WHERE now_pieces.photos > 0
""".format(
    photo=PHOTO_COLUMNS.replace("round_id", "now_photos.round_id").replace(
        "view, turn_deg", "now_photos.view, now_photos.turn_deg"
    )
)

_ORDERS: Mapping[Order, str] = {
    # What a look can change most comes first; decided pieces last.
    "review": "decided IS NOT NULL, pending, doubt DESC, findings DESC, sort_key, code",
    "code": "sort_key, code",
    "grade": (
        "CASE now_pieces.grade WHEN 'ungraded' THEN 0 WHEN 'refire' THEN 1 WHEN 'second' THEN 2 "
        "ELSE 3 END, sort_key, code"
    ),
    "design": (
        "(SELECT value FROM now_facts WHERE piece_id = now_pieces.piece_id AND round_id = 0 "
        "AND name = 'design'), sort_key, code"
    ),
    "fault": (
        "(SELECT min(fault) FROM weights JOIN findings ON findings.id = weights.finding_id "
        "WHERE weights.verdict_id = now_pieces.verdict_id AND weight = 'counts') IS NULL, "
        "(SELECT min(fault) FROM weights JOIN findings ON findings.id = weights.finding_id "
        "WHERE weights.verdict_id = now_pieces.verdict_id AND weight = 'counts'), sort_key, code"
    ),
    "latest": "now_pieces.piece_id DESC",
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
    query, values = _LIST, cast("list[object]", [])
    if batch_id is not None:
        query += " AND now_pieces.batch_id = ?"
        values.append(batch_id)
    if firing is not None:
        query += (
            " AND now_pieces.piece_id IN (SELECT piece_id FROM now_facts WHERE name = 'firing' "
            "AND value = ? AND now_facts.round_id = now_pieces.round_id)"
        )
        values.append(firing)
    if grade is not None:
        query += " AND now_pieces.grade = ?"
        values.append(grade)
    if undecided:
        query += " AND decided IS NULL"
    if in_studio:
        query += " AND fate = ''"
    query += f" ORDER BY {_ORDERS[order]} LIMIT ? OFFSET ?"
    values += [-1 if most is None else most, after]
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
    """Return the reference pieces, of one design where it is named."""
    with studio.reading() as db:
        rows = db.execute(f"{_LIST} AND reference = 1 ORDER BY sort_key, code").fetchall()
    found = (_piece_row(row) for row in rows)
    return tuple(row for row in found if design is None or row.design == design)


def _piece_row(row: tuple[object, ...]) -> PieceRow:
    (
        code, number, photos, pending, trouble, proposed, decided, grade, reason, discard,
        decor_only, fate, price, reference, findings, unjudged, doubt, state_id, first_reason,
        design, form, firing, faults, *cover,
    ) = row  # fmt: skip
    return PieceRow(
        code=cast(str, code),
        design=cast(str, design or ""),
        form=cast(str, form or ""),
        firing=cast(str, firing or ""),
        number=cast(int, number),
        photos=cast(int, photos),
        cover=PlacedPhoto(*cover) if cover[0] is not None else None,  # type: ignore[arg-type]
        pending=bool(pending),
        trouble=cast(str, trouble),
        proposed=cast("Grade | None", proposed),
        decided=cast("Grade | None", decided),
        grade=cast("Grade | None", grade),
        overruled=decided is not None and decided != proposed,
        reason=cast(str, reason or first_reason),
        discard=bool(discard),
        decor_only=bool(decor_only),
        fate=cast(str, fate),
        price=cast("float | None", price),
        reference=bool(reference),
        faults=tuple(cast(str, faults).split(",")) if faults else (),
        findings=cast(int, findings),
        unjudged=cast(int, unjudged),
        doubt=cast(float, doubt),
        state_id=cast(int, state_id),
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
