"""Long work beside the pages, each piece of it in a process of its own.

A page's script must never do it, and a browser may be closed meanwhile. Whoever comes back sees
how it stands.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path

import grader

_lock = threading.Lock()
_processes: dict[tuple[str, ...], subprocess.Popen[bytes]] = {}


def start(module: str, *words: str) -> None:
    """Begin ``python -m MODULE WORDS``, unless the same is being done already."""
    key = (module, *words)
    with _lock:
        known = _processes.get(key)
        if known is not None and known.poll() is None:
            return
        _processes[key] = subprocess.Popen(
            [sys.executable, "-m", *key],
            env={**os.environ, "PYTHONPATH": _where_this_program_is()},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )


def _where_this_program_is() -> str:
    # The program may run from its folder without being installed, from anywhere.
    own = str(Path(grader.__file__).resolve().parents[1])
    return os.pathsep.join(filter(None, [own, os.environ.get("PYTHONPATH", "")]))


def is_running(module: str, *words: str) -> bool:
    """Tell whether that work is going on."""
    known = _processes.get((module, *words))
    return known is not None and known.poll() is None


def trouble(module: str, *words: str) -> str:
    """Return why the work ended early, once, in its own last words; empty where it did not."""
    key: tuple[str, ...] = (module, *words)
    with _lock:
        known = _processes.get(key)
        if known is None or known.poll() in (None, 0):
            return ""
        del _processes[key]
    said = known.stderr.read().decode(errors="replace").strip() if known.stderr else ""
    return said.splitlines()[-1] if said else "It was stopped."


def wait(module: str, words: Sequence[str], timeout_s: float) -> None:
    """Wait until that work has ended, for tests and for the end of the server."""
    known = _processes.get((module, *words))
    if known is not None:
        known.wait(timeout_s)
