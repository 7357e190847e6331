"""What a batch teaches, and what it is too small to teach."""

from __future__ import annotations

from typing import Any

from grader.findings import FaultName
from grader.lessons import learn
from grader.rules import grade_piece, load_rules
from grader.verdict import GradedPiece
from tests.pieces import a_finding, a_survey, some_facts

RULES = load_rules()


def pieces(count: int, *faults: FaultName, **facts: Any) -> list[GradedPiece]:
    survey = a_survey(*(a_finding(fault, mm=20.0) for fault in faults))
    known = some_facts(**facts)
    return [GradedPiece(known, survey, grade_piece(known, survey, RULES))] * count


def test_a_fault_that_keeps_to_a_shelf_is_to_be_watched_not_a_cause() -> None:
    batch = [
        *pieces(5, "flake", shelf="top", firing="f1"),
        *pieces(5, shelf="top", firing="f1"),
        *pieces(10, shelf="bottom", firing="f1"),
    ]
    (pattern,) = learn(batch).patterns
    assert (pattern.factor, pattern.level, pattern.standing) == ("shelf", "top", "watch")
    assert (pattern.hits, pattern.total, pattern.other_hits, pattern.other_total) == (5, 10, 0, 10)
    assert round(pattern.mid_p, 3) == 0.024
    assert 0.25 < pattern.likely_share < 0.5


def test_the_same_in_two_firings_is_a_likely_cause() -> None:
    batch = [
        piece
        for firing in ("f1", "f2")
        for piece in (
            *pieces(6, "scorch", shelf="top", firing=firing, finish="raw", decorated=False),
            *pieces(2, shelf="top", firing=firing, finish="raw", decorated=False),
            *pieces(9, shelf="low", firing=firing, finish="raw", decorated=False),
        )
    ]
    (pattern,) = learn(batch).patterns
    assert (pattern.standing, pattern.firings) == ("likely cause", 2)
    one_firing = learn(batch[:17]).patterns
    assert [one.standing for one in one_firing] == ["watch"]


def test_nothing_stands_out_where_the_fault_is_spread_evenly() -> None:
    batch = [
        *pieces(3, "flake", shelf="top"),
        *pieces(7, shelf="top"),
        *pieces(3, "flake", shelf="low"),
        *pieces(7, shelf="low"),
    ]
    lessons = learn(batch)
    assert lessons.patterns == ()
    assert lessons.compared > 0
    assert (lessons.rates[0].hits, lessons.rates[0].total) == (6, 20)


def test_only_pieces_that_can_have_a_fault_are_counted() -> None:
    batch = [
        *pieces(2, "flake", decorated=True),
        *pieces(2, decorated=True),
        *pieces(6, decorated=False, finish="raw"),
    ]
    (rate,) = learn(batch).rates
    assert (rate.hits, rate.total) == (2, 4)
    assert rate.low < 0.5 < rate.high


def test_more_comparisons_make_each_weaker() -> None:
    def batch(**more: Any) -> list[GradedPiece]:
        return [
            *pieces(5, "flake", shelf="top", **more),
            *pieces(5, shelf="top", **more),
            *pieces(10, shelf="low", **dict.fromkeys(more, "other")),
        ]

    alone = learn(batch()).patterns[0]
    among = learn(batch(glaze="clear", place="door")).patterns[0]
    assert among.mid_p == alone.mid_p
    assert among.corrected_p > alone.corrected_p


def test_a_load_of_thirty_cannot_tell_thirty_from_ten_percent() -> None:
    assert learn(pieces(30)).too_small
    assert not learn(pieces(200)).too_small


def test_an_empty_batch_teaches_nothing() -> None:
    lessons = learn([])
    assert (lessons.rates, lessons.patterns, lessons.pieces) == ((), (), 0)
    assert lessons.too_small
