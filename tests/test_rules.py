"""The shipped rules against the custom of the trade (common practice, no source, unless named)."""

from __future__ import annotations

import pytest

from grader.errors import UsageError
from grader.facts import PieceFacts
from grader.findings import Finding, Zone
from grader.rules import grade_piece, load_rules
from grader.rules.weigh import count_places, use_of
from grader.verdict import Verdict
from tests.pieces import SIDES, a_finding, a_photo, a_survey, blocked, four_sides, some_facts

RULES = load_rules()


def grade(*findings: Finding, refires_done: int = 0, **facts: object) -> Verdict:
    return grade_piece(some_facts(**facts), a_survey(*findings), RULES, refires_done=refires_done)


def rules_of(verdict: Verdict) -> list[str]:
    return [reason.rule for reason in verdict.reasons]


def test_a_piece_without_findings_is_first_and_says_what_was_not_seen() -> None:
    verdict = grade()
    assert verdict.grade == "first"
    assert rules_of(verdict) == ["views.required", "views.advised"]
    assert "foot" in verdict.reasons[1].text
    assert verdict.price is None


# Common practice, no source: a matured body does not lighten, so a scorch is no refire.
@pytest.mark.parametrize("de00", [3.0, 12.0])
def test_a_scorch_is_a_second_whether_slight_or_marked(de00: float) -> None:
    verdict = grade(a_finding("scorch", mm=20, de00=de00, zone="clay"), finish="raw")
    assert verdict.grade == "second"
    assert not verdict.discard
    assert verdict.weighed[0].severity == ("slight" if de00 < 6 else "marked")


# Paravina et al. 2015: half of observers object to a difference of 1.8 dE00; so fewer do below.
@pytest.mark.parametrize("fault", ["scorch", "one_sided_browning", "pool_tint", "streak"])
def test_a_colour_shift_that_few_object_to_is_a_remark(fault: str) -> None:
    verdict = grade(a_finding(fault, mm=20, de00=1.7, zone="clay"))  # type: ignore[arg-type]
    assert verdict.grade == "first"
    assert verdict.weighed[0].weight == "remark"


def test_browning_is_a_second_until_the_studio_likes_it() -> None:
    side = a_finding("one_sided_browning", mm=80, share=0.8, zone="clay")
    assert grade(side, finish="raw").grade == "second"


def test_few_flakes_are_touched_up_and_many_are_not() -> None:
    few = grade(*(a_finding("flake", view) for view in SIDES))
    many = grade(*(a_finding("flake", at=(700 + 30 * i, 500)) for i in range(12)))
    assert few.grade == "refire"
    assert few.remedies
    assert many.grade == "second"
    assert "faults.flake.refire_most" in rules_of(many)


def test_one_slight_veil_stays_first_and_a_marked_one_does_not() -> None:
    assert grade(a_finding("pool_tint", mm=30, de00=4, zone="clay")).grade == "first"
    assert grade(a_finding("pool_tint", mm=30, de00=9, zone="clay")).grade == "second"
    assert grade(a_finding("pool_tint", mm=30, de00=9, zone="foot")).grade == "first"


def test_one_or_two_small_pits_outside_are_tolerable() -> None:
    assert grade(a_finding("pit", mm=0.6), a_finding("pit", "back", mm=0.6)).grade == "first"
    assert grade(*(a_finding("pit", mm=0.6, at=(700 + 50 * i, 400)) for i in range(3))).grade == (
        "second"
    )
    # From memory: trade porcelain grades spots of about 1 mm2 as a lesser quality.
    assert grade(a_finding("pit", mm=1.2)).grade == "second"


@pytest.mark.parametrize("fault", ["pit", "crawl", "flake"])
def test_glaze_faults_inside_a_food_vessel_are_not_for_food(fault: str) -> None:
    inside = a_finding(fault, mm=0.8, zone="inside")  # type: ignore[arg-type]
    verdict = grade(inside)
    assert verdict.grade == "second"
    assert verdict.discard or verdict.decor_only
    assert RULES.cautions["not_food"] in verdict.cautions


def test_a_crawl_gets_one_try() -> None:
    bare = a_finding("crawl", mm=8, zone="clay")
    once = grade(bare)
    assert once.grade == "refire"
    assert any("respirator" in caution for caution in once.cautions)
    again = grade(bare, refires_done=1)
    assert again.grade == "second"
    assert "refire.most" in rules_of(again)


@pytest.mark.parametrize(
    ("use", "zone", "mm", "discard"),
    [
        ("food", "clay", 5.0, True),
        ("plant", "clay", 5.0, True),
        ("plant", "foot", 5.0, False),
        ("plant", "foot", 60.0, True),
        ("plant", "foot", None, True),
        ("decor", "clay", 5.0, False),
    ],
)
def test_cracked_ware_is_discarded_but_for_ornaments_and_a_planters_foot(
    use: str, zone: Zone, mm: float | None, discard: bool
) -> None:
    verdict = grade(a_finding("crack", zone=zone, mm=mm), use=use)
    assert verdict.grade == "second"
    assert verdict.discard is discard
    assert verdict.decor_only is not discard


def test_a_refire_is_only_for_otherwise_sound_pieces() -> None:
    verdict = grade(a_finding("flake"), a_finding("scorch", mm=20))
    assert verdict.grade == "second"
    assert verdict.remedies == ()
    assert any("otherwise sound" in reason.text for reason in verdict.reasons)


def test_wide_flat_ware_is_warned_of_in_a_refire() -> None:
    verdict = grade(a_finding("flake"), form="serving plate")
    assert RULES.cautions["flat"] in verdict.cautions
    assert RULES.cautions["flat"] not in grade(a_finding("flake")).cautions


def test_seconds_cost_between_a_quarter_and_three_quarters() -> None:
    # Common practice, no source: 25 to 75 % off, commonly half.
    marked = grade(a_finding("scorch", mm=20, de00=9))
    slight = grade(a_finding("scorch", mm=20, de00=3))
    several = grade(a_finding("scorch", mm=20, de00=9), a_finding("pit", mm=2))
    assert marked.price == 15
    assert slight.price is not None and several.price is not None
    assert 0.25 * 30 <= several.price < 15 < slight.price <= 0.75 * 30
    assert grade(a_finding("crack")).price is None
    assert grade(a_finding("scorch", mm=20), price=None).price is None


def test_a_coloured_glaze_may_flow_but_not_crawl() -> None:
    flow = grade(a_finding("pool_tint", mm=30), a_finding("streak", mm=30), finish="coloured")
    assert flow.grade == "first"
    assert {weighed.weight for weighed in flow.weighed} == {"normal"}
    assert "finish.coloured_judged" in rules_of(flow)
    assert grade(a_finding("crawl", mm=8), finish="coloured").grade == "refire"


@pytest.mark.parametrize("view", SIDES)
def test_a_side_not_seen_is_never_first_or_refire(view: str) -> None:
    others = tuple(photo for photo in four_sides() if photo.view != view)
    for photos in (others, (*others, blocked(view))):
        for findings in ((), (a_finding("flake", "right" if view != "right" else "left"),)):
            verdict = grade_piece(some_facts(), a_survey(*findings, photos=photos), RULES)
            assert verdict.grade == "ungraded"
            assert view in verdict.reasons[0].text


def test_faults_already_seen_decide_without_the_missing_side() -> None:
    survey = a_survey(a_finding("scorch", mm=20), photos=(a_photo("front"),))
    assert grade_piece(some_facts(), survey, RULES).grade == "second"


def test_one_good_photo_of_a_side_is_enough() -> None:
    photos = (*four_sides(), blocked("front"), blocked("inside"))
    verdict = grade_piece(some_facts(), a_survey(photos=photos), RULES)
    assert verdict.grade == "first"
    assert "inside" in verdict.reasons[-1].text


def test_views_without_a_name_fill_in_for_sides() -> None:
    four = tuple(a_photo(f"view {number}") for number in range(1, 5))
    assert grade_piece(some_facts(), a_survey(photos=four), RULES).grade == "first"
    assert grade_piece(some_facts(), a_survey(photos=four[:3]), RULES).grade == "ungraded"
    no_photos = grade_piece(some_facts(), a_survey(photos=()), RULES)
    assert no_photos.grade == "ungraded"


def test_photos_too_coarse_for_pits_do_not_pass_glazed_ware() -> None:
    # Below 3 px across a speck it is lost: 2.5 px/mm shows a marked pit of 1 mm as 2.5 px.
    coarse = four_sides(px_per_mm=2.5, smallest_judged_mm=5 / 2.5)
    assert grade_piece(some_facts(), a_survey(photos=coarse), RULES).grade == "ungraded"
    raw = some_facts(finish="raw", decorated=False)
    assert grade_piece(raw, a_survey(photos=coarse), RULES).grade == "first"
    middling = four_sides(px_per_mm=4.5, smallest_judged_mm=5 / 4.5)
    verdict = grade_piece(some_facts(), a_survey(photos=middling), RULES)
    assert verdict.grade == "first"
    assert "photos.speck_mm" in rules_of(verdict)


def test_no_word_on_specks_below_those_that_are_found() -> None:
    """A photo of 7.4 px/mm can carry a verdict, but finds no speck of half a millimetre."""
    fine = four_sides(px_per_mm=7.4, smallest_judged_mm=5 / 7.4)
    verdict = grade_piece(some_facts(), a_survey(photos=fine), RULES)
    assert verdict.grade == "first"
    (told,) = (each for each in verdict.reasons if each.rule == "photos.speck_mm")
    assert "specks below 0.7 mm" in told.text


def test_uncertain_places_do_not_sink_a_piece_alone_but_together_they_do() -> None:
    one = grade(a_finding("flake", certainty=0.4))
    assert one.grade == "first"
    assert one.weighed[0].weight == "look"
    assert "certainty.counts_from" in rules_of(one)
    three = [a_finding("flake", certainty=0.4, at=(700 + 50 * i, 400)) for i in range(3)]
    assert grade(*three).grade == "refire"


def test_a_place_that_becomes_sure_takes_no_say_from_the_doubtful_ones() -> None:
    """Three doubts make one certain place; so do two beside a place that is certain by itself."""
    doubts = [
        a_finding("pit", mm=mm, certainty=certainty, at=(700 + 50 * i, 400))
        for i, (mm, certainty) in enumerate([(1.0, 0.25), (0.9, 0.375)])
    ]
    for certainty in (0.375, 0.49, 0.5, 0.75, 1.0):
        slight = a_finding("pit", mm=None, certainty=certainty)
        assert grade(slight, *doubts).grade == "second"
    # Alone beside it, one does not reach that.
    assert grade(a_finding("pit", mm=None, certainty=0.75), doubts[0]).grade == "first"


def test_an_uncertain_crack_still_counts_for_safety() -> None:
    verdict = grade(a_finding("crack", certainty=0.05))
    assert verdict.grade == "second"
    assert "uncertain" in verdict.reasons[0].text


def test_uncorrected_colours_need_a_larger_shift() -> None:
    veil = a_finding("scorch", mm=20, de00=2.0)
    assert grade(veil).grade == "second"
    no_chart = a_survey(veil, photos=four_sides(colour_from=None, chart_de00=None))
    assert grade_piece(some_facts(), no_chart, RULES).grade == "first"


def test_places_are_counted_once_though_two_photos_show_them() -> None:
    def count(*views: str, zone: Zone = "painted") -> float:
        found = [a_finding("pit", view, zone=zone) for view in views]
        return count_places(found, [1.0] * len(found))

    assert count("front", "right") == 1  # may be one place on the edge between them
    assert count("front", "back") == 2  # half a turn apart: cannot be the same
    assert count("front", "front", "back", "right") == 3
    assert count("front", "back", zone="inside") == 1  # both look across the rim
    assert count("view 1", "view 2") == 1
    front_twice = [a_finding("pit"), a_finding("pit")]
    assert count_places(front_twice, [0.5, 0.25]) == 0.75


def test_use_is_told_from_the_form_where_nobody_says() -> None:
    assert use_of(PieceFacts("a", form="small planter"), RULES) == ("plant", True)
    assert use_of(PieceFacts("a", form="Mug"), RULES) == ("food", True)
    assert use_of(PieceFacts("a", form="planter", use="decor"), RULES) == ("decor", True)
    assert use_of(PieceFacts("a"), RULES) == ("food", False)
    verdict = grade_piece(PieceFacts("K01"), a_survey(a_finding("crack")), RULES)
    assert any("Nobody said" in caution for caution in verdict.cautions)


def test_a_negative_count_of_refires_is_refused() -> None:
    with pytest.raises(UsageError, match="below zero"):
        grade(refires_done=-1)
