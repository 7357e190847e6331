"""What the image analysis hands on: findings on photos, and how good each photo was.

These types are the seam between looking and judging. A finding carries measurements only;
whether it is slight or marked is for the rules to say, from limits that the maker can read.
Coordinates are pixels of the upright, full-size photo, x right, y down, origin top left.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:  # a likeness names faults of this module
    from grader.mates.likeness import Likeness

FaultName = Literal[
    "scorch",
    "one_sided_browning",
    "flake",
    "pit",
    "pool_tint",
    "streak",
    "crawl",
    "crack",
]
Zone = Literal["painted", "clay", "foot", "inside"]
View = str
"""Name of a view: front, right, back, left, inside, foot, top, or `view 1`, `view 2`, ..."""

SIDES_IN_TURN: tuple[View, ...] = ("front", "right", "back", "left")
"""Sides in the order in which a piece is turned, a quarter of a turn each."""

BESIDE, OPPOSITE = 1, 2
"""Quarters of a turn."""

FAULT_NAMES: tuple[FaultName, ...] = (
    "scorch",
    "one_sided_browning",
    "flake",
    "pit",
    "pool_tint",
    "streak",
    "crawl",
    "crack",
)


def quarters_between(one: View, other: View) -> int | None:
    """Quarters of a turn between two views: 0, `BESIDE` or `OPPOSITE`; None unless both are sides.

    Parameters
    ----------
    one, other : str
    """
    if one not in SIDES_IN_TURN or other not in SIDES_IN_TURN:
        return None
    turn = abs(SIDES_IN_TURN.index(one) - SIDES_IN_TURN.index(other))
    return min(turn, len(SIDES_IN_TURN) - turn)


@dataclass(frozen=True, slots=True)
class Finding:
    """One place on one photo that is not as sound surface of the same kind would be.

    Attributes
    ----------
    fault : str
        One of `FAULT_NAMES`.
    photo, view : str
        Name of the photo (path within the batch, with `/`) and of the view it shows.
    bbox_px : tuple of int
        (x, y, width, height).
    outline_px : tuple of (int, int)
        Closed outline, at least three points (x, y), not repeated at the end.
    zone : str
        Where on the piece.
    diameter_mm, area_mm2 : float or None
        Longest extent and area; None where the photo has no scale.
    height_share : float
        Height of the place over the height of the piece on this photo, 0..1.
    shift_de00 : float or None
        CIEDE2000 between the place and sound surface of the same zone.
    certainty : float
        0..1, how far the evidence stands above what sound surface of this piece shows.
    why : str
        The sentence that tells the maker what was seen, with its figures.
    measures : tuple of (str, float, str)
        Further measurements as (name, value, unit), for the record.
    """

    fault: FaultName
    photo: str
    view: View
    bbox_px: tuple[int, int, int, int]
    outline_px: tuple[tuple[int, int], ...]
    zone: Zone
    diameter_mm: float | None
    area_mm2: float | None
    height_share: float
    shift_de00: float | None
    certainty: float
    why: str
    measures: tuple[tuple[str, float, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong with a photo, and what to do about it.

    Attributes
    ----------
    code : str
        Stable short name, for instance ``out_of_focus``.
    text : str
        Plain words with the remedy.
    blocks : bool
        True where the photo cannot carry a verdict because of it.
    """

    code: str
    text: str
    blocks: bool = False


@dataclass(frozen=True, slots=True)
class PhotoReport:
    """How a photo was read: what it can and cannot be used for.

    Attributes
    ----------
    photo, view : str
        As in `Finding`.
    size_px : tuple of int
        (width, height) of the upright photo; (0, 0) where it could not be read.
    usable : bool
        False where it cannot carry a verdict.
    problems : tuple of Problem
    px_per_mm : float or None
        In the plane of the piece's axis, where the marker stands. Sizes of findings are taken on
        the nearer surface, which is larger in the picture.
    scale_from : {"marker", "height"} or None
    colour_from : {"chart", "grey", "backdrop"} or None
    chart_de00 : float or None
        Leave-one-out mean CIEDE2000 of the chart fit.
    piece_bbox_px : tuple of int or None
        (x, y, width, height) of the piece.
    smallest_judged_mm : float or None
        Diameter of the smallest speck that this photo can show (5 px across).
    """

    photo: str
    view: View
    size_px: tuple[int, int] = (0, 0)
    usable: bool = True
    problems: tuple[Problem, ...] = ()
    px_per_mm: float | None = None
    scale_from: Literal["marker", "height"] | None = None
    colour_from: Literal["chart", "grey", "backdrop"] | None = None
    chart_de00: float | None = None
    piece_bbox_px: tuple[int, int, int, int] | None = None
    smallest_judged_mm: float | None = None


MateKind = Literal[
    "browner", "paler", "shade", "one_sided", "paint", "painted_share", "painted_place", "shared"
]


@dataclass(frozen=True, slots=True)
class MateNote:
    """How a piece differs from its sisters, or what it has in common with them.

    Attributes
    ----------
    piece : str
    kind : str
        ``browner``, ``paler``, ``shade`` (a coloured glaze), ``one_sided``, ``paint``,
        ``painted_share``, ``painted_place``, ``shared`` (a flag that all sisters have).
    text : str
        A sentence for the maker.
    shift_de00 : float or None
        Against the median of the sisters.
    sisters : int
        How many it was held against; 0 for a reference piece alone.
    sure : bool
        False where it is only something to watch.
    """

    piece: str
    kind: MateKind
    text: str
    shift_de00: float | None
    sisters: int
    sure: bool


@dataclass(frozen=True, slots=True)
class PieceSurvey:
    """All that the photos of one piece showed.

    Attributes
    ----------
    piece : str
        Code of the piece.
    photos : tuple of PhotoReport
        In view order.
    findings : tuple of Finding
    zones : frozenset of str
        Zones seen on the piece, whatever the facts say.
    notes : tuple of MateNote
        What its sisters say of it, once they were all looked at; never of others.
    likeness : Likeness or None
        What of its looks its sisters are held against. No part of what was seen, so that a survey
        read back without it is the same.
    """

    piece: str
    photos: tuple[PhotoReport, ...]
    findings: tuple[Finding, ...] = ()
    zones: frozenset[Zone] = field(default_factory=frozenset)
    notes: tuple[MateNote, ...] = ()
    likeness: Likeness | None = field(default=None, compare=False, repr=False)
