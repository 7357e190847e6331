"""Batch-mates: each piece of a design held against its sisters from the same session.

Pieces that were made alike and photographed alike show what is usual. A piece that is browner than
all its sisters is browner, whatever the camera makes of the colour; a spot that all of them have
at the same place is the drawing. Nothing is concluded from fewer than four sisters, and from few
of them only the plain case; the rest is something to watch.
"""

from grader.findings import MateNote
from grader.mates.compare import adjusted, certainties_of, compare_mates, held_together
from grader.mates.kept import from_json, to_json
from grader.mates.likeness import Likeness
from grader.mates.reading import read_likeness
from grader.mates.report import Adjustment, MateReport

__all__ = [
    "Adjustment",
    "Likeness",
    "MateNote",
    "MateReport",
    "adjusted",
    "certainties_of",
    "compare_mates",
    "from_json",
    "held_together",
    "read_likeness",
    "to_json",
]
