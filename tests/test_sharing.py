"""Work shared among processes: each result as it comes, and no item costs another."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import psutil
import pytest

from grader import sharing
from grader.errors import PhotoError
from grader.sharing import Failed, each_result


def halved(number: int) -> int:
    if number == 99:
        os._exit(9)  # as the system does to a process for which there is no memory
    if number < 0:
        raise PhotoError("is negative", where=str(number), remedy="Take another")
    if number % 2:
        raise ValueError("odd")
    return number // 2


@pytest.mark.parametrize("workers", [1, 2])
def test_each_item_has_its_result_or_its_reason(workers: int) -> None:
    results = dict(each_result(halved, [2, 3, 4, -1, 10], workers=workers))
    assert {position: results[position] for position in (0, 2, 4)} == {0: 1, 2: 2, 4: 5}
    assert results[1] == "The analysis failed (ValueError: odd)."
    assert results[3] == "-1: is negative. Take another."
    assert isinstance(results[1], Failed) and isinstance(results[3], Failed)


def test_a_process_that_dies_costs_only_its_own_item() -> None:
    results = dict(each_result(halved, [2, 99, 4], workers=2))
    assert (results[0], results[2]) == (1, 2)
    assert "ended by the system" in str(results[1])


def test_nothing_is_worked_on_that_nobody_asks_for() -> None:
    done: list[int] = []
    results = each_result(lambda number: done.append(number), [1, 2, 3], workers=1)
    next(results)
    results.close()  # type: ignore[attr-defined]
    assert done == [1]


def test_no_items_give_no_results() -> None:
    assert list(each_result(halved, [], workers=None)) == []


_PROGRAM = """
import time
from grader.sharing import each_result
from tests.test_sharing import process_id
if __name__ == "__main__":
    for _, number in each_result(process_id, list(range(8)), workers=2):
        print(number, flush=True)
    time.sleep(60)
"""


def process_id(number: int) -> int:
    time.sleep(0.2)
    return os.getpid()


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="looks processes up in /proc")
def test_workers_end_with_a_program_that_is_killed(tmp_path: Path) -> None:
    program = tmp_path / "program.py"
    program.write_text(_PROGRAM)
    root = str(Path(__file__).parent.parent)
    with subprocess.Popen(
        [sys.executable, str(program)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": root},
    ) as process:
        assert process.stdout is not None
        worker = int(process.stdout.readline())
        assert Path(f"/proc/{worker}").exists()
        process.kill()
    deadline = time.monotonic() + 10
    while _runs(worker) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not _runs(worker)


def _runs(process: int) -> bool:
    try:
        state = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return False
    return state != "Z"  # ended, but nobody has asked how


def test_files_kept_in_memory_do_not_cost_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Linux fills free memory with files it has read; that is free memory all the same."""
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0, 1, 2, 3}, raising=False)
    monkeypatch.setattr(
        psutil, "virtual_memory", lambda: SimpleNamespace(free=10**8, available=4 * 10**9)
    )
    assert sharing._workers(None, 21) == 2
    assert sharing._workers(3, 21) == 3
