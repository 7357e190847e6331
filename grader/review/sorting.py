"""Putting photos right on the page: each act on the record, and the way back from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from grader.errors import UsageError
from grader.record.grouping import move_photos, name_view, set_aside, turn_photo
from grader.record.studio import Studio


@dataclass(frozen=True, slots=True)
class Placed:
    """Where a photo was before an act.

    Attributes
    ----------
    photo_id : int
    code : str
        Of its piece; empty where it was set aside.
    view : str
    turn_deg : int
    """

    photo_id: int
    code: str
    view: str
    turn_deg: int


def sort_photos(studio: Studio, act: Mapping[str, Any]) -> tuple[Placed, ...]:
    """Carry out one act of sorting.

    Parameters
    ----------
    studio : Studio
    act : mapping
        ``do``: ``move`` (photos, code), ``aside`` (photos), ``view`` (photos, view) or ``turn``
        (photos, a quarter clockwise).

    Returns
    -------
    tuple of Placed
        How the photos were before, for `put_back`.

    Raises
    ------
    RecordError, UsageError, FactsError
    """
    ids = [int(number) for number in act["photos"]]
    if not ids:
        raise UsageError("no photo is chosen", remedy="Choose at least one, then say where to")
    before = placed(studio, ids)
    what = act["do"]
    if what == "move":
        move_photos(studio, ids, str(act["code"]))
    elif what == "aside":
        set_aside(studio, ids)
    elif what == "view":
        for photo_id in ids:
            name_view(studio, photo_id, str(act["view"]))
    elif what == "turn":
        for each in before:
            turn_photo(studio, each.photo_id, (each.turn_deg + 90) % 360)
    else:
        raise UsageError(f"{what!r} is no way to sort photos")
    return before


def put_back(studio: Studio, before: Sequence[Placed]) -> None:
    """Place photos as they were."""
    now = {each.photo_id: each for each in placed(studio, [each.photo_id for each in before])}
    for each in before:
        here = now[each.photo_id]
        if here.code != each.code:
            if each.code:
                move_photos(studio, [each.photo_id], each.code)
            else:
                set_aside(studio, [each.photo_id])
        if here.view != each.view:
            name_view(studio, each.photo_id, each.view)
        if here.turn_deg != each.turn_deg:
            turn_photo(studio, each.photo_id, each.turn_deg)


def placed(studio: Studio, photo_ids: Sequence[int]) -> tuple[Placed, ...]:
    """Return where photos are; those that the record does not know are left out."""
    marks = ",".join("?" * len(photo_ids))
    with studio.reading() as db:
        rows = db.execute(
            "SELECT photo_id, coalesce(code, ''), view, turn_deg FROM now_photos "
            "LEFT JOIN rounds ON rounds.id = round_id LEFT JOIN pieces ON pieces.id = piece_id "
            f"WHERE photo_id IN ({marks})",
            list(photo_ids),
        ).fetchall()
    return tuple(Placed(*row) for row in rows)
