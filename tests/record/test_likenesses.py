"""Reference pieces: their looks are read once, kept, and found by design."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from grader.batch import PieceEntry
from grader.findings import PieceSurvey
from grader.mates import Likeness, compare_mates
from grader.mates import likeness as likeness_module
from grader.record.decisions import say_reference, undo
from grader.record.errors import RecordError
from grader.record.facts import set_facts
from grader.record.likenesses import likenesses
from grader.record.studio import Studio, open_studio
from tests.mates.made import a_piece, six, some_facts
from tests.record.kit import ANALYSIS, BOOK, a_batch, add, four_sides, three_pieces

LOOKS = a_piece("K01", 1)


class Reader:
    """Reads always the same likeness, and counts how often."""

    def __init__(self) -> None:
        self.read: list[str] = []

    def __call__(
        self, entry: PieceEntry, survey: PieceSurvey, session: Any, marker_mm: float
    ) -> Likeness:
        assert all(shot.path.is_file() for shot in entry.shots)
        assert (survey.piece, marker_mm) == (entry.code, 20.0)
        self.read.append(entry.code)
        return LOOKS


@pytest.fixture
def filled(studio: Studio, tmp_path: Path) -> Studio:
    """Three pieces, K01 named as an example of the newt."""
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    say_reference(studio, "K01", True)
    return studio


def test_looks_are_read_once_and_kept(filled: Studio) -> None:
    read = Reader()
    for _ in range(3):
        (found,) = likenesses(filled, "NEWT", analysis=ANALYSIS, read=read)
        assert found.likeness == LOOKS
        assert found.facts.design == "newt"
    assert read.read == ["K01"]
    assert likenesses(filled, "moth", analysis=ANALYSIS, read=read) == ()


def test_another_version_is_read_anew(filled: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    read = Reader()
    likenesses(filled, analysis=ANALYSIS, read=read)
    monkeypatch.setattr(likeness_module, "VERSION", likeness_module.VERSION + 1)
    likenesses(filled, analysis=ANALYSIS, read=read)
    assert read.read == ["K01", "K01"]


def test_new_photos_are_read_anew(filled: Studio, tmp_path: Path) -> None:
    read = Reader()
    likenesses(filled, analysis=ANALYSIS, read=read)
    add(filled, a_batch(tmp_path / "c", {"K01": {"foot": ()}}))
    likenesses(filled, analysis=ANALYSIS, read=read)
    assert read.read == ["K01", "K01"]


def test_taken_back_it_is_no_example(filled: Studio) -> None:
    undo(filled, "K01", book=BOOK)
    assert likenesses(filled, analysis=ANALYSIS, read=Reader()) == ()


def test_of_no_design_none_can_be(filled: Studio) -> None:
    set_facts(filled, ["K02"], {"design": ""}, book=BOOK)
    with pytest.raises(RecordError, match="grader set K02 design=NAME"):
        say_reference(filled, "K02", True)


def test_a_piece_that_waits_is_left_out(filled: Studio, tmp_path: Path) -> None:
    from grader.record.add import take_in

    take_in(filled, a_batch(tmp_path / "c", {"K09": four_sides()}), book=BOOK)
    say_reference(filled, "K09", True)
    (found,) = likenesses(filled, analysis=ANALYSIS, read=Reader())
    assert found.facts.piece == "K01"


def test_what_is_kept_serves_a_later_batch(filled: Studio) -> None:
    likenesses(filled, analysis=ANALYSIS, read=Reader())
    kept = likenesses(open_studio(filled.folder), "newt", analysis=ANALYSIS, read=_never)
    facts = some_facts(*(f"K{number}" for number in range(1, 7)))
    facts |= {each.facts.piece: each.facts for each in kept}
    report = compare_mates(six(), facts, references=[each.likeness for each in kept])
    assert report.adjustments == ()


def _never(entry: PieceEntry, survey: PieceSurvey, session: Any, marker_mm: float) -> Likeness:
    raise AssertionError("it was kept")
