"""Opening, making, moving and refusing studio folders."""

from __future__ import annotations

import os
import shutil
import sqlite3
import struct
import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from grader.record import studio as studio_module
from grader.record.bench import piece_view
from grader.record.errors import (
    BusyRecordError,
    DamagedRecordError,
    FullDiskError,
    NewerRecordError,
    NoRecordError,
    RecordError,
)
from grader.record.queries import piece_list
from grader.record.schema import APPLICATION_ID, LATEST, STEPS
from grader.record.studio import Studio, back_up, default_place, init_studio, open_studio
from tests.record.kit import a_batch, add, contents, is_sound, three_pieces


def test_a_new_folder_holds_a_sound_record_at_the_latest_step(studio: Studio) -> None:
    assert is_sound(studio.record)
    with studio.reading() as db:
        assert db.execute("PRAGMA user_version").fetchone()[0] == LATEST
        assert db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
        assert db.execute("PRAGMA foreign_keys").fetchone()[0] == 1
    assert studio.setting("name") == "Ormsedge Pottery"


def test_the_header_is_laid_out_as_sqlite_documents_it(studio: Studio) -> None:
    # https://sqlite.org/fileformat2.html#the_database_header: magic string at 0, user version at
    # 60 and application id at 68, four bytes each, big-endian.
    head = studio.record.read_bytes()[:100]
    assert head.startswith(b"SQLite format 3\x00")
    assert struct.unpack(">I", head[60:64])[0] == LATEST
    assert struct.unpack(">I", head[68:72])[0] == APPLICATION_ID


def test_making_it_again_opens_it(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    before = contents(studio)
    assert contents(init_studio(studio.folder)) == before


def test_a_folder_with_other_things_is_refused(tmp_path: Path) -> None:
    (tmp_path / "taxes.txt").write_text("mine")
    with pytest.raises(RecordError, match=r"other things \(taxes.txt\)"):
        init_studio(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["taxes.txt"]


def test_a_folder_without_record_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(NoRecordError, match="grader init"):
        open_studio(tmp_path)
    assert not list(tmp_path.iterdir())


def test_the_default_place_can_be_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(studio_module.PLACE_VARIABLE, str(tmp_path / "mine"))
    assert init_studio().folder == tmp_path / "mine"
    monkeypatch.delenv(studio_module.PLACE_VARIABLE)
    assert default_place().is_absolute()


def test_the_folder_can_be_moved_and_zipped(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    before = contents(studio)
    archive = tmp_path / "studio.zip"
    with zipfile.ZipFile(archive, "w") as packed:
        for path in studio.folder.rglob("*"):
            packed.write(path, path.relative_to(studio.folder))
    shutil.move(studio.folder, tmp_path / "elsewhere")
    assert contents(open_studio(tmp_path / "elsewhere")) == before
    restored = tmp_path / "restored"
    with zipfile.ZipFile(archive) as packed:
        packed.extractall(restored)
    again = open_studio(restored)
    assert contents(again) == before
    cover = piece_list(again)[0].cover
    assert cover is not None
    assert (again.folder / cover.file).is_file()


def test_nothing_in_the_record_names_a_place_outside(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    with closing(sqlite3.connect(studio.record)) as db:
        dump = "\n".join(db.iterdump())
    assert str(tmp_path) not in dump


# --- older, newer, damaged --------------------------------------------------------------------


def _older(studio: Studio, step: int) -> None:
    """Put a record that was written at an older step in the place of the record.

    ``old/step_N.sql`` is a dump of two pieces as the program wrote them then; it is never made
    anew, so that it also shows when a released step has been edited.
    """
    frozen = Path(__file__).with_name("old") / f"step_{step}.sql"
    studio.record.unlink()
    with closing(sqlite3.connect(studio.record)) as db:
        db.executescript(frozen.read_text(encoding="utf-8"))
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {step}")
        db.execute("PRAGMA journal_mode = WAL")


def _shape(record: Path) -> dict[str, str]:
    """Tables, indexes and triggers, without the white space of their definitions."""
    with closing(sqlite3.connect(record)) as db:
        rows = db.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL")
        return {name: " ".join(sql.replace('"', "").split()) for name, sql in rows}


@pytest.mark.parametrize("step", range(1, LATEST))
def test_an_older_record_is_copied_and_brought_up_to_date(
    studio: Studio, tmp_path: Path, step: int
) -> None:
    _older(studio, step)
    opened = open_studio(studio.folder)
    with opened.reading() as db:
        assert db.execute("PRAGMA user_version").fetchone()[0] == LATEST
    assert is_sound(opened.record)
    assert _shape(opened.record) == _shape(init_studio(tmp_path / "new").record)
    rows = piece_list(opened)
    assert [(row.code, row.grade) for row in rows] == [("K01", "first"), ("K02", "refire")]
    verdict = piece_view(opened, "K02").verdict
    assert verdict is not None
    assert verdict.verdict.grade == "refire"
    (copy,) = opened.backups.iterdir()
    assert is_sound(copy)
    with closing(sqlite3.connect(copy)) as db:
        assert db.execute("PRAGMA user_version").fetchone()[0] == step


def test_a_step_that_fails_leaves_the_step_before(
    studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    _older(studio, 1)
    broken = (*STEPS[:1], STEPS[1] + "\nINSERT INTO no_such_table VALUES (1);\n")
    monkeypatch.setattr("grader.record.schema.STEPS", broken)
    with pytest.raises(sqlite3.OperationalError):
        open_studio(studio.folder)
    with closing(sqlite3.connect(studio.record)) as db:
        assert db.execute("PRAGMA user_version").fetchone()[0] == 1
        tables = {row[0] for row in db.execute("SELECT name FROM sqlite_master")}
        assert "comparisons" not in tables
    monkeypatch.undo()
    assert len(piece_list(open_studio(studio.folder))) == 2


def test_a_newer_record_is_refused_and_left_alone(studio: Studio) -> None:
    with closing(sqlite3.connect(studio.record)) as db:
        db.execute(f"PRAGMA user_version = {LATEST + 1}")
        db.commit()
    before = studio.record.read_bytes()
    with pytest.raises(NewerRecordError, match="later version") as told:
        open_studio(studio.folder)
    assert "Update the program" in str(told.value)
    with pytest.raises(NewerRecordError):
        init_studio(studio.folder)
    assert studio.record.read_bytes() == before
    assert not list(studio.backups.iterdir())


def _emptied(data: bytes) -> bytes:
    return b""


def _halved(data: bytes) -> bytes:
    return data[: len(data) // 2]


def _beheaded(data: bytes) -> bytes:
    return b"\x00" * 100 + data[100:]


def _scribbled(data: bytes) -> bytes:
    # Whole pages of 4096 bytes, behind the first, which holds the schema.
    middle = len(data) // 4096 // 2 * 4096
    return data[:middle] + os.urandom(8 * 4096) + data[middle + 8 * 4096 :]


def _other(data: bytes) -> bytes:
    return b"This is a shopping list, not a record of pots.\n" * 200


@pytest.mark.parametrize("harm", [_emptied, _halved, _beheaded, _scribbled, _other])
def test_a_damaged_record_is_named_and_never_written_to(
    studio: Studio, tmp_path: Path, harm: object
) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    assert callable(harm)
    bad = harm(studio.record.read_bytes())
    studio.record.write_bytes(bad)
    for attempt in (open_studio, init_studio):
        with pytest.raises(DamagedRecordError, match="damaged") as told:
            attempt(studio.folder)
        assert "left as it is" in str(told.value)
        assert studio.record.read_bytes() == bad


def test_damage_names_the_newest_copy(studio: Studio) -> None:
    copy = back_up(studio, label="by-hand")
    studio.record.write_bytes(b"")
    with pytest.raises(DamagedRecordError, match=copy.name):
        open_studio(studio.folder)
    shutil.copyfile(copy, studio.record)
    assert piece_list(open_studio(studio.folder)) == ()


def test_copies_are_kept_and_do_not_pile_up(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert list(studio.backups.iterdir()) == []
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    (copy,) = studio.backups.iterdir()
    assert is_sound(copy)
    open_studio(studio.folder)
    assert list(studio.backups.iterdir()) == [copy]
    for day in range(1, 10):
        moment = f"2027-01-0{day}T08:00:00.000Z"
        monkeypatch.setattr(studio_module, "stamp", lambda moment=moment: moment)
        open_studio(studio.folder)
    names = sorted(path.name for path in studio.backups.iterdir())
    assert [name[7:15] for name in names] == [f"2027010{day}" for day in range(3, 10)]
    monkeypatch.setattr(studio_module, "back_up", _no_room)
    monkeypatch.setattr(studio_module, "stamp", lambda: "2027-01-10T08:00:00.000Z")
    assert len(piece_list(open_studio(studio.folder))) == 3


def _no_room(studio: Studio, *, label: str) -> Path:
    raise FullDiskError("the disk is full")


def test_a_damaged_record_is_put_back_as_the_message_says(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    expected = contents(studio)
    studio.record.write_bytes(_scribbled(studio.record.read_bytes()))
    with pytest.raises(DamagedRecordError, match=r"remove record\.sqlite-wal and") as met:
        open_studio(studio.folder)
    (copy,) = studio.backups.iterdir()
    assert f"put backups/{copy.name} in its place" in str(met.value)
    for end in ("", "-wal", "-shm"):
        studio.record.with_name(studio.record.name + end).unlink(missing_ok=True)
    shutil.copyfile(copy, studio.record)
    assert contents(open_studio(studio.folder)) == expected


def test_damage_met_while_reading_is_named_too(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    studio.record.write_bytes(_scribbled(studio.record.read_bytes()))
    with pytest.raises(DamagedRecordError), studio.reading() as db:
        for table in ("findings", "verdicts", "events", "photos", "photo_reports", "now_pieces"):
            db.execute(f"SELECT * FROM {table}").fetchall()


def test_another_programs_database_is_refused(studio: Studio) -> None:
    studio.record.unlink()
    with closing(sqlite3.connect(studio.record)) as db:
        db.execute("CREATE TABLE songs (title TEXT)")
        db.commit()
    before = studio.record.read_bytes()
    with pytest.raises(RecordError, match="not a record of this program"):
        open_studio(studio.folder)
    assert studio.record.read_bytes() == before


def test_a_record_that_has_gone_is_not_made_anew(studio: Studio) -> None:
    studio.record.unlink()
    with pytest.raises(RecordError), studio.reading() as db:
        db.execute("SELECT 1 FROM pieces")
    assert not studio.record.exists()


# --- the connection ---------------------------------------------------------------------------


def test_an_error_in_a_transaction_keeps_nothing(studio: Studio) -> None:
    with pytest.raises(ValueError, match="in between"), studio.writing() as db:
        db.execute("INSERT INTO firings (code, added_at) VALUES ('F1', 'now')")
        raise ValueError("in between")
    with studio.reading() as db:
        assert db.execute("SELECT count(*) FROM firings").fetchone()[0] == 0


def test_reading_cannot_write(studio: Studio) -> None:
    with pytest.raises(RecordError), studio.reading() as db:
        db.execute("INSERT INTO firings (code, added_at) VALUES ('F1', 'now')")


def test_a_writer_that_does_not_end_is_named(
    studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(studio_module, "_WAIT_S", 0.05)
    with (
        studio.writing(),
        pytest.raises(BusyRecordError, match="another window"),
        studio.writing(),
    ):
        pass


def test_a_full_disk_is_named_and_costs_nothing(studio: Studio) -> None:
    # max_page_count makes SQLite itself meet the end of the disk,
    # https://sqlite.org/pragma.html#pragma_max_page_count
    with pytest.raises(FullDiskError, match="Make room"), studio.writing() as db:
        pages = db.execute("PRAGMA page_count").fetchone()[0]
        db.execute(f"PRAGMA max_page_count = {pages + 2}")
        for number in range(5000):
            db.execute("INSERT INTO firings (code, added_at) VALUES (?, ?)", (f"F{number}", "x"))
    assert is_sound(studio.record)
    with studio.reading() as db:
        assert db.execute("SELECT count(*) FROM firings").fetchone()[0] == 0
