"""Pieces of the record in the form that the lists and the page are made from.

What the maker decided stands in place of what the rules proposed, with the maker's reason first.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import replace

from grader.facts import PieceFacts
from grader.findings import Finding, PieceSurvey
from grader.record.events import Standing, load_events, standing
from grader.record.figures import MendedFigure, mended_figures, own_advice
from grader.record.pieces import facts_now, photos_of, piece_id_of, round_by_id
from grader.record.studio import Studio
from grader.record.surveys import load_survey
from grader.record.verdicts import load_verdict
from grader.verdict import Grade, GradedBatch, GradedPiece, Reason, Verdict

BY_MAKER = "maker"
"""Rule that a reason names where it is the maker's own word."""


def graded_batch(
    studio: Studio,
    *,
    batch_id: int | None = None,
    codes: Sequence[str] | None = None,
    in_studio: bool = True,
) -> GradedBatch:
    """Gather graded pieces of the record, as `grader.lists.lists_of` and the page take them.

    Parameters
    ----------
    studio : Studio
    batch_id : int, optional
        Only the pieces of a batch.
    codes : sequence of str, optional
        Only these.
    in_studio : bool
        Without what was sold, given or broken.

    Returns
    -------
    GradedBatch
        Its folder is the studio folder, and each photo is named by its path within it. Its name
        is that of the studio and of the batch. Pieces that wait to be looked at for the first
        time are left out.
    """
    figures = mended_figures(studio)
    with studio.reading() as db:
        wanted = None if codes is None else {piece_id_of(db, code) for code in codes}
        rows = db.execute(
            "SELECT piece_id, round_id, verdict_id FROM now_pieces "
            "JOIN pieces ON pieces.id = piece_id WHERE photos > 0 AND verdict_id IS NOT NULL "
            "AND (?1 IS NULL OR batch_id = ?1) AND (fate = '' OR NOT ?2) ORDER BY sort_key, code",
            (batch_id, in_studio),
        ).fetchall()
        pieces = []
        titles: dict[str, None] = {}
        for piece_id, round_id, verdict_id in rows:
            if wanted is None or piece_id in wanted:
                piece, title = _graded(db, piece_id, round_id, verdict_id, figures)
                pieces.append(piece)
                titles[title] = None
        label = db.execute("SELECT label FROM batches WHERE id = ?", (batch_id,)).fetchone()
    names = [studio.setting("name"), *(label or ())]
    return GradedBatch(
        studio.folder,
        tuple(pieces),
        ", ".join(titles),
        name=" · ".join(filter(None, names)),
    )


def _graded(
    db: sqlite3.Connection,
    piece_id: int,
    round_id: int,
    verdict_id: int,
    figures: Sequence[MendedFigure],
) -> tuple[GradedPiece, str]:
    stored = load_verdict(db, verdict_id)
    survey = load_survey(db, stored.survey_id)
    said = standing(load_events(db, piece_id), round_id)
    round_ = round_by_id(db, round_id)
    files = {photo.id: _file(photo.file, photo.turn_deg) for photo in photos_of(db, round_id)}
    names = {
        report.photo: files.get(photo_id, report.photo)
        for photo_id, report in zip(survey.photo_ids, survey.survey.photos, strict=True)
    }
    weighed = tuple(
        replace(each, finding=_renamed(each.finding, names)) for each in stored.verdict.weighed
    )
    facts = facts_now(db, round_.code, piece_id, round_id)
    verdict = _as_decided(replace(stored.verdict, weighed=weighed), said, facts)
    if verdict.grade == "refire":
        faults = [reason.fault for reason in verdict.reasons if reason.fault]
        verdict = replace(verdict, remedies=(*verdict.remedies, *own_advice(figures, faults)))
    piece = GradedPiece(
        facts=facts,
        survey=PieceSurvey(
            piece=round_.code,
            photos=tuple(
                replace(report, photo=names[report.photo]) for report in survey.survey.photos
            ),
            findings=tuple(each.finding for each in weighed),
            zones=survey.survey.zones,
        ),
        verdict=verdict,
        refires_done=round_.refires,
    )
    return piece, stored.rules_title


def _as_decided(verdict: Verdict, said: Standing, facts: PieceFacts) -> Verdict:
    price = said.price if said.price is not None else verdict.price
    if said.grade is None or said.grade == verdict.grade:
        return replace(verdict, price=price if verdict.grade == "second" else verdict.price)
    grade: Grade = said.grade
    why = f" {said.reason}" if said.reason else ""
    word = Reason(None, BY_MAKER, f"Graded {grade} by hand.{why}")
    return replace(
        verdict,
        grade=grade,
        reasons=(word, *verdict.reasons),
        remedies=verdict.remedies if grade == "refire" else (),
        price=price if grade == "second" else None,
        # Calling an unsafe piece a second does not make it one to sell. The cautions always stay.
        discard=verdict.discard and grade == "second",
        decor_only=verdict.decor_only and grade == "second",
    )


def _renamed(finding: Finding, names: Mapping[str, str]) -> Finding:
    return replace(finding, photo=names.get(finding.photo, finding.photo))


def _file(file: str, turn_deg: int) -> str:
    if turn_deg == 0:
        return file
    stem = file.rsplit("/", 1)[-1].split(".", 1)[0]
    return f"previews/{stem[:2]}/{stem}-turned-{turn_deg}.png"
