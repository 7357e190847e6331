"""How the commands speak: lines on stdout, notes on stderr, a bar of progress."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from tqdm import tqdm

DONE = 0
FAILED = 1
INCOMPLETE = 3
"""Exit code: done, but some photos could not be used, some pieces not graded, or something needs
the maker; named on stderr."""


def out(text: str) -> None:
    """Say a line."""
    print(plain(text))


def note(text: str) -> None:
    """Say a line on stderr, where it does not get into a result that is passed on."""
    print(f"grader: {plain(text)}", file=sys.stderr)


def plain(text: str) -> str:
    """One line without control signs: a file name must not move the cursor of a terminal."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


@contextmanager
def bar(what: str) -> Iterator[Callable[..., None]]:
    """Show progress on stderr, where that is a terminal; call with (done, total, ...)."""
    with tqdm(desc=what, unit="piece", leave=False, disable=None) as shown:

        def step(done: int, total: int, *_: object) -> None:
            shown.total = total
            shown.update(done - shown.n)

        yield step
