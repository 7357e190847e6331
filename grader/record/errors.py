"""What can go wrong with the record, each with a name of its own."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from grader.errors import GraderError


class RecordError(GraderError):
    """Something about the studio folder or its record that the maker can put right."""


class NoRecordError(RecordError):
    """There is no record in the folder."""


class DamagedRecordError(RecordError):
    """The file of the record is not sound; it is left exactly as it is."""


class NewerRecordError(RecordError):
    """The record was written by a later version of this program."""


class BusyRecordError(RecordError):
    """Another program held the record for too long."""


class FullDiskError(RecordError):
    """There was no room to write; what had been confirmed before is kept."""


class UnknownPieceError(RecordError):
    """No piece of this code is in the record."""

    exit_code = 2


_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_ROOM = (
    "Make room on the disk and give the same command again: all that was confirmed is kept, "
    "and the work goes on where it stopped"
)


@contextmanager
def told(where: Path) -> Iterator[None]:
    """Turn the errors of the disk and of SQLite into ones that say what to do.

    Parameters
    ----------
    where : Path
        The file that is worked on.

    Raises
    ------
    RecordError
        With the cause as its context. Errors that no maker could mend pass as they are.
    """
    try:
        yield
    except sqlite3.Error as error:
        known = _of_sqlite(error, where)
        if known is None:
            raise
        raise known from error
    except OSError as error:
        if error.errno in _FULL:
            raise FullDiskError("the disk is full", where=str(where), remedy=_ROOM) from error
        if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
            raise RecordError(
                "it may not be written to",
                where=str(error.filename or where),
                remedy="Give yourself the right to write there, or choose another studio folder",
            ) from error
        raise


def damaged(where: Path, how: str) -> DamagedRecordError:
    """Return the error for a file that is not sound, naming the newest copy if there is one."""
    # The first complaint names the place; the others follow from it.
    how = how.removeprefix("*** in database main ***").strip().split("\n")[0]
    copies = sorted((where.parent / "backups").glob("*.sqlite"), key=lambda p: p.stat().st_mtime)
    remedy = "The file is left as it is. Copy the whole folder first; then "
    if copies:
        remedy += f"put backups/{copies[-1].name} in its place"
    else:
        remedy += "put the newest copy that you have in its place"
    # Else SQLite would lay what it logged for the damaged file over the copy.
    beside = [f"{where.name}{end}" for end in ("-wal", "-shm")]
    remedy += f", and remove {' and '.join(beside)} beside it"
    return DamagedRecordError(f"the record is damaged ({how})", where=str(where), remedy=remedy)


def _of_sqlite(error: sqlite3.Error, where: Path) -> RecordError | None:
    # The low byte is the primary result code, https://sqlite.org/rescode.html
    code = (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF
    if code == sqlite3.SQLITE_FULL:
        return FullDiskError("the disk is full", where=str(where), remedy=_ROOM)
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return damaged(where, str(error))
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return BusyRecordError(
            "another window or command is writing to the record",
            where=str(where),
            remedy="Wait until it is done and try again; nothing was changed",
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN):
        return RecordError(
            f"the record cannot be opened for writing ({error})",
            where=str(where),
            remedy="Give yourself the right to write in this folder, or move it to another place",
        )
    if code == sqlite3.SQLITE_IOERR:
        return RecordError(
            f"the disk could not be read or written ({error})",
            where=str(where),
            remedy="See that the disk is connected and not full, then give the command again",
        )
    return None
