"""Everything out again: CSV, JSON and photos that any other program can use."""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from grader.lists import safe_text
from grader.record.clock import stamp
from grader.record.errors import RecordError, told
from grader.record.events import Event, in_force, load_events, standing
from grader.record.files import sync_folder
from grader.record.photos import photo_file
from grader.record.pieces import photos_of, rounds_of, words_now
from grader.record.studio import Studio
from grader.record.tables import TABLES, tables_text
from grader.record.verdicts import load_verdict

EXPORT_VERSION = 1
"""Stands in ``record.json``; raised whenever a key changes its meaning."""

_RESERVED = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)$", re.IGNORECASE)


def export_record(
    studio: Studio,
    folder: Path,
    *,
    photos: bool = True,
    progress: Callable[[int, int, str], object] | None = None,
) -> Path:
    """Write the whole record into a new folder.

    It holds ``tables.md`` (what everything means), ``csv/`` (each table as it is),
    ``record.json`` (pieces with their firings, findings, verdicts and decisions),
    ``rules.toml``, and ``photos/`` (the originals as PIECE/refire-N/VIEW).

    Parameters
    ----------
    studio : Studio
    folder : Path
        Must not exist, or be empty.
    photos : bool
        False to leave the photos out.
    progress : callable, optional
        Called with (pieces done, pieces in all, code).

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RecordError
        The folder holds something, or cannot be written to. Nothing half-written stays.
    """
    folder = folder.expanduser().absolute()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise RecordError(
            "this folder is there already and not empty",
            where=str(folder),
            remedy="Name a new folder for the export",
        )
    if folder.resolve().is_relative_to(studio.folder.resolve()):
        raise RecordError(
            "this folder lies within the studio folder",
            where=str(folder),
            remedy="Name one outside, so that the export does not become part of the record",
        )
    made = folder.with_name(f".part-{folder.name}-{os.getpid()}")
    with told(folder):
        try:
            (made / "csv").mkdir(parents=True)
            with studio.reading() as db:
                _tables(db, made / "csv")
                _pieces(studio, db, made, photos, progress)
            (made / "tables.md").write_text(tables_text(), encoding="utf-8")
            if studio.rules_file.is_file():
                shutil.copyfile(studio.rules_file, made / "rules.toml")
            if folder.exists():
                folder.rmdir()
            made.rename(folder)
            sync_folder(folder.parent)
        finally:
            shutil.rmtree(made, ignore_errors=True)
    return folder


def table_csv(db: sqlite3.Connection, table: str) -> Iterator[list[str]]:
    """Yield the rows of a table as cells, the header first."""
    cursor = db.execute(f"SELECT * FROM {table}")
    yield [column[0] for column in cursor.description]
    for row in cursor:
        yield [_cell(value) for value in row]


def _tables(db: sqlite3.Connection, folder: Path) -> None:
    for table in TABLES:
        with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(table_csv(db, table))


def _cell(value: object) -> str:
    if value is None:
        return ""
    # repr gives the shortest digits that read back as the same number.
    return safe_text(value) if isinstance(value, str) else repr(value)


def _pieces(
    studio: Studio,
    db: sqlite3.Connection,
    made: Path,
    with_photos: bool,
    progress: Callable[[int, int, str], object] | None,
) -> None:
    pieces = db.execute(
        "SELECT id, code FROM pieces WHERE id IN (SELECT piece_id FROM now_pieces) "
        "ORDER BY sort_key, code"
    ).fetchall()
    used: set[str] = set()
    head = {"version": EXPORT_VERSION, "made_at": stamp(), "studio": _settings(db)}
    with (made / "record.json").open("w", encoding="utf-8") as file:
        # Piece by piece: a record of many years need not fit in memory.
        file.write(json.dumps(head, ensure_ascii=False)[:-1] + ', "pieces": [')
        for count, (piece_id, code) in enumerate(pieces, start=1):
            piece = _piece(studio, db, piece_id, code, made if with_photos else None, used)
            file.write(("," if count > 1 else "") + "\n")
            file.write(json.dumps(piece, ensure_ascii=False, allow_nan=False))
            if progress is not None:
                progress(count, len(pieces), code)
        file.write("\n]}\n")


def _settings(db: sqlite3.Connection) -> dict[str, str]:
    return dict(db.execute("SELECT key, value FROM studio WHERE key <> 'id'").fetchall())


def _piece(
    studio: Studio,
    db: sqlite3.Connection,
    piece_id: int,
    code: str,
    made: Path | None,
    used: set[str],
) -> dict[str, Any]:
    events = load_events(db, piece_id)
    rounds = []
    for round_ in rounds_of(db, piece_id):
        said = standing(events, round_.id)
        verdicts = db.execute(
            "SELECT id FROM verdicts WHERE round_id = ? ORDER BY id", (round_.id,)
        ).fetchall()
        photos = []
        for photo in photos_of(db, round_.id):
            file = None
            if made is not None:
                suffix = Path(photo.file).suffix
                place = f"{_safe(code)}/refire-{round_.number}/{_safe(photo.view)}"
                file = _copied(studio, photo.file, made, f"photos/{place}", suffix, used)
            photos.append(
                {
                    "file": file,
                    "sha256": photo.sha256,
                    "name": photo.name,
                    "view": photo.view,
                    "turn_deg": photo.turn_deg,
                    "captured_at": photo.captured_at or None,
                }
            )
        rounds.append(
            {
                "refires_before": round_.refires,
                "opened_at": round_.opened_at,
                "because": round_.because,
                "facts": words_now(db, piece_id, round_.id),
                "photos": photos,
                "verdicts": [_verdict(db, row[0]) for row in verdicts],
                "decided": said.grade,
                "reason": said.reason,
                "marks": _marks(db, round_.id),
            }
        )
    counting = {event.id for event in in_force(events)}
    last = standing(events, 0)
    return {
        "piece": code,
        "fate": last.fate or None,
        "price": last.price,
        "reference": last.reference,
        "rounds": rounds,
        "history": [_event(event, event.id in counting) for event in events],
    }


def _verdict(db: sqlite3.Connection, verdict_id: int) -> dict[str, Any]:
    stored = load_verdict(db, verdict_id)
    return {
        "grade": stored.verdict.grade,
        "made_at": stored.made_at,
        "grader": stored.grader,
        "analysis": stored.analysis,
        "rules": stored.rules_title,
        "rules_sha256": stored.rules_sha256,
        "reasons": [
            {"fault": each.fault, "rule": each.rule, "text": each.text}
            for each in stored.verdict.reasons
        ],
        "cautions": list(stored.verdict.cautions),
        "remedies": list(stored.verdict.remedies),
        "price": stored.verdict.price,
        "discard": stored.verdict.discard,
        "decor_only": stored.verdict.decor_only,
        "findings": [
            {
                "id": found_id,
                "fault": each.finding.fault,
                "photo": each.finding.photo,
                "view": each.finding.view,
                "bbox_px": list(each.finding.bbox_px),
                "outline_px": [list(point) for point in each.finding.outline_px],
                "zone": each.finding.zone,
                "diameter_mm": each.finding.diameter_mm,
                "area_mm2": each.finding.area_mm2,
                "shift_de00": each.finding.shift_de00,
                "certainty": each.finding.certainty,
                "severity": each.severity,
                "weight": each.weight,
                "why": each.finding.why,
            }
            for found_id, each in zip(stored.finding_ids, stored.verdict.weighed, strict=True)
        ],
    }


def _marks(db: sqlite3.Connection, round_id: int) -> list[dict[str, Any]]:
    rows = db.execute(
        "SELECT state, fault, before_id, after_id, text FROM marks WHERE comparison_id = "
        "(SELECT max(id) FROM comparisons WHERE round_id = ?) ORDER BY position",
        (round_id,),
    )
    keys = ("state", "fault", "before", "after", "text")
    return [dict(zip(keys, row, strict=True)) for row in rows]


def _event(event: Event, counts: bool) -> dict[str, Any]:
    return {
        "id": event.id,
        "at": event.said_at,
        "kind": event.kind,
        "subject": event.subject or None,
        "value": event.value or None,
        "reason": event.reason or None,
        "undoes": event.undoes,
        "in_force": counts,
        "window": event.window or None,
    }


def _copied(
    studio: Studio, file: str, made: Path, place: str, suffix: str, used: set[str]
) -> str | None:
    source = photo_file(studio, file)
    if not source.is_file():
        return None  # `grader sound` names it; the rest shall get out all the same
    name, count = f"{place}{suffix}", 2
    while name.casefold() in used:
        name, count = f"{place}-{count}{suffix}", count + 1
    used.add(name.casefold())
    target = made / name
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(source, target)
    return name


def _safe(name: str) -> str:
    """Return a file name that every system takes and that leads nowhere else."""
    plain = re.sub(r"[^\w .+-]", "_", name).strip(" .")[:80] or "_"
    return f"_{plain}" if _RESERVED.match(plain) else plain
