"""A set of rules as the record keeps it: every value written out, under its own digest.

With the values themselves in the record, a verdict of years ago can be worked out again after
the shipped rules and the studio's have both changed.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from grader.facts import PieceFacts
from grader.findings import PieceSurvey
from grader.record.clock import stamp
from grader.record.studio import Studio
from grader.rules import Rules, grade_piece
from grader.rules.load import build_rules, lay_over, read_values
from grader.verdict import Verdict

Grade = Callable[[PieceFacts, PieceSurvey, int], Verdict]
"""Facts, survey, and the number of refires done; returns the verdict."""


@dataclass(frozen=True, slots=True)
class Rulebook:
    """Rules that can be kept and asked.

    Attributes
    ----------
    title : str
        Name and version, for lists.
    text : str
        Every value, as JSON with sorted keys.
    sha256 : str
        Of `text`, 64 hexadecimal digits.
    grade : callable
        See `Grade`.
    """

    title: str
    text: str
    sha256: str
    grade: Grade


def rulebook(path: Path | None = None) -> Rulebook:
    """Read a rules file, laid over the shipped rules.

    Parameters
    ----------
    path : Path, optional
        The shipped rules alone where None.

    Raises
    ------
    RulesError
    """
    values = read_values(path)
    return _book(build_rules(values), json.dumps(values, sort_keys=True))


def studio_rulebook(studio: Studio) -> Rulebook:
    """Read the studio's own rules; the shipped ones where its file is missing."""
    file = studio.rules_file
    return rulebook(file if file.is_file() else None)


@lru_cache(maxsize=32)
def rulebook_of(text: str) -> Rulebook:
    """Make the rules that a text of the record stands for.

    Parameters
    ----------
    text : str
        As in `Rulebook.text`.
    """
    values = json.loads(text)
    try:
        rules = build_rules(values)
    except KeyError:
        # Kept before the shipped rules had a key that they have now.
        rules = build_rules(lay_over(read_values(), values))
    return _book(rules, text)


def keep_rules(db: sqlite3.Connection, book: Rulebook) -> None:
    """Write the rules into the record, once."""
    db.execute(
        "INSERT INTO rules (sha256, title, text, added_at) VALUES (?, ?, ?, ?) "
        "ON CONFLICT DO NOTHING",
        (book.sha256, book.title, book.text, stamp()),
    )


def _book(rules: Rules, text: str) -> Rulebook:
    def grade(facts: PieceFacts, survey: PieceSurvey, refires_done: int) -> Verdict:
        return grade_piece(facts, survey, rules, refires_done=refires_done)

    digest = hashlib.sha256(text.encode()).hexdigest()
    return Rulebook(rules.title, text, digest, grade)
