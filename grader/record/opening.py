"""Which firing of a piece new photos belong to."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from grader.record.events import load_events, standing
from grader.record.pieces import (
    SAID,
    PlacedPhoto,
    Round,
    current_round,
    news_of_table,
    open_round,
    photos_of,
    say_facts,
    words_now,
)

if TYPE_CHECKING:  # the image libraries behind it take a second to load
    from grader.batch import Shot

TABLE = "pieces.csv"
"""Source of the facts that came with a batch."""

_SAME_SESSION = timedelta(hours=12)
"""Photos taken closer together than this belong to one unload: a refire alone, heating and
cooling, takes longer (common practice, no source)."""

Step = Literal["new", "more photos", "refire", "known", "left out"]


def round_for(
    db: sqlite3.Connection,
    batch: Callable[[sqlite3.Connection], int],
    piece_id: int,
    is_new: bool,
    shots: list[Shot],
    words: dict[str, str],
    *,
    refire: bool,
) -> tuple[int, Step]:
    """Return the firing that new photos of a piece belong to, opened where it is a new one."""
    if is_new:
        return open_round(db, piece_id, batch(db), "first photos"), "new"
    round_ = current_round(db, piece_id)
    because = ""
    put_aside = standing(load_events(db, piece_id), round_.id).grade == "refire"
    firing = words_now(db, piece_id, round_.id).get("firing", "")
    news = news_of_table(db, piece_id, round_.id, words, source=TABLE)
    if refire:
        because = "said so when the photos were added"
    elif firing and news.get("firing", firing) != firing:
        because = f"firing {news['firing']} instead of {firing}"
    elif int(news.get("refires") or 0) > round_.refires:
        because = f"the table says that it was refired ({news['refires']})"
    elif put_aside and not _same_session(photos_of(db, round_.id), shots):
        because = "photographed again after it was put aside for a refire"
    if not because:
        return round_.id, "more photos"
    opened = open_round(db, piece_id, batch(db), because)
    _take_along(db, round_, opened)
    return opened, "refire"


def _take_along(db: sqlite3.Connection, before: Round, opened: int) -> None:
    """Move what was said to have been done for the refire to the firing that it was done for.

    The maker says it when it is done, before there is a photo of what came of it.
    """
    (put_aside,) = db.execute(
        "SELECT coalesce(max(said_at), '9') FROM events WHERE round_id = ? AND subject = 'grade' "
        "AND value = 'refire' AND held = 0",
        (before.id,),
    ).fetchone()
    rows = db.execute(
        "SELECT value, said_at FROM piece_facts WHERE round_id = ? AND name = 'done' ORDER BY id",
        (before.id,),
    ).fetchall()
    # A piece that was never refired had nothing done to it before its first firing here.
    first = before.refires == 0
    since = [value for value, said_at in rows if first or said_at >= put_aside]
    until = [value for value, said_at in rows if not first and said_at < put_aside]
    if since and since[-1]:
        say_facts(db, before.piece_id, opened, {"done": since[-1]}, source=SAID)
        standing_before = until[-1] if until else ""
        say_facts(db, before.piece_id, before.id, {"done": standing_before}, source=SAID)


def _same_session(before: list[PlacedPhoto], shots: list[Shot]) -> bool:
    """Tell whether new photos were taken in the same hours as those that are there.

    Compared with each other, not with this computer's clock: a camera's may be wrong by years.
    """
    old = [datetime.fromisoformat(each.captured_at) for each in before if each.captured_at]
    new = [shot.captured_at for shot in shots if shot.captured_at is not None]
    if not old or not new:
        return False
    return all(min(abs(moment - each) for each in old) < _SAME_SESSION for moment in new)


def renumbered(db: sqlite3.Connection, round_id: int, shots: list[Shot]) -> list[tuple[Shot, str]]:
    """Return each shot with its view; numbered views go on where the firing's others end."""
    taken = {each.view for each in photos_of(db, round_id)}
    placed = []
    for shot in shots:
        view = shot.view
        if re.fullmatch(r"view \d+", view) and view in taken:
            numbers = [int(known[5:]) for known in taken if re.fullmatch(r"view \d+", known)]
            view = f"view {max(numbers) + 1}"
        taken.add(view)
        placed.append((shot, view))
    return placed
