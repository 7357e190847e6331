"""Shine on a glaze, and the milk of a thick one: light added to that of the clay, untinted.

By the dichromatic reflection model (Shafer 1985, doi:10.1002/col.5080100409) a shining place has
the colour of the body plus a share of the light source itself. With the white balance taken out
that source is neutral: chroma moves from the clay straight toward neutral, and tone must rise by
just as much light as was added. A milky glaze scatters the same light back, more where it lies
thicker, and takes some of the clay's away. Paint goes another way or covers the clay evenly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_OFF_LINE = 0.05
"""Distance from the line between clay and neutral, with green as 1: three times what a lamp and a
window of unlike colour part the two by; the median paint lies 0.2 off."""

_MOST = 0.75
"""Share of light added above which a place is white paint, or so bright that nothing is judged
there: clay that still shows a quarter of itself is covered by no brush."""

_LEAST = 0.06
"""Below this share no direction can be told."""

_RISE = 0.6
"""Part of the rise of tone that must be there: the rest is the waver of shading about its fit."""

_NEARLY_ALL = 0.95
"""Share of light added beyond which none of the clay's colour is left to tell it by."""

_CLAY_KNOWN = 0.03
"""Part of its red by which the clay's own colour is known."""

_DULL, _DULL_TONE = 0.25, 0.35
"""A glaze mirrors 4 % of the room, and of a red clay green light is but a tenth: the fit through
the clay may hold so much of added light that is lacking here."""

_DARKER = -0.15
"""Tone by which a veil may lie below the clay: the waver of the fit through it."""

_EVEN = 0.55
"""Tenth over nine tenths of the share within a region: a brush lays 0.75 and more of it (measured
on painted white), a veil runs out to nothing."""


def is_clay_beneath(
    chroma: NDArray[np.float32],
    tone: NDArray[np.float32],
    clay_chroma: NDArray[np.float32],
    clay_tone: NDArray[np.float32],
) -> bool:
    """Whether a region is glazed clay with light mirrored on it, or beneath a milky veil.

    Parameters
    ----------
    chroma, clay_chroma : ndarray of float32, shape (n, 2)
        log(R/G) and log(B/G) of its pixels, and of sound clay there.
    tone, clay_tone : ndarray of float32, shape (n,)
        Natural logarithm of light, in the same way.

    Returns
    -------
    bool
    """
    if not len(tone):
        return False
    along, off = _toward_neutral(chroma, clay_chroma)
    low, share, high = np.quantile(along, (0.1, 0.5, 0.9)).tolist()
    if float(np.median(off)) > _OFF_LINE or not _LEAST < share < _MOST:
        return False
    rise = float(np.median(tone - clay_tone))
    return bool(rise > _least_rise(share)) or (rise > _DARKER and low < _EVEN * high)


def shines(chroma: NDArray[np.floating], clay_chroma: NDArray[np.floating], rise: float) -> bool:
    """Whether a place is brighter by as much as its colour says that light was added.

    Parameters
    ----------
    chroma, clay_chroma : ndarray of float, shape (n, 2)
        log(R/G) and log(B/G) of its pixels, and of sound clay there.
    rise : float
        Natural logarithm of light above that of the clay.

    Returns
    -------
    bool
        False for a veil, which takes away some of the light of the clay.
    """
    along, _ = _toward_neutral(chroma, clay_chroma)
    return bool(rise > _least_rise(float(np.median(along))))


def added_light(
    chroma: NDArray[np.float32],
    tone: NDArray[np.float32],
    clay_chroma: NDArray[np.float32],
    clay_tone: NDArray[np.float32],
    clipped: NDArray[np.bool_],
) -> NDArray[np.float32]:
    """Share of mirrored light in that of glazed clay, each place for itself.

    Parameters
    ----------
    chroma, clay_chroma : ndarray of float32, shape (n, 2)
        log(R/G) and log(B/G), and of sound clay there.
    tone, clay_tone : ndarray of float32, shape (n,)
        Natural logarithm of light, in the same way.
    clipped : ndarray of bool, shape (n,)
        Where red is at the end of the camera's range: there was more of it, nobody knows how much.

    Returns
    -------
    ndarray of float32, shape (n,)
        Below zero where shine is lacking that the fit through the clay has; NaN where it is not
        clay, or too bright to tell.
    """
    along, off = _toward_neutral(chroma, clay_chroma)
    red, blue = np.exp(clay_chroma.T)
    # As blue tells it, where the red that is missing may have been clipped.
    way = np.where(np.abs(1 - blue) > _OFF_LINE, 1 - blue, np.nan)
    by_blue = (np.exp(chroma[:, 1]) - blue) / way
    lacking = clipped & (np.exp(chroma[:, 0]) < red + by_blue * (1 - red))
    along = np.where(lacking, by_blue, along)
    within = lacking | (off < np.hypot(_OFF_LINE, _CLAY_KNOWN * red * (1 - along)))
    rise = tone - clay_tone
    shine = (along > 0) & (along < _MOST) & (rise > _least_rise(along))
    dull = (along <= 0) & (along > -_DULL) & (np.abs(rise) < _DULL_TONE)
    return np.where(within & (shine | dull), along, np.nan).astype(np.float32)


def _least_rise(share: float | NDArray[np.floating]) -> NDArray[np.floating]:
    """Rise of tone from which light was added: what remains of it is the clay's own."""
    return np.asarray(-_RISE * np.log1p(-np.clip(share, 0.0, _NEARLY_ALL)))


def _toward_neutral(
    chroma: NDArray[np.floating], clay_chroma: NDArray[np.floating]
) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Share of the way from clay to neutral, and distance from it, with green as 1."""
    clay, seen = np.exp(clay_chroma), np.exp(chroma)
    way = 1.0 - clay
    length = np.maximum(np.hypot(way[:, 0], way[:, 1]), 0.01)
    step = seen - clay
    off = np.abs(step[:, 0] * way[:, 1] - step[:, 1] * way[:, 0]) / length
    return (step * way).sum(1) / length**2, off
