"""A studio of tests: photos without pixels, and an analysis that reads their bytes."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from grader.batch import Batch, PieceEntry, Shot
from grader.facts import PieceFacts
from grader.findings import Finding, PhotoReport, PieceSurvey, Problem
from grader.record.add import Added, add_batch
from grader.record.looking import Analysis
from grader.record.rulebook import Rulebook, rulebook
from grader.record.schema import HISTORY
from grader.record.studio import Studio

SIDES = ("front", "right", "back", "left")
MORNING = datetime(2026, 11, 20, 9, 0)

BOOK: Rulebook = rulebook()


def look_at_bytes(entry: PieceEntry, session: object = None) -> PieceSurvey:
    """Find what the bytes of the photos spell out: ``fault x y size_mm certainty`` a line."""
    reports, findings = [], []
    for shot in entry.shots:
        lines = shot.path.read_bytes().decode().splitlines()
        reports.append(
            PhotoReport(
                shot.name,
                shot.view,
                size_px=(2000, 1500),
                problems=(Problem("note", "Made for a test."),),
                px_per_mm=10.0,
                scale_from="marker",
                colour_from="chart",
                chart_de00=1.25,
                piece_bbox_px=(600, 200, 800, 1000),
                smallest_judged_mm=0.5,
            )
        )
        for line in lines[1:]:
            fault, x, y, size_mm, certainty = line.split()
            findings.append(
                a_finding(shot, fault, int(x), int(y), float(size_mm), float(certainty))
            )
    return PieceSurvey(entry.code, tuple(reports), tuple(findings), frozenset({"clay", "painted"}))


def a_finding(shot: Shot, fault: str, x: int, y: int, size_mm: float, certainty: float) -> Finding:
    """A square finding with its upper left corner at (x, y), at 10 px/mm."""
    side = round(10 * size_mm)
    return Finding(
        fault=fault,  # type: ignore[arg-type]
        photo=shot.name,
        view=shot.view,
        bbox_px=(x, y, side, side),
        outline_px=((x, y), (x + side, y), (x + side, y + side), (x, y + side)),
        zone="painted",
        diameter_mm=size_mm,
        area_mm2=size_mm * size_mm / 3,  # a third has no finite binary expansion
        height_share=side / 1000,
        shift_de00=7.1,
        certainty=certainty,
        why=f"A {fault} for a test.",
        measures=(("depth", 0.1 + 0.2, "mm"),),
    )


ANALYSIS = Analysis("test 1", look_at_bytes)


def a_batch(
    folder: Path,
    pieces: dict[str, dict[str, Sequence[str]]],
    *,
    taken: datetime = MORNING,
    facts: dict[str, dict[str, Any]] | None = None,
) -> Batch:
    """Write photos and name them as a batch.

    Parameters
    ----------
    folder : Path
    pieces : dict
        Code to view to what `look_at_bytes` finds there.
    taken : datetime
        When the photos were taken; a minute apart.
    facts : dict
        Code to what is known beyond finish, decoration and form.
    """
    entries = []
    for code, views in pieces.items():
        shots = []
        for minute, (view, lines) in enumerate(views.items()):
            path = folder / code / f"{view}.jpg"
            path.parent.mkdir(parents=True, exist_ok=True)
            # The head makes each photo's content its own.
            path.write_text("\n".join([f"{folder.name} {code} {view} {taken}", *lines]))
            moment = taken + timedelta(minutes=minute)
            shots.append(Shot(f"{code}/{view}.jpg", path, view, moment))
        known: dict[str, Any] = {
            "piece": code,
            "design": "newt",
            "form": "beaker",
            "finish": "glazed",
            "decorated": True,
            "price": 30.0,
        }
        known |= (facts or {}).get(code, {})
        entries.append(PieceEntry(code, PieceFacts(**known), tuple(shots)))
    return Batch(folder, tuple(entries))


def four_sides(**found: Sequence[str]) -> dict[str, Sequence[str]]:
    """The four sides of a piece; views that are not named show nothing."""
    return {view: found.get(view, ()) for view in SIDES}


def three_pieces() -> dict[str, dict[str, Sequence[str]]]:
    """One clean piece, one to refire, one second."""
    return {
        "K01": four_sides(),
        "K02": four_sides(front=["flake 900 600 1.0 0.9", "flake 700 900 0.8 0.6"]),
        "K03": four_sides(back=["scorch 800 500 20 0.95"]),
    }


def add(studio: Studio, batch: Batch, *, analysis: Analysis = ANALYSIS, **more: Any) -> Added:
    """Add a batch with the analysis and the rules of the tests."""
    return add_batch(studio, batch, analysis=analysis, book=BOOK, workers=1, **more)


_TIMES = ("_at", "made_at")
_LEFT_OUT = {"source_key", "inputs_sha256", "grader"}


def contents(studio: Studio) -> dict[str, list[Any]]:
    """All that the record holds, without moments and paths, to compare two records."""
    tables: dict[str, list[Any]] = {}
    with studio.reading() as db:
        for table in (*HISTORY, "now_facts", "now_photos", "now_pieces"):
            cursor = db.execute(f"SELECT * FROM {table}")
            names = [column[0] for column in cursor.description]
            kept = [
                i
                for i, name in enumerate(names)
                if not (name.endswith("_at") and name != "captured_at") and name not in _LEFT_OUT
            ]
            tables[table] = sorted(json.dumps([row[i] for i in kept]) for row in cursor)
    return tables


def is_sound(record: Path) -> bool:
    """Ask SQLite itself (https://sqlite.org/pragma.html#pragma_integrity_check)."""
    db = sqlite3.connect(record)
    try:
        whole = [row[0] for row in db.execute("PRAGMA integrity_check")] == ["ok"]
        return whole and not db.execute("PRAGMA foreign_key_check").fetchall()
    finally:
        db.close()


def digest_of_folder(folder: Path) -> str:
    """One digest of every file below a folder, names included."""
    digest = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            digest.update(str(path.relative_to(folder)).encode() + path.read_bytes())
    return digest.hexdigest()
