"""What the page sends is carried out once, in order, and can be taken back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from grader.errors import UsageError
from grader.record.bench import piece_view
from grader.record.decisions import decide_grade, judge_finding
from grader.record.queries import piece_list
from grader.record.studio import Studio, init_studio
from grader.review.said import Sitting, carry_out, pass_sheet, take_back, zone_of
from tests.record.kit import a_batch, add, three_pieces


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    made = init_studio(tmp_path / "studio", name="Ormsedge Pottery")
    add(made, a_batch(tmp_path / "batch", three_pieces()))
    return made


@pytest.fixture
def sitting() -> Sitting:
    return Sitting("browser test")


def said(*acts: dict[str, Any], load: str = "one") -> dict[str, Any]:
    """What the page sends: all its acts, numbered from 1."""
    return {
        "load": load,
        "acts": [{"number": number, **act} for number, act in enumerate(acts, start=1)],
    }


def state(studio: Studio, code: str) -> int:
    return piece_view(studio, code).state_id


def grade(code: str, word: str, seen: int) -> dict[str, Any]:
    return {"do": "grade", "code": code, "grade": word, "seen": seen}


def test_acts_sent_again_are_carried_out_once(studio: Studio, sitting: Sitting) -> None:
    first = grade("K01", "second", state(studio, "K01"))
    carry_out(studio, sitting, said(first))
    again = said(first, grade("K03", "second", state(studio, "K03")))
    assert carry_out(studio, sitting, again) == ["K03"]
    assert len(sitting.steps) == 2
    assert sitting.done == {"one": 2}


def test_another_load_of_the_page_counts_from_one(studio: Studio, sitting: Sitting) -> None:
    carry_out(studio, sitting, said(grade("K01", "second", state(studio, "K01"))))
    other = said(grade("K02", "second", state(studio, "K02")), load="two")
    assert carry_out(studio, sitting, other) == ["K02"]


def test_quick_words_on_one_piece_do_not_clash_with_each_other(
    studio: Studio, sitting: Sitting
) -> None:
    view = piece_view(studio, "K02")
    places = [each.stored.place_id for each in view.findings]
    seen = view.state_id  # the page has heard nothing new between its three acts
    carry_out(
        studio,
        sitting,
        said(
            {"do": "judge", "code": "K02", "places": places[:1], "word": "wrong", "seen": seen},
            {"do": "judge", "code": "K02", "places": places[1:], "word": "drawing", "seen": seen},
            grade("K02", "second", seen),
        ),
    )
    assert sitting.notices == []
    after = piece_view(studio, "K02")
    assert after.said.grade == "second"
    assert after.said.judged == {places[0]: "wrong", places[1]: "drawing"}


def test_contrary_word_of_another_window_stays_until_one_insists(
    studio: Studio, sitting: Sitting
) -> None:
    seen = state(studio, "K03")
    decide_grade(studio, "K03", "refire", window="other")
    carry_out(studio, sitting, said(grade("K03", "first", seen)))
    notice = sitting.notices[-1]
    assert "other: refire" in notice.text
    assert piece_view(studio, "K03").said.grade == "refire"
    assert notice.insist is not None
    carry_out(studio, sitting, said(dict(notice.insist), load="next"))
    assert piece_view(studio, "K03").said.grade == "first"


def test_word_after_anothers_word_on_the_same_place_is_not_taken_for_seen(
    studio: Studio, sitting: Sitting
) -> None:
    view = piece_view(studio, "K02")
    place = view.findings[0].stored.place_id
    carry_out(studio, sitting, said(grade("K02", "second", view.state_id)))
    judge_finding(studio, "K02", place, "right", window="other")
    act = {"do": "judge", "code": "K02", "places": [place], "word": "wrong", "seen": view.state_id}
    carry_out(studio, sitting, said(act, load="two"))
    assert piece_view(studio, "K02").said.judged[place] == "right"
    assert sitting.notices


def test_act_that_fails_is_told_and_the_next_is_carried_out(
    studio: Studio, sitting: Sitting
) -> None:
    carry_out(
        studio,
        sitting,
        said(grade("K99", "first", 0), grade("K01", "second", state(studio, "K01"))),
    )
    assert "no such piece" in sitting.notices[-1].text
    assert piece_view(studio, "K01").said.grade == "second"


def test_all_can_be_taken_back_step_by_step(studio: Studio, sitting: Sitting) -> None:
    view = piece_view(studio, "K02")
    places = [each.stored.place_id for each in view.findings]
    carry_out(
        studio,
        sitting,
        said(
            {
                "do": "judge",
                "code": "K02",
                "places": places,
                "word": "wrong",
                "seen": view.state_id,
            },
            grade("K02", "first", view.state_id),
            {"do": "undo", "code": "K01"},
        ),
    )
    assert piece_view(studio, "K02").said.grade is None
    assert sitting.jump == (1, "K02")
    # Two places of one kind were judged by one key: one step.
    take_back(studio, sitting)
    assert piece_view(studio, "K02").said.judged == {}
    with pytest.raises(UsageError, match="nothing to take back"):
        take_back(studio, sitting)


def test_word_of_an_earlier_sitting_is_taken_back_by_piece(
    studio: Studio, sitting: Sitting
) -> None:
    decide_grade(studio, "K03", "second")
    assert take_back(studio, sitting, "K03") == ["K03"]
    assert piece_view(studio, "K03").said.grade is None


def test_sheet_is_passed_and_taken_back_at_once(studio: Studio, sitting: Sitting) -> None:
    rows = piece_list(studio)
    seen = {row.code: row.state_id for row in rows}
    decide_grade(studio, "K03", "refire", window="other")
    passed, others = pass_sheet(studio, sitting, seen)
    assert (passed, others) == (2, ["K03"])
    take_back(studio, sitting)
    assert [row.decided for row in piece_list(studio)] == [None, None, "refire"]


def test_missed_place_gets_the_zone_that_its_view_shows() -> None:
    assert zone_of("inside", "crack") == "inside"
    assert zone_of("foot", "flake") == "foot"
    assert zone_of("front", "flake") == "painted"
    assert zone_of("back", "scorch") == "clay"


def test_missed_place_and_note_and_reference_are_kept(studio: Studio, sitting: Sitting) -> None:
    view = piece_view(studio, "K01")
    outline = [[700.4, 500.2], [760.0, 500.0], [760.0, 560.0]]
    carry_out(
        studio,
        sitting,
        said(
            {
                "do": "missed", "code": "K01", "photo": view.photos[0].id, "view": "front",
                "fault": "crack", "outline_px": outline, "seen": view.state_id,
            },
            {"do": "note", "code": "K01", "text": "nick in the lip"},
            {"do": "pattern", "code": "K01", "yes": True, "seen": view.state_id},
        ),
    )  # fmt: skip
    after = piece_view(studio, "K01")
    assert [each.stored.finding.fault for each in after.findings] == ["crack"]
    assert after.said.notes == ("nick in the lip",)
    assert after.said.reference
