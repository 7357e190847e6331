"""A likeness as text, to be kept with the record of its piece."""

from __future__ import annotations

import json
from dataclasses import asdict, astuple
from typing import Any

from grader.errors import GraderError
from grader.mates.likeness import VERSION, Flag, Likeness, PaintLook, Side, SmallMark


def to_json(likeness: Likeness) -> str:
    """The likeness as one line of JSON, a small mark as a row of its numbers.

    Speckled clay has some six hundred marks, and every piece of a record keeps its likeness: with
    their names they would be half as large again.
    """
    data = asdict(likeness)
    for side, kept in zip(likeness.sides, data["sides"], strict=True):
        kept["marks"] = [_row(each) for each in side.marks]
        for flag, of_kept in zip(side.flags, kept["flags"], strict=True):
            of_kept["mark"] = None if flag.mark is None else _row(flag.mark)
    return json.dumps(data, separators=(",", ":"))


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


def _row(mark: SmallMark) -> list[float]:
    across, down, size_mm, light = astuple(mark)
    return [across, down, size_mm, *light]


def _mark_from(row: list[float]) -> SmallMark:
    across, down, size_mm, red, green, blue = row
    return SmallMark(across, down, size_mm, (red, green, blue))
