"""Write down what was said of a piece, and see whether it contradicts what was not seen."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass

from grader.errors import UsageError
from grader.record.events import JUDGEMENTS, Event, Kind, add_event, in_force, load_events
from grader.record.now import propose, refresh
from grader.record.pieces import Round, current_round, piece_id_of
from grader.record.refires import keep_comparison
from grader.record.rulebook import Rulebook
from grader.verdict import Grade


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of something that was said.

    Attributes
    ----------
    event : Event
        As it was written down; `event.held` where it has no force.
    conflicts : tuple of Event
        Contrary words that had not been seen; these stay in force. To insist, say it again with
        ``seen=state_id``.
    since : tuple of Event
        All that was said or proposed since the state that was seen.
    state_id : int
        The state after this event: what to hand in as ``seen`` next.
    proposed, grade : str or None
        What the rules say now, and what holds.
    """

    event: Event
    conflicts: tuple[Event, ...]
    since: tuple[Event, ...]
    state_id: int
    proposed: Grade | None
    grade: Grade | None


def say(
    db: sqlite3.Connection,
    code: str,
    kind: Kind,
    subject: str,
    value: str,
    *,
    reason: str = "",
    finding_id: int | None = None,
    undoes: Event | None = None,
    seen: int | None = None,
    window: str = "",
    book: Rulebook | None = None,
) -> Outcome:
    piece_id = piece_id_of(db, code)
    round_ = current_round(db, piece_id)
    events = load_events(db, piece_id)
    state_id = events[-1].id if events else 0
    seen_id = state_id if seen is None else seen
    if seen_id > state_id:
        raise UsageError(
            f"state {seen_id} of this piece is not known",
            where=code,
            remedy="Load the piece again, then say it once more",
        )
    since = tuple(each for each in events if each.id > seen_id)
    now = proposed_in(events, round_)
    verdict_id = now.verdict_id if now and subject == "grade" else None
    if kind == "accept" and (now is None or now.value != value):
        kind = "overrule"
    conflicts = _conflicts(events, seen_id, subject, value, undoes)
    if subject == "grade" and undoes is None:
        conflicts += _moved_proposal(events, seen_id, round_, value)
    event = add_event(
        db,
        piece_id=piece_id,
        round_id=undoes.round_id if undoes else round_.id,
        kind=kind,
        subject=subject,
        value=value,
        reason=" ".join(reason.split()),
        finding_id=finding_id,
        verdict_id=verdict_id,
        undoes=undoes.id if undoes else None,
        seen_id=seen_id,
        held=bool(conflicts),
        window=window,
    )
    touched = undoes.kind if undoes else kind
    if not event.held and book is not None and (touched in JUDGEMENTS or touched == "undo"):
        propose(db, piece_id, book)
    if not event.held and touched in ("mended", "undo") and round_.number > 0:
        keep_comparison(db, round_)
    refresh(db, piece_id)
    after, proposed, grade = db.execute(
        "SELECT state_id, proposed, grade FROM now_pieces WHERE piece_id = ?", (piece_id,)
    ).fetchone()
    return Outcome(event, conflicts, since, after, proposed, grade)


def _conflicts(
    events: list[Event], seen_id: int, subject: str, value: str, undoes: Event | None
) -> tuple[Event, ...]:
    """Return what was said about the subject unseen, and says something else."""
    if not subject:
        return ()
    unseen = [each for each in events if each.id > seen_id and each.subject == subject]
    counting = {each.id for each in in_force(events)}
    contrary = [
        each
        for each in unseen
        if each.id in counting
        and each.kind != "proposed"
        # Taking back what was said anew meanwhile is contrary whatever it says.
        and (each.kind == "undo" or undoes is not None or each.value != value)
    ]
    return tuple(contrary)


def _moved_proposal(
    events: list[Event], seen_id: int, round_: Round, value: str
) -> tuple[Event, ...]:
    """Return the unseen proposal, where it no longer is the one that the maker saw.

    Somebody may have found a crack in the other window.
    """
    then = proposed_in([each for each in events if each.id <= seen_id], round_)
    now = proposed_in(events, round_)
    if now is None or now.id <= seen_id or now.value == value:
        return ()
    return () if then and then.value == now.value else (now,)


def proposed_in(events: Iterable[Event], round_: Round) -> Event | None:
    said = [each for each in events if each.kind == "proposed" and each.round_id == round_.id]
    return said[-1] if said else None
