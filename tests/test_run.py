"""A whole folder: pieces side by side, and one bad piece never stops the others."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
from PIL import Image

from grader.batch import PieceEntry, Shot
from grader.errors import PhotoError
from grader.facts import PieceFacts
from grader.findings import PhotoReport, PieceSurvey
from grader.result import result_of
from grader.rules import load_rules
from grader.run import grade_folder, survey_entries
from tests.mates.made import a_flag, a_mark, a_piece
from tests.pieces import a_finding, a_survey, renamed


def entries(*codes: str) -> list[PieceEntry]:
    return [
        PieceEntry(
            code,
            PieceFacts(code, others=MappingProxyType({"note": "own column"})),
            (Shot(f"{code}/front.jpg", Path(code) / "front.jpg", "front"),),
        )
        for code in codes
    ]


def a_survey_of(entry: PieceEntry) -> PieceSurvey:
    if entry.code == "crash":
        os._exit(9)  # as the system does to a process for which there is no memory
    if entry.code == "bug":
        raise ZeroDivisionError("no pixels")
    if entry.code == "bad":
        raise PhotoError("cannot be read", where="bad/front.jpg", remedy="Copy it again")
    return PieceSurvey(entry.code, tuple(PhotoReport(s.name, s.view) for s in entry.shots))


@pytest.mark.parametrize("workers", [1, 2])
def test_surveys_come_back_in_order_and_failures_are_problems(workers: int) -> None:
    steps: list[tuple[int, int]] = []
    codes = ("a", "bug", "b", "bad", "c")
    surveys = survey_entries(
        entries(*codes),
        a_survey_of,
        workers=workers,
        progress=lambda done, total, code: steps.append((done, total)),
    )
    assert tuple(survey.piece for survey in surveys) == codes
    assert [photo.usable for survey in surveys for photo in survey.photos] == [
        True,
        False,
        True,
        False,
        True,
    ]
    assert "ZeroDivisionError" in surveys[1].photos[0].problems[0].text
    assert "Copy it again" in surveys[3].photos[0].problems[0].text
    assert steps == [(number, 5) for number in range(1, 6)]


def test_a_worker_that_dies_costs_only_its_own_piece() -> None:
    surveys = survey_entries(entries("a", "crash", "b", "c"), a_survey_of, workers=2)
    usable = {survey.piece: survey.photos[0].usable for survey in surveys}
    assert usable == {"a": True, "crash": False, "b": True, "c": True}
    assert "memory" in surveys[1].photos[0].problems[0].text


def test_no_pieces_give_no_surveys() -> None:
    assert survey_entries([], a_survey_of) == []


def test_a_folder_is_graded_with_its_unreadable_photos_named(tmp_path: Path) -> None:
    (tmp_path / "K01").mkdir()
    Image.fromarray(np.full((300, 400, 3), 90, np.uint8)).save(tmp_path / "K01" / "front.jpg")
    (tmp_path / "K01" / "back.jpg").write_text("not a picture")
    (tmp_path / "K01" / "left.jpg").write_bytes(b"")
    (tmp_path / "pieces.csv").write_text("piece,form,price\nK01,beaker,12\nK02,jug,\n")
    batch = grade_folder(tmp_path, load_rules(), workers=1)
    assert [piece.verdict.grade for piece in batch.pieces] == ["ungraded", "ungraded"]
    first = batch.pieces[0]
    assert first.facts.price == 12
    assert {photo.view: photo.usable for photo in first.survey.photos}["back"] is False
    assert batch.rules_name == load_rules().title


def test_refires_of_the_table_count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One routine, a second by exception, never a third (common practice)."""

    def survey(entry: PieceEntry, *, marker_mm: float, session_colour: object) -> PieceSurvey:
        return renamed(a_survey(a_finding("flake")), entry.code)

    monkeypatch.setattr("grader.run.survey_piece", survey)
    for count in range(4):
        (tmp_path / f"K0{count}").mkdir()
        (tmp_path / f"K0{count}" / "front.jpg").write_bytes(b"not looked at")
    rows = "".join(f"K0{count},glazed,yes,{count}\n" for count in range(4))
    (tmp_path / "pieces.csv").write_text("piece,finish,decorated,refires\n" + rows)
    batch = grade_folder(tmp_path, load_rules(), workers=1)
    assert [piece.refires_done for piece in batch.pieces] == [0, 1, 2, 3]
    grades = [piece.verdict.grade for piece in batch.pieces]
    assert grades[0] == "refire" and grades[2:] == ["second", "second"]
    assert "refire" in batch.pieces[2].verdict.reasons[0].text


def test_sisters_have_a_say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A spot that all six have is the drawing; the one that is browner is told; none is a second
    for it."""
    mark = a_mark()
    spot = a_finding("pit", mm=1.5, at=(500, 400))

    def survey(entry: PieceEntry, *, marker_mm: float, session_colour: object) -> PieceSurvey:
        code, number = entry.code, int(entry.code[1:])
        looks = a_piece(
            code,
            number,
            browner=0.08 * (number == 6),
            marks=(mark,),
            flags=(a_flag(mark, piece=code),) if number <= pitted else (),
        )
        found = a_survey(*[spot] * (number <= pitted))
        return replace(renamed(found, code), likeness=looks)

    monkeypatch.setattr("grader.run.survey_piece", survey)
    pitted = 1
    for count in range(1, 7):
        (tmp_path / f"K{count}").mkdir()
        (tmp_path / f"K{count}" / "front.jpg").write_bytes(b"not looked at")
    rows = "".join(f"K{count},newt,beaker,glazed\n" for count in range(1, 7))
    (tmp_path / "pieces.csv").write_text("piece,design,form,finish\n" + rows)
    batch = grade_folder(tmp_path, load_rules(), workers=1)
    assert batch.pieces[0].survey.findings == ()
    last = result_of(batch)["pieces"][5]
    (told,) = (each for each in last["reasons"] if each["rule"] == "mates.browner")
    assert told["fault"] is None and told["text"].startswith("Browner than its five sisters")
    assert [piece.verdict.grade for piece in batch.pieces] == ["first"] * 6
    # Of other designs, the same pieces are no sisters.
    (tmp_path / "pieces.csv").write_text("piece,finish\n" + "K1,glazed\n")
    alone = grade_folder(tmp_path, load_rules(), workers=1)
    assert len(alone.pieces[0].survey.findings) == 1
    assert not any(piece.survey.notes for piece in alone.pieces)
