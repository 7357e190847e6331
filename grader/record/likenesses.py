"""The looks of reference pieces, for holding later pieces of their design against them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from grader.facts import PieceFacts
from grader.findings import PieceSurvey
from grader.record.looking import Analysis, batch_of, default_analysis, entry_of
from grader.record.now import marker_mm
from grader.record.pieces import Round, facts_now, piece_id_of, round_by_id
from grader.record.queries import references
from grader.record.sisters import keep_likeness, kept_likeness
from grader.record.studio import Studio
from grader.record.surveys import load_survey

if TYPE_CHECKING:  # the image libraries behind them take a second to load
    from grader.batch import PieceEntry
    from grader.mates import Likeness

Read = Callable[["PieceEntry", PieceSurvey, Any, float], "Likeness"]
"""From a piece, what was seen on it, the colours of its session and the side of the marker in mm,
to its likeness."""


@dataclass(frozen=True, slots=True)
class Reference:
    """A piece that shows what a good one of its design looks like.

    Attributes
    ----------
    facts : PieceFacts
    likeness : Likeness
    """

    facts: PieceFacts
    likeness: Likeness


def likenesses(
    studio: Studio,
    design: str | None = None,
    *,
    analysis: Analysis | None = None,
    read: Read | None = None,
) -> tuple[Reference, ...]:
    """Return the looks of the reference pieces, of one design where it is named.

    They are kept with the record; where one is missing, or was kept by another version, its photos
    are looked at once more, which takes seconds.

    Parameters
    ----------
    studio : Studio
    design : str, optional
        Case does not matter.
    analysis : Analysis, optional
        What finds the colours of a session; that of the program where None.
    read : callable, optional
        See `Read`; that of the program where None.

    Returns
    -------
    tuple of Reference
        Without pieces that still wait to be looked at.
    """
    found = []
    for row in references(studio, design):
        reference = _reference(studio, row.code, analysis, read or _read)
        if reference is not None:
            found.append(reference)
    return tuple(found)


def _reference(
    studio: Studio, code: str, analysis: Analysis | None, read: Read
) -> Reference | None:
    with studio.reading() as db:
        piece_id = piece_id_of(db, code)
        round_id, survey_id = db.execute(
            "SELECT round_id, survey_id FROM now_pieces WHERE piece_id = ?", (piece_id,)
        ).fetchone()
        if survey_id is None:
            return None
        round_ = round_by_id(db, round_id)
        facts = facts_now(db, round_.code, piece_id, round_id)
        kept = kept_likeness(db, survey_id)
    if kept is not None:
        return Reference(facts, kept)
    # Slow, so outside any transaction.
    likeness = _looked_at(studio, round_, survey_id, analysis or default_analysis(studio), read)
    with studio.writing() as db:
        keep_likeness(db, survey_id, likeness)
    return Reference(facts, likeness)


def _looked_at(
    studio: Studio, round_: Round, survey_id: int, analysis: Analysis, read: Read
) -> Likeness:
    with studio.reading() as db:
        entry, _ = entry_of(studio, db, round_)
        survey = load_survey(db, survey_id).survey
        side_mm = marker_mm(db)
    return read(entry, survey, analysis.session(batch_of(studio, round_.batch_id)), side_mm)


def _read(entry: PieceEntry, survey: PieceSurvey, session: Any, marker_mm: float) -> Likeness:
    from grader.mates import read_likeness
    from grader.survey import gather

    gathered = gather(entry, marker_mm=marker_mm, session_colour=session)
    return read_likeness(entry.code, gathered.evidence, survey.findings, gathered.photos)
