"""Taking batches in: what is new, what is known, and which firing it belongs to."""

from __future__ import annotations

import os
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from grader.batch import PieceEntry
from grader.errors import PhotoError
from grader.findings import PieceSurvey
from grader.record import add as add_module
from grader.record.add import add_batch, end_batch, take_in, take_photos
from grader.record.bench import piece_view
from grader.record.decisions import decide_grade, say_fate
from grader.record.errors import FullDiskError
from grader.record.facts import set_facts
from grader.record.looking import Analysis, look_at_waiting, waiting
from grader.record.now import rebuild
from grader.record.queries import batches, piece_list
from grader.record.studio import Studio
from tests.record.kit import (
    ANALYSIS,
    BOOK,
    MORNING,
    a_batch,
    add,
    contents,
    digest_of_folder,
    four_sides,
    look_at_bytes,
    three_pieces,
)

DAYS_LATER = MORNING + timedelta(days=4)


def grades(studio: Studio) -> dict[str, str | None]:
    """What the rules propose for each piece."""
    return {row.code: row.proposed for row in piece_list(studio)}


def test_a_batch_is_taken_in_looked_at_and_graded(studio: Studio, tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "b", three_pieces())
    before = digest_of_folder(tmp_path / "b")
    added = add(studio, batch)
    assert [(piece.code, piece.step, piece.photos) for piece in added.pieces] == [
        ("K01", "new", 4),
        ("K02", "new", 4),
        ("K03", "new", 4),
    ]
    assert grades(studio) == {"K01": "first", "K02": "refire", "K03": "second"}
    assert digest_of_folder(tmp_path / "b") == before
    (row,) = batches(studio)
    assert (row.label, row.complete, row.pieces, row.pending, row.undecided) == ("b", True, 3, 0, 3)
    assert row.grades == {"first": 1, "refire": 1, "second": 1, "ungraded": 0}
    assert dict(row.faults) == {"flake": 1, "scorch": 1}


def test_a_second_run_takes_nothing(studio: Studio, tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "b", three_pieces())
    add(studio, batch)
    before = contents(studio)
    again = add(studio, batch)
    assert [piece.step for piece in again.pieces] == ["known"] * 3
    assert again.looked == ()
    assert contents(studio) == before


def test_a_moved_folder_with_other_names_is_known_by_content(
    studio: Studio, tmp_path: Path
) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    before = contents(studio)
    (tmp_path / "b").rename(tmp_path / "elsewhere")
    batch = a_batch(tmp_path / "other", {})
    shots = a_batch(tmp_path / "b", three_pieces()).pieces  # the same bytes once more
    again = add(studio, replace(batch, pieces=shots))
    assert [piece.step for piece in again.pieces] == ["known"] * 3
    assert contents(studio) == before


def test_new_photos_of_a_known_piece_extend_it(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    more = a_batch(tmp_path / "c", {"K01": {"foot": ["crack 900 900 12 0.9"]}})
    added = add(studio, more)
    assert [(piece.step, piece.photos) for piece in added.pieces] == [("more photos", 1)]
    view = piece_view(studio, "K01")
    assert (len(view.photos), len(view.rounds)) == (5, 1)
    assert grades(studio)["K01"] == "second"


def test_numbered_views_go_on_counting(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", {"K01": {"view 1": (), "view 2": ()}}))
    add(studio, a_batch(tmp_path / "c", {"K01": {"view 1": (), "view 2": ()}}))
    views = [photo.view for photo in piece_view(studio, "K01").photos]
    assert views == ["view 1", "view 2", "view 3", "view 4"]


def test_photos_of_one_name_from_two_folders_stay_apart(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", {"K01": four_sides(front=["flake 900 600 1.0 0.9"])}))
    add(studio, a_batch(tmp_path / "c", {"K01": {"front": ["flake 700 300 1.0 0.9"]}}))
    view = piece_view(studio, "K01")
    assert len({each.stored.photo_id for each in view.findings}) == 2
    assert sorted(report.photo for report in view.reports.values())[:2] == [
        "K01/back.jpg",
        "K01/front (2).jpg",
    ]


def test_one_photo_cannot_show_two_pieces(studio: Studio, tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "b", {"K01": four_sides(), "K02": four_sides()})
    first, second = batch.pieces
    second.shots[0].path.write_bytes(first.shots[0].path.read_bytes())
    added = add(studio, batch)
    assert [piece.photos for piece in added.pieces] == [4, 3]
    assert "with piece K01" in added.pieces[1].notes[0]


def test_codes_differ_by_more_than_case(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", {"K01": four_sides()}))
    added = add(studio, a_batch(tmp_path / "c", {"k01": {"foot": ()}}))
    assert added.pieces[0].step == "more photos"
    assert len(piece_list(studio)) == 1


# --- which firing -----------------------------------------------------------------------------


def test_after_a_refire_decision_new_photos_open_a_refire(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    decide_grade(studio, "K02", "refire", book=BOOK)
    added = add(studio, a_batch(tmp_path / "c", {"K02": four_sides()}, taken=DAYS_LATER))
    assert added.pieces[0].step == "refire"
    view = piece_view(studio, "K02")
    assert (view.round.number, view.said.grade) == (1, None)
    assert view.verdict is not None
    assert (view.verdict.refires_done, view.verdict.verdict.grade) == (1, "first")


def test_a_refire_that_was_only_proposed_opens_none(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    added = add(studio, a_batch(tmp_path / "c", {"K02": {"foot": ()}}, taken=DAYS_LATER))
    assert added.pieces[0].step == "more photos"


def test_photos_of_the_same_hours_belong_to_the_same_firing(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    decide_grade(studio, "K02", "refire", book=BOOK)
    late = a_batch(tmp_path / "c", {"K02": {"foot": ()}}, taken=MORNING + timedelta(hours=2))
    assert add(studio, late).pieces[0].step == "more photos"


def test_a_camera_whose_clock_was_lost_still_opens_a_refire(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    decide_grade(studio, "K02", "refire", book=BOOK)
    reset = a_batch(tmp_path / "c", {"K02": four_sides()}, taken=MORNING.replace(year=2000))
    assert add(studio, reset).pieces[0].step == "refire"


def test_the_maker_can_say_that_it_is_a_refire(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    batch = a_batch(tmp_path / "c", {"K02": four_sides()})
    assert add(studio, batch, refire=True).pieces[0].step == "refire"
    assert add(studio, batch, refire=True).pieces[0].step == "known"
    assert len(piece_view(studio, "K02").rounds) == 2


def test_another_firing_in_the_table_opens_a_refire(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces(), facts={"K03": {"firing": "F1"}}))
    batch = a_batch(tmp_path / "c", {"K03": four_sides()}, facts={"K03": {"firing": "F2"}})
    assert add(studio, batch).pieces[0].step == "refire"
    view = piece_view(studio, "K03")
    assert (view.words["firing"], view.words["design"]) == ("F2", "newt")
    assert piece_view(studio, "K03", number=0).words["firing"] == "F1"


def test_after_two_refires_no_third_is_proposed(studio: Studio, tmp_path: Path) -> None:
    flaked = four_sides(front=["flake 900 600 1.0 0.9"])
    for count in range(3):
        batch = a_batch(tmp_path / f"b{count}", {"K02": flaked})
        add(studio, batch, refire=count > 0)
        assert grades(studio)["K02"] == ("refire" if count == 0 else "second")
    assert piece_view(studio, "K02").round.number == 2


def test_photos_of_a_sold_piece_are_left_out(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    say_fate(studio, "K01", "sold", price=30)
    batch = a_batch(tmp_path / "c", {"K01": four_sides(), "K04": four_sides()})
    added = add(studio, batch)
    assert [piece.step for piece in added.pieces] == ["left out", "new"]
    assert "K01 was sold" in added.pieces[0].notes[0]
    say_fate(studio, "K01", "kept")
    assert add(studio, batch).pieces[0].step == "more photos"


# --- facts ------------------------------------------------------------------------------------


def test_columns_of_the_makers_own_find_their_place(studio: Studio, tmp_path: Path) -> None:
    columns = {"others": {"Ring": "outer", "Kiln height": "top", "Thrown by": "M."}}
    add(studio, a_batch(tmp_path / "b", {"K01": four_sides()}, facts={"K01": columns}))
    again = a_batch(tmp_path / "c", {"K01": four_sides()})
    add(studio, again, refire=True)
    # Where it stood belongs to the first firing; who threw it to the piece.
    now, before = piece_view(studio, "K01").words, piece_view(studio, "K01", number=0).words
    assert (before["ring"], before["kiln_height"]) == ("outer", "top")
    assert ("ring" in now, now["Thrown by"]) == (False, "M.")


def test_the_same_table_does_not_undo_what_was_corrected_since(
    studio: Studio, tmp_path: Path
) -> None:
    batch = a_batch(tmp_path / "b", three_pieces())
    add(studio, batch)
    set_facts(studio, ["K01"], {"design": "moth"}, book=BOOK)
    add(studio, batch)
    assert piece_view(studio, "K01").words["design"] == "moth"


def test_a_table_with_news_is_believed_without_new_photos(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    news = a_batch(tmp_path / "b", three_pieces(), facts={"K03": {"price": 50.0, "shelf": "2"}})
    added = add(studio, news)
    assert added.pieces[2].step == "known"
    view = piece_view(studio, "K03")
    assert (view.words["price"], view.words["shelf"]) == ("50", "2")
    assert view.verdict is not None
    assert view.verdict.verdict.price == 25.0


def test_a_fact_that_the_analysis_uses_calls_for_a_new_look(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    set_facts(studio, ["K01"], {"height_mm": "92,5"}, book=BOOK)
    assert waiting(studio) == ["K01"]
    look_at_waiting(studio, analysis=ANALYSIS, book=BOOK)
    assert waiting(studio) == []
    # Said back again, it has been seen already.
    set_facts(studio, ["K01"], {"height_mm": ""}, book=BOOK)
    assert waiting(studio) == []


# --- stops and failures -----------------------------------------------------------------------


def test_a_stop_between_pieces_loses_nothing(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    undisturbed = _undisturbed(tmp_path)
    batch = a_batch(tmp_path / "b", three_pieces())
    real = add_module.keep_photo
    calls = iter(range(1000))

    def full_at_the_sixth(*values: Any, **more: Any) -> Any:
        if next(calls) == 5:
            raise FullDiskError("the disk is full")
        return real(*values, **more)

    monkeypatch.setattr(add_module, "keep_photo", full_at_the_sixth)
    with pytest.raises(FullDiskError):
        add(studio, batch)
    assert [row.code for row in piece_list(studio)] == ["K01"]
    assert not batches(studio)[0].complete
    added = add(studio, batch)
    assert [piece.step for piece in added.pieces] == ["known", "new", "new"]
    assert len(batches(studio)) == 1
    assert contents(studio) == undisturbed


def test_a_stop_between_looks_loses_nothing(studio: Studio, tmp_path: Path) -> None:
    undisturbed = _undisturbed(tmp_path)
    batch = a_batch(tmp_path / "b", three_pieces())
    taken = take_in(studio, batch, book=BOOK)
    done = look_at_waiting(studio, analysis=ANALYSIS, book=BOOK, stop=lambda: True)
    assert [looked.code for looked in done] == ["K01"]
    assert waiting(studio) == ["K02", "K03"]
    look_at_waiting(studio, analysis=ANALYSIS, book=BOOK)
    assert taken.batch_id is not None
    end_batch(studio, taken.batch_id)
    assert contents(studio) == undisturbed


def _undisturbed(tmp_path: Path) -> dict[str, list[Any]]:
    from grader.record.studio import init_studio

    other = init_studio(tmp_path / "undisturbed", name="Ormsedge Pottery")
    add(other, a_batch(tmp_path / "b", three_pieces()))
    return contents(other)


def test_two_runs_over_the_same_folder_at_once_come_to_one_result(
    studio: Studio, tmp_path: Path
) -> None:
    undisturbed = _undisturbed(tmp_path)
    batch = a_batch(tmp_path / "b", three_pieces())
    with ThreadPoolExecutor(3) as pool:
        runs = [pool.submit(add, studio, batch) for _ in range(3)]
        taken = [piece.step for run in runs for piece in run.result().pieces]
    assert sorted(taken) == ["known"] * 6 + ["new"] * 3
    both = contents(studio)
    # Which of them placed a photo or looked first decides the order of rows, and nothing else.
    for table in ("pieces", "photos", "findings", "verdicts", "batches", "batch_ends", "events"):
        assert len(both[table]) == len(undisturbed[table]), table
    assert grades(studio) == {"K01": "first", "K02": "refire", "K03": "second"}


def test_one_bad_piece_does_not_stop_the_others(studio: Studio, tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "b", three_pieces())
    added = add_batch(studio, batch, analysis=Analysis("bad", _fails_on_k02), book=BOOK, workers=1)
    assert [(one.code, one.grade) for one in added.looked] == [
        ("K01", "first"),
        ("K02", None),
        ("K03", "second"),
    ]
    (row,) = [row for row in piece_list(studio) if row.code == "K02"]
    assert row.pending
    assert "ZeroDivisionError" in row.trouble
    look_at_waiting(studio, analysis=ANALYSIS, book=BOOK)
    (row,) = [row for row in piece_list(studio) if row.code == "K02"]
    assert (row.pending, row.trouble, row.proposed) == (False, "", "refire")


def _fails_on_k02(entry: PieceEntry, session: object) -> PieceSurvey:
    if entry.code == "K02":
        raise ZeroDivisionError("a fault of ours")
    return look_at_bytes(entry)


def test_what_the_analysis_says_itself_is_kept(studio: Studio, tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "b", three_pieces())
    added = add_batch(studio, batch, analysis=Analysis("c", _cannot_read), book=BOOK, workers=1)
    assert {one.trouble for one in added.looked} == {"K01/front.jpg: is broken."}


def _cannot_read(entry: PieceEntry, session: object) -> PieceSurvey:
    raise PhotoError("is broken", where="K01/front.jpg")


def test_several_processes_come_to_the_same_result(studio: Studio, tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "b", three_pieces())
    added = add_batch(
        studio, batch, analysis=Analysis("test 1", _dies_on_k03), book=BOOK, workers=2
    )
    by_code = {one.code: one for one in added.looked}
    assert (by_code["K01"].grade, by_code["K02"].grade) == ("first", "refire")
    assert "ended by the system" in by_code["K03"].trouble


def _dies_on_k03(entry: PieceEntry, session: object) -> PieceSurvey:
    if entry.code == "K03":
        os._exit(9)
    return look_at_bytes(entry)


def test_facts_that_change_during_a_look_call_for_another(studio: Studio, tmp_path: Path) -> None:
    take_in(studio, a_batch(tmp_path / "b", {"K01": four_sides()}), book=BOOK)

    def looked_at_while_the_maker_types(entry: PieceEntry, session: object) -> PieceSurvey:
        set_facts(studio, ["K01"], {"decorated": "no"}, book=BOOK)
        return look_at_bytes(entry)

    look_at_waiting(studio, analysis=Analysis("x", looked_at_while_the_maker_types), book=BOOK)
    assert waiting(studio) == ["K01"]
    look_at_waiting(studio, analysis=ANALYSIS, book=BOOK)
    assert waiting(studio) == []


def test_photos_can_come_one_by_one(studio: Studio, tmp_path: Path) -> None:
    for view in ("front", "back"):
        path = tmp_path / f"{view}.jpg"
        path.write_text(f"{view}\nscorch 800 500 20 0.95")
        take_photos(studio, "M5", [(path, view)], label="2026-11-25")
    view_of = piece_view(studio, "M5")
    assert [photo.view for photo in view_of.photos] == ["front", "back"]
    assert view_of.pending
    (row,) = batches(studio)
    assert (row.label, row.complete) == ("2026-11-25", False)


def test_the_present_state_can_be_rebuilt(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    decide_grade(studio, "K02", "refire", book=BOOK)
    add(studio, a_batch(tmp_path / "c", {"K02": four_sides()}, taken=DAYS_LATER))
    say_fate(studio, "K01", "sold", price=31.5)
    before = contents(studio)
    assert rebuild(studio) == 3
    assert contents(studio) == before


def test_old_half_copies_are_swept(studio: Studio, tmp_path: Path) -> None:
    folder = studio.photos / "ab"
    folder.mkdir()
    old, young = folder / ".part-1-x.jpg", folder / ".part-2-x.jpg"
    old.write_bytes(b"x")
    young.write_bytes(b"x")
    os.utime(old, (time.time() - 90_000,) * 2)
    add(studio, a_batch(tmp_path / "b", {"K01": four_sides()}))
    assert (old.exists(), young.exists()) == (False, True)
