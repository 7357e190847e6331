"""How far a piece lies beyond its sisters, and the chance of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import t

from grader.findings import MateNote
from grader.mates.report import sisters_in_words

_PASSED = 0.8
"""Share of the sisters that the odd one must leave behind."""

_PRIOR = 10
"""How many sisters the usual spread below is worth beside the spread of the real ones (no
source): of five alone the spread is hardly known."""

_SURE, _WATCH = 0.05, 0.05
"""Chance of an error: after Holm's correction for all comparisons of the group, and alone."""

# Consistency of the MAD in small samples (Croux & Rousseeuw 1992; from memory), times 1.4826.
_MAD_FACTOR = {4: 1.363, 5: 1.206, 6: 1.200, 7: 1.140, 8: 1.129, 9: 1.107}


@dataclass(frozen=True, slots=True)
class Odd:
    """A note that becomes sure if its chance stands up to the other comparisons."""

    note: MateNote
    chance: float


def beyond(value: float, sisters: Sequence[float], usual: float) -> tuple[float, float, int]:
    """Difference from the median of the sisters, the chance that one more lies so far off, and how
    many sisters lie less than half as far off that way.

    A moderated t: the variance seen and the usual one are averaged by their degrees of freedom
    (Smyth 2004, doi:10.2202/1544-6115.1027).
    """
    values = np.array(sisters)
    count = len(values)
    middle = float(np.median(values))
    factor = 1.4826 * _MAD_FACTOR.get(count, count / (count - 0.8))
    seen = factor * float(np.median(np.abs(values - middle)))
    free = _PRIOR + count - 1
    spread = np.sqrt((_PRIOR * usual**2 + (count - 1) * seen**2) / free)
    far = abs(value - middle) / (spread * np.sqrt(1 + 1 / count))
    chance = 2 * float(t.sf(far, free))
    passed = int(((values - middle) * np.sign(value - middle) < abs(value - middle) / 2).sum())
    # Two kinds of sisters make every piece lie far from the median, and none of them odd.
    return value - middle, chance if passed >= _PASSED * count else 1.0, passed


def whom(passed: int, count: int) -> str:
    """The sisters that a piece differs from, in words."""
    if passed == count:
        return f"its {sisters_in_words(count)} sisters"
    return f"{sisters_in_words(passed)} of its {sisters_in_words(count)} sisters"


def stand_up(odd: Sequence[Odd], tests: int, may_be_sure: bool) -> list[MateNote]:
    """Keep what stands out; what does not stand up to Holm's correction is to be watched."""
    out, sure = [], may_be_sure
    for number, each in enumerate(sorted(odd, key=lambda one: one.chance)):
        sure = sure and each.chance * max(1, tests - number) < _SURE
        if sure:
            out.append(each.note)
        elif each.chance < _WATCH:
            text = f"To be watched, as its sisters do not say enough: {each.note.text}"
            out.append(replace(each.note, sure=False, text=text))
    return out
