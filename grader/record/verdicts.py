"""Verdicts in the record: proposed by rules that are kept with them, and worked out again."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import cast

from grader import __version__
from grader.facts import PieceFacts
from grader.findings import Finding, PieceSurvey
from grader.record.clock import stamp
from grader.record.errors import RecordError
from grader.record.events import Standing
from grader.record.pieces import Round
from grader.record.rulebook import Rulebook, keep_rules
from grader.record.sisters import Sisters, laid_over, load_sisters, sisters_now
from grader.record.surveys import StoredFinding, StoredSurvey, load_findings, load_survey
from grader.record.words import facts_of, words_of
from grader.verdict import Reason, Verdict, WeighedFinding

_AGREED_CERTAINTY = 1.0
"""Certainty of a finding that the maker has looked at and called right, or drew by hand."""


@dataclass(frozen=True, slots=True)
class JudgedSurvey:
    """A survey as the maker corrected it, which is what the rules are asked about.

    Attributes
    ----------
    survey : PieceSurvey
        Without what was judged wrong or drawing, with what was added by hand.
    ids : tuple of int
        Of the findings, in the order of ``survey.findings``.
    sisters : Sisters or None
        What the sisters say, which is laid over it.
    """

    survey: PieceSurvey
    ids: tuple[int, ...]
    sisters: Sisters | None = None

    @property
    def judged(self) -> list[list[float]]:
        """Id and certainty of each finding, as the record keeps them."""
        return [
            [found_id, finding.certainty]
            for found_id, finding in zip(self.ids, self.survey.findings, strict=True)
        ]


@dataclass(frozen=True, slots=True)
class StoredVerdict:
    """A verdict with all that led to it.

    Attributes
    ----------
    id, round_id : int
    verdict : Verdict
    finding_ids : tuple of int
        In the order of ``verdict.weighed``.
    facts : PieceFacts
        As they were known then.
    refires_done : int
    survey_id : int
    analysis : str
        Version of the analysis.
    rules_sha256, rules_title : str
    grader : str
        Version of the program.
    made_at : str
    """

    id: int
    round_id: int
    verdict: Verdict
    finding_ids: tuple[int, ...]
    facts: PieceFacts
    refires_done: int
    survey_id: int
    analysis: str
    rules_sha256: str
    rules_title: str
    grader: str
    made_at: str


def judged_survey(
    stored: StoredSurvey,
    said: Standing,
    by_hand: Mapping[int, StoredFinding],
    sisters: Sisters | None = None,
) -> JudgedSurvey:
    """Lay what the sisters say, and over that what the maker said, over what the analysis saw.

    Parameters
    ----------
    stored : StoredSurvey
    said : Standing
    by_hand : mapping of int to StoredFinding
        The findings named by ``said.by_hand``.
    sisters : Sisters, optional
    """
    stored = laid_over(stored, sisters)
    drawing = sisters.drawing if sisters else ()
    findings: list[Finding] = []
    ids: list[int] = []
    places = {each.place_id for each in stored.findings}
    for each in stored.findings:
        word = said.judged.get(each.place_id)
        if word in ("wrong", "drawing"):
            continue
        agreed = word == "right" or each.place_id in said.by_hand
        if each.id in drawing and not agreed:
            continue
        ids.append(each.id)
        findings.append(
            replace(each.finding, certainty=_AGREED_CERTAINTY) if agreed else each.finding
        )
    zones = set(stored.survey.zones)
    for found_id in said.by_hand:
        drawn = by_hand[found_id]
        name = stored.photo_name(drawn.photo_id)
        word = said.judged.get(drawn.place_id)
        if drawn.place_id in places or name is None or word in ("wrong", "drawing"):
            continue
        ids.append(drawn.id)
        findings.append(replace(drawn.finding, photo=name))
        zones.add(drawn.finding.zone)
    survey = replace(stored.survey, findings=tuple(findings), zones=frozenset(zones))
    return JudgedSurvey(survey, tuple(ids), sisters)


def load_judged(db: sqlite3.Connection, survey_id: int, said: Standing) -> JudgedSurvey:
    """Read a survey and lay over it what its sisters and the maker said."""
    drawn = load_findings(db, said.by_hand)
    return judged_survey(load_survey(db, survey_id), said, drawn, sisters_now(db, survey_id))


def store_verdict(
    db: sqlite3.Connection,
    *,
    round_: Round,
    survey_id: int,
    judged: JudgedSurvey,
    facts: PieceFacts,
    book: Rulebook,
) -> tuple[int, bool]:
    """Ask the rules, and add their verdict unless it is the one that stands already.

    Returns
    -------
    tuple of (int, bool)
        Id of the verdict, and whether it was added.
    """
    words = words_of(facts)
    sisters = judged.sisters
    inputs = json.dumps(
        [
            *(survey_id, judged.judged, sorted(words.items()), round_.refires),
            *(sisters.said if sisters else ()),
        ]
    )
    digest = hashlib.sha256(f"{book.sha256} {__version__} {inputs}".encode()).hexdigest()
    last = db.execute(
        "SELECT id, inputs_sha256 FROM verdicts WHERE round_id = ? ORDER BY id DESC LIMIT 1",
        (round_.id,),
    ).fetchone()
    if last and last[1] == digest:
        return int(last[0]), False
    verdict = book.grade(facts, judged.survey, round_.refires)
    keep_rules(db, book)
    cursor = db.execute(
        "INSERT INTO verdicts (round_id, survey_id, rules_sha256, grader, refires_done, facts, "
        "judged, inputs_sha256, grade, reasons, cautions, remedies, price, discard, decor_only, "
        "made_at, sisters_id) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            round_.id,
            survey_id,
            book.sha256,
            __version__,
            round_.refires,
            _json(words),
            _json(judged.judged),
            digest,
            verdict.grade,
            _json([[each.fault, each.rule, each.text] for each in verdict.reasons]),
            _json(list(verdict.cautions)),
            _json(list(verdict.remedies)),
            verdict.price,
            int(verdict.discard),
            int(verdict.decor_only),
            stamp(),
            sisters.id if sisters else None,
        ),
    )
    verdict_id = cast(int, cursor.lastrowid)
    db.executemany(
        "INSERT INTO weights (verdict_id, position, finding_id, severity, rule, weight) "
        "VALUES (?, ?, ?, ?, ?, ?)",
        [
            (verdict_id, position, found_id, each.severity, each.rule, each.weight)
            for position, (found_id, each) in enumerate(_with_ids(verdict, judged))
        ],
    )
    return verdict_id, True


def load_verdict(db: sqlite3.Connection, verdict_id: int) -> StoredVerdict:
    """Read a verdict back, equal to the one that was stored.

    Raises
    ------
    RecordError
        There is no such verdict.
    """
    row = db.execute(
        "SELECT verdicts.round_id, survey_id, rules_sha256, rules.title, verdicts.grader, "
        "refires_done, facts, judged, grade, reasons, cautions, remedies, price, discard, "
        "decor_only, verdicts.made_at, analysis, sisters_id, code "
        "FROM verdicts JOIN rules ON rules.sha256 = rules_sha256 "
        "JOIN surveys ON surveys.id = survey_id JOIN rounds ON rounds.id = verdicts.round_id "
        "JOIN pieces ON pieces.id = piece_id WHERE verdicts.id = ?",
        (verdict_id,),
    ).fetchone()
    if row is None:
        raise RecordError(
            "there is no such verdict", where=str(verdict_id), remedy="See: grader history PIECE"
        )
    (
        round_id, survey_id, rules_sha256, rules_title, grader, refires_done, facts, judged,
        grade, reasons, cautions, remedies, price, discard, decor_only, made_at, analysis,
        sisters_id, code,
    ) = row  # fmt: skip
    findings = judged_findings(db, survey_id, json.loads(judged), sisters_id)
    by_id = dict(zip(findings.ids, findings.survey.findings, strict=True))
    weights = db.execute(
        "SELECT finding_id, severity, rule, weight FROM weights WHERE verdict_id = ? "
        "ORDER BY position",
        (verdict_id,),
    ).fetchall()
    verdict = Verdict(
        piece=code,
        grade=grade,
        reasons=tuple(Reason(fault, rule, text) for fault, rule, text in json.loads(reasons)),
        cautions=tuple(json.loads(cautions)),
        remedies=tuple(json.loads(remedies)),
        weighed=tuple(
            WeighedFinding(by_id[found_id], severity, rule, weight)
            for found_id, severity, rule, weight in weights
        ),
        price=price,
        discard=bool(discard),
        decor_only=bool(decor_only),
    )
    return StoredVerdict(
        id=verdict_id,
        round_id=round_id,
        verdict=verdict,
        finding_ids=tuple(each[0] for each in weights),
        facts=facts_of(code, json.loads(facts)),
        refires_done=refires_done,
        survey_id=survey_id,
        analysis=analysis,
        rules_sha256=rules_sha256,
        rules_title=rules_title,
        grader=grader,
        made_at=made_at,
    )


def judged_findings(
    db: sqlite3.Connection,
    survey_id: int,
    judged: list[tuple[int, float]],
    sisters_id: int | None,
) -> JudgedSurvey:
    """Return a survey with the findings that a verdict rests on, from ``verdicts.judged``."""
    sisters = None if sisters_id is None else load_sisters(db, sisters_id)
    stored = laid_over(load_survey(db, survey_id), sisters)
    found = load_findings(db, [int(found_id) for found_id, _ in judged])
    found |= {each.id: each for each in stored.findings}
    zones = set(stored.survey.zones)
    findings = []
    for found_id, certainty in judged:
        each = found[int(found_id)]
        photo = each.finding.photo
        if each.by_hand:
            photo = stored.photo_name(each.photo_id) or photo
            zones.add(each.finding.zone)
        findings.append(replace(each.finding, certainty=certainty, photo=photo))
    survey = replace(stored.survey, findings=tuple(findings), zones=frozenset(zones))
    return JudgedSurvey(survey, tuple(int(found_id) for found_id, _ in judged), sisters)


def _with_ids(verdict: Verdict, judged: JudgedSurvey) -> list[tuple[int, WeighedFinding]]:
    waiting: dict[Finding, list[int]] = {}
    for found_id, finding in zip(judged.ids, judged.survey.findings, strict=True):
        waiting.setdefault(finding, []).append(found_id)
    return [(waiting[each.finding].pop(0), each) for each in verdict.weighed]


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)
