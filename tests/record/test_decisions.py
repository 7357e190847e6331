"""The maker's last word, live proposals, undo, and two windows at once."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from grader.errors import UsageError
from grader.record.bench import piece_view
from grader.record.decisions import (
    accept_proposed,
    add_missed,
    decide_grade,
    judge_finding,
    say_fate,
    say_note,
    say_price,
    say_reference,
    undo,
    undo_last,
)
from grader.record.errors import RecordError, UnknownPieceError
from grader.record.events import load_events
from grader.record.looking import look_at_waiting
from grader.record.queries import clear_firsts, piece_list, references, review_list
from grader.record.studio import Studio, init_studio
from tests.record.kit import ANALYSIS, BOOK, MORNING, a_batch, add, four_sides, three_pieces


@pytest.fixture
def filled(studio: Studio, tmp_path: Path) -> Studio:
    """A studio with three pieces: proposed first, refire, second."""
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    return studio


def places(studio: Studio, code: str) -> list[int]:
    """Places found on a piece, in the order of the bench."""
    return [each.stored.place_id for each in piece_view(studio, code).findings]


def state(studio: Studio, code: str) -> int:
    """What a window shows of a piece."""
    return piece_view(studio, code).state_id


def test_the_proposed_grade_is_accepted_any_other_overrules(filled: Studio) -> None:
    accepted = decide_grade(filled, "K01", "first", book=BOOK)
    assert (accepted.event.kind, accepted.grade) == ("accept", "first")
    other = decide_grade(filled, "K02", "first", reason="I like the flakes", book=BOOK)
    assert (other.event.kind, other.proposed, other.grade) == ("overrule", "refire", "first")
    rows = {row.code: row for row in piece_list(filled)}
    assert (rows["K02"].grade, rows["K02"].overruled, rows["K02"].reason) == (
        "first",
        True,
        "I like the flakes",
    )
    assert [row.code for row in review_list(filled)] == ["K03"]


def test_the_proposal_follows_each_judgement(filled: Studio) -> None:
    first, second = places(filled, "K02")
    assert judge_finding(filled, "K02", first, "drawing", book=BOOK).proposed == "refire"
    assert judge_finding(filled, "K02", second, "wrong", book=BOOK).proposed == "first"
    assert judge_finding(filled, "K02", second, "right", book=BOOK).proposed == "refire"
    assert undo(filled, "K02", book=BOOK).proposed == "first"
    assert undo(filled, "K02", book=BOOK).proposed == "refire"
    assert piece_view(filled, "K02").said.judged == {first: "drawing"}


def test_agreeing_makes_an_uncertain_finding_certain(studio: Studio, tmp_path: Path) -> None:
    doubtful = four_sides(front=["scorch 800 500 20 0.3"])
    add(studio, a_batch(tmp_path / "b", {"K05": doubtful}))
    (row,) = piece_list(studio)
    assert (row.proposed, row.unjudged, round(row.doubt, 6)) == ("first", 1, 0.7)
    (place,) = places(studio, "K05")
    assert judge_finding(studio, "K05", place, "right", book=BOOK).proposed == "second"
    (row,) = piece_list(studio)
    assert (row.unjudged, row.doubt) == (0, 0.0)


def test_a_missed_crack_drawn_by_hand_sinks_the_piece(filled: Studio) -> None:
    photo = piece_view(filled, "K01").photos[0]
    outline = [(900, 600), (920, 600), (920, 800), (900, 800)]
    outcome = add_missed(
        filled, "K01", photo_id=photo.id, fault="crack", outline_px=outline, book=BOOK
    )
    assert outcome.proposed == "second"
    (found,) = piece_view(filled, "K01").findings
    finding = found.stored.finding
    # 20 by 200 px at 10 px/mm.
    assert finding.area_mm2 == pytest.approx(40.0)
    assert finding.diameter_mm == pytest.approx((20**2 + 200**2) ** 0.5 / 10)
    assert (finding.bbox_px, found.stored.by_hand, found.weight) == (
        (900, 600, 20, 200),
        True,
        "counts",
    )
    assert undo(filled, "K01", book=BOOK).proposed == "first"
    assert piece_view(filled, "K01").findings == ()


@pytest.mark.parametrize(
    "outline",
    [
        [(1, 1), (2, 2)],
        [(5, 5), (5, 5), (5, 5)],
        [(-1, 0), (9, 0), (9, 9)],
        [(0, 0), (9, 9), (0, 1501)],
    ],
)
def test_a_place_that_is_none_is_refused(filled: Studio, outline: list[tuple[int, int]]) -> None:
    photo = piece_view(filled, "K01").photos[0]
    with pytest.raises(UsageError):
        add_missed(filled, "K01", photo_id=photo.id, fault="pit", outline_px=outline, book=BOOK)
    assert piece_view(filled, "K01").findings == ()


def test_only_its_own_findings_and_photos_can_be_judged(filled: Studio) -> None:
    (other,) = places(filled, "K03")
    with pytest.raises(RecordError, match="no finding"):
        judge_finding(filled, "K01", other, "wrong", book=BOOK)
    photo = piece_view(filled, "K03").photos[0]
    with pytest.raises(RecordError, match="does not belong"):
        add_missed(
            filled,
            "K01",
            photo_id=photo.id,
            fault="pit",
            outline_px=[(0, 0), (9, 0), (9, 9)],
            book=BOOK,
        )
    with pytest.raises(UnknownPieceError, match="Similar codes: K01, K02, K03"):
        decide_grade(filled, "K09", "first", book=BOOK)


def test_judgements_hold_when_more_photos_come(filled: Studio, tmp_path: Path) -> None:
    for place in places(filled, "K02"):
        judge_finding(filled, "K02", place, "drawing", book=BOOK)
    add(filled, a_batch(tmp_path / "c", {"K02": {"foot": ()}}))
    view = piece_view(filled, "K02")
    assert [each.judged for each in view.findings] == ["drawing", "drawing"]
    assert view.verdict is not None
    assert view.verdict.verdict.grade == "first"


def test_judgements_hold_when_the_analysis_sees_a_little_otherwise(
    filled: Studio, tmp_path: Path
) -> None:
    from dataclasses import replace

    from grader.batch import PieceEntry
    from grader.findings import PieceSurvey
    from grader.record.looking import Analysis
    from tests.record.kit import look_at_bytes

    def shifted(entry: PieceEntry, session: object) -> PieceSurvey:
        survey = look_at_bytes(entry)
        moved = []
        for each in survey.findings:
            x, y, width, height = each.bbox_px
            moved.append(replace(each, bbox_px=(x + 2, y - 1, width, height)))
        return replace(survey, findings=tuple(moved))

    before = places(filled, "K02")
    judge_finding(filled, "K02", before[0], "wrong", book=BOOK)
    photo = piece_view(filled, "K03").photos[0]
    add_missed(
        filled,
        "K03",
        photo_id=photo.id,
        fault="pit",
        outline_px=[(700, 700), (712, 700), (712, 712), (700, 712)],
        book=BOOK,
    )
    look_at_waiting(filled, anew=True, analysis=Analysis("test 2", shifted), book=BOOK)
    view = piece_view(filled, "K02")
    assert places(filled, "K02") == before
    assert {each.stored.id for each in view.findings}.isdisjoint(before)
    assert {each.judged for each in view.findings} == {"wrong", ""}
    assert sum(each.stored.by_hand for each in piece_view(filled, "K03").findings) == 1


def test_fate_price_reference_and_notes(filled: Studio) -> None:
    say_price(filled, "K03", 14.5)
    say_reference(filled, "K01", True)
    say_note(filled, "K01", "the best newt so far")
    assert [row.code for row in references(filled, "newt")] == ["K01"]
    assert references(filled, "moth") == ()
    assert piece_view(filled, "K01").said.notes == ("the best newt so far",)
    say_fate(filled, "K03", "sold", price=12)
    assert [row.code for row in piece_list(filled, in_studio=True)] == ["K01", "K02"]
    (row,) = [row for row in piece_list(filled) if row.code == "K03"]
    assert (row.fate, row.price) == ("sold", 12.0)
    for bad in (-1.0, float("nan"), float("inf")):
        with pytest.raises(UsageError, match="no price"):
            say_price(filled, "K03", bad)


def test_clear_pieces_pass_in_bulk(filled: Studio) -> None:
    clear = clear_firsts(filled)
    assert [row.code for row in clear] == ["K01"]
    outcomes = accept_proposed(filled, {row.code: row.state_id for row in clear}, book=BOOK)
    assert outcomes["K01"].event.kind == "accept"
    assert clear_firsts(filled) == ()


def test_undo_goes_back_step_by_step_and_can_be_undone(filled: Studio) -> None:
    decide_grade(filled, "K01", "second", reason="a doubt", book=BOOK)
    decide_grade(filled, "K01", "first", book=BOOK)
    assert undo(filled, "K01", book=BOOK).grade == "second"
    back = undo(filled, "K01", book=BOOK)
    assert back.grade == "first"  # as proposed: nothing is decided any more
    assert piece_view(filled, "K01").said.grade is None
    assert undo(filled, "K01", event_id=back.event.id, book=BOOK).grade == "second"
    with pytest.raises(RecordError, match="not in force"):
        undo(filled, "K01", event_id=back.event.id, book=BOOK)


def test_undo_of_the_last_word_anywhere(filled: Studio) -> None:
    decide_grade(filled, "K01", "first", window="laptop", book=BOOK)
    decide_grade(filled, "K03", "second", window="phone", book=BOOK)
    assert undo_last(filled, window="laptop")[0] == "K01"
    assert undo_last(filled)[0] == "K03"
    with pytest.raises(RecordError, match="nothing to take back"):
        undo_last(filled)
    with pytest.raises(RecordError, match="nothing to take back"):
        undo(filled, "K02", book=BOOK)


# --- two windows ------------------------------------------------------------------------------


def test_the_later_window_sees_the_earlier_and_nothing_is_lost(filled: Studio) -> None:
    seen = state(filled, "K02")
    earlier = decide_grade(filled, "K02", "second", seen=seen, window="laptop", book=BOOK)
    later = decide_grade(
        filled, "K02", "first", reason="fine by me", seen=seen, window="phone", book=BOOK
    )
    assert not earlier.event.held
    assert later.event.held
    assert [each.id for each in later.conflicts] == [earlier.event.id]
    assert later.conflicts[0].window == "laptop"
    assert later.grade == "second"
    with filled.reading() as db:
        written = [each for each in load_events(db, 2) if each.subject == "grade"]
    assert [(each.value, each.held) for each in written] == [("second", False), ("first", True)]
    insisted = decide_grade(filled, "K02", "first", seen=later.state_id, window="phone", book=BOOK)
    assert (insisted.grade, insisted.event.held) == ("first", False)


def test_the_same_word_twice_is_no_conflict(filled: Studio) -> None:
    seen = state(filled, "K02")
    decide_grade(filled, "K02", "refire", seen=seen, window="laptop", book=BOOK)
    later = decide_grade(filled, "K02", "refire", seen=seen, window="phone", book=BOOK)
    assert not later.event.held
    assert len(later.since) == 1


def test_words_on_different_findings_do_not_clash(filled: Studio) -> None:
    first, second = places(filled, "K02")
    seen = state(filled, "K02")
    judge_finding(filled, "K02", first, "wrong", seen=seen, window="laptop", book=BOOK)
    later = judge_finding(filled, "K02", second, "wrong", seen=seen, window="phone", book=BOOK)
    assert not later.event.held
    assert later.proposed == "first"
    assert any(each.window == "laptop" for each in later.since)
    again = judge_finding(filled, "K02", first, "right", seen=seen, window="phone", book=BOOK)
    assert again.event.held


def test_accepting_what_is_no_longer_proposed_is_held(filled: Studio) -> None:
    seen = state(filled, "K01")
    photo = piece_view(filled, "K01").photos[0]
    add_missed(
        filled,
        "K01",
        photo_id=photo.id,
        fault="crack",
        outline_px=[(900, 600), (905, 600), (905, 800)],
        window="laptop",
        book=BOOK,
    )
    later = accept_proposed(filled, {"K01": seen}, window="phone", book=BOOK)["K01"]
    assert (later.event.value, later.event.held) == ("first", True)
    assert [each.kind for each in later.conflicts] == ["proposed"]
    assert later.grade == "second"


def test_undo_takes_back_what_was_shown_not_what_came_later(filled: Studio) -> None:
    decide_grade(filled, "K03", "first", window="laptop", book=BOOK)
    seen = state(filled, "K03")
    decide_grade(filled, "K03", "second", window="phone", book=BOOK)
    held = undo(filled, "K03", seen=seen, window="laptop", book=BOOK)
    assert held.event.held
    assert held.grade == "second"
    price = say_price(filled, "K03", 10, seen=seen, window="laptop")
    assert not price.event.held


def test_deciding_after_the_other_window_took_it_back_is_held(filled: Studio) -> None:
    decide_grade(filled, "K03", "first", window="laptop", book=BOOK)
    seen = state(filled, "K03")
    undo(filled, "K03", window="laptop", book=BOOK)
    assert decide_grade(filled, "K03", "first", seen=seen, window="phone", book=BOOK).event.held


def test_a_state_from_the_future_is_refused(filled: Studio) -> None:
    with pytest.raises(UsageError, match="not known"):
        decide_grade(filled, "K01", "first", seen=10_000, book=BOOK)


def test_many_windows_at_once_lose_nothing(tmp_path: Path) -> None:
    studio = init_studio(tmp_path / "studio")
    add(studio, a_batch(tmp_path / "b", three_pieces(), taken=MORNING + timedelta(days=1)))
    start = state(studio, "K01")
    said = ("first", "second", "refire", "ungraded")

    def window(number: int) -> list[tuple[int, bool]]:
        written = []
        seen = start
        for count in range(12):
            grade = said[(number + count) % len(said)]
            outcome = decide_grade(
                studio,
                "K01",
                grade,  # type: ignore[arg-type]
                seen=seen,
                window=f"window {number}",
                book=BOOK,
            )
            # Every second time the window does not look at what came back.
            seen = outcome.state_id if count % 2 else start
            written.append((outcome.event.id, outcome.event.held))
        return written

    with ThreadPoolExecutor(4) as pool:
        results = list(pool.map(window, range(4)))
    with studio.reading() as db:
        kept = {each.id: each for each in load_events(db, 1) if each.subject == "grade"}
    ours = [each for result in results for each in result]
    assert {number: kept[number].held for number, _ in ours} == dict(ours)
    assert len(kept) == 48
    # A word in force had seen every contrary one in force before it.
    in_force = [each for each in sorted(kept.values(), key=lambda e: e.id) if not each.held]
    for earlier, later in pairwise(in_force):
        assert later.value == earlier.value or later.seen_id >= earlier.id
    assert piece_list(studio)[0].decided == in_force[-1].value


def test_waiting_pieces_take_judgements_later(filled: Studio, tmp_path: Path) -> None:
    from grader.record.add import take_in

    first, second = places(filled, "K02")
    take_in(filled, a_batch(tmp_path / "c", {"K02": {"foot": ()}}), book=BOOK)
    judge_finding(filled, "K02", first, "wrong", book=BOOK)
    judge_finding(filled, "K02", second, "wrong", book=BOOK)
    (row,) = [row for row in piece_list(filled) if row.code == "K02"]
    assert (row.pending, row.proposed) == (True, "refire")
    look_at_waiting(filled, analysis=ANALYSIS, book=BOOK)
    (row,) = [row for row in piece_list(filled) if row.code == "K02"]
    assert (row.pending, row.proposed) == (False, "first")
