"""Hold the pieces of a batch against each other, once they were looked at."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from grader.facts import PieceFacts
from grader.record.likenesses import likenesses
from grader.record.now import propose, refresh, survey_now
from grader.record.pieces import facts_now, round_by_id
from grader.record.rulebook import Rulebook
from grader.record.sisters import keep_sisters, kept_likeness
from grader.record.studio import Studio
from grader.record.surveys import StoredSurvey, load_survey

if TYPE_CHECKING:  # the image libraries behind them take a second to load
    from grader.mates import Likeness
    from grader.record.looking import Analysis

_GROUP_NAMES = frozenset({"design", "form", "clay", "finish", "glaze"})
"""Facts that make pieces sisters."""


@dataclass(frozen=True, slots=True)
class _Member:
    """One piece as it was seen in a batch."""

    piece_id: int
    round_id: int
    stored: StoredSurvey
    facts: PieceFacts
    likeness: Likeness


def unheld(studio: Studio) -> list[int]:
    """Return the batches in which a piece was looked at, but not held against its sisters yet."""
    with studio.reading() as db:
        rows = db.execute(
            "SELECT DISTINCT batch_id, version FROM now_pieces JOIN likenesses USING (survey_id) "
            "WHERE pending = 0 AND survey_id NOT IN (SELECT survey_id FROM sisters) "
            "ORDER BY batch_id"
        ).fetchall()
    if not rows:
        return []
    from grader.mates.likeness import VERSION

    return [batch_id for batch_id, version in rows if version == VERSION]


def hold_together(
    studio: Studio, batch_ids: Iterable[int], book: Rulebook, analysis: Analysis | None = None
) -> set[str]:
    """Hold the pieces of each batch against each other, and grade anew what changes by it.

    Parameters
    ----------
    studio : Studio
    batch_ids : iterable of int
    book : Rulebook
    analysis : Analysis, optional
        What finds the colours of a session, for a reference piece whose likeness was not kept;
        that of the program where None.

    Returns
    -------
    set of str
        Codes of the pieces of which their sisters say something else than before.
    """
    changed: set[str] = set()
    for batch_id in batch_ids:
        changed |= _hold(studio, batch_id, book, analysis)
    return changed


def regroup(studio: Studio, changed: Mapping[str, Iterable[str]], book: Rulebook) -> None:
    """Hold batches together again where other facts were said that make pieces sisters.

    Parameters
    ----------
    studio : Studio
    changed : mapping of str to iterable of str
        For each piece, the names that changed.
    book : Rulebook
    """
    codes = [code for code, names in changed.items() if not _GROUP_NAMES.isdisjoint(names)]
    with studio.reading() as db:
        rows = db.execute(
            "SELECT DISTINCT batch_id FROM now_pieces JOIN pieces ON id = piece_id "
            "WHERE code IN (SELECT value FROM json_each(?)) ORDER BY batch_id",
            (json.dumps(codes),),
        ).fetchall()
    hold_together(studio, [row[0] for row in rows], book)


def _hold(studio: Studio, batch_id: int, book: Rulebook, analysis: Analysis | None) -> set[str]:
    members = _members(studio, batch_id)
    if not members:
        return set()
    from grader.mates import held_together

    facts = {each.facts.piece: each.facts for each in members}
    designs = sorted({each.facts.design for each in members if each.facts.design})
    kept = [each for design in designs for each in likenesses(studio, design, analysis=analysis)]
    # A reference piece of this batch is a sister already.
    kept = [each for each in kept if each.facts.piece not in facts]
    held = held_together(
        [replace(each.stored.survey, likeness=each.likeness) for each in members],
        {each.facts.piece: each.facts for each in kept} | facts,
        references=[each.likeness for each in kept],
    )
    changed = set()
    with studio.writing() as db:
        for member, survey in zip(members, held, strict=True):
            if not keep_sisters(db, member.stored, survey):
                continue
            changed.add(member.facts.piece)
            # A piece that was fired again since then has its verdict from later photos.
            now = db.execute(
                "SELECT round_id FROM now_pieces WHERE piece_id = ?", (member.piece_id,)
            ).fetchone()
            if now[0] == member.round_id:
                propose(db, member.piece_id, book)
                refresh(db, member.piece_id)
    return changed


def _members(studio: Studio, batch_id: int) -> list[_Member]:
    members: dict[int, _Member] = {}
    with studio.reading() as db:
        rows = db.execute(
            "SELECT id, piece_id FROM rounds WHERE batch_id = ? AND EXISTS "
            "(SELECT 1 FROM surveys JOIN likenesses ON survey_id = surveys.id "
            "WHERE round_id = rounds.id) ORDER BY number",
            (batch_id,),
        ).fetchall()
        for round_id, piece_id in rows:
            round_ = round_by_id(db, round_id)
            survey_id, seen_all = survey_now(db, round_)
            likeness = kept_likeness(db, survey_id) if survey_id is not None and seen_all else None
            if survey_id is not None and likeness is not None:
                facts = facts_now(db, round_.code, piece_id, round_id)
                stored = load_survey(db, survey_id)
                members[piece_id] = _Member(piece_id, round_id, stored, facts, likeness)
    return list(members.values())
