"""Killed at any moment: the file stays sound, no confirmed word is lost, and work goes on.

Each case forks this process, lets the child work on a studio of its own, and kills it with
SIGKILL after a random time, as a loss of power or a full memory would. `GRADER_KILLS` sets how
often; the release check runs two hundred.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from grader.batch import Batch
from grader.record.bench import piece_view
from grader.record.decisions import decide_grade, judge_finding, undo
from grader.record.events import in_force, load_events
from grader.record.photos import unsound_photos
from grader.record.pieces import piece_id_of
from grader.record.studio import Studio, init_studio, open_studio
from tests.record.kit import (
    BOOK,
    a_batch,
    add,
    contents,
    four_sides,
    is_sound,
)

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")

# Half of them during `add`, half during decisions.
KILLS = int(os.environ.get("GRADER_KILLS", "16"))

CODES = ("K01", "K02", "K03", "K04", "K05")


def _pieces() -> dict[str, Any]:
    flaked = ["flake 900 600 1.0 0.9", "flake 700 900 0.8 0.6"]
    return {code: four_sides(front=flaked[: number % 3]) for number, code in enumerate(CODES)}


def _killed_after(seconds: float, work: Callable[[], None]) -> bool:
    """Do the work in a child and kill it; True where it had ended by itself before."""
    child = os.fork()
    if child == 0:
        try:
            work()
        finally:
            os._exit(0)
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if os.waitpid(child, os.WNOHANG)[0]:
            return True
        time.sleep(0.0005)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def _duration(work: Callable[[], None]) -> float:
    start = time.monotonic()
    _killed_after(60.0, work)
    return time.monotonic() - start


def _add_anew(folder: Path, batch: Batch) -> None:
    add(init_studio(folder, name="x"), batch)


def test_killed_while_adding_it_goes_on_to_the_same_result(tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "b", _pieces())
    _add_anew(tmp_path / "undisturbed", batch)
    expected = contents(open_studio(tmp_path / "undisturbed"))
    usual_s = _duration(lambda: _add_anew(tmp_path / "timed", batch))
    chance = random.Random(5)
    studio, ended, open_ = tmp_path / "studio", 0, 0
    for _ in range(KILLS // 2):
        # Each run goes on with what the last kill left, until one comes to its end.
        if _killed_after(chance.uniform(0, usual_s), lambda: _add_anew(studio, batch)):
            ended += 1
            assert contents(open_studio(studio)) == expected
            shutil.rmtree(studio)
        elif (studio / "record.sqlite").exists():
            opened = open_studio(studio)
            assert is_sound(opened.record)
            assert list(unsound_photos(opened, read_all=True)) == []
            open_ += 1
    _add_anew(studio, batch)
    assert contents(open_studio(studio)) == expected
    assert list(unsound_photos(open_studio(studio), read_all=True)) == []
    assert ended + open_ > 0


def _decide_and_confirm(folder: Path, seed: int, confirmed: int) -> None:
    """Say one thing after the other; what has been said is confirmed through a pipe."""
    studio, chance = open_studio(folder), random.Random(seed)
    while True:
        code = chance.choice(CODES)
        action = chance.randrange(4)
        if action == 0:
            grade = chance.choice(("first", "second", "refire"))
            outcome = decide_grade(studio, code, grade, book=BOOK)  # type: ignore[arg-type]
        elif action == 1 and (found := piece_view(studio, code).findings):
            place = chance.choice(found).stored.place_id
            word = chance.choice(("right", "wrong", "drawing"))
            outcome = judge_finding(studio, code, place, word, book=BOOK)
        elif action == 2 and piece_view(studio, code).can_undo:
            outcome = undo(studio, code, book=BOOK)
        else:
            outcome = decide_grade(studio, code, "first", reason="again", book=BOOK)
        event = outcome.event
        line = f"{event.id} {code} {event.kind} {event.value}\n"
        os.write(confirmed, line.encode())


def test_killed_while_deciding_no_confirmed_word_is_lost(tmp_path: Path) -> None:
    studio = init_studio(tmp_path / "studio")
    add(studio, a_batch(tmp_path / "b", _pieces()))
    chance = random.Random(7)
    confirmed: dict[int, str] = {}
    for turn in range(KILLS - KILLS // 2):
        reader, writer = os.pipe()
        seed = chance.randrange(1 << 30)
        ended = _killed_after(
            chance.uniform(0.02, 0.25),
            lambda seed=seed, writer=writer: _decide_and_confirm(  # type: ignore[misc]
                studio.folder, seed, writer
            ),
        )
        os.close(writer)
        with os.fdopen(reader) as said:
            lines = said.read().splitlines()
        assert not ended, "the child came to an end by itself: it met an error"
        for line in lines:
            number, rest = line.split(" ", 1)
            confirmed[int(number)] = rest
        _check(studio.folder, confirmed)
        assert turn >= 0
    assert confirmed


def _check(folder: Path, confirmed: dict[int, str]) -> None:
    studio: Studio = open_studio(folder)
    assert is_sound(studio.record)
    with studio.reading() as db:
        kept = {
            event.id: f"{code} {event.kind} {event.value}"
            for code in CODES
            for event in load_events(db, piece_id_of(db, code))
        }
        assert {number: kept.get(number) for number in confirmed} == confirmed
        # The present state is never behind the history.
        for code in CODES:
            events = load_events(db, piece_id_of(db, code))
            grades = [
                e.value for e in in_force(events) if e.subject == "grade" and e.kind != "undo"
            ]
            row = db.execute(
                "SELECT decided, state_id FROM now_pieces JOIN pieces ON id = piece_id "
                "WHERE code = ?",
                (code,),
            ).fetchone()
            assert row == (grades[-1] if grades else None, events[-1].id)
