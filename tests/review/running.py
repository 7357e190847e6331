"""The real command in a process of its own, as the maker starts it."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from threading import Thread

_START = """
import argparse, sys
from grader.errors import GraderError
from grader.review import serve
from grader.review.cli import add_commands
{change}
parser = argparse.ArgumentParser(prog="grader")
add_commands(parser.add_subparsers(required=True))
values = parser.parse_args()
try:
    sys.exit(values.command(values))
except GraderError as error:
    print(f"grader: {{error}}", file=sys.stderr)
    sys.exit(error.exit_code)
"""

WATCH = """
import sys
def watch(event, values):
    if event in ("socket.connect", "socket.sendto", "socket.getaddrinfo", "socket.gethostbyname"):
        place = values[0] if event.startswith("socket.get") else values[1]
        host = place[0] if isinstance(place, tuple) else place
        if host not in ("127.0.0.1", "localhost", None):
            print("REACHED", event, host, flush=True)
sys.addaudithook(watch)
"""
"""A change that prints REACHED whenever the program turns to another machine."""

_PATIENCE_S = 60.0  # a busy machine takes half a minute to load the libraries


@dataclass
class Running:
    """A running command and what it has printed so far."""

    process: subprocess.Popen[str]
    lines: list[str] = field(default_factory=list)

    @property
    def text(self) -> str:
        return "\n".join(self.lines)

    def said(self, pattern: str) -> re.Match[str]:
        """Wait for a line, and return the last one that matches."""
        ends = time.monotonic() + _PATIENCE_S
        while time.monotonic() < ends:
            for line in reversed(list(self.lines)):
                if found := re.search(pattern, line):
                    return found
            if self.process.poll() is not None:
                break
            time.sleep(0.05)
        raise AssertionError(f"{pattern!r} was not said:\n{self.text}")

    @property
    def address(self) -> str:
        return self.said(r"^Here +(http://\S+)/$")[1]

    @property
    def code(self) -> str:
        found = self.said(r"^Code +(\d{3}) (\d{3})$")
        return found[1] + found[2]


@contextmanager
def running(words: Sequence[str], *, change: str = "") -> Iterator[Running]:
    """Run ``grader`` with these words until the block is left; then it is ended with Ctrl-C."""
    with started([sys.executable, "-c", _START.format(change=change), *words]) as command:
        yield command


def _hear_ctrl_c() -> None:
    """A shell starts what runs in its background deaf to Ctrl-C, and children inherit that."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@contextmanager
def started(command: Sequence[str]) -> Iterator[Running]:
    """Run any command until the block is left."""
    process = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        env=os.environ | {"PYTHONIOENCODING": "utf-8", "PYTHONUNBUFFERED": "1"},
        cwd=Path(__file__).parent.parent.parent,
        preexec_fn=_hear_ctrl_c if os.name == "posix" else None,
    )
    one = Running(process)
    reader = Thread(target=lambda: one.lines.extend(_lines(process)), daemon=True)
    reader.start()
    try:
        yield one
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGINT)
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
        process.wait(20)
        reader.join(5)


def _lines(process: subprocess.Popen[str]) -> Iterator[str]:
    assert process.stdout is not None
    for line in process.stdout:
        yield line.rstrip("\n")
