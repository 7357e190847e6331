"""Forms of the plain pages; a photo goes to disk as it comes in and is never whole in memory."""

from __future__ import annotations

import secrets
import shutil
import time
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO
from urllib.parse import parse_qs

from python_multipart.exceptions import FormParserError
from python_multipart.multipart import MultipartParser, parse_options_header
from starlette.requests import Request

from grader.errors import PhotoError, UsageError
from grader.record.errors import told

if TYPE_CHECKING:  # a name for type checkers only
    from python_multipart.multipart import MultipartCallbacks

MOST_BYTES = 64 * 1024 * 1024
"""Most that one photo may have: the largest that is read, 80 megapixels, has about 40 MB as JPEG
or HEIC."""

_MOST_DRAINED = 8 * MOST_BYTES
"""How much of too large a form is taken from the line, and thrown away, so that the phone hears
the answer: browsers hear none while they send."""

_MOST_FIELD_BYTES = 4096
_MOST_FIELDS = 16

_STALE_S = 24 * 3600.0
"""Age from which a half-received photo is taken for left behind by a stop."""


@dataclass(frozen=True, slots=True)
class Form:
    """What came in.

    Attributes
    ----------
    fields : mapping of str to str
    photo : Path or None
        The first file that is not empty. It is gone when the block of `received` is left.
    """

    fields: Mapping[str, str]
    photo: Path | None


@asynccontextmanager
async def received(request: Request, folder: Path) -> AsyncIterator[Form]:
    """Receive a form (multipart/form-data, RFC 7578) into a folder of its own.

    Parameters
    ----------
    request : Request
    folder : Path
        On the disk where the photo is to stay; made where it is missing.

    Raises
    ------
    PhotoError
        The photo is larger than `MOST_BYTES`.
    UsageError
        This is no such form.
    FullDiskError, RecordError
    """
    own = folder / secrets.token_hex(8)
    with told(folder):
        _sweep(folder)
        own.mkdir(parents=True)
    try:
        with told(own):
            form = await _receive(request, own)
        yield form
    finally:
        shutil.rmtree(own, ignore_errors=True)


async def small_form(request: Request, *, most_bytes: int = _MOST_FIELD_BYTES) -> dict[str, str]:
    """Receive a form of a few words (application/x-www-form-urlencoded).

    Returns
    -------
    dict of str to str
        The first value of each name.

    Raises
    ------
    UsageError
        It is larger than `most_bytes`.
    """
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > most_bytes:
            raise UsageError("this form is too large", remedy="Load the page again")
    return {name: values[0] for name, values in parse_qs(body.decode("utf-8", "replace")).items()}


async def _receive(request: Request, own: Path) -> Form:
    kind, options = parse_options_header(request.headers.get("content-type"))
    if kind != b"multipart/form-data" or not options.get(b"boundary"):
        raise UsageError("this form has no place for a photo", remedy="Load the page again")
    parts = _Parts(own / "photo")
    parser = MultipartParser(options[b"boundary"], parts.callbacks())
    size = 0
    try:
        async for chunk in request.stream():
            size += len(chunk)
            if size <= MOST_BYTES:
                parser.write(chunk)
            elif size > _MOST_DRAINED:
                break
    except FormParserError as error:
        raise _cut_short() from error
    finally:
        parts.close()
    if size > MOST_BYTES:
        raise PhotoError(
            f"the file is larger than {MOST_BYTES // 2**20} MB",
            where="the photo",
            remedy="Set the camera to JPEG or HEIC with 12 to 50 megapixels, or choose a photo",
        )
    if not parts.ended:
        raise _cut_short()
    return Form(parts.fields, parts.photo)


class _Parts:
    """Sorts the parts of a form into words and the photo, as the parser comes upon them."""

    def __init__(self, photo: Path) -> None:
        self.fields: dict[str, str] = {}
        self.photo: Path | None = None
        self.ended = False
        self._place = photo
        self._file: BinaryIO | None = None
        self._count = 0
        self._is_file = False
        self._name = ""
        self._value = bytearray()
        self._header = bytearray()
        self._header_value = bytearray()
        self._disposition = b""

    def callbacks(self) -> MultipartCallbacks:
        return {
            "on_part_begin": self._begin,
            "on_header_field": lambda data, start, end: self._header.extend(data[start:end]),
            "on_header_value": lambda data, start, end: self._header_value.extend(data[start:end]),
            "on_header_end": self._header_ends,
            "on_headers_finished": self._headers_end,
            "on_part_data": self._data,
            "on_part_end": self._part_ends,
            "on_end": self._end,
        }

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None

    def _begin(self) -> None:
        self._count += 1
        if self._count > _MOST_FIELDS:
            raise UsageError("this form has too many parts", remedy="Load the page again")
        self._disposition = b""
        self._value.clear()

    def _header_ends(self) -> None:
        if self._header.lower() == b"content-disposition":
            self._disposition = bytes(self._header_value)
        self._header.clear()
        self._header_value.clear()

    def _headers_end(self) -> None:
        _, options = parse_options_header(self._disposition)
        self._name = options.get(b"name", b"").decode("utf-8", "replace")
        # The name that the phone gives to its file is not used for anything.
        self._is_file = b"filename" in options

    def _data(self, data: bytes, start: int, end: int) -> None:
        if not self._is_file:
            self._value += data[start:end]
            if len(self._value) > _MOST_FIELD_BYTES:
                raise UsageError("this form is too large", remedy="Load the page again")
            return
        if self.photo is None:
            self.photo, self._file = self._place, self._place.open("xb")
        if self._file is not None:  # of several files, the first that is not empty
            self._file.write(data[start:end])

    def _part_ends(self) -> None:
        if self._is_file:
            self.close()
        else:
            self.fields.setdefault(self._name, self._value.decode("utf-8", "replace"))

    def _end(self) -> None:
        self.ended = True


def _cut_short() -> UsageError:
    return UsageError(
        "the photo did not come in whole", remedy="Send it once more; nothing was changed"
    )


def _sweep(folder: Path) -> None:
    before = time.time() - _STALE_S
    for left in folder.glob("*"):
        with suppress(OSError):
            if left.stat().st_mtime < before:
                shutil.rmtree(left, ignore_errors=True)
