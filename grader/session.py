"""One chart for a whole session in fixed light."""

from __future__ import annotations

from pathlib import Path

from grader.batch import Batch
from grader.errors import PhotoError
from grader.photo import read_photo
from grader.scale import DEFAULT_MARKER_MM
from grader.target import Colour, Target, read_target, session_colour

# With a fit as good as this and the marker's paper in the picture there is nothing to gain from
# looking further.
_GOOD_DE00 = 3.0


def find_session_colour(batch: Batch, *, marker_mm: float = DEFAULT_MARKER_MM) -> Colour | None:
    """Find the chart that serves the photos of a batch which show none.

    Photos of the chart alone are looked at first, then one photo of each piece, until a good
    chart is found.

    Parameters
    ----------
    batch : Batch
    marker_mm : float
        Side of the marker.

    Returns
    -------
    Colour or None
        For `grader.target.read_target` or `grader.target.apply_session`.
    """
    candidates = [(path.name, path) for path in batch.charts]
    candidates += [(e.shots[0].name, e.shots[0].path) for e in batch.pieces if e.shots]
    found: list[Target] = []
    for name, path in candidates:
        target = _read(name, path, marker_mm)
        if target is None or target.colour.source != "chart":
            continue
        found.append(target)
        fit = target.colour.leave_one_out_de00
        if fit is not None and fit <= _GOOD_DE00 and target.paper_linear is not None:
            break
    return session_colour(tuple(found))


def _read(name: str, path: Path, marker_mm: float) -> Target | None:
    try:
        return read_target(read_photo(path, name=name), marker_mm=marker_mm)
    except PhotoError:
        # Said by whoever reads the photo for its piece.
        return None
