"""Where sound surface lies beside each finding, worked out ahead and outside the page's script.

Finding it needs the pixels of the full photo, which takes a few tenths of a second; a page must
not wait for that. `SoundPlaces` looks in one thread of its own, in the order asked, and keeps only
the boxes.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict, deque
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from grader.errors import GraderError
from grader.findings import Finding
from grader.photo import Photo, read_photo
from grader.pictures import Box, close_up_box, sound_box
from grader.record.previews import working_file
from grader.record.studio import Studio

_log = logging.getLogger(__name__)

_KEPT = 4000
"""Findings whose boxes are remembered: about 1 MB, and far more than one batch has."""

_ASKED = 64
"""Photos that may wait to be searched; the oldest wishes are dropped, as nobody looks there now."""


@dataclass(frozen=True, slots=True)
class SoundTask:
    """One photo whose findings want sound surface beside them.

    Attributes
    ----------
    photo_id : int
    file : str
        As in `grader.record.photos.KeptPhoto`.
    turn_deg : int
    piece_bbox_px : tuple of int or None
    findings : tuple of (int, Finding)
        Each with its id in the record.
    """

    photo_id: int
    file: str
    turn_deg: int
    piece_bbox_px: Box | None
    findings: tuple[tuple[int, Finding], ...]


def place_box(finding: Finding, size_px: tuple[int, int]) -> Box:
    """Return the square that the loupe shows of a place, without opening the photo.

    Parameters
    ----------
    finding : Finding
    size_px : tuple of int
        (width, height) of the upright, full-size photo.
    """
    width, height = size_px
    # `close_up_box` asks a photo for its size only; this one has a size and no memory.
    blank = np.broadcast_to(np.uint8(0), (height, width, 3))
    return close_up_box(Photo(finding.photo, Path(finding.photo), blank), finding)


def sound_places(studio: Studio, task: SoundTask) -> dict[int, Box | None]:
    """Return a box of sound surface for each finding of a photo; None where there is none.

    Raises
    ------
    PhotoError
        The photo cannot be read.
    """
    photo = read_photo(working_file(studio, task.file, turn_deg=task.turn_deg))
    everything = [finding for _, finding in task.findings]
    return {
        found_id: sound_box(
            photo, task.piece_bbox_px, close_up_box(photo, finding), finding, everything
        )
        for found_id, finding in task.findings
    }


class SoundPlaces:
    """Boxes of sound surface, looked for in the background."""

    def __init__(self, studio: Studio) -> None:
        self._studio = studio
        self._known: OrderedDict[int, Box | None] = OrderedDict()
        self._tasks: deque[SoundTask] = deque(maxlen=_ASKED)
        self._lock = threading.Lock()
        self._running = False

    def known(self, finding_id: int) -> tuple[bool, Box | None]:
        """Tell whether a finding was looked for already, and what was found."""
        with self._lock:
            return finding_id in self._known, self._known.get(finding_id)

    def ask(self, tasks: Sequence[SoundTask]) -> None:
        """Have photos searched; those asked last come first, as they are on the screen."""
        with self._lock:
            waiting = {task.photo_id for task in tasks}
            others = [task for task in self._tasks if task.photo_id not in waiting]
            wanted = [
                task
                for task in tasks
                if any(number not in self._known for number, _ in task.findings)
            ]
            self._tasks = deque([*others, *reversed(wanted)], maxlen=_ASKED)
            if not self._tasks or self._running:
                return
            self._running = True
        threading.Thread(target=self._work, name="sound surface", daemon=True).start()

    def _work(self) -> None:
        while True:
            with self._lock:
                if not self._tasks:
                    self._running = False
                    return
                task = self._tasks.pop()
            found: dict[int, Box | None] = dict.fromkeys((number for number, _ in task.findings))
            try:
                found = sound_places(self._studio, task)
            except GraderError as error:
                # The loupe then shows the place alone; why the photo fails, its report says.
                _log.info("no sound surface: %s", error)
            except Exception:
                _log.exception("no sound surface for photo %s", task.photo_id)
            with self._lock:
                self._known.update(found)
                while len(self._known) > _KEPT:
                    self._known.popitem(last=False)
