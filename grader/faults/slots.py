"""How far a dark line looks like a slot in the surface: the signs of a crack that lie in the light.

What light falls into a slot does not come out, in any colour. So a slot is as black as its breadth
and the blur of the lens allow, takes the same share of red, green and blue, and has the same
surface on both sides. A painted line has a colour, a shadow is shallow for its breadth, and where
a pot meets its table two materials meet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.faults.lines import Line
from grader.surface import Surface

_COVERED = (0.72, 0.86)
"""Share of the length that is line: three specks in a row cover two thirds, a hairline nearly
all."""

_BLUR_PX = 3.2
_BLUR_MM = 0.3
"""Breadth that lens, sensor and JPEG, a little out of focus, give a line without any of its own."""

_BLACK = (0.72, 0.88)
_BLACK_BLURRED = (0.5, 0.78)
"""Share of the light that the middle of the line lacks, blur taken off, over the share that a slot
would lack. A brown line lacks 0.8, a green one 0.7, a soft shadow 0.1 to 0.5. Of a line no broader
than its blur this is known less well; the limits pass over from there to twice that breadth."""

_SLOT_LIGHT = 0.03
"""Linear light that comes back out of a slot in white light of 1, with the flare of the lens: on
dark clay, which gives 0.06, a crack lacks but half."""

_LIT = (0.008, 0.02)
"""Linear light beside the line below which a slot does not show: two steps of eight bits are
0.0006, but flare and noise are as large as the darkest clay in deep shade."""

_NEUTRAL = (0.62, 0.74)
"""Least over greatest of the widths of black in red, green and blue. Red clay has 0.8 (its blue is
dark already); cobalt 0.5, ochre 0.3."""

_IRON = (0.12, 0.28)
"""By how much more blue than red is missing: an iron-brown line takes blue first, a slot takes, if
anything, more of the colour that the clay has most of."""

_GREEN = (0.12, 0.2)
"""By how much less (or more) green is missing than the mean of red and blue: a slot takes green as
its neighbours, moss-green paint takes 0.2 less."""

_ERRORS = 2.0
"""Standard errors of the widths by which the limits on colour give way."""

_UNSTEADY = (0.15, 0.35)
"""Standard error of the tint from which the three colours no longer follow one line."""

_ALIKE = (0.15, 0.3)
"""Difference between the two sides (two log-chromaticities and half the log light) up to which they
are one surface; light bent over a lip makes 0.15, clay beside a grey table or a paint 0.3 and
more."""

_CLEAR = (3.0, 6.0)
"""How far the missing light stands above its own spread beside the line (standard deviations)."""

_STRAIGHT = (0.35, 0.6)
"""Distance between the ends over the length: a crack runs on, a spiral or a curl comes back."""

_LEAST_WIDTH_MM, _LEAST_MISSING = 0.03, 0.2
"""Fainter lines are not told from grain."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A dark line and how far it is a slot.

    Attributes
    ----------
    line : Line
    likeness : float
        0..1; the length is not part of it.
    width_mm : float
        Of perfect black that takes as much light away (median along the line).
    missing : float
        Share of light missing in the middle (median), 0..1.
    whole : float
        The same with the blur taken off; 1 where the line is no broader than that.
    blackness : float
        `whole` over what a slot would lack, 0..1.
    tint : ndarray of float64, shape (3,)
        Widths in red, green and blue over their mean, less 1.
    tint_error : float
        Standard error of the tint.
    """

    line: Line
    likeness: float
    width_mm: float
    missing: float
    whole: float
    blackness: float
    tint: NDArray[np.float64]
    tint_error: float


def rise(value: float, limits: tuple[float, float]) -> float:
    """0 below the first limit, 1 above the second, straight between."""
    low, high = limits
    return float(np.clip((value - low) / (high - low), 0.0, 1.0))


def as_slot(surface: Surface, line: Line) -> Slot | None:
    """Hold a line against a slot.

    Parameters
    ----------
    surface : Surface
    line : Line

    Returns
    -------
    Slot or None
        None where the line is too faint to say.
    """
    width = float(np.median(line.black_mm.mean(1)))
    missing = float(np.median(line.missing))
    if width <= _LEAST_WIDTH_MM or missing < _LEAST_MISSING:
        return None
    whole, demanded = _without_blur(surface, width, missing)
    back = _SLOT_LIGHT / max(float(np.median(line.sides)), 2 * _SLOT_LIGHT)
    blackness = min(1.0, whole / (1.0 - back))
    taken = np.median(line.black_mm, axis=0)
    mean = max(float(taken.mean()), _LEAST_WIDTH_MM)
    # Sections are averaged over a millimetre: so many of them are independent.
    apart = line.black_mm - line.black_mm.mean(1, keepdims=True)
    error = float(apart.std(0).max()) / np.sqrt(max(line.length_mm, 1.0)) / mean
    likeness = (
        rise(line.covered, _COVERED)
        * rise(blackness, demanded)
        * _colourlessness(line, taken, _ERRORS * error)
        * (1.0 - rise(error, _UNSTEADY))
        * (1.0 - rise(_unlike(line), _ALIKE))
        * rise(missing / line.unrest, _CLEAR)
        * rise(float(np.median(line.sides)), _LIT)
        * rise(_straightness(surface, line), _STRAIGHT)
    )
    tint = taken / mean - 1.0
    return Slot(line, likeness, width, missing, whole, blackness, tint, float(error))


def _without_blur(
    surface: Surface, width_mm: float, missing: float
) -> tuple[float, tuple[float, float]]:
    """Light missing in the middle of the line, were there no blur, and what is asked of a slot.

    A blurred slot is as broad as the root of the sum of the squares of its own and the blur's
    breadth; width over depth tells the first.
    """
    broad = width_mm / missing
    blur = max(_BLUR_PX / surface.px_per_mm, _BLUR_MM)
    resolved = rise(broad / blur, (1.0, 2.0))
    low, high = ((1 - resolved) * np.array(_BLACK_BLURRED) + resolved * np.array(_BLACK)).tolist()
    if broad <= 1.1 * blur:
        return 1.0, (low, high)
    return min(1.0, missing * broad / float(np.sqrt(broad**2 - blur**2))), (low, high)


def _colourlessness(line: Line, taken: NDArray[np.float64], slack: float) -> float:
    """0..1: how far the line takes red, green and blue alike, as a slot in this surface would."""
    sound = np.median(line.sides, axis=(0, 1))
    best = 0.0
    # How much light this slot gives back is not known; a narrow one gives none.
    for back in (0.0, 0.5 * _SLOT_LIGHT, _SLOT_LIGHT):
        red, green, blue = taken / (1.0 - back / np.maximum(sound, 2 * _SLOT_LIGHT))
        mean = max((red + green + blue) / 3, 1e-6)
        even = min(red, green, blue) / max(red, green, blue, 1e-6)
        best = max(
            best,
            rise(even + slack, _NEUTRAL)
            * (1.0 - rise((blue - red) / mean - slack, _IRON))
            * (1.0 - rise(abs(green - (red + blue) / 2) / mean - slack, _GREEN)),
        )
    return best


def _unlike(line: Line) -> float:
    logs = np.log(np.maximum(line.sides, 1e-3))
    step = np.median(logs[:, 0] - logs[:, 1], axis=0)
    red, blue, tone = step[0] - step[1], step[2] - step[1], step.mean() / 2
    return float(np.sqrt(red**2 + blue**2 + tone**2))


def _straightness(surface: Surface, line: Line) -> float:
    apart = float(np.linalg.norm(line.path[-1] - line.path[0]))
    return apart / surface.px(line.length_mm)
