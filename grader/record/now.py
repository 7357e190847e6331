"""The present state of each piece, worked out from its history.

Called wherever something is added to a piece's history, in the same transaction, so that lists
never show another state than the history does. `rebuild` does it for all pieces anew.
"""

from __future__ import annotations

import sqlite3

from grader.record.events import Standing, add_event, load_events, standing
from grader.record.pieces import (
    Round,
    charts_of,
    current_round,
    facts_now,
    inputs_digest,
    photos_of,
    view_rank,
    words_now,
)
from grader.record.refires import keep_comparison
from grader.record.rulebook import Rulebook
from grader.record.studio import Studio
from grader.record.verdicts import load_judged, store_verdict

DEFAULT_MARKER_MM = 20.0


def marker_mm(db: sqlite3.Connection) -> float:
    """Return the side of the studio's printed marker in mm."""
    row = db.execute("SELECT value FROM studio WHERE key = 'marker_mm'").fetchone()
    return float(row[0]) if row else DEFAULT_MARKER_MM


def digest_now(db: sqlite3.Connection, round_: Round) -> str:
    """Return the digest of what an analysis of this firing would look at now."""
    return inputs_digest(
        photos_of(db, round_.id),
        charts_of(db, round_.batch_id),
        words_now(db, round_.piece_id, round_.id),
        marker_mm=marker_mm(db),
    )


def survey_now(db: sqlite3.Connection, round_: Round) -> tuple[int | None, bool]:
    """Return the survey that holds for a firing, and whether it saw all that is there now."""
    row = db.execute(
        "SELECT id FROM surveys WHERE round_id = ? AND inputs_sha256 = ? ORDER BY id DESC LIMIT 1",
        (round_.id, digest_now(db, round_)),
    ).fetchone()
    if row:
        return int(row[0]), True
    row = db.execute(
        "SELECT id FROM surveys WHERE round_id = ? ORDER BY id DESC LIMIT 1", (round_.id,)
    ).fetchone()
    return (int(row[0]) if row else None), False


def propose(db: sqlite3.Connection, piece_id: int, book: Rulebook) -> int | None:
    """Ask the rules about the latest firing of a piece, and write down what is new.

    Parameters
    ----------
    db : sqlite3.Connection
        Inside a transaction.
    piece_id : int
    book : Rulebook

    Returns
    -------
    int or None
        Id of the verdict that now stands; None while nothing has been analysed.
    """
    round_ = current_round(db, piece_id)
    survey_id, seen_all = survey_now(db, round_)
    if survey_id is None or not seen_all:
        return None
    events = load_events(db, piece_id)
    verdict_id, added = store_verdict(
        db,
        round_=round_,
        survey_id=survey_id,
        judged=load_judged(db, survey_id, standing(events, round_.id)),
        facts=facts_now(db, round_.code, piece_id, round_.id),
        book=book,
    )
    if added:
        grade = db.execute("SELECT grade FROM verdicts WHERE id = ?", (verdict_id,)).fetchone()[0]
        last = events[-1].id if events else 0
        add_event(
            db,
            piece_id=piece_id,
            round_id=round_.id,
            kind="proposed",
            subject="proposed",
            value=grade,
            verdict_id=verdict_id,
            seen_id=last,
        )
    if round_.number > 0:
        keep_comparison(db, round_)
    return verdict_id


def refresh(db: sqlite3.Connection, piece_id: int) -> None:
    """Work out the row of a piece in ``now_pieces`` anew."""
    round_ = current_round(db, piece_id)
    events = load_events(db, piece_id)
    said = standing(events, round_.id)
    photos = photos_of(db, round_.id)
    survey_id, seen_all = survey_now(db, round_) if photos else (None, True)
    row = db.execute(
        "SELECT id, grade, coalesce(json_extract(reasons, '$[0][2]'), ''), discard, decor_only, "
        "price FROM verdicts WHERE round_id = ? ORDER BY id DESC LIMIT 1",
        (round_.id,),
    ).fetchone()
    verdict_id, proposed, why, discard, decor_only, suggested = row or (None, None, "", 0, 0, None)
    findings, unjudged, doubt = _doubt(db, verdict_id, said, proposed)
    words = words_now(db, piece_id, round_.id)
    now = {
        "piece_id": piece_id,
        "round_id": round_.id,
        "batch_id": round_.batch_id,
        "number": round_.number,
        "survey_id": survey_id,
        "verdict_id": verdict_id,
        "state_id": events[-1].id if events else 0,
        "photos": len(photos),
        "cover_id": min(photos, key=lambda each: view_rank(each.view)).id if photos else None,
        "pending": int(not seen_all),
        "trouble": "" if seen_all else _trouble(db, round_),
        "proposed": proposed,
        "why": why,
        "faults": _faults(db, verdict_id),
        "discard": discard,
        "decor_only": decor_only,
        "decided": said.grade,
        "reason": said.reason,
        "grade": said.grade or proposed,
        "fate": said.fate,
        "price": said.price,
        "suggested": suggested,
        "reference": int(said.reference),
        "findings": findings,
        "unjudged": unjudged,
        "doubt": doubt,
        "design": words.get("design", ""),
        "form": words.get("form", ""),
        "firing": words.get("firing", ""),
    }
    db.execute(
        f"INSERT OR REPLACE INTO now_pieces ({', '.join(now)}) "
        f"VALUES ({', '.join(f':{name}' for name in now)})",
        now,
    )


def rebuild(studio: Studio) -> int:
    """Work out all present states anew from the history.

    Returns
    -------
    int
        Number of pieces.
    """
    with studio.writing() as db:
        return _rebuild(db)


def set_marker_mm(studio: Studio, side_mm: float) -> None:
    """Keep the side of the studio's printed marker; what was measured by another one waits."""
    with studio.writing() as db:
        db.execute(
            "INSERT INTO studio (key, value) VALUES ('marker_mm', ?) "
            "ON CONFLICT (key) DO UPDATE SET value = excluded.value",
            (repr(float(side_mm)),),
        )
        _rebuild(db)


def _rebuild(db: sqlite3.Connection) -> int:
    for table in ("now_pieces", "now_facts", "now_photos"):
        db.execute(f"DELETE FROM {table}")
    db.execute(
        "INSERT INTO now_facts SELECT piece_id, coalesce(round_id, 0), name, value "
        "FROM piece_facts WHERE id IN (SELECT max(id) FROM piece_facts "
        "GROUP BY piece_id, coalesce(round_id, 0), name)"
    )
    db.execute(
        "INSERT INTO now_photos SELECT photo_id, round_id, view, turn_deg FROM placings "
        "WHERE id IN (SELECT max(id) FROM placings GROUP BY photo_id)"
    )
    pieces = [row[0] for row in db.execute("SELECT DISTINCT piece_id FROM rounds")]
    for piece_id in pieces:
        refresh(db, piece_id)
    return len(pieces)


def _faults(db: sqlite3.Connection, verdict_id: int | None) -> str:
    rows = db.execute(
        "SELECT fault FROM weights JOIN findings ON findings.id = finding_id "
        "WHERE verdict_id = ? AND weight IN ('counts', 'look') "
        "GROUP BY fault ORDER BY count(*) DESC, fault",
        (verdict_id,),
    )
    return ",".join(row[0] for row in rows)


def _doubt(
    db: sqlite3.Connection, verdict_id: int | None, said: Standing, proposed: str | None
) -> tuple[int, int, float]:
    """Return number of findings, number not judged yet, and how much a look is needed, 0..1."""
    rows = db.execute(
        "SELECT coalesce(same_as, findings.id), weight, "
        "(SELECT json_extract(value, '$[1]') FROM json_each(judged) "
        " WHERE json_extract(value, '$[0]') = findings.id) "
        "FROM weights JOIN findings ON findings.id = finding_id "
        "JOIN verdicts ON verdicts.id = verdict_id WHERE verdict_id = ? AND weight <> 'normal'",
        (verdict_id,),
    ).fetchall()
    looked_at = set(said.judged) | set(said.by_hand)
    # A remark has no say in the grade, so it does not call for a look.
    open_ = [
        certainty
        for place_id, weight, certainty in rows
        if place_id not in looked_at and weight != "remark"
    ]
    if proposed == "ungraded":
        return len(rows), len(open_), 1.0
    # The least certain finding is the one that a look can change most.
    return len(rows), len(open_), 1.0 - min(open_) if open_ else 0.0


def _trouble(db: sqlite3.Connection, round_: Round) -> str:
    row = db.execute(
        "SELECT text FROM troubles WHERE round_id = ? AND inputs_sha256 = ? "
        "ORDER BY id DESC LIMIT 1",
        (round_.id, digest_now(db, round_)),
    ).fetchone()
    return str(row[0]) if row else ""
