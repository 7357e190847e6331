"""The errors a user can meet: one small tree, each message says what, where and the remedy.

The command line and the review pages turn them into text in one place each; nothing else
catches `GraderError`.
"""

from __future__ import annotations


class GraderError(Exception):
    """Something the maker can put right.

    Parameters
    ----------
    what : str
        What is wrong, in plain words, without a final stop.
    where : str, optional
        The file, folder, key or row that it is about.
    remedy : str, optional
        What to do about it.
    """

    exit_code = 1

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        super().__init__(what, where, remedy)

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head}. {self.remedy}" if self.remedy else f"{head}."

    def __reduce__(self) -> tuple[object, ...]:
        # Keyword-only arguments do not survive the default pickling between worker processes.
        return (_rebuild, (type(self), self.what, self.where, self.remedy))


def _rebuild(kind: type[GraderError], what: str, where: str, remedy: str) -> GraderError:
    return kind(what, where=where, remedy=remedy)


class UsageError(GraderError):
    """The command was called with words or values that it does not take."""

    exit_code = 2


class BatchError(GraderError):
    """The folder of photos cannot be worked on: missing, empty, or without photos."""


class PhotoError(GraderError):
    """One photo cannot be read or used; the rest of the batch can go on."""


class FactsError(GraderError):
    """`pieces.csv` cannot be understood."""


class RulesError(GraderError):
    """A rules file has a missing, unknown or impossible key."""


class OutputError(GraderError):
    """A result cannot be written where it was asked for."""
