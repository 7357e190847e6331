"""Write results whole or not at all, and never over an original."""

from __future__ import annotations

import os
import secrets
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from grader.errors import OutputError

PAGE_NAME = "batch.html"
"""Name of the page within a folder of results."""


def prepare_folder(folder: Path) -> None:
    """Make a folder for results and see that it can be written to.

    Done before the long work starts, so that an hour of it is not lost to a full or locked disk.

    Raises
    ------
    OutputError
    """
    probe = folder / f".part-{secrets.token_hex(6)}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as error:
        raise _cannot_write(folder, error) from None


def refuse_originals(path: Path, photos: Path) -> None:
    """Refuse to write a result over a file that lies among the photos.

    Raises
    ------
    OutputError
        Where `path` is a file that exists within `photos`.
    """
    if path.exists() and path.resolve().is_relative_to(photos.resolve()):
        raise OutputError(
            "this file lies among the photos and is not written over",
            where=str(path),
            remedy="Name a file outside the folder of photos",
        )


def write_files(contents: Mapping[Path, bytes]) -> None:
    """Write several files so that each appears whole, and none where one cannot be written.

    Parameters
    ----------
    contents : mapping of Path to bytes

    Raises
    ------
    OutputError
        Nothing has been changed then, unless the disk failed between two renames.
    """
    parts: dict[Path, Path] = {}
    path = Path()
    try:
        for path, content in contents.items():
            if path.is_dir():
                raise OutputError(
                    "is a folder, not a file", where=str(path), remedy="Name a file to write to"
                )
            part = path.with_name(f".part-{secrets.token_hex(6)}")
            parts[path] = part
            with part.open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        for path, part in parts.items():
            part.replace(path)
    except OSError as error:
        raise _cannot_write(path, error) from None
    finally:
        for part in parts.values():
            with suppress(OSError):
                part.unlink(missing_ok=True)


def _cannot_write(path: Path, error: OSError) -> OutputError:
    return OutputError(
        f"cannot be written ({error.strerror or error})",
        where=str(path),
        remedy="Choose a folder that you may write to, on a disk with room",
    )
