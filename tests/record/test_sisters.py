"""Sisters in the record: what they say is kept, counts as in a plain run, and can be told again."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from grader.batch import Batch, PieceEntry
from grader.findings import Finding, PieceSurvey
from grader.mates import Likeness, held_together
from grader.mates.likeness import Flag
from grader.record.bench import piece_view
from grader.record.decisions import judge_finding, say_reference
from grader.record.explain import explain
from grader.record.facts import set_facts
from grader.record.looking import Analysis, look_at_waiting
from grader.record.queries import piece_list
from grader.record.studio import Studio
from tests.mates.made import a_mark, a_piece
from tests.record.kit import BOOK, a_batch, add, four_sides, look_at_bytes

SPOT = "pit 500 400 1.5 0.9"
BROWNER = 6


def _flag(found: Finding) -> Flag:
    return Flag(found.fault, found.photo, found.bbox_px, 0.5, 0.4, 1.5, a_mark())


def _looks(survey: PieceSurvey) -> Likeness:
    """All have the spot; the sixth is browner."""
    number = int(survey.piece[1:])
    flags = tuple(map(_flag, survey.findings))
    browner = 0.08 * (number == BROWNER)
    return a_piece(survey.piece, number, browner=browner, marks=(a_mark(),), flags=flags)


def look(entry: PieceEntry, session: object = None) -> PieceSurvey:
    survey = look_at_bytes(entry)
    return replace(survey, likeness=_looks(survey))


ANALYSIS = Analysis("test 1", look)


def _batch(folder: Path, first: int = 1, last: int = 6) -> Batch:
    """On the first piece, the spot that all have was flagged."""
    pieces = {
        f"K0{number}": four_sides(front=[SPOT]) if number == 1 else four_sides()
        for number in range(first, last + 1)
    }
    return a_batch(folder, pieces)


def _said(studio: Studio, code: str) -> tuple[list[str], list[str]]:
    """Faults and rules of the verdict that stands."""
    verdict = piece_view(studio, code).verdict
    assert verdict is not None
    return (
        [each.finding.fault for each in verdict.verdict.weighed],
        [each.rule for each in verdict.verdict.reasons],
    )


def test_the_record_says_what_a_plain_run_says(studio: Studio, tmp_path: Path) -> None:
    batch = _batch(tmp_path / "b")
    added = add(studio, batch, analysis=ANALYSIS)
    facts = {entry.code: entry.facts for entry in batch.pieces}
    for entry, held in zip(
        batch.pieces, held_together([look(each) for each in batch.pieces], facts), strict=True
    ):
        plain = BOOK.grade(entry.facts, held, 0)
        view = piece_view(studio, entry.code)
        assert view.verdict is not None and view.verdict.verdict == plain
        assert explain(studio, view.verdict.id).same
    assert _said(studio, "K01")[0] == [] and piece_view(studio, "K01").findings == ()
    assert "mates.browner" in _said(studio, "K06")[1]
    assert {each.code: each.grade for each in added.looked}["K01"] == "first"


def test_a_second_look_writes_nothing_new(studio: Studio, tmp_path: Path) -> None:
    add(studio, _batch(tmp_path / "b"), analysis=ANALYSIS)

    def rows() -> list[int]:
        with studio.reading() as db:
            return [
                db.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
                for table in ("sisters", "likenesses", "verdicts", "events")
            ]

    before = rows()
    assert before[:2] == [6, 6]
    look_at_waiting(studio, analysis=ANALYSIS, book=BOOK)
    set_facts(studio, ["K02"], {"design": "newt"}, book=BOOK)
    assert rows() == before


def test_with_too_few_sisters_the_spot_counts_until_more_come(
    studio: Studio, tmp_path: Path
) -> None:
    label = tmp_path / "b"
    add(studio, _batch(label, 1, 3), analysis=ANALYSIS)
    assert _said(studio, "K01")[0] == ["pit"]
    old = piece_view(studio, "K01").verdict
    assert old is not None
    with studio.writing() as db:  # the same load goes on
        batch_id = db.execute("SELECT batch_id FROM rounds").fetchone()[0]
    add(studio, _batch(label, 4, 6), analysis=ANALYSIS)
    with studio.writing() as db:
        later = db.execute("SELECT max(batch_id) FROM rounds").fetchone()[0]
    assert later != batch_id, "a batch that was ended is one of its own, and no session of the next"
    assert _said(studio, "K01")[0] == ["pit"]
    assert explain(studio, old.id).same


def test_the_maker_stands_above_the_sisters(studio: Studio, tmp_path: Path) -> None:
    add(studio, _batch(tmp_path / "b", 1, 3), analysis=ANALYSIS)
    (shown,) = piece_view(studio, "K01").findings
    judge_finding(studio, "K01", shown.stored.place_id, "right", book=BOOK)
    set_facts(studio, ["K01"], {"form": "cup"}, book=BOOK)
    assert _said(studio, "K01")[0] == ["pit"]
    verdict = piece_view(studio, "K01").verdict
    assert verdict is not None and verdict.verdict.weighed[0].finding.certainty == 1.0


def test_other_facts_make_other_sisters(studio: Studio, tmp_path: Path) -> None:
    add(studio, _batch(tmp_path / "b"), analysis=ANALYSIS)
    old = piece_view(studio, "K01").verdict
    assert old is not None
    set_facts(studio, ["K01"], {"design": "moth"}, book=BOOK)
    assert _said(studio, "K01")[0] == ["pit"]
    assert explain(studio, old.id).same, "what its sisters said then is kept"
    set_facts(studio, ["K01"], {"design": "newt"}, book=BOOK)
    assert _said(studio, "K01")[0] == []
    assert len(piece_view(studio, "K01").findings) == 0


def test_a_right_that_was_said_outlasts_what_the_sisters_say(
    studio: Studio, tmp_path: Path
) -> None:
    add(studio, _batch(tmp_path / "b"), analysis=ANALYSIS)
    set_facts(studio, ["K01"], {"design": "moth"}, book=BOOK)
    (shown,) = piece_view(studio, "K01").findings
    judge_finding(studio, "K01", shown.stored.place_id, "right", book=BOOK)
    set_facts(studio, ["K01"], {"design": "newt"}, book=BOOK)
    assert _said(studio, "K01")[0] == ["pit"]
    assert len(piece_view(studio, "K01").findings) == 1


def test_what_was_stopped_is_held_together_by_the_next_look(studio: Studio, tmp_path: Path) -> None:
    from grader.record.add import take_in

    take_in(studio, _batch(tmp_path / "b"), book=BOOK)
    seen: list[str] = []
    look_at_waiting(
        studio,
        analysis=ANALYSIS,
        book=BOOK,
        progress=lambda done, of, code: seen.append(code),
        stop=lambda: len(seen) == 6,
    )
    assert _said(studio, "K01")[0] == ["pit"]
    look_at_waiting(studio, analysis=ANALYSIS, book=BOOK)
    assert _said(studio, "K01")[0] == []


@pytest.mark.parametrize("design", ["newt", "moth"])
def test_a_reference_piece_of_an_earlier_batch_speaks(
    studio: Studio, tmp_path: Path, design: str
) -> None:
    facts = {"K02": {"design": design}}
    add(studio, a_batch(tmp_path / "a", {"K02": four_sides()}, facts=facts), analysis=ANALYSIS)
    say_reference(studio, "K02", True)
    add(studio, _batch(tmp_path / "b", 1, 1), analysis=ANALYSIS)
    assert _said(studio, "K01")[0] == ([] if design == "newt" else ["pit"])
    assert [row.code for row in piece_list(studio)] == ["K01", "K02"]
