"""Everything out again, so that nobody is locked in."""

from __future__ import annotations

import csv
import json
import resource
import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest

from grader.record.bench import piece_view
from grader.record.decisions import decide_grade, say_fate, say_note, undo
from grader.record.errors import FullDiskError, RecordError
from grader.record.export import export_record
from grader.record.facts import set_facts
from grader.record.grouping import name_view
from grader.record.studio import Studio
from grader.record.tables import TABLES
from tests.record.kit import BOOK, MORNING, a_batch, add, four_sides, three_pieces


@pytest.fixture
def filled(studio: Studio, tmp_path: Path) -> Studio:
    """Three pieces, one of them refired, with odd words and names."""
    pieces = three_pieces() | {"../../x": four_sides(), "con": four_sides()}
    add(studio, a_batch(tmp_path / "b", pieces))
    decide_grade(studio, "K02", "refire", reason="=1+1", book=BOOK)
    again = a_batch(tmp_path / "c", {"K02": four_sides()}, taken=MORNING + timedelta(days=4))
    add(studio, again)
    set_facts(studio, ["K01"], {"design": '<b>newt</b>, "big"', "glaze": "@clear"}, book=BOOK)
    say_note(studio, "K01", "a line\nand another")
    say_fate(studio, "K01", "sold", price=28.5)
    undo(studio, "K01", book=BOOK)
    name_view(studio, piece_view(studio, "con").photos[1].id, "front")
    return studio


def test_every_row_of_every_table_comes_out(filled: Studio, tmp_path: Path) -> None:
    out = export_record(filled, tmp_path / "out")
    with filled.reading() as db:
        for table in TABLES:
            with (out / "csv" / f"{table}.csv").open(encoding="utf-8", newline="") as file:
                header, *rows = csv.reader(file, strict=True)
            kept = db.execute(f"SELECT * FROM {table}").fetchall()
            assert header == [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
            assert len(rows) == len(kept)
            for cells, row in zip(rows, kept, strict=True):
                again = [_read_back(cell, value) for cell, value in zip(cells, row, strict=True)]
                assert again == [*row]


def _read_back(cell: str, like: object) -> object:
    if like is None:
        return None if cell == "" else cell
    if isinstance(like, str):
        return cell[1:] if cell.startswith("'") else cell
    return float(cell) if isinstance(like, float) else int(cell)


def test_the_csv_can_be_loaded_without_this_program(filled: Studio, tmp_path: Path) -> None:
    out = export_record(filled, tmp_path / "out")
    db = sqlite3.connect(":memory:")
    for table in ("pieces", "rounds", "verdicts"):
        with (out / "csv" / f"{table}.csv").open(encoding="utf-8", newline="") as file:
            header, *rows = csv.reader(file)
        db.execute(f"CREATE TABLE {table} ({', '.join(header)})")
        db.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(header))})", rows)
    answer = db.execute(
        "SELECT code, number, grade FROM verdicts JOIN rounds ON rounds.id = round_id "
        "JOIN pieces ON pieces.id = piece_id WHERE code = 'K02' ORDER BY verdicts.id"
    ).fetchall()
    assert answer[0] == ("K02", "0", "refire")
    assert answer[-1] == ("K02", "1", "first")


def test_no_cell_is_taken_for_a_formula(filled: Studio, tmp_path: Path) -> None:
    out = export_record(filled, tmp_path / "out")
    for table in (out / "csv").iterdir():
        with table.open(encoding="utf-8", newline="") as file:
            for row in csv.reader(file):
                for cell in row:
                    assert not cell.startswith(("=", "+", "@", "\t")), (table, cell)
                    if cell.startswith("-"):
                        float(cell)


def test_the_json_tells_the_whole_story(filled: Studio, tmp_path: Path) -> None:
    out = export_record(filled, tmp_path / "out")
    told = json.loads((out / "record.json").read_text(encoding="utf-8"))
    assert told["version"] == 1
    assert told["studio"]["name"] == "Ormsedge Pottery"
    pieces = {piece["piece"]: piece for piece in told["pieces"]}
    assert set(pieces) == {"K01", "K02", "K03", "../../x", "con"}
    first, refire = pieces["K02"]["rounds"]
    assert (first["decided"], first["reason"], refire["decided"]) == ("refire", "=1+1", None)
    assert [mark["state"] for mark in refire["marks"]] == ["healed", "healed"]
    assert len(first["verdicts"][0]["findings"]) == 2
    sold = [event for event in pieces["K01"]["history"] if event["kind"] == "sold"]
    assert [event["in_force"] for event in sold] == [False]
    price = [event for event in pieces["K01"]["history"] if event["kind"] == "price"]
    assert [event["in_force"] for event in price] == [True]


def test_the_photos_come_out_by_name_and_stay_inside(filled: Studio, tmp_path: Path) -> None:
    out = export_record(filled, tmp_path / "out")
    told = json.loads((out / "record.json").read_text(encoding="utf-8"))
    files = [
        photo["file"] for piece in told["pieces"] for r in piece["rounds"] for photo in r["photos"]
    ]
    assert len(files) == len({file.casefold() for file in files}) == 24
    for file in files:
        path = (out / file).resolve()
        assert path.is_relative_to(out.resolve())
        assert path.is_file()
    assert "photos/K02/refire-1/front.jpg" in files
    assert "photos/_con/refire-0/front-2.jpg" in files
    assert not (tmp_path / "x").exists()
    originals = {path.read_bytes() for path in filled.photos.rglob("*.jpg")}
    assert {(out / file).read_bytes() for file in files} == originals


def test_the_tables_are_described(filled: Studio, tmp_path: Path) -> None:
    text = (export_record(filled, tmp_path / "out") / "tables.md").read_text(encoding="utf-8")
    assert "## events" in text
    assert "## now_pieces" in text


def test_it_goes_to_a_new_place_only(filled: Studio, tmp_path: Path) -> None:
    taken = tmp_path / "taken"
    taken.mkdir()
    (taken / "x").write_text("x")
    with pytest.raises(RecordError, match="not empty"):
        export_record(filled, taken)
    with pytest.raises(RecordError, match="within the studio folder"):
        export_record(filled, filled.folder / "out")
    assert [path.name for path in taken.iterdir()] == ["x"]
    empty = tmp_path / "empty"
    empty.mkdir()
    assert export_record(filled, empty, photos=False) == empty
    assert not (empty / "photos").exists()


def test_a_full_disk_leaves_nothing_half_written(filled: Studio, tmp_path: Path) -> None:
    say_note(filled, "K03", "so much to tell " * 8_000)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    # Room for the index beside the record (32 kB), which even reading needs.
    resource.setrlimit(resource.RLIMIT_FSIZE, (64_000, limits[1]))
    try:
        with pytest.raises(FullDiskError):
            export_record(filled, tmp_path / "out")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert not any("out" in path.name for path in tmp_path.iterdir())


def test_a_missing_photo_does_not_hold_up_the_rest(filled: Studio, tmp_path: Path) -> None:
    next(filled.photos.rglob("*.jpg")).unlink()
    out = export_record(filled, tmp_path / "out")
    told = json.loads((out / "record.json").read_text(encoding="utf-8"))
    files = [p["file"] for piece in told["pieces"] for r in piece["rounds"] for p in r["photos"]]
    assert files.count(None) == 1
