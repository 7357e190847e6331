"""Work a verdict of the past out again from what the record kept."""

from __future__ import annotations

import json
from dataclasses import dataclass

from grader import __version__
from grader.findings import PieceSurvey
from grader.record.errors import RecordError
from grader.record.pieces import piece_id_of
from grader.record.rulebook import rulebook_of
from grader.record.studio import Studio
from grader.record.verdicts import StoredVerdict, judged_findings, load_verdict
from grader.verdict import Verdict


@dataclass(frozen=True, slots=True)
class Explanation:
    """A verdict of the past, worked out once more from what the record kept.

    Attributes
    ----------
    stored : StoredVerdict
    again : Verdict
        From the same findings, facts and rules, by the program as it is now.
    same : bool
    survey : PieceSurvey
        The findings and photos that it rests on.
    differences : tuple of str
        In plain words; empty where `same`.
    """

    stored: StoredVerdict
    again: Verdict
    same: bool
    survey: PieceSurvey
    differences: tuple[str, ...]


def explain(studio: Studio, verdict_id: int) -> Explanation:
    """Work a verdict of the past out again: same findings, same facts, same rules.

    Parameters
    ----------
    studio : Studio
    verdict_id : int

    Raises
    ------
    RecordError
        There is no such verdict.
    """
    with studio.reading() as db:
        stored = load_verdict(db, verdict_id)
        text, judged, sisters_id = db.execute(
            "SELECT text, judged, sisters_id FROM verdicts "
            "JOIN rules ON rules.sha256 = rules_sha256 WHERE id = ?",
            (verdict_id,),
        ).fetchone()
        survey = judged_findings(db, stored.survey_id, json.loads(judged), sisters_id).survey
    again = rulebook_of(text).grade(stored.facts, survey, stored.refires_done)
    same = again == stored.verdict
    return Explanation(stored, again, same, survey, () if same else _differences(stored, again))


def verdict_of(studio: Studio, code: str, verdict_id: int | None = None) -> int:
    """Return the id of a verdict on a piece: the named one, else the one that stands.

    Raises
    ------
    UnknownPieceError, RecordError
        There is no such piece, or no such verdict on it.
    """
    with studio.reading() as db:
        row = db.execute(
            "SELECT verdicts.id FROM verdicts JOIN rounds ON rounds.id = round_id "
            "WHERE piece_id = ?1 AND (?2 IS NULL OR verdicts.id = ?2) ORDER BY 1 DESC LIMIT 1",
            (piece_id_of(db, code), verdict_id),
        ).fetchone()
    if row is None:
        what = "no verdict yet" if verdict_id is None else f"no verdict {verdict_id}"
        raise RecordError(
            f"there is {what} on this piece", where=code, remedy=f"See: grader history {code}"
        )
    return int(row[0])


def _differences(stored: StoredVerdict, again: Verdict) -> tuple[str, ...]:
    then = stored.verdict
    said = []
    if stored.grader != __version__:
        said.append(f"It was reached by version {stored.grader}; this is version {__version__}.")
    if then.grade != again.grade:
        said.append(f"The grade was {then.grade}; it would now be {again.grade}.")
    if then.reasons != again.reasons:
        said.append("The reasons would be worded or weighed otherwise now.")
    if not said:
        said.append("Cautions, remedies or the price would differ now.")
    return tuple(said)
