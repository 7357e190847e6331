"""One module a fault, each with `find(evidence)`; `find_all` asks them all.

A new fault is one new module beside its siblings, one line here, one entry in the rules.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from grader.faults import crack, crawl, flake, pit, pool_tint, scorch, streak
from grader.faults.evidence import Evidence, ViewEvidence
from grader.findings import Finding

__all__ = ["Evidence", "ViewEvidence", "find_all"]

_MODULES = (scorch, pool_tint, flake, pit, streak, crawl, crack)

_SAME_SHARE = 0.5
_AS_SURE = 0.5
"""Share of a veil within a streaked patch, and of its certainty, from which that explains it."""

_SOFT, _LOST_TRUST = frozenset({"scorch", "one_sided_browning", "pool_tint"}), 0.4
"""Faults that are measured against the rest of the wall, and what is left of their certainty where
the outline is lost: table or a handle's light may have been held against the clay."""

_WORTH_A_LOOK = 0.2
"""Certainty that must be left: less is not worth the maker's time."""


def find_all(evidence: Evidence) -> tuple[Finding, ...]:
    """Ask every fault module.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    tuple of Finding
        In the order of the modules, then of the views.
    """
    found = unexplained([each for module in _MODULES for each in module.find(evidence)])
    return doubt_lost(found, evidence.lost)


def unexplained(found: Sequence[Finding]) -> tuple[Finding, ...]:
    """Leave out what another finding at the same place explains.

    Parameters
    ----------
    found : sequence of Finding

    Returns
    -------
    tuple of Finding
    """
    streaked = [each for each in found if each.fault == "streak"]
    bare = [each for each in found if each.fault == "crawl"]
    # Clay under a thin coat of blue paint moves as it does under a veil; the bands tell which. An
    # island may be seen by its colour and by the roll round it.
    return tuple(
        each
        for each in found
        if not (each.fault == "pool_tint" and any(_within(each, other) for other in streaked))
        and not (each.fault == "crawl" and any(_in_larger(each, other) for other in bare))
    )


def doubt_lost(found: Sequence[Finding], lost: frozenset[str]) -> tuple[Finding, ...]:
    """Trust what a photo shows less where the table may be taken for the piece.

    Parameters
    ----------
    found : sequence of Finding
    lost : frozenset of str
        As in `Evidence`.

    Returns
    -------
    tuple of Finding
        In the same order, without those of which too little is left.
    """
    kept = []
    for each in found:
        if each.photo not in lost:
            kept.append(each)
        elif (left := round(_left(each), 2)) > _WORTH_A_LOOK:
            kept.append(replace(each, certainty=left))
    return tuple(kept)


def _left(found: Finding) -> float:
    """Certainty that is left to a finding where the outline is lost."""
    if found.fault in _SOFT:
        return _LOST_TRUST * found.certainty
    # A clear crack is one wherever the outline runs. A faint line beside a wrong outline is sooner
    # a grain of the table or what is seen of a drawn line.
    return found.certainty**2 if found.fault == "crack" else found.certainty


def _in_larger(island: Finding, other: Finding) -> bool:
    """Whether the middle of an island lies in one that shows more of it."""
    if island is other or island.photo != other.photo or _area(island) >= _area(other):
        return False
    middle = np.mean(island.outline_px, axis=0).tolist()
    return cv2.pointPolygonTest(np.array(other.outline_px, np.int32), middle, False) >= 0


def _area(found: Finding) -> float:
    return float(cv2.contourArea(np.array(found.outline_px, np.int32)))


def _within(veil: Finding, streaks: Finding) -> bool:
    if veil.photo != streaks.photo or streaks.certainty < veil.certainty * _AS_SURE:
        return False
    x, y, width, height = veil.bbox_px
    left, top, wide, high = streaks.bbox_px
    across = min(x + width, left + wide) - max(x, left)
    down = min(y + height, top + high) - max(y, top)
    return across > 0 and down > 0 and across * down > _SAME_SHARE * width * height
