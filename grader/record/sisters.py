"""What a piece looks like and what its sisters say of it, kept with its survey."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, cast

from grader.findings import MateNote, PieceSurvey
from grader.record.clock import stamp
from grader.record.surveys import StoredSurvey

if TYPE_CHECKING:  # the image libraries behind them take a second to load
    from grader.mates import Likeness


@dataclass(frozen=True, slots=True)
class Sisters:
    """One comparison of a piece with its sisters.

    Attributes
    ----------
    id : int
    notes : str
        As `grader.findings.MateNote`: JSON list of [kind, text, shift_de00, sisters, sure].
    changes : str
        JSON list of [id of the finding, certainty, why]; a finding of certainty 0 is the drawing.
    """

    id: int
    notes: str
    changes: str

    @property
    def drawing(self) -> frozenset[int]:
        """Ids of the findings that are the drawing."""
        return frozenset(
            found_id for found_id, certainty, _ in _rows(self.changes) if not certainty
        )

    @property
    def said(self) -> list[str]:
        """What a verdict rests on; empty where the sisters say nothing."""
        return [] if self.notes == self.changes == "[]" else [self.notes, self.changes]


def keep_likeness(db: sqlite3.Connection, survey_id: int, likeness: Likeness) -> None:
    """Keep the likeness of a piece with its survey, once."""
    from grader.mates import to_json

    db.execute(
        "INSERT INTO likenesses (survey_id, version, text, made_at) VALUES (?, ?, ?, ?) "
        "ON CONFLICT DO NOTHING",
        (survey_id, likeness.version, to_json(likeness), stamp()),
    )


def kept_likeness(db: sqlite3.Connection, survey_id: int) -> Likeness | None:
    """Return the likeness kept with a survey; None where there is none of this version."""
    from grader.mates import from_json
    from grader.mates.likeness import VERSION

    row = db.execute(
        "SELECT text FROM likenesses WHERE survey_id = ? AND version = ?", (survey_id, VERSION)
    ).fetchone()
    return None if row is None else from_json(row[0])


def sisters_now(db: sqlite3.Connection, survey_id: int) -> Sisters | None:
    """Return what the sisters say now; None for a piece that was not held against any."""
    row = db.execute(
        "SELECT id, notes, changes FROM sisters WHERE survey_id = ? ORDER BY id DESC LIMIT 1",
        (survey_id,),
    ).fetchone()
    return Sisters(*row) if row else None


def load_sisters(db: sqlite3.Connection, sisters_id: int) -> Sisters:
    """Return what the sisters said when a verdict was reached."""
    return Sisters(
        *db.execute("SELECT id, notes, changes FROM sisters WHERE id = ?", (sisters_id,)).fetchone()
    )


def keep_sisters(db: sqlite3.Connection, stored: StoredSurvey, held: PieceSurvey) -> bool:
    """Write down what the sisters say, unless it is what they said before.

    Parameters
    ----------
    db : sqlite3.Connection
        Inside a transaction.
    stored : StoredSurvey
    held : PieceSurvey
        The same survey with notes and with other certainties.

    Returns
    -------
    bool
        Whether the sisters say something else than before.
    """
    left = {(each.fault, each.photo, each.bbox_px): each for each in held.findings}
    changes: list[list[object]] = []
    for each in stored.findings:
        found = each.finding
        now = left.get((found.fault, found.photo, found.bbox_px))
        if now is None:
            changes.append([each.id, 0.0, found.why])
        elif now != found:
            changes.append([each.id, now.certainty, now.why])
    notes = [
        [each.kind, each.text, each.shift_de00, each.sisters, each.sure] for each in held.notes
    ]
    said = json.dumps(notes, ensure_ascii=False), json.dumps(changes, ensure_ascii=False)
    before = sisters_now(db, stored.id)
    if before is None or (before.notes, before.changes) != said:
        db.execute(
            "INSERT INTO sisters (survey_id, notes, changes, made_at) VALUES (?, ?, ?, ?)",
            (stored.id, *said, stamp()),
        )
    return (before.said if before else []) != ([] if said == ("[]", "[]") else list(said))


def laid_over(stored: StoredSurvey, sisters: Sisters | None) -> StoredSurvey:
    """Lay what the sisters say over a survey.

    Findings that are the drawing stay, as the maker may have called them right.
    """
    if sisters is None or not sisters.said:
        return stored
    changes = {found_id: told for found_id, *told in _rows(sisters.changes)}
    findings = []
    for each in stored.findings:
        if each.id in changes:
            certainty, why = changes[each.id]
            each = replace(each, finding=replace(each.finding, certainty=certainty, why=why))
        findings.append(each)
    piece = stored.survey.piece
    notes = tuple(
        MateNote(piece, kind, text, shift_de00, count, bool(sure))
        for kind, text, shift_de00, count, sure in _rows(sisters.notes)
    )
    survey = replace(stored.survey, findings=tuple(each.finding for each in findings), notes=notes)
    return replace(stored, survey=survey, findings=tuple(findings))


def _rows(text: str) -> list[list[Any]]:
    return cast("list[list[Any]]", json.loads(text))
