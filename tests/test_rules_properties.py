"""What must hold for any findings at all, with the shipped rules."""

from __future__ import annotations

import dataclasses
from typing import get_args

from hypothesis import given
from hypothesis import strategies as st

from grader.facts import PieceFacts
from grader.findings import FAULT_NAMES, Finding, Zone
from grader.rules import grade_piece, load_rules
from grader.verdict import Verdict
from tests.pieces import SIDES, a_finding, a_survey, blocked, four_sides, some_facts

RULES = load_rules()
_HARDNESS = {"first": 0, "refire": 1, "second": 2}


def hardness(verdict: Verdict) -> tuple[int, bool, bool]:
    return (
        _HARDNESS[verdict.grade],
        verdict.decor_only or verdict.discard,
        verdict.discard,
    )


@st.composite
def any_finding(draw: st.DrawFn) -> Finding:
    finding = a_finding(
        draw(st.sampled_from(FAULT_NAMES)),
        draw(st.sampled_from((*SIDES, "inside", "foot", "view 2"))),
        zone=draw(st.sampled_from(get_args(Zone))),
        mm=draw(st.none() | st.floats(0.1, 100)),
        de00=draw(st.none() | st.floats(0, 40)),
        share=draw(st.floats(0, 1)),
        certainty=draw(st.floats(0, 1)),
    )
    return finding


any_findings = st.lists(any_finding(), max_size=8)
any_facts = st.builds(
    some_facts,
    use=st.sampled_from([None, "food", "plant", "decor"]),
    finish=st.sampled_from([None, "raw", "glazed", "coloured"]),
    form=st.sampled_from(["", "plate", "vase", "planter"]),
)


@given(any_facts, any_findings, any_finding(), st.integers(0, 3))
def test_one_more_finding_never_improves_a_grade(
    facts: PieceFacts, findings: list[Finding], more: Finding, refires: int
) -> None:
    before = grade_piece(facts, a_survey(*findings), RULES, refires_done=refires)
    after = grade_piece(facts, a_survey(*findings, more), RULES, refires_done=refires)
    assert hardness(after) >= hardness(before)


@given(any_facts, any_finding(), any_findings, st.floats(1, 5))
def test_a_worse_place_never_improves_a_grade(
    facts: PieceFacts, finding: Finding, others: list[Finding], factor: float
) -> None:
    worse = dataclasses.replace(
        finding,
        diameter_mm=None if finding.diameter_mm is None else finding.diameter_mm * factor,
        area_mm2=None if finding.area_mm2 is None else finding.area_mm2 * factor**2,
        height_share=min(1.0, finding.height_share * factor),
        shift_de00=None if finding.shift_de00 is None else finding.shift_de00 * factor,
        certainty=min(1.0, finding.certainty * factor),
    )
    before = grade_piece(facts, a_survey(finding, *others), RULES)
    after = grade_piece(facts, a_survey(worse, *others), RULES)
    assert hardness(after) >= hardness(before)


@given(any_facts, any_findings, st.integers(2, 9))
def test_there_is_never_a_third_refire(
    facts: PieceFacts, findings: list[Finding], refires: int
) -> None:
    generous = dataclasses.replace(RULES, most_refires=9)
    verdict = grade_piece(facts, a_survey(*findings), generous, refires_done=refires)
    assert verdict.grade != "refire"


@given(any_facts, any_findings, st.floats(0, 1))
def test_a_crack_is_never_first_or_refire(
    facts: PieceFacts, findings: list[Finding], certainty: float
) -> None:
    crack = a_finding("crack", certainty=certainty)
    assert grade_piece(facts, a_survey(*findings, crack), RULES).grade == "second"


@given(any_facts, any_findings, st.sampled_from(SIDES))
def test_a_blocked_side_never_yields_first_or_refire(
    facts: PieceFacts, findings: list[Finding], view: str
) -> None:
    photos = tuple(blocked(view) if photo.view == view else photo for photo in four_sides())
    grade = grade_piece(facts, a_survey(*findings, photos=photos), RULES).grade
    assert grade in ("second", "ungraded")


@given(any_facts, any_findings, st.randoms(use_true_random=False))
def test_the_order_of_findings_does_not_matter(
    facts: PieceFacts, findings: list[Finding], random: object
) -> None:
    shuffled = list(findings)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    one = grade_piece(facts, a_survey(*findings), RULES)
    other = grade_piece(facts, a_survey(*shuffled), RULES)
    assert (one.grade, one.discard, one.price) == (other.grade, other.discard, other.price)


@given(any_facts, any_findings)
def test_every_verdict_names_its_reasons_and_keeps_every_finding(
    facts: PieceFacts, findings: list[Finding]
) -> None:
    verdict = grade_piece(facts, a_survey(*findings), RULES)
    assert verdict.reasons
    assert all(reason.rule and reason.text.strip() for reason in verdict.reasons)
    assert [weighed.finding for weighed in verdict.weighed] == findings
    if verdict.grade == "refire":
        assert verdict.remedies
