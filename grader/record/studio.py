"""The studio folder: where the record, the photos and the studio's rules live together.

Everything inside is named relative to the folder, so that it can be moved, zipped and put back.
"""

from __future__ import annotations

import os
import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from grader.record.clock import stamp
from grader.record.errors import (
    NewerRecordError,
    NoRecordError,
    RecordError,
    damaged,
    told,
)
from grader.record.files import sync_folder, temporary_beside
from grader.record.schema import APPLICATION_ID, LATEST, step_up

PLACE_VARIABLE = "GRADER_STUDIO"
"""Environment variable that names the studio folder where none is given."""

_WAIT_S = 20.0
"""How long to wait for another writer. The longest write, one piece, takes a few hundredths of a
second; a re-grading of ten thousand pieces a few seconds."""

_KEPT = "kept"
_COPIES = 7
"""So many copies are kept; a record of ten thousand pieces is about 50 MB."""

_MAGIC = b"SQLite format 3\x00"  # https://sqlite.org/fileformat2.html#magic_header_string

_ABOUT = """\
This folder is the record of a studio, kept by the program "grader".

record.sqlite  pieces, firings, findings, verdicts, decisions (an SQLite file)
photos/        the photographs, each named by its SHA-256; never changed
previews/      small copies, made again when they are missing
rules.toml     what differs from the default rules
backups/       the last copies of record.sqlite, and those made before it was brought up to date

Move, zip or copy the folder as a whole while the program is not running.
"grader export" writes everything out as CSV, JSON and named photos.
"""

_RULES = """\
# The rules of this studio. Write here only what differs from the default rules;
# whatever is not written here stays as it is there.
"""


@dataclass(frozen=True, slots=True)
class Studio:
    """A studio folder with a record in it; made by `open_studio` or `init_studio`.

    Attributes
    ----------
    folder : Path
        Absolute.
    """

    folder: Path

    @property
    def record(self) -> Path:
        """The SQLite file."""
        return self.folder / "record.sqlite"

    @property
    def photos(self) -> Path:
        """Folder of the originals, by content."""
        return self.folder / "photos"

    @property
    def previews(self) -> Path:
        """Folder of the small copies."""
        return self.folder / "previews"

    @property
    def backups(self) -> Path:
        """Folder of the copies made before a migration."""
        return self.folder / "backups"

    @property
    def rules_file(self) -> Path:
        """The studio's own rules."""
        return self.folder / "rules.toml"

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Open a connection that sees one state of the record and changes nothing."""
        with told(self.record), closing(_connect(self.record)) as db:
            db.execute("PRAGMA query_only = ON")
            db.execute("BEGIN")
            yield db
            db.execute("ROLLBACK")

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """Open a connection for one transaction: all of it is kept, or nothing.

        When the block is left without an error, what was written has reached the disk.
        """
        with told(self.record), closing(_connect(self.record)) as db:
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise

    def setting(self, key: str, default: str = "") -> str:
        """Return a setting of the studio."""
        with self.reading() as db:
            row = db.execute("SELECT value FROM studio WHERE key = ?", (key,)).fetchone()
        return str(row[0]) if row else default

    def set_setting(self, key: str, value: str) -> None:
        """Keep a setting of the studio."""
        with self.writing() as db:
            db.execute(
                "INSERT INTO studio (key, value) VALUES (?, ?) "
                "ON CONFLICT (key) DO UPDATE SET value = excluded.value",
                (key, value),
            )


def default_place() -> Path:
    """Return the studio folder that is meant where none is named.

    The environment variable `PLACE_VARIABLE`, else a folder in the user's data place.
    """
    named = os.environ.get(PLACE_VARIABLE, "").strip()
    if named:
        return Path(named).expanduser()
    return Path(platformdirs.user_data_dir("unload-grader", appauthor=False)) / "studio"


def has_record(folder: Path | str | None = None) -> bool:
    """Tell whether there is a record in a folder; `default_place` where None."""
    return Studio(_absolute(folder)).record.exists()


def init_studio(folder: Path | str | None = None, *, name: str = "") -> Studio:
    """Make a studio folder, or open the one that is there.

    Parameters
    ----------
    folder : Path or str, optional
        A new or empty folder; `default_place` where None.
    name : str
        Name of the studio, as it shall stand on its lists.

    Raises
    ------
    RecordError
        The folder holds other things, cannot be written to, or holds a record that cannot be used.
    """
    studio = Studio(_absolute(folder))
    if studio.record.exists():
        return open_studio(studio.folder)
    with told(studio.folder):
        _refuse_other_things(studio.folder)
        for each in (studio.folder, studio.photos, studio.previews, studio.backups):
            each.mkdir(parents=True, exist_ok=True)
        for file, text in ((studio.folder / "about.txt", _ABOUT), (studio.rules_file, _RULES)):
            if not file.exists():
                file.write_text(text, encoding="utf-8")
        # Made aside and renamed, so that a stop leaves either no record or a whole one.
        with temporary_beside(studio.record) as made:
            with closing(sqlite3.connect(made, isolation_level=None)) as db:
                db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                db.execute("PRAGMA journal_mode = WAL")
                step_up(db)
                db.executemany(
                    "INSERT INTO studio (key, value) VALUES (?, ?)",
                    [("name", name), ("made_at", stamp()), ("id", uuid.uuid4().hex)],
                )
            _put_in_place_unless_there(made, studio.record)
    return open_studio(studio.folder)


def open_studio(folder: Path | str | None = None) -> Studio:
    """Open a studio folder, see that its record is sound, and bring it up to date.

    An older record is copied to ``backups/`` first, a sound one once a day. A damaged or newer
    one is never written to.

    Parameters
    ----------
    folder : Path or str, optional
        `default_place` where None.

    Raises
    ------
    NoRecordError, DamagedRecordError, NewerRecordError, RecordError
    """
    studio = Studio(_absolute(folder))
    if not studio.record.is_file():
        raise NoRecordError(
            "there is no record in this folder",
            where=str(studio.folder),
            remedy=f"Make one with: grader init {_quoted(studio.folder)}",
        )
    with told(studio.record):
        version = _look_without_writing(studio)
        if version < LATEST:
            with closing(_connect(studio.record)) as db:
                back_up(studio, label=f"before-step-{version + 1}")
                step_up(db)
        _copy_once_a_day(studio)
    return studio


def back_up(studio: Studio, *, label: str) -> Path:
    """Copy the record, as one state, to ``backups/``.

    Uses the online backup of SQLite (https://sqlite.org/backup.html), so that other windows may
    go on working.

    Returns
    -------
    Path
        The copy.
    """
    moment = stamp().replace(":", "").replace("-", "").replace(".", "")
    copy = studio.backups / f"record-{moment}-{label}.sqlite"
    with told(copy):
        studio.backups.mkdir(exist_ok=True)
        with temporary_beside(copy) as made:
            with (
                closing(_connect(studio.record)) as source,
                closing(sqlite3.connect(made)) as target,
            ):
                source.backup(target)
                # One file without a -wal beside it: easier to keep.
                target.execute("PRAGMA journal_mode = DELETE")
            with made.open("rb+") as file:
                os.fsync(file.fileno())
            made.replace(copy)
            sync_folder(copy.parent)
    return copy


def keep_copy(studio: Studio) -> None:
    """Copy the record to ``backups/``, and let the oldest of such copies go.

    A record that is damaged later, by a failing disk for instance, is put back from there.
    """
    back_up(studio, label=_KEPT)
    # Their names begin with the moment. Copies made before a migration are kept for good.
    for old in sorted(studio.backups.glob(f"record-*-{_KEPT}.sqlite"))[:-_COPIES]:
        old.unlink(missing_ok=True)


def _copy_once_a_day(studio: Studio) -> None:
    today = stamp()[: len("2026-11-20")].replace("-", "")
    if any(studio.backups.glob(f"record-{today}T*.sqlite")):
        return
    with closing(_connect(studio.record)) as db:
        empty = not db.execute("SELECT EXISTS (SELECT 1 FROM pieces)").fetchone()[0]
    if not empty:
        # For want of room no copy is made; the record itself can be read all the same, and
        # whatever is written next says that the disk is full.
        with suppress(RecordError):
            keep_copy(studio)


def _connect(record: Path) -> sqlite3.Connection:
    # mode=rw: a file that has gone missing must not be made anew, empty.
    db = sqlite3.connect(
        f"{record.as_uri()}?mode=rw", uri=True, timeout=_WAIT_S, isolation_level=None
    )
    db.execute("PRAGMA foreign_keys = ON")
    # FULL: in WAL mode only this makes each commit last through a loss of power,
    # https://sqlite.org/pragma.html#pragma_synchronous
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA cell_size_check = ON")
    return db


def _look_without_writing(studio: Studio) -> int:
    """Return the number of steps done, after all checks that a sound record passes."""
    with studio.record.open("rb") as file:
        head = file.read(len(_MAGIC))
    if not head:
        raise damaged(studio.record, "it is empty")
    if head != _MAGIC:
        raise damaged(studio.record, "it does not begin as an SQLite file does")
    # Read-only, so that a damaged file keeps every byte.
    uri = f"{studio.record.as_uri()}?mode=ro"
    with closing(sqlite3.connect(uri, uri=True, timeout=_WAIT_S, isolation_level=None)) as db:
        db.execute("PRAGMA cell_size_check = ON")
        version: int = db.execute("PRAGMA user_version").fetchone()[0]
        mark: int = db.execute("PRAGMA application_id").fetchone()[0]
        if mark != APPLICATION_ID:
            raise RecordError(
                "this SQLite file is not a record of this program",
                where=str(studio.record),
                remedy="Choose another studio folder; the file is left as it is",
            )
        if version > LATEST:
            raise NewerRecordError(
                f"the record was written by a later version of this program "
                f"(its tables are at step {version}, this version knows {LATEST})",
                where=str(studio.record),
                remedy="Update the program; the file is left as it is",
            )
        if version < 1:
            raise damaged(studio.record, "it holds no tables")
        said = [str(row[0]) for row in db.execute("PRAGMA quick_check(3)")]
        if said != ["ok"]:
            raise damaged(studio.record, "; ".join(said))
    return version


def _put_in_place_unless_there(made: Path, record: Path) -> None:
    # link() refuses an existing name where replace() would overwrite it: two windows may be
    # making the same studio at once.
    try:
        os.link(made, record)
    except FileExistsError:
        pass
    except OSError:  # a disk without hard links, for instance exFAT
        if not record.exists():
            made.replace(record)
    sync_folder(record.parent)


def _refuse_other_things(folder: Path) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise RecordError(
            "this is a file, not a folder", where=str(folder), remedy="Choose another"
        )
    ours = {"photos", "previews", "backups", "rules.toml", "about.txt"}
    others = [
        each.name for each in folder.iterdir() if each.name not in ours and each.name[0] != "."
    ]
    if others:
        raise RecordError(
            f"the folder holds other things ({', '.join(sorted(others)[:3])})",
            where=str(folder),
            remedy="Name a new or empty folder for the studio",
        )


def _absolute(folder: Path | str | None) -> Path:
    return (default_place() if folder is None else Path(folder).expanduser()).resolve()


def _quoted(path: Path) -> str:
    text = str(path)
    return f'"{text}"' if " " in text else text
