"""How the tests are shared out among processes, where ``pytest -n auto`` asks for several."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

_LONGEST = (
    "review/test_browser_bench.py",
    "test_invariance.py",
    "record/test_crash.py",
    "record/test_whole.py",
    "review/test_serve.py",
    "test_noise.py",
    "test_outside.py",
    "render/test_scene.py",
    "test_checkup.py",
    "test_survey.py",
    "review/test_browser_share.py",
)
"""Files that take longest, the longest first: begun last, they would leave processes idle."""

_HERE = Path(__file__).parent

_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM")
"""Threads of the libraries for arrays and pictures; they are read when a library is loaded."""


def pytest_configure(config: pytest.Config) -> None:
    """Leave each process one thread where several share the tests: more would wait on each other,
    which costs an eighth of the time."""
    if config.getoption("numprocesses", None):
        for name in _THREADS:
            os.environ.setdefault(name, "1")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Give each file to one process: what its tests share is made once.

    So the tests in the browser, which also measure times, never run beside each other but for
    those of another file.
    """
    from xdist.scheduler import LoadFileScheduling

    # It would begin with the files that have the most tests, which are the quick ones.
    config.option.loadscopereorder = False
    return LoadFileScheduling(config, log)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Begin with the longest files, where several processes share the tests."""
    if hasattr(config, "workerinput"):
        ranks = {_HERE / name: rank for rank, name in enumerate(_LONGEST)}
        items.sort(key=lambda item: ranks.get(item.path, len(ranks)))
