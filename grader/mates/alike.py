"""What sisters have in common: a mark that all of them show at one place is the drawing.

The chance that a sister shows the like nearby is taken from how many such marks she has: on
speckled clay there is always some speck near, and then nothing is concluded.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from grader.findings import FaultName, MateNote
from grader.mates.likeness import Flag, Likeness, Side, SmallMark
from grader.mates.report import LEAST_SISTERS, Adjustment, FindingKey

_ACROSS_MM, _DOWN_MM = 8.0, 6.0
"""A hand-painted detail lies within so much of the same place on each sister (common practice, no
source); across, a pot turned by ten degrees more adds to it."""

_SIZES, _COLOURS = 2.0, 0.2
"""Marks are alike within this ratio of sizes and this distance of their light over clay's."""

_MOST_HAVE_IT = 0.75
_CHANCE = 0.01
"""Of a drawing, three in four sisters show the like, and so many would not by chance: on speckled
clay there is always some speck nearby."""

_PLAIN_SISTERS, _PLAIN_CHANCE = 5, 0.001
_ALL_HAVE_IT_LEAVES = 0.0
_MOST_HAVE_IT_LEAVES = 0.3
"""Certainty left to a flag, as a share: none where all of so many sisters have the mark beyond such
a chance; a third, to be looked at, where fewer or only most have."""

_BACKED = 0.6
"""Certainty of a browned side that the sisters do not have."""

# A flake or a pit falls anywhere; what all sisters have is drawn. Scorches, crawls and cracks have
# causes in form and kiln that sisters share: to them sameness is no excuse.
_MAY_BE_DRAWN: tuple[FaultName, ...] = ("flake", "pit")
_BROWNED: tuple[FaultName, ...] = ("scorch", "one_sided_browning")

_BY_CHANCE = 0.05
"""Chance up to which one reference piece alone tells a drawing."""


def drawing(
    pieces: Sequence[Likeness],
    references: Sequence[Likeness],
    certainties: Mapping[FindingKey, float],
) -> list[Adjustment]:
    """Flags on marks that the sisters have too."""
    out = []
    walls = {each.piece: _walls(each) for each in pieces}
    kept = {each.piece: _walls(each) for each in references}
    for piece in pieces:
        sisters = [wall for code, wall in walls.items() if code != piece.piece]
        others = {code: wall for code, wall in kept.items() if code != piece.piece}
        for side in piece.sides:
            for flag in side.flags:
                certainty = certainties.get((piece.piece, flag.fault, flag.photo, flag.bbox_px))
                if flag.mark is None or certainty is None or flag.fault not in _MAY_BE_DRAWN:
                    continue
                left = _left(flag.mark, side, sisters, others)
                if left is not None:
                    share, why = left
                    out.append(
                        Adjustment(
                            piece.piece,
                            flag.fault,
                            flag.photo,
                            flag.bbox_px,
                            share * certainty,
                            why,
                        )
                    )
    return out


@dataclass(frozen=True, slots=True)
class _Wall:
    """One side with its marks as a table, shape (n, 6): across, down, size, light."""

    side: Side
    marks: NDArray[np.float64]


def _walls(piece: Likeness) -> dict[str, _Wall]:
    """Sides by view; the first of each."""
    return {
        side.view: _Wall(
            side,
            np.array(
                [(each.across, each.down, each.size_mm, *each.light) for each in side.marks]
            ).reshape(-1, 6),
        )
        for side in reversed(piece.sides)
    }


def _left(
    mark: SmallMark,
    side: Side,
    sisters: Sequence[Mapping[str, _Wall]],
    references: Mapping[str, Mapping[str, _Wall]],
) -> tuple[float, str] | None:
    """Share of its certainty that a flag keeps, and why; None where the sisters say nothing."""
    for code, walls in references.items():
        if side.view in walls:
            hit, chance = _has_like(mark, side, walls[side.view])
            if hit and chance < _BY_CHANCE:
                return _ALL_HAVE_IT_LEAVES, (
                    f"The like is at the same place of {code}, which is kept for reference: "
                    "it is the drawing."
                )
    looked = [_has_like(mark, side, walls[side.view]) for walls in sisters if side.view in walls]
    if len(looked) < LEAST_SISTERS:
        return None
    hits = sum(hit for hit, _ in looked)
    chance = float(binom.sf(hits - 1, len(looked), np.mean([one for _, one in looked])))
    if hits < _MOST_HAVE_IT * len(looked) or chance > _CHANCE:
        return None
    if hits == len(looked) >= _PLAIN_SISTERS and chance < _PLAIN_CHANCE:
        return _ALL_HAVE_IT_LEAVES, f"This spot is on all {hits + 1}: it is the drawing."
    return _MOST_HAVE_IT_LEAVES, (
        f"The like is at the same place of {hits} of its {len(looked)} sisters: "
        "it may be the drawing."
    )


def _has_like(mark: SmallMark, side: Side, there: _Wall) -> tuple[bool, float]:
    """Whether another piece shows the like at the same place, and how probable that is by chance.

    By chance: from how many such marks it has anywhere on that side.
    """
    marks = there.marks
    sizes = marks[:, 2] / mark.size_mm
    same_size = (sizes > 1 / _SIZES) & (sizes < _SIZES)
    alike = marks[same_size & (np.linalg.norm(marks[:, 3:] - mark.light, axis=1) < _COLOURS)]
    wide = (side.wide_mm + there.side.wide_mm) / 2
    high = (side.high_mm + there.side.high_mm) / 2
    off = (alike[:, :2] - (mark.across, mark.down)) * (wide / _ACROSS_MM, high / _DOWN_MM)
    hit = bool((np.hypot(off[:, 0], off[:, 1]) <= 1).any())
    share = np.pi * _ACROSS_MM * _DOWN_MM / max(1.0, wide * high)
    return hit, float(1 - np.exp(-len(alike) * share))


def shared(pieces: Sequence[Likeness]) -> list[MateNote]:
    """Flags of one fault that nearly all sisters have at one side: a cause in common."""
    if len(pieces) - 1 < LEAST_SISTERS:
        return []
    out = []
    for fault in ("scorch", "pool_tint", "streak", "crawl", "crack"):
        for view in sorted({side.view for each in pieces for side in each.sides}):
            having = [each for each in pieces if _flags(each, view, fault)]
            if len(having) >= _MOST_HAVE_IT * len(pieces):
                words = fault.replace("_", " ")
                text = (
                    f"{len(having)} of {len(pieces)} sisters show {words} on the {view} side: look "
                    "for a cause that they share, in making, glazing, kiln or the light of the "
                    "photos."
                )
                out += [
                    MateNote(each.piece, "shared", text, None, len(pieces) - 1, False)
                    for each in having
                ]
    return out


def _flags(piece: Likeness, view: str, fault: str) -> list[Flag]:
    side = _side_of(piece, view)
    return [] if side is None else [flag for flag in side.flags if flag.fault == fault]


def backed(
    likenesses: Sequence[Likeness],
    notes: Sequence[MateNote],
    certainties: Mapping[FindingKey, float],
) -> list[Adjustment]:
    """Raise an uncertain browned side that the sisters do not have.

    One side that differs more than theirs backs what was flagged on it; clay that is browner than
    theirs as a whole backs a browned side, which is large enough to make it so, and no scorch.
    """
    sure = {(note.piece, note.kind): note.text for note in notes if note.sure}
    out = []
    for piece in likenesses:
        one_sided, browner = (sure.get((piece.piece, kind)) for kind in ("one_sided", "browner"))
        for number, side in enumerate(piece.sides):
            there = one_sided if piece.turned_to(number) >= 0.5 else None
            for flag in side.flags:
                certainty = certainties.get((piece.piece, flag.fault, flag.photo, flag.bbox_px))
                if flag.fault not in _BROWNED or certainty is None or certainty >= _BACKED:
                    continue
                why = there or (browner if flag.fault == "one_sided_browning" else None)
                if why is not None:
                    out.append(
                        Adjustment(piece.piece, flag.fault, flag.photo, flag.bbox_px, _BACKED, why)
                    )
    return out


def _side_of(piece: Likeness, view: str) -> Side | None:
    return next((side for side in piece.sides if side.view == view), None)
