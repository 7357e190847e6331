"""A likeness as text, to be kept with the record of its piece."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from grader.errors import GraderError
from grader.mates.likeness import VERSION, Flag, Likeness, PaintLook, Side, SmallMark


def to_json(likeness: Likeness) -> str:
    """The likeness as one line of JSON."""
    return json.dumps(asdict(likeness), separators=(",", ":"))


def from_json(text: str) -> Likeness:
    """Read what `to_json` wrote.

    Raises
    ------
    GraderError
        Where the text is no likeness, or one of another version.
    """
    try:
        data: dict[str, Any] = json.loads(text)
        version = data["version"]
        if version == VERSION:
            sides = tuple(_side_from(each) for each in data.pop("sides"))
            paints = tuple(
                PaintLook(tuple(each["light"]), each["share"]) for each in data.pop("paints")
            )
            turn = data.pop("turn")
            return Likeness(
                sides=sides, paints=paints, turn=None if turn is None else tuple(turn), **data
            )
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise GraderError(
            "the kept likeness of a piece cannot be read",
            where=text[:40],
            remedy="Have the piece looked over again",
        ) from error
    raise GraderError(
        f"the likeness was kept by another version ({version!r}, this one keeps {VERSION})",
        where=str(data.get("piece", "")),
        remedy="Have the piece looked over again",
    )


def _side_from(data: dict[str, Any]) -> Side:
    marks = tuple(_mark_from(each) for each in data.pop("marks"))
    flags = tuple(
        Flag(
            **{
                **each,
                "bbox_px": tuple(each["bbox_px"]),
                "mark": None if each["mark"] is None else _mark_from(each["mark"]),
            }
        )
        for each in data.pop("flags")
    )
    return Side(marks=marks, flags=flags, **data)


def _mark_from(data: dict[str, Any]) -> SmallMark:
    return SmallMark(data["across"], data["down"], data["size_mm"], tuple(data["light"]))
