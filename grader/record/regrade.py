"""Other rules over old records: what would change, without touching what the maker decided."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from grader.record.events import load_events, standing
from grader.record.now import propose, refresh, survey_now
from grader.record.pieces import current_round, facts_now
from grader.record.rulebook import Rulebook, studio_rulebook
from grader.record.studio import Studio
from grader.record.verdicts import load_judged
from grader.verdict import Grade, Reason


@dataclass(frozen=True, slots=True)
class Change:
    """A piece whose proposed grade other rules would change.

    Attributes
    ----------
    code : str
    before, after : str
        Grades, as proposed by the verdict that stands and by the rules in question.
    decided : str or None
        The maker's grade, which stays whatever the rules say.
    reasons : tuple of Reason
        Of the new verdict.
    """

    code: str
    before: Grade
    after: Grade
    decided: Grade | None
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Regraded:
    """What other rules would change.

    Attributes
    ----------
    rules_title : str
    looked_at : int
        Pieces whose latest firing was graded again.
    waiting : int
        Pieces left out, since their photos wait to be looked at.
    changes : tuple of Change
    """

    rules_title: str
    looked_at: int
    waiting: int
    changes: tuple[Change, ...]


def regrade(
    studio: Studio,
    book: Rulebook | None = None,
    *,
    codes: Sequence[str] | None = None,
    progress: Callable[[int, int, str], object] | None = None,
) -> Regraded:
    """Grade the latest firing of each piece by other rules; nothing is written.

    Parameters
    ----------
    studio : Studio
    book : Rulebook, optional
        The studio's rules as they are now, where None.
    codes : sequence of str, optional
        Only these pieces.
    progress : callable, optional
        Called with (pieces done, pieces in all, code).
    """
    book = book or studio_rulebook(studio)
    changes = []
    looked_at = waiting = 0
    with studio.reading() as db:
        pieces = _pieces(db.execute, codes)
        for count, (piece_id, code, before, decided) in enumerate(pieces, start=1):
            round_ = current_round(db, piece_id)
            survey_id, seen_all = survey_now(db, round_)
            if survey_id is None or not seen_all or before is None:
                waiting += 1
                continue
            looked_at += 1
            said = standing(load_events(db, piece_id), round_.id)
            verdict = book.grade(
                facts_now(db, code, piece_id, round_.id),
                load_judged(db, survey_id, said).survey,
                round_.refires,
            )
            if verdict.grade != before:
                changes.append(Change(code, before, verdict.grade, decided, verdict.reasons))
            if progress is not None:
                progress(count, len(pieces), code)
    return Regraded(book.title, looked_at, waiting, tuple(changes))


def keep_regrade(
    studio: Studio, book: Rulebook | None = None, *, codes: Sequence[str] | None = None
) -> int:
    """Propose grades by other rules and write them down; what was decided stays decided.

    Returns
    -------
    int
        Number of new verdicts.
    """
    book = book or studio_rulebook(studio)
    with studio.writing() as db:
        before = db.execute("SELECT count(*) FROM verdicts").fetchone()[0]
        for piece_id, *_ in _pieces(db.execute, codes):
            if propose(db, piece_id, book) is not None:
                refresh(db, piece_id)
        after = db.execute("SELECT count(*) FROM verdicts").fetchone()[0]
    return int(after) - int(before)


def _pieces(
    execute: Callable[..., Iterator[tuple[int, str, Grade | None, Grade | None]]],
    codes: Sequence[str] | None,
) -> list[tuple[int, str, Grade | None, Grade | None]]:
    rows = list(
        execute(
            "SELECT piece_id, code, proposed, decided FROM now_pieces "
            "JOIN pieces ON id = piece_id WHERE photos > 0 ORDER BY sort_key, code"
        )
    )
    if codes is None:
        return rows
    wanted = {code.casefold() for code in codes}
    return [row for row in rows if row[1].casefold() in wanted]
