"""The analysis beside the pages: a process that looks at what waits in the record.

``python -m grader.review.working FOLDER`` does the work; how far it is, the record itself tells.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from grader.errors import GraderError
from grader.record.bench import piece_view
from grader.record.looking import look_at_waiting, waiting
from grader.record.previews import SCREEN_PX, preview_file
from grader.record.studio import Studio, open_studio
from grader.review import background
from grader.review.routes import SMALL_PX

_MODULE = "grader.review.working"

LEAST_URGENT = 10
"""Niceness of the work: the pages, and whatever else the maker does, go first."""


@dataclass(frozen=True, slots=True)
class Looking:
    """How the work stands.

    Attributes
    ----------
    running : bool
    waits : tuple of str
        Codes of the pieces that wait for their look.
    trouble : str
        Why the work ended early, in plain words; else empty.
    """

    running: bool
    waits: tuple[str, ...]
    trouble: str


def start_looking(studio: Studio) -> None:
    """Begin to look at what waits, unless that is being done already."""
    background.start(_MODULE, str(studio.folder))


def is_looking(studio: Studio) -> bool:
    """Tell whether this server's work on the studio is going on."""
    return background.is_running(_MODULE, str(studio.folder))


def looking(studio: Studio) -> Looking:
    """Return how the work stands."""
    words = str(studio.folder)
    trouble = background.trouble(_MODULE, words)
    return Looking(is_looking(studio), tuple(waiting(studio)), trouble)


def make_previews(studio: Studio, code: str) -> None:
    """Make the copies of a piece's photos that the bench shows, so that nobody waits for them."""
    for photo in piece_view(studio, code).photos:
        for side in (SMALL_PX, SCREEN_PX):
            # A photo that cannot be read has said so in its report.
            with suppress(GraderError):
                preview_file(studio, photo.file, edge_px=side, turn_deg=photo.turn_deg)


def main(folder: Path) -> int:
    """Look at what waits until nothing does, or the server that asked for it is gone."""
    if hasattr(os, "nice"):
        os.nice(LEAST_URGENT)
    server = os.getppid()

    def left_alone() -> bool:
        return os.getppid() != server

    try:
        studio = open_studio(folder)
        # Photos may come in while the work goes on: another round until nothing new was done.
        while waiting(studio) and not left_alone():
            looked = look_at_waiting(
                studio,
                workers=None,
                progress=lambda _done, _all, code: make_previews(studio, code),
                stop=left_alone,
            )
            if not looked:
                break
    except GraderError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
