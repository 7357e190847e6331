"""The whole page of a load, with every picture in it, made beside the pages.

Cutting the close-ups of sixty pieces takes a minute, so ``python -m grader.review.printing`` does
it in a process of its own, with the functions that the command line uses too.
"""

from __future__ import annotations

import os
import sys
from datetime import date
from pathlib import Path

from grader.errors import GraderError
from grader.output import write_files
from grader.page import batch_page
from grader.record.graded import graded_batch
from grader.record.studio import Studio, open_studio
from grader.review import background
from grader.review.state import rules_of
from grader.review.working import LEAST_URGENT

_MODULE = "grader.review.printing"


def page_file(studio: Studio, batch_id: int) -> Path:
    """Return where the page of a load is kept; it can be made again at any time."""
    return studio.previews / f"load-{batch_id}.html"


def start_page(studio: Studio, batch_id: int) -> None:
    """Begin to make the page of a load."""
    page_file(studio, batch_id).unlink(missing_ok=True)
    background.start(_MODULE, str(studio.folder), str(batch_id))


def page_running(studio: Studio, batch_id: int) -> bool:
    """Tell whether the page is being made."""
    return background.is_running(_MODULE, str(studio.folder), str(batch_id))


def page_trouble(studio: Studio, batch_id: int) -> str:
    """Return why the page could not be made; else empty."""
    return background.trouble(_MODULE, str(studio.folder), str(batch_id))


def make_page(studio: Studio, batch_id: int) -> Path:
    """Make the page of a load, as it stands in the record now."""
    batch = graded_batch(studio, batch_id=batch_id)
    page = batch_page(batch, rules_of(studio), today=date.today())
    target = page_file(studio, batch_id)
    write_files({target: page.encode()})
    return target


def main(folder: Path, batch_id: int) -> int:
    """Make the page, and tell on stderr what went wrong."""
    if hasattr(os, "nice"):
        os.nice(LEAST_URGENT)
    try:
        make_page(open_studio(folder), batch_id)
    except GraderError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), int(sys.argv[2])))
