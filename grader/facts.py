"""What a potter knows of a piece without looking at a photo: `pieces.csv` and its columns."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from grader.errors import FactsError

Finish = Literal["raw", "glazed", "coloured"]
Use = Literal["food", "plant", "decor"]


@dataclass(frozen=True, slots=True)
class PieceFacts:
    """Facts of one piece; None or "" means that nobody said.

    Attributes
    ----------
    piece : str
        Code of the piece.
    design, form, clay, glaze, shelf, place, firing : str
        Free words of the potter.
    finish : {"raw", "glazed", "coloured"} or None
        ``glazed`` means clear glaze.
    decorated : bool or None
    painted_on : {"greenware", "bisque"} or None
    use : {"food", "plant", "decor"} or None
    height_mm, price : float or None
    refires : int or None
        How often it had been fired again before these photos.
    others : mapping of str to str
        Unknown columns, kept as they stand.
    """

    piece: str
    design: str = ""
    form: str = ""
    clay: str = ""
    finish: Finish | None = None
    decorated: bool | None = None
    painted_on: Literal["greenware", "bisque"] | None = None
    glaze: str = ""
    use: Use | None = None
    height_mm: float | None = None
    shelf: str = ""
    place: str = ""
    firing: str = ""
    price: float | None = None
    refires: int | None = None
    others: Mapping[str, str] = field(default_factory=dict)


_FREE_WORDS = frozenset({"design", "form", "clay", "glaze", "shelf", "place", "firing"})
_CHOICES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "finish": ("raw", "glazed", "coloured"),
        "painted_on": ("greenware", "bisque"),
        "use": ("food", "plant", "decor"),
    }
)
_YES = frozenset({"yes", "y", "true", "1", "x"})
_NO = frozenset({"no", "n", "false", "0"})
# No kiln for small studios takes a piece of 3 m; a larger figure is a slip of the pen.
_MAX_HEIGHT_MM = 3000.0

# Common practice allows two refires; a larger figure than this is a slip of the pen.
_MOST_REFIRES = 20

# A list larger than this is not a list of one kiln load.
_MAX_BYTES = 5_000_000


def read_facts(path: Path) -> dict[str, PieceFacts]:
    """Read a list of pieces.

    Comma, semicolon or tab between the columns, UTF-8 (with or without byte-order mark), UTF-16
    or the Windows encoding, capital letters, spaces and units in brackets in the header, a
    decimal comma: all as spreadsheets write them.

    Parameters
    ----------
    path : Path

    Returns
    -------
    dict of str to PieceFacts
        By code of the piece, in the order of the rows.

    Raises
    ------
    FactsError
        Naming the row and the column.
    """
    table = _read_table(path)
    if not table:
        raise FactsError(
            "the list of pieces is empty",
            where=path.name,
            remedy="Its first line must name the columns, one of them `piece`",
        )
    headings = [heading.strip() for heading in table[0][1]]
    columns = _columns(headings, path.name)
    facts: dict[str, PieceFacts] = {}
    first_rows: dict[str, int] = {}
    for row_number, cells in table[1:]:
        if not any(cell.strip() for cell in cells):
            continue
        where = f"{path.name}, row {row_number}"
        piece = _read_row(columns, headings, cells, where)
        earlier = first_rows.setdefault(piece.piece.casefold(), row_number)
        if earlier != row_number:
            raise FactsError(
                f"piece {piece.piece!r} is already in row {earlier}",
                where=where,
                remedy="Give every piece its own code, or remove one of the rows",
            )
        facts[piece.piece] = piece
    return facts


def _read_table(path: Path) -> list[tuple[int, list[str]]]:
    """Return the rows with their line numbers."""
    try:
        if path.stat().st_size > _MAX_BYTES:
            raise FactsError(
                "the file is far too large for a list of pieces",
                where=path.name,
                remedy="Check that it is the right file",
            )
        data = path.read_bytes()
    except OSError as error:
        raise FactsError(
            "the list of pieces cannot be read",
            where=str(path),
            remedy="Check the name, and that the file may be read",
        ) from error
    text = _decode(data, path.name)
    head = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(",;\t", key=head.count)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        rows = [(reader.line_num, cells) for cells in reader]
    except csv.Error as error:
        raise FactsError(
            f"line {reader.line_num} cannot be read as a row ({error})",
            where=path.name,
            remedy="Look for a quotation mark without its partner, or save the list again as CSV",
        ) from error
    while rows and not any(cell.strip() for cell in rows[0][1]):
        rows.pop(0)
    return rows


def _decode(data: bytes, name: str) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ["utf-16"]
    else:
        # Windows-1252 is what older spreadsheets write; it comes last as it takes nearly all.
        encodings = ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeError:
            continue
        if "\0" not in text:
            return text
    raise FactsError(
        "this is not a text file", where=name, remedy="Save the list as CSV, encoded in UTF-8"
    )


def _column_name(heading: str) -> str:
    """``Height (mm)`` and ``height mm`` both mean ``height_mm``."""
    return re.sub(r"[^0-9a-z]+", "_", heading.casefold()).strip("_")


def _columns(headings: list[str], where: str) -> list[str]:
    columns = [_column_name(heading) for heading in headings]
    named = [column for column in columns if column]
    doubled = sorted({column for column in named if named.count(column) > 1})
    if doubled:
        raise FactsError(
            f"the column {doubled[0]!r} is there twice",
            where=where,
            remedy="Remove or rename one of them",
        )
    if "piece" not in columns:
        found = ", ".join(heading for heading in headings if heading) or "nothing"
        raise FactsError(
            f"there is no column `piece` (the first line has: {found[:120]})",
            where=where,
            remedy="Name the column with the codes of the pieces `piece`",
        )
    return columns


def _read_row(columns: list[str], headings: list[str], cells: list[str], where: str) -> PieceFacts:
    if any(cell.strip() for cell in cells[len(columns) :]):
        raise FactsError(
            f"there are {len(cells)} cells but only {len(columns)} columns",
            where=where,
            remedy="Put text with a comma between quotation marks",
        )
    values: dict[str, Any] = {}
    others: dict[str, str] = {}
    for column, heading, cell in zip(columns, headings, cells, strict=False):
        text = cell.strip()
        if not column and not text:
            continue
        at = f"{where}, column {column or heading!r}"
        if column == "piece" or column in _FREE_WORDS:
            values[column] = text
        elif column in _CHOICES:
            values[column] = _choice(text, _CHOICES[column], at)
        elif column == "decorated":
            values[column] = _yes_or_no(text, at)
        elif column in {"height_mm", "price"}:
            values[column] = _number(text, column, at)
        elif column == "refires":
            values[column] = None if not text else refires_of(text, at)
        else:
            others[heading] = text
    if not values["piece"]:
        raise FactsError(
            "the code of the piece is missing", where=where, remedy="Fill in the column `piece`"
        )
    return PieceFacts(**values, others=dict(others))


def _choice(text: str, choices: tuple[str, ...], where: str) -> str | None:
    word = text.casefold()
    if not word:
        return None
    if word not in choices:
        raise FactsError(
            f"{text!r} is not one of {', '.join(choices)}",
            where=where,
            remedy="Correct it, or leave the cell empty",
        )
    return word


def _yes_or_no(text: str, where: str) -> bool | None:
    word = text.casefold()
    if not word:
        return None
    if word not in _YES | _NO:
        raise FactsError(
            f"{text!r} is neither yes nor no",
            where=where,
            remedy="Write yes or no, or leave the cell empty",
        )
    return word in _YES


def _number(text: str, column: str, where: str) -> float | None:
    if not text:
        return None
    unit = r"\s*mm" if column == "height_mm" else r"\s*[£€$¥]"
    bare = re.sub(rf"{unit}$", "", text)
    if column == "price":
        bare = re.sub(r"^[£€$¥]\s*", "", bare)
    # A comma is a decimal comma only where it cannot part thousands.
    if re.fullmatch(r"\d+,\d{1,2}", bare):
        bare = bare.replace(",", ".")
    highest = _MAX_HEIGHT_MM if column == "height_mm" else float("inf")
    if re.fullmatch(r"\d+(\.\d+)?|\.\d+", bare) and bare.isascii():
        number = float(bare)
        if number <= highest and (number > 0 or column == "price"):
            return number
    what = "a height in millimetres" if column == "height_mm" else "a price"
    raise FactsError(
        f"{text!r} is not {what}",
        where=where,
        remedy="Write only the number, for example 92.5, or leave the cell empty",
    )


def refires_of(text: str, where: str) -> int:
    """Read a number of refires.

    Raises
    ------
    FactsError
    """
    if text.isascii() and text.isdigit() and len(text) <= 2 and int(text) <= _MOST_REFIRES:
        return int(text)
    raise FactsError(
        f"{text!r} is not a number of refires",
        where=where,
        remedy=f"Write 0, 1, 2, ... up to {_MOST_REFIRES}, or leave it empty",
    )
