"""A record of many years: ten thousand pieces, sixty thousand photos, made without pixels."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from grader.record.bench import photo_by_id, piece_view
from grader.record.decisions import decide_grade, judge_finding, undo
from grader.record.figures import mended_figures
from grader.record.now import refresh
from grader.record.queries import batches, clear_firsts, piece_list, references, review_list
from grader.record.rulebook import keep_rules
from grader.record.studio import Studio, init_studio, open_studio
from grader.record.timeline import timeline
from tests.record.kit import BOOK

PIECES = 10_000
PHOTOS_EACH = 6
BATCH = 50
VIEWS = ("front", "right", "back", "left", "inside", "foot")
AT = "2026-11-20T09:00:00.000Z"

COMMON_S = 0.050
LIST_S = 1.0


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """A studio of that size; every third piece has findings, every second is decided."""
    studio = init_studio(tmp_path_factory.mktemp("large") / "studio")
    with studio.writing() as db:
        keep_rules(db, BOOK)
        for table, rows in _rows():
            marks = ", ".join("?" * len(rows[0]))
            db.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)
        # The state of a few, as the program works it out, shows that the rows are real ones.
        made = db.execute("SELECT * FROM now_pieces WHERE piece_id <= 30").fetchall()
        for piece_id in range(1, 31):
            refresh(db, piece_id)
        again = db.execute("SELECT * FROM now_pieces WHERE piece_id <= 30").fetchall()
        # Waiting, since they were made without the digests of their photos.
        assert again == made
        db.execute("UPDATE now_pieces SET pending = 0")
    return studio


def _rows() -> Iterator[tuple[str, list[tuple[Any, ...]]]]:
    ids = range(1, PIECES + 1)
    yield "batches", [(b, f"load {b}", f"{b}", AT) for b in range(1, PIECES // BATCH + 1)]
    yield "pieces", [(p, f"K{p}", f"k{p:012}", AT) for p in ids]
    yield "rounds", [(p, p, 0, (p - 1) // BATCH + 1, "first photos", AT) for p in ids]
    facts: list[tuple[Any, ...]] = [
        (p, None, name, value, "pieces.csv", AT)
        for p in ids
        for name, value in (
            ("design", ("newt", "moth", "snail", "reeds")[p % 4]),
            ("form", ("bowl", "beaker", "jug")[p % 3]),
            ("finish", "glazed"),
        )
    ]
    facts += [(p, p, "firing", f"F{(p - 1) // BATCH + 1}", "pieces.csv", AT) for p in ids]
    yield "piece_facts", [(number, *fact) for number, fact in enumerate(facts, 1)]
    photos = range(1, PIECES * PHOTOS_EACH + 1)
    digests = [hashlib.sha256(str(p).encode()).hexdigest() for p in photos]
    yield (
        "photos",
        [
            (p, d, f"photos/{d[:2]}/{d}.jpg", f"K/{p}.jpg", 4_000_000, None, 1, AT)
            for p, d in zip(photos, digests, strict=True)
        ],
    )
    yield (
        "placings",
        [(p, p, (p - 1) // PHOTOS_EACH + 1, VIEWS[(p - 1) % PHOTOS_EACH], 0, AT) for p in photos],
    )
    yield "surveys", [(p, p, "1", "0", "made", '["clay"]', AT) for p in ids]
    report = (4000, 3000, 1, "[]", 20.0, "marker", "chart", 1.2, "[1000, 500, 1500, 2000]", 0.25)
    yield (
        "photo_reports",
        [
            (p, (p - 1) // PHOTOS_EACH + 1, p, f"K/{p}.jpg", VIEWS[(p - 1) % PHOTOS_EACH], *report)
            for p in photos
        ],
    )
    spotted = [p for p in ids if p % 3 == 0]
    outline = json.dumps([[1500 + i, 900 + i % 7] for i in range(30)])
    findings = [
        (
            *(0, p, (p - 1) * PHOTOS_EACH + 1 + k, None, "flake" if p % 2 else "pit"),
            *(f"K/{p}.jpg", VIEWS[k], "[1500, 900, 20, 20]", outline, "painted"),
            *(1.0, 0.8, 0.01, 6.0, 0.6 + 0.1 * k, "A spot.", "[]"),
        )
        for p in spotted
        for k in range(3)
    ]
    yield "findings", [(number, *row[1:]) for number, row in enumerate(findings, 1)]
    judged = {p: [[3 * i + k + 1, 0.6 + 0.1 * k] for k in range(3)] for i, p in enumerate(spotted)}
    reasons = json.dumps([["flake", "faults.flake.marked_mm", "Flakes in the paint, front."]])
    yield (
        "verdicts",
        [
            (
                *(p, p, p, BOOK.sha256, "0.1", 0, "{}", json.dumps(judged.get(p, [])), "0"),
                *("refire" if p in judged else "first", reasons, "[]", "[]", None, 0, 0, AT, None),
            )
            for p in ids
        ],
    )
    yield (
        "weights",
        [
            (p, k, number, "slight", "faults.flake.marked_mm", "counts")
            for p, found in judged.items()
            for k, (number, _) in enumerate(found)
        ],
    )
    proposed = [
        (
            *(p, p, "proposed", "proposed", "refire" if p in judged else "first", "", None, p),
            *(None, 0, 0, "", AT),
        )
        for p in ids
    ]
    decided = [
        (
            *(p, p, "accept", "grade", "refire" if p in judged else "first", "", None, p),
            *(None, p, 0, "bench", AT),
        )
        for p in ids
        if p % 2 == 0
    ]
    events = [(number, *row) for number, row in enumerate(proposed + decided, 1)]
    yield "events", events
    last = {row[1]: row[0] for row in events}
    yield "now_pieces", [tuple(_now(p, last[p], p in judged).values()) for p in ids]


def _now(piece: int, last_event: int, spotted: bool) -> dict[str, Any]:
    grade = "refire" if spotted else "first"
    return {
        "piece_id": piece,
        "round_id": piece,
        "batch_id": (piece - 1) // BATCH + 1,
        "number": 0,
        "survey_id": piece,
        "verdict_id": piece,
        "state_id": last_event,
        "photos": PHOTOS_EACH,
        "cover_id": (piece - 1) * PHOTOS_EACH + 1,
        "pending": 1,
        "trouble": "",
        "proposed": grade,
        "why": "Flakes in the paint, front.",
        "faults": ("flake" if piece % 2 else "pit") if spotted else "",
        "discard": 0,
        "decor_only": 0,
        "decided": grade if piece % 2 == 0 else None,
        "reason": "",
        "grade": grade,
        "fate": "",
        "price": None,
        "suggested": None,
        "reference": 0,
        "findings": 3 if spotted else 0,
        "unjudged": 3 if spotted else 0,
        "doubt": 0.4 if spotted else 0.0,
        "design": ("newt", "moth", "snail", "reeds")[piece % 4],
        "form": ("bowl", "beaker", "jug")[piece % 3],
        "firing": f"F{(piece - 1) // BATCH + 1}",
    }


def _usual_s(call: Callable[[int], object], limit_s: float) -> float:
    """The quickest of seven, of more where the machine is busy with other things.

    What else it does meanwhile is no part of the answer, and only ever adds to a time.
    """
    times: list[float] = []
    while len(times) < 7 or (min(times) >= limit_s and len(times) < 60):
        start = time.perf_counter()
        call(len(times) % 7)
        times.append(time.perf_counter() - start)
    return min(times)


def test_the_record_has_that_size(large: Studio) -> None:
    with large.reading() as db:
        assert db.execute("SELECT count(*) FROM pieces").fetchone()[0] == PIECES
        assert db.execute("SELECT count(*) FROM now_photos").fetchone()[0] == 6 * PIECES


def _code(number: int) -> str:
    return f"K{3 * (number * 311 + 7)}"


COMMON: dict[str, Callable[[Studio, int], object]] = {
    "one piece on the bench": lambda s, n: piece_view(s, _code(n)),
    "its history": lambda s, n: timeline(s, _code(n)),
    "a photo by its id": lambda s, n: photo_by_id(s, 100 + n),
    "the pieces of a batch": lambda s, n: piece_list(s, batch_id=n + 1),
    "the pieces of a firing": lambda s, n: piece_list(s, firing=f"F{n + 1}"),
    "what waits in a batch": lambda s, n: review_list(s, batch_id=n + 1),
    "the clear ones of a batch": lambda s, n: clear_firsts(s, batch_id=n + 1),
    "a batch at a glance": lambda s, n: batches(s, batch_id=n + 1),
    "the first page of all pieces": lambda s, n: piece_list(s, most=50, after=50 * n),
    "the first page of the refire list": lambda s, n: piece_list(s, grade="refire", most=50),
    "reference pieces of a design": lambda s, n: references(s, "newt"),
    "what refiring mended": lambda s, n: mended_figures(s),
    "a decision": lambda s, n: decide_grade(s, _code(n), "second", book=BOOK),
    "a judgement": lambda s, n: judge_finding(s, _code(n), _place(n), "right", book=BOOK),
    "taking it back": lambda s, n: undo(s, _code(n), book=BOOK),
}


def _place(number: int) -> int:
    piece = 3 * (number * 311 + 7)
    return 3 * (piece // 3 - 1) + 1


@pytest.mark.parametrize("name", COMMON)
def test_common_questions_take_less_than_fifty_milliseconds(large: Studio, name: str) -> None:
    taken_s = _usual_s(lambda number: COMMON[name](large, number), COMMON_S)
    print(f"{name}: {1000 * taken_s:.1f} ms")
    assert taken_s < COMMON_S


LISTS: dict[str, Callable[[Studio], object]] = {
    "the review list": review_list,
    "all batches at a glance": batches,
    "all pieces": piece_list,
    "all pieces by design": lambda s: piece_list(s, order="design"),
    "all pieces by fault": lambda s: piece_list(s, order="fault"),
    "opening with all checks": lambda s: open_studio(s.folder),
}


@pytest.mark.parametrize("name", LISTS)
def test_whole_lists_open_within_a_second(large: Studio, name: str) -> None:
    taken_s = _usual_s(lambda number: LISTS[name](large), LIST_S)
    print(f"{name}: {1000 * taken_s:.0f} ms")
    assert taken_s < LIST_S


def test_the_review_list_is_whole_and_uncertain_first(large: Studio, tmp_path: Path) -> None:
    rows = review_list(large)
    assert len(rows) >= 0.4 * PIECES
    assert [row.doubt for row in rows] == sorted((row.doubt for row in rows), reverse=True)
    assert rows[0].faults
    assert rows[0].cover is not None
