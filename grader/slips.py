"""The printed page that goes with the camera: slips, the stand-up card, and how to photograph.

Everything is drawn in millimetres as SVG in one HTML file, so that any browser prints it to
size; a ruler line on every sheet shows whether the printer did.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import cv2
import numpy as np
import segno
from numpy.typing import NDArray

from grader.colour.white import GREY_CARD_NUMBERS
from grader.errors import UsageError
from grader.facts import PieceFacts
from grader.output import write_files
from grader.scale import DEFAULT_MARKER_MM
from grader.separator import SLIP_PREFIX, find_slip_code
from grader.templating import environment

# Light border of a square code, and sizes of its modules at which it is tried: as on a photo of
# the whole slip, and from near.
_QUIET_MODULES = 4
_READ_BACK_PX = (8, 24)

# Number 7 is as good as any; it has no symmetry that could hide which way up it stands.
_MARKER_NUMBER = 7
_GREY_MARKER_NUMBER = GREY_CARD_NUMBERS[0]

_SLIPS_A_SHEET = 8

# A code longer than this makes modules that a phone can no longer tell apart.
_LONGEST_CODE = 40
# More sheets than any kiln needs; a slip of the pen in `K01-K9000` should not print a book.
_MOST_SLIPS = 500


@dataclass(frozen=True, slots=True)
class _Slip:
    """One slip; ``path`` draws the dark modules of its square code, ``side`` modules wide."""

    code: str
    below: str
    path: str
    side: int
    letter_mm: float


def write_slips(
    path: Path, pieces: Iterable[PieceFacts], *, marker_mm: float = DEFAULT_MARKER_MM
) -> int:
    """Write the page with slips, cards and advice.

    Parameters
    ----------
    path : Path
        The HTML file to write.
    pieces : iterable of PieceFacts
        One slip each; design and form are printed below the code. None are needed for the cards.
    marker_mm : float, default 20
        Side of the black square on the cards.

    Returns
    -------
    int
        Number of slips.

    Raises
    ------
    UsageError
        A code is too long for a slip, or there are too many.
    OutputError
        The file cannot be written.
    """
    pieces = list(pieces)
    if len(pieces) > _MOST_SLIPS:
        raise UsageError(
            f"{len(pieces)} slips are too many for one page",
            remedy=f"Print at most {_MOST_SLIPS} at a time",
        )
    slips = [_slip(piece) for piece in pieces]
    write_files({path: slips_page(slips, marker_mm).encode()})
    return len(slips)


def slips_page(slips: Sequence[_Slip], marker_mm: float = DEFAULT_MARKER_MM) -> str:
    """Return the page as one HTML text."""
    sheets = [slips[i : i + _SLIPS_A_SHEET] for i in range(0, len(slips), _SLIPS_A_SHEET)]
    return (
        environment()
        .get_template("slips.html")
        .render(
            sheets=sheets,
            marker=_squares(_marker_modules(_MARKER_NUMBER) > 0),
            grey_marker=_squares(_marker_modules(_GREY_MARKER_NUMBER) > 0),
            side=marker_mm,
        )
    )


def parse_codes(words: Sequence[str]) -> list[PieceFacts]:
    """Turn words of the command line into pieces: ``K07`` is one, ``K01-K24`` are twenty-four.

    Raises
    ------
    UsageError
        A range runs backwards or between different beginnings.
    """
    codes: list[str] = []
    for word in words:
        match = re.fullmatch(r"(.*?)(\d+)(?:-|\.\.)(.*?)(\d+)", word.strip())
        if match is None or (match[3] and match[3] != match[1]):
            codes.append(word.strip())
            continue
        first, last = int(match[2]), int(match[4])
        if not first <= last < first + _MOST_SLIPS:
            raise UsageError(
                f"{word!r} is no range of codes",
                remedy="Write it like K01-K24, the lower number first",
            )
        codes += [f"{match[1]}{number:0{len(match[2])}d}" for number in range(first, last + 1)]
    return [PieceFacts(piece=code) for code in dict.fromkeys(codes) if code]


def _slip(piece: PieceFacts) -> _Slip:
    if len(piece.piece) > _LONGEST_CODE:
        raise UsageError(
            f"the code {piece.piece[:20]!r}... is too long for a slip",
            remedy=f"Use at most {_LONGEST_CODE} letters",
        )
    dark = code_modules(piece.piece) == 0
    return _Slip(
        code=piece.piece,
        below=", ".join(word for word in (piece.design, piece.form) if word)[:48],
        path=_squares(dark),
        side=len(dark),
        # The slip has 44 mm for the code, and a letter is about 0.62 of its height wide.
        letter_mm=round(min(13.0, 44 / 0.62 / max(1, len(piece.piece))), 2),
    )


def code_modules(code: str) -> NDArray[np.uint8]:
    """Return the square code of a slip, shape (n, n), 0 dark and 255 light, without border.

    The same text can be drawn in several patterns (the eight masks of ISO/IEC 18004). Some of them
    the reader does not find, so what is not read back is drawn in another.
    """
    setting = cv2.QRCodeEncoder.Params()
    # Fifteen percent of the modules may be hidden by a thumb or a splash of slip.
    setting.correction_level = cv2.QRCODE_ENCODER_CORRECT_LEVEL_M
    modules = cv2.QRCodeEncoder.create(setting).encode(SLIP_PREFIX + code)
    rows, columns = np.nonzero(modules == 0)
    first = np.asarray(
        modules[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1], dtype=np.uint8
    )
    patterns = chain([first], (_pattern(code, mask) for mask in range(8)))
    return next((each for each in patterns if _is_read_back(each, code)), first)


def _pattern(code: str, mask: int) -> NDArray[np.uint8]:
    made = segno.make_qr(SLIP_PREFIX + code, error="m", mask=mask, encoding="utf-8")
    return np.array([[0 if dark else 255 for dark in row] for row in made.matrix], dtype=np.uint8)


def _is_read_back(modules: NDArray[np.uint8], code: str) -> bool:
    drawn = np.pad(modules, _QUIET_MODULES, constant_values=255)
    for cell_px in _READ_BACK_PX:
        large = drawn.repeat(cell_px, axis=0).repeat(cell_px, axis=1)
        if find_slip_code(cv2.cvtColor(large, cv2.COLOR_GRAY2RGB)) != code.strip():
            return False
    return True


def _marker_modules(number: int) -> NDArray[np.uint8]:
    """Return a marker, shape (6, 6), one pixel a module, 0 dark and 255 light."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, number, 6), dtype=np.uint8)


def _squares(filled: NDArray[np.bool_]) -> str:
    """Draw modules as one SVG path, joined along the rows so that no hairline parts them."""
    parts = []
    for row, line in enumerate(filled):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(np.int8), [0]])))
        for start, end in zip(edges[::2], edges[1::2], strict=True):
            parts.append(f"M{start} {row}h{end - start}v1h{start - end}z")
    return "".join(parts)
