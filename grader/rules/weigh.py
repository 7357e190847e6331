"""Give each finding its weight: does it count, is it slight or marked, what is done with it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import cast

from grader.facts import PieceFacts, Use
from grader.findings import FaultName, Finding, PieceSurvey, View
from grader.rules.model import LIMIT_KEYS, Action, FaultRule, Rules, Where
from grader.verdict import Severity, Weight

# Two photos half a turn apart cannot show the same place of an outer wall.
_OPPOSITE_SIDES = (("front", "back"), ("right", "left"))

_MARKED_BY = (
    ("marked_de00", lambda finding: finding.shift_de00),
    ("marked_mm", lambda finding: finding.diameter_mm),
    ("marked_area_mm2", lambda finding: finding.area_mm2),
    ("marked_height_share", lambda finding: finding.height_share),
)

# Sums of certainties such as 0.4 + 0.3 + 0.3 must reach 1 in spite of binary fractions.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class JudgedFinding:
    """A finding, its weight, and what its own rule would do with it.

    Attributes
    ----------
    finding : Finding
    severity : {"slight", "marked"}
    rule : str
        Key that set the severity.
    weight : {"counts", "look", "remark", "normal"}
    action : str
        What is done with it; only of interest where it counts.
    action_rule : str
        Key that set the action.
    refire_most : float or None
        More places than this and a refire is no way out.
    refire_rule : str
        Key of that limit.
    """

    finding: Finding
    severity: Severity
    rule: str
    weight: Weight
    action: Action
    action_rule: str
    refire_most: float | None
    refire_rule: str


def use_of(facts: PieceFacts, rules: Rules) -> tuple[Use, bool]:
    """What a piece is for, and whether anything (facts or form) said so."""
    if facts.use is not None:
        return facts.use, True
    form = facts.form.lower()
    for use, words in rules.forms.items():
        if any(word.lower() in form for word in words):
            return use, True
    return rules.unknown_use, False


def count_places(findings: Iterable[Finding], weights: Iterable[float]) -> float:
    """Least number of places on the piece that the findings of its photos stand for.

    One place shows on up to two of four sides, so the sum over photos counts it twice; the
    largest single photo misses the other half. Photos of opposite sides share no place of the
    outer wall, so the larger of front + back and right + left is a sound lower bound. The
    inside is seen from every side across the rim: there the best single photo counts.

    Parameters
    ----------
    findings : iterable of Finding
    weights : iterable of float
        How much of a place each finding stands for, 0..1.

    Returns
    -------
    float
        At least 0; a whole number where every weight is 1.
    """
    on_photo: dict[tuple[str, View, str], float] = defaultdict(float)
    for finding, weight in zip(findings, weights, strict=True):
        part: str = finding.zone if finding.zone in ("inside", "foot") else "wall"
        on_photo[part, finding.view, finding.photo] += weight
    on_view: dict[str, dict[View, float]] = defaultdict(dict)
    for (part, view, _), total in on_photo.items():
        on_view[part][view] = max(total, on_view[part].get(view, 0.0))
    return sum(_places_of_part(part, totals) for part, totals in on_view.items())


def _places_of_part(part: str, totals: Mapping[View, float]) -> float:
    best = max(totals.values())
    if part == "inside":
        return best
    return max(best, *(totals.get(a, 0.0) + totals.get(b, 0.0) for a, b in _OPPOSITE_SIDES))


def judge_findings(
    facts: PieceFacts, survey: PieceSurvey, rules: Rules
) -> tuple[JudgedFinding, ...]:
    """Weigh every finding of a piece, in the order of the survey."""
    use, _ = use_of(facts, rules)
    colour_from = {photo.photo: photo.colour_from for photo in survey.photos}
    cases = [
        _Case(finding, _applied(finding, facts, use, rules), _certain(finding, rules))
        for finding in survey.findings
    ]
    dismissed = [
        _dismissed(case, facts, rules, colour_from.get(case.finding.photo)) for case in cases
    ]
    judged: list[JudgedFinding] = []
    groups: dict[FaultName, list[_Case]] = defaultdict(list)
    for case, why in zip(cases, dismissed, strict=True):
        if why is None:
            groups[case.finding.fault].append(case)
        else:
            judged.append(_judged(case, *why, "slight"))
    for members in groups.values():
        findings = [case.finding for case in members]
        count = count_places(findings, (case.certainty for case in members))
        # A certain place adds as much as a doubtful one may: were it left out, a place would take
        # the others their say by becoming surer.
        doubts = (min(each.certainty, rules.counts_from) for each in findings)
        together = count_places(findings, doubts)
        for case in members:
            speaks = case.certainty >= 1 or together >= 1 - _ROUNDING or _unsafe(case, rules)
            severity, rule = _severity(case, count)
            judged.append(_judged(case, "counts" if speaks else "look", rule, severity))
    order = {id(finding): number for number, finding in enumerate(survey.findings)}
    return tuple(sorted(judged, key=lambda one: order[id(one.finding)]))


@dataclass(frozen=True, slots=True)
class _Applied:
    """A fault's rule after its exceptions, and the key that each value came from."""

    values: Mapping[str, object]
    source: Mapping[str, str]

    def limit(self, key: str) -> float | None:
        return cast("float | None", self.values.get(key))


@dataclass(frozen=True, slots=True)
class _Case:
    finding: Finding
    applied: _Applied
    certainty: float
    """1 where the finding is certain enough to count as it is, else its certainty."""


def _certain(finding: Finding, rules: Rules) -> float:
    return 1.0 if finding.certainty >= rules.counts_from else finding.certainty


def _applied(finding: Finding, facts: PieceFacts, use: Use, rules: Rules) -> _Applied:
    rule: FaultRule = rules.faults[finding.fault]
    base = f"faults.{finding.fault}"
    values: dict[str, object] = {
        **rule.limits,
        "slight": rule.slight,
        "marked": rule.marked,
        "safety": rule.safety,
    }
    source = {key: f"{base}.{key}" for key in (*LIMIT_KEYS, "slight", "marked", "safety")}
    for exception in rule.exceptions:
        if _holds(exception, finding, facts, use, rules):
            for key, value in exception.changes.items():
                values[key] = value
                source[key] = f"{base}.where.{exception.name}.{key}"
    return _Applied(values, source)


def _holds(where: Where, finding: Finding, facts: PieceFacts, use: Use, rules: Rules) -> bool:
    named = (
        (where.use, use),
        (where.zone, finding.zone),
        (where.view, finding.view),
        (where.finish, facts.finish or ""),
        (where.sight, _sight(finding, rules)),
    )
    if any(allowed and value not in allowed for allowed, value in named):
        return False
    if where.longest_mm is None:
        return True
    # A length that could not be measured is not known to be short.
    return finding.diameter_mm is not None and finding.diameter_mm <= where.longest_mm


def _sight(finding: Finding, rules: Rules) -> str:
    # Sides without a name ("view 2") may be the front, so they count as shown.
    hidden_view = finding.view not in rules.show and not finding.view.startswith("view ")
    return "hidden" if finding.zone == "foot" or hidden_view else "show"


def _dismissed(
    case: _Case, facts: PieceFacts, rules: Rules, colour_from: str | None
) -> tuple[Weight, str] | None:
    """Why a finding has no say at all, and the key of the rule; None where it may have one."""
    finding = case.finding
    if finding.fault == "crack":
        return None
    if facts.finish == "coloured" and finding.fault not in rules.coloured_judged:
        return "normal", "finish.coloured_judged"
    least_mm = case.applied.limit("remark_below_mm")
    if least_mm is not None and finding.diameter_mm is not None and finding.diameter_mm < least_mm:
        return "remark", case.applied.source["remark_below_mm"]
    least_de00 = case.applied.limit("remark_below_de00")
    if least_de00 is None or finding.shift_de00 is None:
        return None
    # Twice the camera's own noise is where a shift stops being chance.
    floor = max(least_de00 * rules.widen[colour_from], 2 * rules.noise_de00)
    if finding.shift_de00 < floor:
        return "remark", case.applied.source["remark_below_de00"]
    return None


def _unsafe(case: _Case, rules: Rules) -> bool:
    if case.finding.fault == "crack":
        return True
    return bool(case.applied.values["safety"]) and case.finding.certainty >= rules.safety_from


def _judged(case: _Case, weight: Weight, rule: str, severity: Severity) -> JudgedFinding:
    return JudgedFinding(
        finding=case.finding,
        severity=severity,
        rule=rule,
        weight=weight,
        action=cast(Action, case.applied.values[severity]),
        action_rule=case.applied.source[severity],
        refire_most=case.applied.limit("refire_most"),
        refire_rule=case.applied.source["refire_most"],
    )


def _severity(case: _Case, count: float) -> tuple[Severity, str]:
    tried: list[str] = []
    measured = False
    for key, measure in _MARKED_BY:
        limit = case.applied.limit(key)
        if limit is None:
            continue
        tried.append(case.applied.source[key])
        value = measure(case.finding)
        if value is None:
            continue
        measured = True
        if value >= limit:
            return "marked", tried[-1]
    most = case.applied.limit("marked_count")
    if most is not None:
        tried.append(case.applied.source["marked_count"])
        measured = True
        if int(count + _ROUNDING) >= most:
            return "marked", tried[-1]
    if not tried:
        return "slight", case.applied.source["slight"]
    # A fault that could not be measured is not known to be slight.
    return ("slight" if measured else "marked"), tried[0]
