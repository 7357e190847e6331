"""One piece with its photos, findings and verdict, as the bench shows it."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from grader.findings import PhotoReport
from grader.record.events import Event, Standing, in_force, load_events, standing
from grader.record.figures import mended_figures, own_advice
from grader.record.pieces import (
    PHOTO_COLUMNS,
    PlacedPhoto,
    Round,
    current_round,
    photos_of,
    piece_id_of,
    rounds_of,
    view_rank,
    words_now,
)
from grader.record.sisters import laid_over, sisters_now
from grader.record.studio import Studio
from grader.record.surveys import StoredFinding, load_findings, load_survey
from grader.record.verdicts import StoredVerdict, load_verdict


@dataclass(frozen=True, slots=True)
class ShownFinding:
    """A finding on the bench.

    Attributes
    ----------
    stored : StoredFinding
    judged : str
        ``right``, ``wrong``, ``drawing`` or empty.
    severity, weight, rule : str
        As the verdict weighs it; empty where it has no part in it (judged wrong or drawing, or
        found to be the drawing on all its sisters).
    """

    stored: StoredFinding
    judged: str
    severity: str
    weight: str
    rule: str


@dataclass(frozen=True, slots=True)
class PieceView:
    """All that the bench shows of one firing of a piece.

    Attributes
    ----------
    code : str
    round : Round
    rounds : tuple of Round
        All firings, oldest first.
    words : mapping of str to str
        Facts.
    photos : tuple of PlacedPhoto
        In view order.
    reports : mapping of int to PhotoReport
        By id of the photo; none yet for photos that wait.
    findings : tuple of ShownFinding
        By photo and from top to bottom.
    verdict : StoredVerdict or None
    said : Standing
        What the maker said.
    pending : bool
    trouble : str
    own_figures : tuple of str
        What refiring mended in this studio, for the faults that it is proposed for.
    state_id : int
        To hand in as ``seen`` with a decision.
    can_undo : Event or None
        What `grader.record.decisions.undo` would take back.
    """

    code: str
    round: Round
    rounds: tuple[Round, ...]
    words: Mapping[str, str]
    photos: tuple[PlacedPhoto, ...]
    reports: Mapping[int, PhotoReport]
    findings: tuple[ShownFinding, ...]
    verdict: StoredVerdict | None
    said: Standing
    pending: bool
    trouble: str
    own_figures: tuple[str, ...]
    state_id: int
    can_undo: Event | None


def piece_view(studio: Studio, code: str, *, number: int | None = None) -> PieceView:
    """Return all that the bench shows of a piece.

    Parameters
    ----------
    studio : Studio
    code : str
    number : int, optional
        Which firing, by refires before it; the latest where None.

    Raises
    ------
    UnknownPieceError
    """
    with studio.reading() as db:
        piece_id = piece_id_of(db, code)
        rounds = rounds_of(db, piece_id)
        round_ = current_round(db, piece_id)
        is_latest = number is None or number == round_.number
        if not is_latest:
            round_ = next((each for each in rounds if each.number == number), round_)
        events = load_events(db, piece_id)
        said = standing(events, round_.id)
        verdict = _last_verdict(db, round_.id)
        survey_id, pending, trouble, state_id = db.execute(
            "SELECT survey_id, pending, trouble, state_id FROM now_pieces WHERE piece_id = ?",
            (piece_id,),
        ).fetchone()
        if not is_latest:
            survey_id, pending, trouble = (verdict.survey_id if verdict else None), 0, ""
        stored = sisters = None
        if survey_id is not None:
            sisters = sisters_now(db, survey_id)
            stored = laid_over(load_survey(db, survey_id), sisters)
        photos = photos_of(db, round_.id)
        here = {photo.id for photo in photos}
        shown = []
        if stored is not None:
            drawn = load_findings(db, said.by_hand)
            places = {each.place_id for each in stored.findings}
            extra = [each for each in drawn.values() if each.place_id not in places]
            drawing = sisters.drawing if sisters else ()
            left = [
                each
                for each in stored.findings
                if each.id not in drawing or each.place_id in said.judged
            ]
            shown = _shown([*left, *extra], said, verdict)
        words = words_now(db, piece_id, round_.id)
    faults = {reason.fault for reason in verdict.verdict.reasons if reason.fault} if verdict else ()
    refire = verdict is not None and verdict.verdict.grade == "refire"
    counting = [each for each in in_force(events) if each.kind not in ("proposed", "undo")]
    return PieceView(
        code=round_.code,
        round=round_,
        rounds=tuple(rounds),
        words=words,
        photos=tuple(sorted(photos, key=lambda each: (view_rank(each.view), each.id))),
        reports=dict(zip(stored.photo_ids, stored.survey.photos, strict=True)) if stored else {},
        findings=tuple(each for each in shown if each.stored.photo_id in here),
        verdict=verdict,
        said=said,
        pending=bool(pending),
        trouble=trouble,
        own_figures=own_advice(mended_figures(studio), faults) if refire else (),
        state_id=state_id,
        can_undo=counting[-1] if counting else None,
    )


def photo_by_id(studio: Studio, photo_id: int) -> PlacedPhoto | None:
    """Return a photo of the record, for the route that serves it."""
    with studio.reading() as db:
        row = db.execute(
            f"SELECT {PHOTO_COLUMNS} FROM photos JOIN now_photos ON photo_id = photos.id "
            "WHERE photos.id = ?",
            (photo_id,),
        ).fetchone()
    return PlacedPhoto(*row) if row else None


def aside_photos(studio: Studio) -> tuple[PlacedPhoto, ...]:
    """Return the photos that belong to no piece."""
    with studio.reading() as db:
        rows = db.execute(
            f"SELECT {PHOTO_COLUMNS} FROM photos JOIN now_photos ON photo_id = photos.id "
            "WHERE round_id IS NULL ORDER BY photos.id"
        ).fetchall()
    return tuple(PlacedPhoto(*row) for row in rows)


def _last_verdict(db: sqlite3.Connection, round_id: int) -> StoredVerdict | None:
    row = db.execute(
        "SELECT id FROM verdicts WHERE round_id = ? ORDER BY id DESC LIMIT 1", (round_id,)
    ).fetchone()
    return load_verdict(db, row[0]) if row else None


def _shown(
    findings: Sequence[StoredFinding], said: Standing, verdict: StoredVerdict | None
) -> list[ShownFinding]:
    weighed = (
        dict(zip(verdict.finding_ids, verdict.verdict.weighed, strict=True)) if verdict else {}
    )
    shown = []
    for each in findings:
        weight = weighed.get(each.id)
        shown.append(
            ShownFinding(
                stored=each,
                judged=said.judged.get(each.place_id, ""),
                severity=weight.severity if weight else "",
                weight=weight.weight if weight else "",
                rule=weight.rule if weight else "",
            )
        )
    return sorted(
        shown,
        key=lambda each: (
            view_rank(each.stored.finding.view),
            each.stored.photo_id,
            each.stored.finding.bbox_px[1],
            each.stored.id,
        ),
    )
