"""How the commands of the record speak: lines on stdout, notes on stderr, a bar of progress."""

from __future__ import annotations

import sys
from collections.abc import Callable

from tqdm import tqdm

DONE = 0
INCOMPLETE = 3
"""Exit code: done, but some pieces could not be graded, or something needs the maker."""


def out(text: str) -> None:
    print(plain(text))


def note(text: str) -> None:
    print(f"grader: {plain(text)}", file=sys.stderr)


def plain(text: str) -> str:
    """One line without control signs: a name must not move the cursor of a terminal."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


class bar:  # a function to its callers
    """A progress bar on stderr, where that is a terminal, as a callable for `Progress`."""

    def __init__(self, what: str) -> None:
        self._bar = tqdm(desc=what, unit="piece", leave=False, disable=None)

    def __enter__(self) -> Callable[[int, int, str], None]:
        return self._step

    def __exit__(self, *error: object) -> None:
        self._bar.close()

    def _step(self, done: int, total: int, code: str) -> None:
        self._bar.total = total
        self._bar.update(done - self._bar.n)
