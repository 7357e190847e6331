"""What the pages keep between two runs of their script: the studio, and one window's sitting."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

import streamlit as st
from streamlit.runtime.scriptrunner import RerunException, StopException

from grader.record.studio import Studio, init_studio, open_studio
from grader.review.said import Sitting
from grader.review.sound import SoundPlaces
from grader.rules import Rules, load_rules

Read = TypeVar("Read")


@dataclass(frozen=True, slots=True)
class Workshop:
    """What all windows of one server share.

    Attributes
    ----------
    studio : Studio
    sound : SoundPlaces
    """

    studio: Studio
    sound: SoundPlaces


@lru_cache(maxsize=4)
def open_workshop(folder: Path) -> Workshop:
    """Open a studio once for all windows; checking a large record takes a tenth of a second.

    A folder without a record becomes a new studio, so that the first page can teach.

    Raises
    ------
    RecordError
        The record is damaged, newer than the program, or may not be written to.
    """
    has_record = (folder / "record.sqlite").exists()
    studio = open_studio(folder) if has_record else init_studio(folder)
    return Workshop(studio, SoundPlaces(studio))


def rules_of(studio: Studio) -> Rules:
    """Return the studio's rules, read anew where its file has changed."""
    file = studio.rules_file
    return _rules(file, file.stat().st_mtime_ns) if file.is_file() else _rules(None, 0)


@lru_cache(maxsize=8)
def _rules(file: Path | None, changed_ns: int) -> Rules:
    return load_rules(file)


def sitting() -> Sitting:
    """Return what this browser window has said so far."""
    if "sitting" not in st.session_state:
        # The name only tells windows apart in the history.
        st.session_state["sitting"] = Sitting(f"browser {secrets.token_hex(2)}")
    kept: Sitting = st.session_state["sitting"]
    return kept


@contextmanager
def undisturbed(read: Callable[[], Read]) -> Iterator[Read]:
    """Hand out what the session keeps, for an act that must not be cut off.

    Where another run of the page is asked for meanwhile, the framework ends the script as soon as
    that asks for the session's state: in the midst of what a key or a button calls, too, and what
    the maker said would be lost. Here the other run waits until the act is done.

    Parameters
    ----------
    read : callable
        Reads the session's state, and changes nothing that may not be done twice.

    Raises
    ------
    RerunException, StopException
        After the act: of the framework, for the framework.
    """
    wish: RerunException | StopException | None = None
    while True:
        try:
            kept = read()
            break
        except (RerunException, StopException) as asked:
            wish = asked
    yield kept
    if wish is not None:
        raise wish
