"""The tables themselves: strict, described, and history that only grows."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

import pytest

from grader.record.schema import HISTORY, STEPS, statements
from grader.record.studio import Studio
from grader.record.tables import TABLES, tables_text
from tests.record.kit import a_batch, add, three_pieces


def _names(db: sqlite3.Connection) -> list[str]:
    rows = db.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    )
    return [row[0] for row in rows]


def test_every_table_is_strict(studio: Studio) -> None:
    # https://sqlite.org/stricttables.html
    with studio.reading() as db:
        loose = [row[1] for row in db.execute("PRAGMA table_list") if not row[5]]
    assert [name for name in loose if not name.startswith("sqlite_")] == []


def test_every_table_and_column_is_described(studio: Studio) -> None:
    with studio.reading() as db:
        assert set(_names(db)) == set(TABLES)
        for table, (_, columns) in TABLES.items():
            known = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
            assert sorted(known) == sorted(columns), table
    assert tables_text().count("\n## ") == len(TABLES)


def test_history_and_state_are_all_there_is(studio: Studio) -> None:
    with studio.reading() as db:
        states = {"studio", "now_facts", "now_photos", "now_pieces"}
        assert set(_names(db)) == {*HISTORY, *states}


def test_history_refuses_change_and_removal(studio: Studio, tmp_path: Path) -> None:
    add(studio, a_batch(tmp_path / "b", three_pieces()))
    filled = 0
    for table in HISTORY:
        with studio.writing() as db:
            if db.execute(f"SELECT count(*) FROM {table}").fetchone()[0] == 0:
                continue
            filled += 1
            column = db.execute(f"PRAGMA table_info({table})").fetchall()[-1][1]
            for attempt in (f"UPDATE {table} SET {column} = {column}", f"DELETE FROM {table}"):
                with pytest.raises(sqlite3.IntegrityError, match="history"):
                    db.execute(attempt)
    assert filled >= 12


def test_references_are_enforced(studio: Studio) -> None:
    with pytest.raises(sqlite3.IntegrityError), studio.writing() as db:
        db.execute(
            "INSERT INTO rounds (piece_id, number, batch_id, because, opened_at) "
            "VALUES (99, 0, 99, '', '')"
        )


def test_splitting_keeps_triggers_whole() -> None:
    for step in STEPS:
        parts = list(statements(step))
        assert all(sqlite3.complete_statement(part) for part in parts)
        assert sum(part.startswith("CREATE TRIGGER") for part in parts) == len(
            re.findall("CREATE TRIGGER", step)
        )
    with pytest.raises(ValueError, match="unfinished"):
        list(statements("SELECT 1; SELECT"))
