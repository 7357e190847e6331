"""Options that several commands share, and what their values may be."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T", int, float)


def add_marker(parser: argparse.ArgumentParser, *, default: float | None = 20.0) -> None:
    """Add ``--marker-mm``."""
    parser.add_argument(
        "--marker-mm",
        type=_length,
        default=default,
        metavar="MM",
        help="side of the printed marker (default: 20)",
    )


def add_jobs(parser: argparse.ArgumentParser) -> None:
    """Add ``--jobs``."""
    parser.add_argument(
        "--jobs",
        type=_count,
        metavar="N",
        help="pieces to look at side by side (default: as many as this machine can)",
    )


def _length(text: str) -> float:
    # A marker smaller than 1 mm cannot be printed, one larger than 1 m not be stood by a pot.
    return _within(text, float, 1, 1000, "a length from 1 to 1000 mm")


def _count(text: str) -> int:
    return _within(text, int, 1, 256, "a whole number from 1 to 256")


def _within(text: str, kind: Callable[[str], T], low: int, high: int, what: str) -> T:
    try:
        value = kind(text)
    except ValueError:
        value = None
    if value is None or not low <= value <= high:
        raise argparse.ArgumentTypeError(f"{text!r} is not {what}")
    return value
