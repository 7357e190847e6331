"""Any past verdict is worked out again: same inputs, same rules, same answer."""

from __future__ import annotations

from pathlib import Path

import pytest

from grader.record import explain as explain_module
from grader.record.bench import piece_view
from grader.record.decisions import judge_finding
from grader.record.errors import RecordError
from grader.record.explain import explain
from grader.record.facts import set_facts
from grader.record.regrade import keep_regrade, regrade
from grader.record.rulebook import rulebook, rulebook_of, studio_rulebook
from grader.record.studio import Studio
from grader.record.surveys import load_survey
from tests.record.kit import BOOK, a_batch, add, four_sides, look_at_bytes, three_pieces

STRICT = '[faults.flake]\nslight = "second"\nmarked = "second"\n'


@pytest.fixture
def filled(studio: Studio, tmp_path: Path) -> Studio:
    """Three pieces, with a few facts, judgements and rules behind them."""
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    for each in piece_view(studio, "K02").findings:
        judge_finding(studio, "K02", each.stored.place_id, "drawing", book=BOOK)
    set_facts(studio, ["K03"], {"price": "55", "use": "decor"}, book=BOOK)
    return studio


def verdict_ids(studio: Studio) -> list[int]:
    """All verdicts of the record."""
    with studio.reading() as db:
        return [row[0] for row in db.execute("SELECT id FROM verdicts ORDER BY id")]


def test_a_survey_comes_back_exactly(studio: Studio, tmp_path: Path) -> None:
    odd = four_sides(
        front=["flake 900 600 0.1 0.3333333333333333", "pit 1 2 1.7976931348623157 1e-17"]
    )
    batch = a_batch(tmp_path / "b", {"K01": odd})
    add(studio, batch)
    with studio.reading() as db:
        assert load_survey(db, 1).survey == look_at_bytes(batch.pieces[0])


def test_every_verdict_is_the_same_again(filled: Studio) -> None:
    ids = verdict_ids(filled)
    assert len(ids) >= 6
    for verdict_id in ids:
        found = explain(filled, verdict_id)
        assert found.same, found.differences
        assert found.again == found.stored.verdict
        assert len(found.survey.findings) == len(found.stored.verdict.weighed)


def test_old_verdicts_stay_the_same_under_new_rules(filled: Studio) -> None:
    filled.rules_file.write_text(STRICT)
    keep_regrade(filled)
    set_facts(filled, ["K01"], {"price": "99"})
    ids = verdict_ids(filled)
    assert len({explain(filled, each).stored.rules_sha256 for each in ids}) == 2
    assert all(explain(filled, each).same for each in ids)


def test_a_program_that_judges_otherwise_is_found_out(
    filled: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dataclasses import replace

    real = explain_module.rulebook_of

    def lenient(text: str) -> object:
        book = real(text)
        return replace(book, grade=lambda f, s, n: replace(book.grade(f, s, n), grade="first"))

    monkeypatch.setattr(explain_module, "rulebook_of", lenient)
    found = [explain(filled, each) for each in verdict_ids(filled)]
    changed = [each for each in found if each.stored.verdict.grade != "first"]
    assert changed
    assert all(not each.same and "would now be first" in each.differences[0] for each in changed)


def test_an_unknown_verdict_is_named(filled: Studio) -> None:
    with pytest.raises(RecordError, match="no such verdict"):
        explain(filled, 999)


def test_the_text_of_the_rules_gives_the_same_rules_back(tmp_path: Path) -> None:
    own = tmp_path / "rules.toml"
    own.write_text(STRICT)
    book = rulebook(own)
    again = rulebook_of(book.text)
    assert (again.sha256, again.title) == (book.sha256, book.title)
    assert book.sha256 != BOOK.sha256


# --- other rules over old records ---------------------------------------------------------------


def test_other_rules_show_what_would_change_and_change_nothing(
    studio: Studio, tmp_path: Path
) -> None:
    from grader.record.decisions import decide_grade
    from tests.record.kit import contents

    add(studio, a_batch(tmp_path / "b", three_pieces()))
    decide_grade(studio, "K02", "refire", book=BOOK)
    before = contents(studio)
    own = tmp_path / "rules.toml"
    own.write_text(STRICT)
    found = regrade(studio, rulebook(own))
    assert (found.looked_at, found.waiting) == (3, 0)
    assert [(c.code, c.before, c.after, c.decided) for c in found.changes] == [
        ("K02", "refire", "second", "refire")
    ]
    assert contents(studio) == before
    assert regrade(studio).changes == ()


def test_new_proposals_can_be_kept_and_decisions_stay(studio: Studio, tmp_path: Path) -> None:
    from grader.record.decisions import decide_grade

    add(studio, a_batch(tmp_path / "b", three_pieces()))
    decide_grade(studio, "K02", "refire", book=BOOK)
    studio.rules_file.write_text(STRICT)
    assert keep_regrade(studio) == 3  # the rules are others for every piece
    assert keep_regrade(studio) == 0
    view = piece_view(studio, "K02")
    assert view.verdict is not None
    assert (view.verdict.verdict.grade, view.said.grade) == ("second", "refire")
    assert studio_rulebook(studio).sha256 == view.verdict.rules_sha256


def test_what_waits_is_counted_apart(studio: Studio, tmp_path: Path) -> None:
    from grader.record.add import take_in

    add(studio, a_batch(tmp_path / "b", three_pieces()))
    take_in(studio, a_batch(tmp_path / "c", {"K07": four_sides()}), book=BOOK)
    assert (regrade(studio, BOOK).looked_at, regrade(studio, BOOK).waiting) == (3, 1)
