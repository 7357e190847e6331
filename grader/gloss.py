"""Shine on a glaze: light that is mirrored without being tinted, added to the light of the clay.

By the dichromatic reflection model (Shafer 1985, doi:10.1002/col.5080100409) a shining place has
the colour of the body plus a share of the light source itself. With the white balance taken out
that source is neutral: chroma moves from the clay straight toward neutral, and tone must rise by
just as much light as was added. Paint goes another way, covers the clay wholly, or is no lighter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_OFF_LINE = 0.05
"""Distance from the line between clay and neutral, with green as 1: three times what a lamp and a
window of unlike colour part the two by; the median paint lies 0.2 off."""

_MOST = 0.75
"""Share of mirrored light above which a place is white paint, or so bright that nothing is judged
there: clay that still shows a quarter of itself is covered by no brush."""

_LEAST = 0.06
"""Below this share no direction can be told."""

_RISE = 0.6
"""Part of the rise of tone that must be there: clay around is up to a half lighter or darker."""


def is_gloss(
    chroma: NDArray[np.float32],
    tone: NDArray[np.float32],
    clay_chroma: NDArray[np.float32],
    clay_tone: NDArray[np.float32],
) -> bool:
    """Whether a region is clay with light mirrored on it.

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
    clay, seen = np.exp(clay_chroma), np.exp(chroma)
    way = 1.0 - clay
    length = np.maximum(np.hypot(way[:, 0], way[:, 1]), 0.01)
    step = seen - clay
    share = float(np.median((step * way).sum(1) / length**2))
    off = float(np.median(np.abs(step[:, 0] * way[:, 1] - step[:, 1] * way[:, 0]) / length))
    if off > _OFF_LINE or not _LEAST < share < _MOST:
        return False
    # Of the light that is seen, this share was added: what remains is the clay's own.
    return float(np.median(tone - clay_tone)) > -_RISE * np.log1p(-share)
