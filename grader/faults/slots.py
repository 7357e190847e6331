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
"""Share of the light of a white surface that comes back out of a slot, with the flare of the lens:
on dark clay, which gives 0.06, a crack lacks but half."""

_TELLING = 2.0
"""A colour of which the surface gives less than so many times the light of a slot says nothing of
a line: what a picture file smears of it is cut off at black."""

_MOST_BACK = 0.8
"""Of the light beside it, that may come back out of a slot in the colour which the clay gives least
of: a dark line is still seen in it."""

_LIT = (0.008, 0.02)
"""Linear light beside the line below which a slot does not show: two steps of eight bits are
0.0006, but flare and noise are as large as the darkest clay in deep shade."""

_OFF_TINT = (0.09, 0.15)
"""Greatest difference of the widths of black in red, green and blue, over their mean, from those of
a slot in the same surface. Noise and the coarse colour of JPEG make up to 0.07; brown paint differs
by 0.12 and more, cobalt by 0.3."""

_ERRORS = 2.0
"""Standard errors of the widths by which the limits on colour give way."""

_UNSTEADY = (0.15, 0.35)
"""Standard error of the tint from which the three colours no longer follow one line."""

_ALIKE = (0.15, 0.3)
"""Difference between the two sides (two log-chromaticities, half the log light, and how the light
falls off toward the line) up to which they are one surface; light bent over a lip makes 0.15, clay
beside a grey table, a paint, or the shadow in the corner of a handle 0.3 and more."""

_CLEAR = (3.0, 6.0)
"""How far the missing light stands above its own spread beside the line (standard deviations)."""

_RULED = (0.003, 0.006)
"""Distance from the straight line or the circle through it (root mean square) over the length: a
joint of table boards or a level lip is as straight, and a turned foot ring as round, as tracing is
fine; a crack goes round the grains."""

_DEEP = (0.4, 0.55)
"""Share of light missing in the deepest tenth of the line: somewhere a crack gapes by 0.2 mm, which
keeps back half of the light at 7 pixels a millimetre. Folds of the form, as throwing rings and the
roots of handles are, keep back less all along."""

_DEEP_AT_EDGE = (0.3, 0.45)
"""The same of a line that runs out over the lip or the foot, where no ring and no root of a handle
does: there a hairline is worth a look."""

_STRAIGHT = (0.35, 0.6)
"""Distance between the ends over the length: a crack runs on, a spiral or a curl comes back."""

_LEAST_WIDTH_MM, _LEAST_MISSING = 0.03, 0.2
"""Fainter lines are not told from grain."""

_LEAST_TAKEN = 0.15
"""Share of light below which what is taken has no colour."""


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
    tells : ndarray of bool, shape (3,)
        Colours of which the surface gives enough light to say something of the line.
    tint_error : float
        Standard error of the tint.
    off_tint : float
        Greatest difference between the tint and that of a slot in this surface.
    deepest : float
        Share of light missing in the deepest tenth of the line, 0..1.
    blur_mm : float
        Breadth that the lens alone gives a line.
    at_edge : bool
        Whether it runs out over the lip or the foot of a side.
    """

    line: Line
    likeness: float
    width_mm: float
    missing: float
    whole: float
    blackness: float
    tint: NDArray[np.float64]
    tells: NDArray[np.bool_]
    tint_error: float
    off_tint: float
    deepest: float
    blur_mm: float
    at_edge: bool


def rise(value: float, limits: tuple[float, float]) -> float:
    """0 below the first limit, 1 above the second, straight between."""
    low, high = limits
    return float(np.clip((value - low) / (high - low), 0.0, 1.0))


def as_slot(
    surface: Surface, line: Line, *, unpainted: bool = False, at_edge: bool = False
) -> Slot | None:
    """Hold a line against a slot.

    Parameters
    ----------
    surface : Surface
    line : Line
    unpainted : bool, default False
        Whether the piece carries no drawing: then the colour of the middle of a line is enough.
    at_edge : bool, default False
        As in `Slot`.

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
    slot_light = _SLOT_LIGHT * (surface.white_light or 1.0)
    back = slot_light / max(float(np.median(line.sides)), 2 * slot_light)
    blackness = min(1.0, whole / (1.0 - back))
    taken = np.median(line.black_mm, axis=0)
    mean = max(float(taken.mean()), _LEAST_WIDTH_MM)
    # Sections are averaged over a millimetre: so many of them are independent.
    apart = line.black_mm - line.black_mm.mean(1, keepdims=True)
    error = float(apart.std(0).max()) / np.sqrt(max(line.length_mm, 1.0)) / mean
    tint = taken / mean - 1.0
    deepest = float(np.quantile(line.missing, 0.9))
    tells = np.median(line.sides, axis=(0, 1)) > _TELLING * slot_light
    if tells.sum() < 2:
        tells[:] = True
    off_tint = _off_tint(line, tint, slot_light, tells)
    if unpainted:
        # Rings and deeper glaze that a crack crosses add to its breadth, in their own colour, and
        # hardly to its middle. A picture file smears colour, so that fine paint has a grey middle.
        inmost = np.median(1.0 - line.middle / np.maximum(line.sides.mean(1), 1e-4), axis=0)
        grey = inmost / max(float(inmost.mean()), _LEAST_MISSING) - 1.0
        off_tint = min(off_tint, _off_tint(line, grey, slot_light, tells))
    likeness = (
        rise(line.covered, _COVERED)
        * rise(blackness, demanded)
        * rise(deepest, _DEEP_AT_EDGE if at_edge else _DEEP)
        * (1.0 - rise(off_tint - _ERRORS * error, _OFF_TINT))
        * (1.0 - rise(error, _UNSTEADY))
        * (1.0 - rise(_unlike(line), _ALIKE))
        * rise(missing / line.unrest, _CLEAR)
        * rise(float(np.median(line.sides)), _LIT)
        * rise(_straightness(surface, line), _STRAIGHT)
        * rise(_wandering(surface, line), _RULED)
    )
    return Slot(
        line=line,
        likeness=likeness,
        width_mm=width,
        missing=missing,
        whole=whole,
        blackness=blackness,
        tint=tint,
        tells=tells,
        tint_error=float(error),
        off_tint=off_tint,
        deepest=deepest,
        blur_mm=_blur_mm(surface),
        at_edge=at_edge,
    )


def _blur_mm(surface: Surface) -> float:
    return max(_BLUR_PX / surface.px_per_mm, _BLUR_MM)


def _without_blur(
    surface: Surface, width_mm: float, missing: float
) -> tuple[float, tuple[float, float]]:
    """Light missing in the middle of the line, were there no blur, and what is asked of a slot.

    A blurred slot is as broad as the root of the sum of the squares of its own and the blur's
    breadth; width over depth tells the first.
    """
    broad = width_mm / missing
    blur = _blur_mm(surface)
    resolved = rise(broad / blur, (1.0, 2.0))
    low, high = ((1 - resolved) * np.array(_BLACK_BLURRED) + resolved * np.array(_BLACK)).tolist()
    if broad <= 1.1 * blur:
        return 1.0, (low, high)
    return min(1.0, missing * broad / float(np.sqrt(broad**2 - blur**2))), (low, high)


def _off_tint(
    line: Line, tint: NDArray[np.float64], slot_light: float, tells: NDArray[np.bool_]
) -> float:
    """Greatest difference between the tint of a line and that of a slot, however dark it is."""
    sound = np.maximum(np.median(line.sides, axis=(0, 1)), 1e-3)
    light = np.array((0.0, 0.5 * slot_light, slot_light))[:, None]
    expected = (1.0 - np.minimum(light / sound, _MOST_BACK))[:, tells]
    return float(np.abs(tint_of(expected) - tint_of(1.0 + tint[tells])).max(1).min())


def tint_of(taken: NDArray[np.float64]) -> NDArray[np.float64]:
    """Light taken in each colour over its mean, less 1.

    Parameters
    ----------
    taken : ndarray of float64, shape (..., colours)

    Returns
    -------
    ndarray of float64, of the same shape
    """
    return np.asarray(taken / np.maximum(taken.mean(-1, keepdims=True), _LEAST_TAKEN) - 1.0)


def _unlike(line: Line) -> float:
    logs = np.log(np.maximum(line.sides, 1e-3))
    step = np.median(logs[:, 0] - logs[:, 1], axis=0)
    red, blue, tone = step[0] - step[1], step[2] - step[1], step.mean() / 2
    left, right = np.maximum(line.falls, 0.0)
    fall = left - right
    return float(np.sqrt(red**2 + blue**2 + tone**2 + fall**2))


def _straightness(surface: Surface, line: Line) -> float:
    apart = float(np.linalg.norm(line.path[-1] - line.path[0]))
    return apart / surface.px(line.length_mm)


def _wandering(surface: Surface, line: Line) -> float:
    """Distance from the best straight line or circle (root mean square) over the length."""
    path = line.path - line.path.mean(0)
    straight = float(np.linalg.svd(path, compute_uv=False)[1]) / np.sqrt(len(path))
    return min(straight, circle_through(path)[2]) / surface.px(line.length_mm)


def circle_through(path: NDArray[np.floating]) -> tuple[NDArray[np.float64], float, float]:
    """Circle of least squares of the squared radius through the points of a path.

    I. Kasa, "A circle fitting procedure and its error analysis", IEEE Transactions on
    Instrumentation and Measurement 25, 1976.

    Parameters
    ----------
    path : ndarray of float, shape (n, 2)

    Returns
    -------
    centre : ndarray of float64, shape (2,)
    radius : float
    off : float
        Distance from the circle (root mean square); all in the unit of the path.
    """
    middle = path.mean(0)
    points = path - middle
    terms = np.column_stack([2 * points, np.ones(len(points))])
    across, down, rest = np.linalg.lstsq(terms, (points**2).sum(1), rcond=None)[0]
    radius = float(np.sqrt(max(float(rest + across**2 + down**2), 0.0)))
    off = np.hypot(points[:, 0] - across, points[:, 1] - down) - radius
    return middle + np.array([across, down]), radius, float(np.sqrt((off**2).mean()))
