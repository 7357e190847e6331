"""Hold the pieces of one design in one session against each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from grader.facts import PieceFacts
from grader.findings import Finding, MateNote, PieceSurvey
from grader.mates.alike import backed, drawing, shared
from grader.mates.likeness import Likeness
from grader.mates.odd import odd_ones
from grader.mates.report import Adjustment, FindingKey, MateReport


def compare_mates(
    likenesses: Sequence[Likeness],
    facts: Mapping[str, PieceFacts],
    certainties: Mapping[FindingKey, float] | None = None,
    *,
    references: Sequence[Likeness] = (),
) -> MateReport:
    """Hold pieces of one design, or of one clay and finish without design, against each other.

    Parameters
    ----------
    likenesses : sequence of Likeness
        Of one session.
    facts : mapping of str to PieceFacts
        By code of the piece; pieces without facts have no sisters.
    certainties : mapping, optional
        Certainty of each finding by (piece, fault, photo, bbox_px), from `certainties_of`; only
        findings in it are adjusted.
    references : sequence of Likeness
        Approved pieces of earlier sessions, their facts among `facts`.

    Returns
    -------
    MateReport
        Adjustments only ever for flakes, pits (which may be the drawing) and browning (which the
        sisters may confirm).
    """
    groups: dict[tuple[str, ...], list[Likeness]] = {}
    for each in likenesses:
        key = _group(facts.get(each.piece))
        if key is not None:
            groups.setdefault(key, []).append(each)
    notes: list[MateNote] = []
    adjustments: list[Adjustment] = []
    for key, pieces in groups.items():
        own = [each for each in references if _group(facts.get(each.piece)) == key]
        finish = facts[pieces[0].piece].finish
        one_design = key[0] == "design"
        notes += odd_ones(pieces, own, finish=finish, one_design=one_design)
        if one_design:
            adjustments += drawing(pieces, own, certainties or {})
            notes += shared(pieces)
    adjustments += backed(likenesses, notes, certainties or {})
    return MateReport(tuple(notes), tuple(adjustments))


def held_together(
    surveys: Sequence[PieceSurvey],
    facts: Mapping[str, PieceFacts],
    *,
    references: Sequence[Likeness] = (),
) -> list[PieceSurvey]:
    """Hold the pieces of one session against each other, and lay over each what its sisters say.

    Parameters
    ----------
    surveys : sequence of PieceSurvey
        Those without a likeness are left as they are.
    facts : mapping of str to PieceFacts
    references : sequence of Likeness
        As in `compare_mates`.

    Returns
    -------
    list of PieceSurvey
        In the order of `surveys`; each with the notes on it and its findings adjusted.
    """
    likenesses = [each.likeness for each in surveys if each.likeness is not None]
    report = compare_mates(likenesses, facts, certainties_of(surveys), references=references)
    return [
        replace(
            adjusted(survey, report.adjustments),
            notes=tuple(note for note in report.notes if note.piece == survey.piece),
        )
        for survey in surveys
    ]


def certainties_of(
    surveys: Iterable[PieceSurvey],
) -> dict[FindingKey, float]:
    """Certainty of every finding, for `compare_mates`."""
    return {
        (survey.piece, each.fault, each.photo, each.bbox_px): each.certainty
        for survey in surveys
        for each in survey.findings
    }


def adjusted(survey: PieceSurvey, adjustments: Iterable[Adjustment]) -> PieceSurvey:
    """A survey whose findings have the certainty that the sisters leave them.

    Parameters
    ----------
    survey : PieceSurvey
    adjustments : iterable of Adjustment
        Of any pieces.

    Returns
    -------
    PieceSurvey
    """
    known = {
        (each.fault, each.photo, each.bbox_px): each
        for each in adjustments
        if each.piece == survey.piece
    }
    if not known:
        return survey
    findings: list[Finding] = []
    for found in survey.findings:
        change = known.get((found.fault, found.photo, found.bbox_px))
        if change is None:
            findings.append(found)
        elif (certainty := round(change.certainty, 2)) > 0.0:
            why = f"{found.why} {change.why}"
            findings.append(replace(found, certainty=certainty, why=why))
    return replace(survey, findings=tuple(findings))


def _group(facts: PieceFacts | None) -> tuple[str, ...] | None:
    if facts is None:
        return None
    if facts.design.strip():
        # A beaker and a jug of one design have their drawing at other places.
        return "design", facts.design.strip().casefold(), facts.form.strip().casefold()
    if facts.clay.strip() and facts.finish:
        # Without a design, one coloured glaze is told from another by its name.
        glaze = facts.glaze.strip().casefold() if facts.finish == "coloured" else ""
        return "clay", facts.clay.strip().casefold(), facts.finish, glaze
    return None
