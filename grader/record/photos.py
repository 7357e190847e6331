"""The originals, each kept once under the SHA-256 of its content (FIPS 180-4)."""

from __future__ import annotations

import hashlib
import os
import re
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from grader.record.errors import RecordError, told
from grader.record.files import sync_folder, temporary_beside, within
from grader.record.studio import Studio

_CHUNK_BYTES = 1 << 20

_STALE_S = 24 * 3600.0
"""Age from which a half-copied photo is taken for left behind by a stop: no copy takes a day."""


@dataclass(frozen=True, slots=True)
class KeptPhoto:
    """A photo as it lies in the studio folder.

    Attributes
    ----------
    sha256 : str
        Of the content, 64 hexadecimal digits.
    file : str
        Path within the studio folder, with ``/``.
    size_bytes : int
    """

    sha256: str
    file: str
    size_bytes: int


def content_sha256(path: Path) -> str:
    """Return the SHA-256 of a file's content as 64 hexadecimal digits."""
    digest = hashlib.sha256()
    with path.open("rb") as source:
        while chunk := source.read(_CHUNK_BYTES):
            digest.update(chunk)
    return digest.hexdigest()


def keep_photo(studio: Studio, source: Path, *, file: str | None = None) -> KeptPhoto:
    """Copy a photo into the studio folder, unless its content is there already.

    When this returns, the copy has reached the disk. The source is only ever read.

    Parameters
    ----------
    studio : Studio
    source : Path
    file : str, optional
        Where the record says that this photo lies, to put back one that went missing.

    Raises
    ------
    FullDiskError, RecordError
        Nothing half-copied stays behind under the photo's name.
    """
    with told(source):
        digest = content_sha256(source)
        name = file or _file_name(digest, source)
        target = within(studio.folder, name)
        if not _is_whole(target, source):
            new_folder = not target.parent.exists()
            target.parent.mkdir(parents=True, exist_ok=True)
            if new_folder:
                sync_folder(target.parent.parent)
            with temporary_beside(target) as made:
                copied = _copy(source, made)
                if copied != digest:
                    raise RecordError(
                        "the photo changed while it was copied",
                        where=str(source),
                        remedy="Wait until the camera or phone has finished, then add it again",
                    )
                made.replace(target)
            sync_folder(target.parent)
        return KeptPhoto(digest, name, target.stat().st_size)


def photo_file(studio: Studio, file: str) -> Path:
    """Return where a kept photo lies, held inside the studio folder."""
    return within(studio.folder, file)


def unsound_photos(studio: Studio, *, read_all: bool = False) -> Iterator[tuple[str, str]]:
    """Yield each photo of the record that is not as it was taken in.

    Parameters
    ----------
    studio : Studio
    read_all : bool
        Also read each file and compare its content; else only its presence and size.

    Yields
    ------
    tuple of (file, what is wrong)
    """
    with studio.reading() as db:
        rows = db.execute("SELECT file, sha256, bytes FROM photos ORDER BY id").fetchall()
    for file, digest, size in rows:
        path = photo_file(studio, file)
        if not path.is_file():
            yield file, "it is missing"
        elif path.stat().st_size != size:
            yield file, f"it has {path.stat().st_size} bytes instead of {size}"
        elif read_all and content_sha256(path) != digest:
            yield file, "its content has changed"


def sweep(studio: Studio) -> None:
    """Remove copies that a stop left half-made long ago."""
    before = time.time() - _STALE_S
    for left in (*studio.photos.glob("*/.part-*"), *studio.backups.glob(".part-*")):
        with suppress(OSError):
            if left.stat().st_mtime < before:
                left.unlink()


def _file_name(digest: str, source: Path) -> str:
    suffix = source.suffix.lower()
    # The ending only helps other programs; one that is not plain letters is left out.
    if not re.fullmatch(r"\.[a-z0-9]{1,8}", suffix):
        suffix = ""
    return f"photos/{digest[:2]}/{digest}{suffix}"


def _is_whole(target: Path, source: Path) -> bool:
    # Renamed only when complete, so the size is enough; `unsound_photos` reads them all.
    return target.is_file() and target.stat().st_size == source.stat().st_size


def _copy(source: Path, made: Path) -> str:
    digest = hashlib.sha256()
    with source.open("rb") as reader, made.open("wb") as writer:
        while chunk := reader.read(_CHUNK_BYTES):
            digest.update(chunk)
            writer.write(chunk)
        writer.flush()
        os.fsync(writer.fileno())
    return digest.hexdigest()
