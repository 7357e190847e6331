"""Advice on photos at once, while the piece still stands on the table.

The full look takes a while for each piece; whether a photo is sharp, bright and complete is known
in a second or two. ``python -m grader.review.advice FOLDER`` checks the photos of pieces that
wait, and keeps what it finds (`grader.review.photo_advice`).
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from grader.checks import check_views
from grader.checkup import look_at_photos
from grader.errors import GraderError
from grader.record.looking import entry_of, waiting
from grader.record.now import marker_mm
from grader.record.pieces import PlacedPhoto, current_round, photos_of, piece_id_of
from grader.record.studio import Studio, open_studio
from grader.review import background
from grader.review.photo_advice import keep_advice, kept_advice
from grader.review.working import LEAST_URGENT
from grader.rules import Rules

_MODULE = "grader.review.advice"


def start_advice(studio: Studio) -> None:
    """Begin to check the photos of the pieces that wait."""
    background.start(_MODULE, str(studio.folder))


def advice_running(studio: Studio) -> bool:
    """Tell whether photos are being checked."""
    return background.is_running(_MODULE, str(studio.folder))


def missing_views(photos: list[PlacedPhoto], rules: Rules) -> list[str]:
    """Return what is said of sides that no photo of a piece shows."""
    seen = [photo.view for photo in photos]
    return [problem.text for problem in check_views(seen, rules.required, rules.advised)]


def advise(studio: Studio, code: str) -> None:
    """Check the photos of a piece and keep the advice."""
    with studio.reading() as db:
        round_ = current_round(db, piece_id_of(db, code))
        entry, ids = entry_of(studio, db, round_)
        photos = {photo.id: photo for photo in photos_of(db, round_.id)}
        side_mm = marker_mm(db)
    if all(kept_advice(studio, photo) is not None for photo in photos.values()):
        return
    survey = look_at_photos(entry, marker_mm=side_mm)
    keep_advice(studio, {photos[ids[report.photo]]: report.problems for report in survey.photos})


def main(folder: Path) -> int:
    """Check what waits, one piece after the other."""
    if hasattr(os, "nice"):
        os.nice(LEAST_URGENT)
    server = os.getppid()
    try:
        studio = open_studio(folder)
        for code in waiting(studio):
            if os.getppid() != server:
                break
            advise(studio, code)
    except GraderError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
