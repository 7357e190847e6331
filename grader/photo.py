"""One photo, decoded once: upright, sRGB, 8 bit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as every later stage sees it.

    Attributes
    ----------
    name : str
        Path within the batch, with `/`.
    path : Path
        The file; only ever read.
    rgb : ndarray of uint8, shape (height, width, 3)
        Upright, in sRGB.
    captured_at : datetime or None
        From EXIF, naive local time.
    focal_35mm : float or None
        Focal length in mm for the 35 mm format, from EXIF.
    notes : tuple of str
        What was missing or repaired while reading, in plain words.
    """

    name: str
    path: Path
    rgb: NDArray[np.uint8]
    captured_at: datetime | None = None
    focal_35mm: float | None = None
    notes: tuple[str, ...] = ()
