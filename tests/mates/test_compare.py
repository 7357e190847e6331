"""Batch-mates: the odd one is named, and what all have is left alone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from grader.findings import FaultName, PieceSurvey
from grader.mates import Likeness, adjusted, certainties_of, compare_mates, held_together
from grader.mates.report import FindingKey
from tests.mates.made import a_flag, a_mark, a_piece, six, some_facts
from tests.pieces import a_finding

CODES = tuple(f"K{number}" for number in range(1, 13))
KEY: FindingKey = ("K1", "pit", "K1/front.jpg", (500, 400, 15, 15))


def _kinds(pieces: list[Likeness], **facts: object) -> dict[str, list[tuple[str, bool]]]:
    out: dict[str, list[tuple[str, bool]]] = {}
    for note in compare_mates(pieces, some_facts(*CODES, **facts)).notes:
        out.setdefault(note.piece, []).append((note.kind, note.sure))
    return out


def test_browner_than_its_five_sisters() -> None:
    (note,) = (
        each
        for each in compare_mates(six(browner=0.08), some_facts(*CODES)).notes
        if each.piece == "K1"
    )
    assert note.kind == "browner" and note.sure and note.sisters == 5
    assert note.text.startswith("Browner than its five sisters, by ")
    assert note.shift_de00 == pytest.approx(2.6, abs=0.8)


def test_paler_is_told_from_browner() -> None:
    assert ("paler", True) in _kinds(six(browner=-0.08))["K1"]


def test_a_lesser_difference_is_watched() -> None:
    kinds = _kinds(six(browner=0.035))
    assert kinds["K1"] == [("browner", False)]
    text = compare_mates(six(browner=0.035), some_facts(*CODES)).notes[0].text
    assert "watched" in text and "five sisters" in text


def test_two_kinds_of_sisters_make_none_the_odd_one() -> None:
    halves = [a_piece(f"K{number}", number, browner=0.08 * (number % 2)) for number in range(1, 7)]
    assert _kinds(halves) == {}


def test_one_of_two_browned_ones_is_browner_than_most() -> None:
    pieces = [a_piece(f"K{number}", number) for number in range(1, 11)]
    pieces[0] = a_piece("K1", 1, browner=0.08)
    pieces[1] = a_piece("K2", 2, browner=0.08)
    text = {note.piece: note.text for note in compare_mates(pieces, some_facts(*CODES)).notes}
    assert text["K1"].startswith("Browner than eight of its nine sisters")
    assert text["K2"].startswith("Browner than eight of its nine sisters")


@pytest.mark.parametrize("start", range(0, 200, 20))
def test_sisters_that_are_alike_are_left_alone(start: int) -> None:
    pieces = [a_piece(f"K{number}", start + number) for number in range(1, 9)]
    notes = compare_mates(pieces, some_facts(*CODES)).notes
    assert not [note for note in notes if note.sure]
    assert len(notes) <= 3


def test_three_sisters_say_nothing() -> None:
    assert _kinds(six(browner=0.2)[:4]) == {}


def test_a_browned_side_is_told_and_backs_its_flag() -> None:
    flag = a_flag(a_mark(), "one_sided_browning")
    pieces = six(one_sided=0.05, flags=(flag,))
    key: FindingKey = ("K1", "one_sided_browning", flag.photo, flag.bbox_px)
    report = compare_mates(pieces, some_facts(*CODES, finish="raw"), {key: 0.4})
    (note,) = (each for each in report.notes if each.piece == "K1")
    assert note.kind == "one_sided" and note.sure
    assert "front side" in note.text
    (change,) = report.adjustments
    assert change.certainty > 0.5


@pytest.mark.parametrize(("fault", "backed"), [("one_sided_browning", True), ("scorch", False)])
def test_browner_clay_backs_a_browned_side(fault: FaultName, backed: bool) -> None:
    flag = a_flag(a_mark(), fault)
    pieces = six(browner=0.08, flags=(flag,))
    key: FindingKey = ("K1", fault, flag.photo, flag.bbox_px)
    changes = compare_mates(pieces, some_facts(*CODES, finish="raw"), {key: 0.4}).adjustments
    assert [change.certainty > 0.5 for change in changes] == [True] * backed


def test_a_thin_coat_of_paint_is_told() -> None:
    assert ("paint", True) in _kinds(six(thinner=0.3))["K1"]


def test_a_painting_elsewhere_is_told() -> None:
    assert "painted_place" in dict(_kinds(six(band=(0.6, 0.9)))["K1"])


def test_a_larger_painting_is_told() -> None:
    assert "painted_share" in dict(_kinds(six(band=(0.1, 0.9)))["K1"])


def test_other_designs_forms_and_clays_are_no_sisters() -> None:
    pieces = six(browner=0.1)
    facts = some_facts(*CODES)
    facts["K1"] = some_facts("K1", design="moth mug")["K1"]
    assert compare_mates(pieces, facts).notes == ()
    facts["K1"] = some_facts("K1", form="jug")["K1"]
    assert compare_mates(pieces, facts).notes == ()
    assert compare_mates(pieces, {}).notes == ()


def test_without_design_clay_and_finish_make_sisters() -> None:
    assert _kinds(six(browner=0.08), design="")["K1"] == [("browner", False)]
    assert _kinds(six(browner=0.08), design="", clay="") == {}


def test_a_coloured_glaze_has_another_shade_and_no_browning() -> None:
    kinds = _kinds(six(browner=0.1), finish="coloured", design="reed vase")
    assert kinds["K1"] == [("shade", True)]


def test_photos_of_other_colour_states_are_not_compared() -> None:

    pieces = six(browner=0.08)
    pieces[0] = replace(pieces[0], colour_from=None)
    assert "browner" not in dict(_kinds(pieces).get("K1", []))


def _with_mark(others: int, across: float = 0.5, down: float = 0.4) -> list[Likeness]:
    mark = a_mark(across, down)
    pieces = [a_piece("K1", 1, marks=(mark,), flags=(a_flag(mark),))]
    moved = a_mark(0.53, 0.42, 1.8, (0.33, 0.31, 0.28))
    pieces += [
        a_piece(f"K{number}", number, marks=(moved,) if number < 2 + others else ())
        for number in range(2, 7)
    ]
    return pieces


def test_a_spot_on_all_six_is_the_drawing() -> None:
    (change,) = compare_mates(_with_mark(5), some_facts(*CODES), {KEY: 0.9}).adjustments
    assert change.certainty == 0.0
    assert change.why == "This spot is on all 6: it is the drawing."


def test_a_spot_on_most_is_less_certain() -> None:
    (change,) = compare_mates(_with_mark(4), some_facts(*CODES), {KEY: 0.9}).adjustments
    assert 0.0 < change.certainty < 0.5
    assert "4 of its 5 sisters" in change.why


@pytest.mark.parametrize("others", [0, 1, 3])
def test_a_spot_on_few_stays(others: int) -> None:
    assert compare_mates(_with_mark(others), some_facts(*CODES), {KEY: 0.9}).adjustments == ()


def test_a_spot_elsewhere_stays() -> None:
    pieces = _with_mark(5, across=0.2, down=0.8)
    assert compare_mates(pieces, some_facts(*CODES), {KEY: 0.9}).adjustments == ()


def test_on_speckled_clay_a_speck_nearby_says_nothing() -> None:
    mark = a_mark()
    pieces = [a_piece("K1", 1, marks=(mark,), flags=(a_flag(mark),), specks=120)]
    pieces += [a_piece(f"K{number}", number, specks=120) for number in range(2, 7)]
    assert compare_mates(pieces, some_facts(*CODES), {KEY: 0.9}).adjustments == ()


@pytest.mark.parametrize("fault", ["crack", "crawl", "scorch", "pool_tint", "streak"])
def test_no_other_fault_is_ever_lowered(fault: str) -> None:
    mark = a_mark()
    flag = a_flag(mark, fault)  # type: ignore[arg-type]
    pieces = [a_piece(f"K{number}", number, marks=(mark,), flags=(flag,)) for number in range(1, 7)]
    key: FindingKey = ("K1", flag.fault, flag.photo, flag.bbox_px)
    report = compare_mates(pieces, some_facts(*CODES), {key: 0.9})
    assert all(change.certainty >= 0.9 for change in report.adjustments)
    assert any(note.kind == "shared" and not note.sure for note in report.notes)


def test_a_reference_piece_stands_in_for_sisters() -> None:
    mark = a_mark()
    piece = a_piece("K1", 1, marks=(mark,), flags=(a_flag(mark),), browner=0.15)
    kept = a_piece("R1", 2, marks=(a_mark(0.52, 0.41),))
    facts = some_facts("K1", "R1")
    report = compare_mates([piece], facts, {KEY: 0.9}, references=[kept])
    (change,) = report.adjustments
    assert change.certainty == 0.0 and "R1" in change.why
    (note,) = report.notes
    assert note.kind == "browner" and not note.sure and "watched" in note.text
    assert compare_mates([piece], facts, {KEY: 0.9}).adjustments == ()


def test_findings_take_their_new_certainty() -> None:
    first = a_finding("pit", piece="K1", at=(500, 400), mm=1.5, certainty=0.9)
    other = a_finding("pit", piece="K1", at=(700, 400), mm=1.5, certainty=0.9)
    survey = PieceSurvey("K1", (), (first, other))
    assert set(certainties_of([survey])) >= {KEY}
    gone = compare_mates(_with_mark(5), some_facts(*CODES), certainties_of([survey]))
    assert adjusted(survey, gone.adjustments).findings == (other,)
    less = compare_mates(_with_mark(4), some_facts(*CODES), certainties_of([survey]))
    changed = adjusted(survey, less.adjustments).findings[0]
    assert changed.certainty == pytest.approx(0.27)
    assert changed.why.endswith("it may be the drawing.")
    assert adjusted(survey, ()) is survey


def test_surveys_are_held_together() -> None:
    spot = a_finding("pit", piece="K1", at=(500, 400), mm=1.5, certainty=0.9)
    looks = _with_mark(5)
    looks[2] = a_piece("K3", 3, browner=0.08, marks=looks[2].sides[0].marks)
    surveys = [
        PieceSurvey(each.piece, (), (spot,) if each.piece == "K1" else (), likeness=each)
        for each in looks
    ]
    alone = PieceSurvey("K9", (), (spot,))
    held = held_together([*surveys, alone], some_facts(*CODES))
    assert [each.piece for each in held] == ["K1", "K2", "K3", "K4", "K5", "K6", "K9"]
    assert held[0].findings == () and held[-1] == alone
    assert {each.piece: note.kind for each in held for note in each.notes} == {"K3": "browner"}
