"""Photos that come in through the browser: to the disk at once, then into the record.

Names of dropped files are the sender's: only their last two parts are used, and only letters that
a file name may hold on every system.
"""

from __future__ import annotations

import shutil
import unicodedata
from collections.abc import Iterable
from pathlib import Path
from typing import Protocol

from grader.batch import FACTS_NAME, find_batch
from grader.errors import UsageError
from grader.photo import PHOTO_SUFFIXES
from grader.record.add import Added, take_in
from grader.record.errors import told
from grader.record.lines import pieces_word
from grader.record.studio import Studio

_INCOMING = "incoming"
_LONGEST_NAME = 120
"""Letters of a file name: well below the 255 bytes that file systems allow."""

_UNSAFE = frozenset('<>:"/\\|?*')
"""Not allowed in a file name on every system (Windows has the longest list)."""


class Dropped(Protocol):
    """A file as the page's framework hands it over."""

    name: str

    def getbuffer(self) -> memoryview:
        """Return its content."""


def safe_part(name: str) -> str:
    """Return one part of a path that means nothing but itself on every system.

    ``..`` becomes ``_``, and what would be hidden, empty or a device keeps a harmless rest.
    """
    text = unicodedata.normalize("NFC", name)
    kept = "".join(
        "_" if letter in _UNSAFE or not letter.isprintable() else letter for letter in text
    )
    kept = kept.strip(" .")[-_LONGEST_NAME:].lstrip(" .")
    return kept or "_"


def safe_path(name: str) -> Path:
    """Return a relative path of at most a folder and a file from the name of a dropped file."""
    parts = [part for part in name.replace("\\", "/").split("/") if part not in ("", ".", "..")]
    return Path(*(safe_part(part) for part in parts[-2:])) if parts else Path("_")


def is_wanted(name: str) -> bool:
    """Tell whether a dropped file is a photo, or the list of pieces."""
    path = safe_path(name)
    return path.suffix.lower() in PHOTO_SUFFIXES or path.name.casefold() == FACTS_NAME


def take_dropped(studio: Studio, files: Iterable[Dropped], *, load: str, refire: bool) -> Added:
    """Write dropped photos to the disk and take them into the record.

    Parameters
    ----------
    studio : Studio
    files : iterable of Dropped
    load : str
        Name of the load; photos of several drops with one name are one load until it is looked at.
    refire : bool
        True where known pieces come back from a refire.

    Raises
    ------
    BatchError, RecordError
        What was written stays in the studio folder under ``incoming``, until the next drop.
    """
    folder = studio.folder / _INCOMING / safe_part(load)
    with told(folder):
        folder.mkdir(parents=True, exist_ok=True)
        for file in files:
            if is_wanted(file.name):
                path = free_path(folder / safe_path(file.name), bytes(file.getbuffer()))
                if path is not None:
                    path.parent.mkdir(exist_ok=True)
                    path.write_bytes(file.getbuffer())
    added = take_in(studio, find_batch(folder), refire=refire)
    # The record holds them now, each under its content; what lies here is a second copy.
    shutil.rmtree(folder, ignore_errors=True)
    return added


def free_path(path: Path, content: bytes) -> Path | None:
    """Return a path where nothing lies yet; None where the same content lies there already.

    Two phones both name a photo IMG_0001.
    """
    count = 2
    found = path
    while found.exists():
        if found.read_bytes() == content:
            return None
        found = path.with_name(f"{path.stem} ({count}){path.suffix}")
        count += 1
    return found


def take_folder(studio: Studio, folder: str, *, refire: bool) -> Added:
    """Take a folder of this computer into the record.

    Raises
    ------
    UsageError, BatchError, RecordError
    """
    named = folder.strip().strip('"')
    if not named:
        raise UsageError("no folder was named", remedy="Write the folder that holds the photos")
    return take_in(studio, find_batch(Path(named).expanduser()), refire=refire)


def told_of(added: Added) -> list[str]:
    """Return what became of the photos, in sentences."""
    by_step: dict[str, list[str]] = {}
    for piece in added.pieces:
        by_step.setdefault(piece.step, []).append(piece.code)
    words = {
        "new": "new",
        "more photos": "with more photos",
        "refire": "back from a refire",
        "known": "known already, nothing new",
        "left out": "left out",
    }
    lines = [
        f"{pieces_word(len(codes))} {words[step]}: {', '.join(codes)}."
        for step, codes in by_step.items()
    ]
    lines += list(added.problems)
    lines += [note for piece in added.pieces for note in piece.notes]
    return lines
