"""What the photo checks said of each photo, kept for the pages and for the phone alike.

It lies beside the previews, by content, turn and side: it can be made again at any time, and a
photo that is turned or named otherwise is checked anew.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from grader.findings import PhotoReport, Problem
from grader.output import write_files
from grader.record.pieces import PlacedPhoto
from grader.record.studio import Studio


def keep_advice(studio: Studio, said: Mapping[PlacedPhoto, tuple[Problem, ...]]) -> None:
    """Keep what the checks said of photos.

    Parameters
    ----------
    studio : Studio
    said : mapping of PlacedPhoto to tuple of Problem
        Nothing where a photo is good.

    Raises
    ------
    OutputError
        The disk takes no more; the record is not touched.
    """
    files = {
        _file(studio, photo): json.dumps(
            [[each.code, each.text, each.blocks] for each in problems], ensure_ascii=False
        ).encode()
        for photo, problems in said.items()
    }
    for file in files:
        file.parent.mkdir(parents=True, exist_ok=True)
    write_files(files)


def kept_advice(studio: Studio, photo: PlacedPhoto) -> tuple[Problem, ...] | None:
    """Return what the checks said of a photo; None while it has not been checked."""
    try:
        said = json.loads(_file(studio, photo).read_text("utf-8"))
        return tuple(Problem(str(code), str(text), bool(blocks)) for code, text, blocks in said)
    except (OSError, ValueError, TypeError):  # missing or spoilt: it is checked again
        return None


def advice_on(
    studio: Studio, photo: PlacedPhoto, report: PhotoReport | None
) -> tuple[Problem, ...] | None:
    """Return what is said of a photo; None while nobody has looked at it.

    Parameters
    ----------
    studio : Studio
    photo : PlacedPhoto
    report : PhotoReport or None
        Of the full look at the piece, whose word stands for that of the quick check before it.
    """
    return report.problems if report is not None else kept_advice(studio, photo)


def _file(studio: Studio, photo: PlacedPhoto) -> Path:
    name = f"{photo.sha256}-advice-{photo.turn_deg}-{photo.view.replace(' ', '_')}.json"
    # A view is the maker's own word: only its plain letters belong in a file name.
    plain = "".join(letter for letter in name if letter.isalnum() or letter in "-_.")
    return studio.previews / photo.sha256[:2] / plain
