"""Writing files so that a stop at any point leaves the old state or the new one."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from grader.record.errors import RecordError


@contextmanager
def temporary_beside(path: Path) -> Iterator[Path]:
    """Name a file beside `path` to write to before renaming; it is gone afterwards.

    On the same disk, since only there is a rename one step. Hidden, so that nobody takes it for
    a result.
    """
    made = path.with_name(f".part-{secrets.token_hex(6)}-{path.name}")
    try:
        yield made
    finally:
        for each in (made, Path(f"{made}-wal"), Path(f"{made}-shm"), Path(f"{made}-journal")):
            with suppress(OSError):
                each.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder last through a loss of power."""
    if os.name == "nt":  # Windows cannot open a folder, and does not need it
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def within(root: Path, relative: str) -> Path:
    """Return `root` / `relative`, refused where it would lead out of `root`.

    Raises
    ------
    RecordError
    """
    path = (root / relative).resolve()
    if not path.is_relative_to(root.resolve()):
        raise RecordError(
            f"the name {relative!r} leads out of the folder", where=str(root), remedy=""
        )
    return path
