"""Come to a grade: the hardest of what each fault asks for, if the photos can carry it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from grader.errors import UsageError
from grader.facts import PieceFacts
from grader.findings import FAULT_NAMES, FaultName, PieceSurvey
from grader.rules.model import ACTIONS, Action, Rules
from grader.rules.seen import photo_reasons, unseen_sides
from grader.rules.texts import listed, what_was_seen
from grader.rules.weigh import JudgedFinding, count_places, judge_findings, use_of
from grader.verdict import Grade, Reason, Verdict, WeighedFinding

# Never a third refire: the custom of the trade, whatever a rules file says.
_NEVER_AGAIN = 2

_GRADE_OF: dict[Action, Grade] = {
    "first": "first",
    "refire": "refire",
    "second": "second",
    "decor": "second",
    "discard": "second",
}
_SHARP: frozenset[FaultName] = frozenset({"flake", "crawl", "crack"})
_GROUND: frozenset[FaultName] = frozenset({"crawl", "pit"})


def grade_piece(
    facts: PieceFacts, survey: PieceSurvey, rules: Rules, *, refires_done: int = 0
) -> Verdict:
    """Propose a grade for one piece, with every reason named.

    The hardest of what the faults ask for decides: a refire only where all of them can be
    mended by one, and only while the rules allow another. Where a side is missing or its photo
    cannot be used, the piece is ungraded, unless the faults already seen make it a second.

    Parameters
    ----------
    facts : PieceFacts
    survey : PieceSurvey
    rules : Rules
    refires_done : int, default 0
        How often the piece has been refired.

    Returns
    -------
    Verdict

    Raises
    ------
    UsageError
        Where `refires_done` is negative.
    """
    if refires_done < 0:
        raise UsageError("the number of refires is below zero", where=survey.piece)
    judged = judge_findings(facts, survey, rules)
    outcomes = [
        _outcome(fault, rules, of_fault)
        for fault in FAULT_NAMES
        if (of_fault := [one for one in judged if one.finding.fault == fault])
        and any(one.weight == "counts" for one in of_fault)
    ]
    outcomes.sort(key=lambda one: -ACTIONS.index(one.action))
    asked = outcomes[0].action if outcomes else "first"
    spent = refires_done >= min(rules.most_refires, _NEVER_AGAIN)
    action: Action = "second" if asked == "refire" and spent else asked
    sides = unseen_sides(facts, survey, rules)
    grade = _GRADE_OF[action]
    if sides and grade != "second":
        grade = "ungraded"
    faults = [_fault_reason(one, rules, asked, spent) for one in outcomes]
    reasons = [*sides, *faults] if grade == "ungraded" else [*faults, *sides]
    if not faults and not sides:
        reasons.append(_sound(judged, rules))
    reasons += _look_reasons(judged, rules)
    reasons += _remark_reasons(judged, facts, rules)
    reasons += photo_reasons(facts, survey, rules, grade)
    reasons += [Reason(None, f"mates.{note.kind}", note.text) for note in survey.notes if note.sure]
    refired = [one for one in outcomes if one.action == "refire"] if grade == "refire" else []
    return Verdict(
        piece=survey.piece,
        grade=grade,
        reasons=tuple(reasons),
        cautions=tuple(_cautions(facts, rules, outcomes, action, grade, refires_done)),
        remedies=tuple(text for one in refired if (text := rules.faults[one.fault].remedy)),
        weighed=tuple(WeighedFinding(j.finding, j.severity, j.rule, j.weight) for j in judged),
        price=_price(facts, rules, outcomes, action) if grade == "second" else None,
        discard=action == "discard",
        decor_only=action == "decor",
    )


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What one fault, all its places together, asks for."""

    fault: FaultName
    action: Action
    rule: str
    what: str
    marked: bool
    too_many: bool
    doubtful: bool
    """No place of it is certain: it counts because there are several, or for safety's sake."""


def _outcome(fault: FaultName, rules: Rules, judged: Sequence[JudgedFinding]) -> _Outcome:
    counting = [one for one in judged if one.weight == "counts"]
    findings = [one.finding for one in counting]
    places = max(1, int(count_places(findings, [1.0] * len(findings))))
    worst = max(counting, key=lambda one: ACTIONS.index(one.action))
    action, key = worst.action, worst.action_rule
    too_many = action == "refire" and any(
        one.refire_most is not None and places > one.refire_most for one in counting
    )
    if too_many:
        action, key = "second", worst.refire_rule
    return _Outcome(
        fault=fault,
        action=action,
        rule=key,
        what=what_was_seen(fault, rules.faults[fault], findings, places),
        marked=any(one.severity == "marked" for one in counting),
        too_many=too_many,
        doubtful=all(finding.certainty < rules.counts_from for finding in findings),
    )


def _fault_reason(one: _Outcome, rules: Rules, asked: Action, spent: bool) -> Reason:
    text = rules.faults[one.fault].text[one.action]
    key = one.rule
    if one.too_many:
        text = rules.refire_text["too_many"]
    elif one.action == "refire" and asked != "refire":
        text = rules.refire_text["spoiled"]
    elif one.action == "refire" and spent:
        text, key = rules.refire_text["spent"], "refire.most"
    doubt = " It is uncertain: look at it before you decide." if one.doubtful else ""
    return Reason(one.fault, key, text.format(what=one.what) + doubt)


def _sound(judged: Sequence[JudgedFinding], rules: Rules) -> Reason:
    if any(one.weight == "look" for one in judged):
        text = "No certain fault was found on the sides that were photographed."
    else:
        text = "No fault was found on the sides that were photographed."
    return Reason(None, "views.required", text)


def _look_reasons(judged: Sequence[JudgedFinding], rules: Rules) -> list[Reason]:
    reasons = []
    for fault in FAULT_NAMES:
        doubtful = [j.finding for j in judged if j.finding.fault == fault and j.weight == "look"]
        if doubtful:
            places = max(1, int(count_places(doubtful, [1.0] * len(doubtful))))
            what = what_was_seen(fault, rules.faults[fault], doubtful, places)
            text = f"To be looked at, as it is uncertain: {what[:1].lower()}{what[1:]}."
            reasons.append(Reason(fault, "certainty.counts_from", text))
    return reasons


def _remark_reasons(
    judged: Sequence[JudgedFinding], facts: PieceFacts, rules: Rules
) -> list[Reason]:
    reasons = []
    for fault in FAULT_NAMES:
        small = [j for j in judged if j.finding.fault == fault and j.weight == "remark"]
        if small:
            findings = [one.finding for one in small]
            places = max(1, int(count_places(findings, [1.0] * len(findings))))
            what = what_was_seen(fault, rules.faults[fault], findings, places)
            text = f"A remark only, below what counts: {what[:1].lower()}{what[1:]}."
            reasons.append(Reason(fault, small[0].rule, text))
    if facts.finish == "coloured":
        judged_ones = [fault for fault in FAULT_NAMES if fault in rules.coloured_judged]
        names = listed((rules.faults[fault].plural for fault in judged_ones), "and")
        text = f"A coloured glaze flows and breaks by itself: only {names} were judged."
        reasons.append(Reason(None, "finish.coloured_judged", text))
    return reasons


def _cautions(
    facts: PieceFacts,
    rules: Rules,
    outcomes: Sequence[_Outcome],
    action: Action,
    grade: Grade,
    refires_done: int,
) -> list[str]:
    said = rules.cautions
    use, known = use_of(facts, rules)
    cautions: list[str] = []
    if action in ("decor", "discard"):
        cautions.append(said["not_food"])
        if not known:
            cautions.append(f"Nobody said what it is for: it was judged as for {use}.")
    if any(one.fault in _SHARP for one in outcomes):
        cautions.append(said["unloading"])
    if grade == "refire":
        if any(one.fault in _GROUND and one.action == "refire" for one in outcomes):
            cautions.append(said["grinding"])
        if any(word.lower() in facts.form.lower() for word in rules.flat_forms):
            cautions.append(said["flat"])
        cautions.append(said["dry"])
        if refires_done:
            cautions.append(said["again"])
    if use == "food" and facts.finish != "raw" and action not in ("decor", "discard"):
        cautions += [said["food"], said["crazing"]]
    return cautions


def _price(
    facts: PieceFacts, rules: Rules, outcomes: Sequence[_Outcome], action: Action
) -> float | None:
    if facts.price is None or action == "discard":
        return None
    marked = sum(one.marked and one.action != "first" for one in outcomes)
    share = rules.price_slight if marked == 0 else rules.price_marked
    if marked > 1 or action == "decor":
        share = rules.price_several
    return round(round(facts.price * share / rules.round_to) * rules.round_to, 2)
