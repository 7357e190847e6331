"""What a potter knows of a piece without looking at a photo: `pieces.csv` and its columns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

Finish = Literal["raw", "glazed", "coloured"]
Use = Literal["food", "plant", "decor"]


@dataclass(frozen=True, slots=True)
class PieceFacts:
    """Facts of one piece; None or "" means that nobody said.

    Attributes
    ----------
    piece : str
        Code of the piece.
    design, form, clay, glaze, shelf, place, firing : str
        Free words of the potter.
    finish : {"raw", "glazed", "coloured"} or None
        ``glazed`` means clear glaze.
    decorated : bool or None
    painted_on : {"greenware", "bisque"} or None
    use : {"food", "plant", "decor"} or None
    height_mm, price : float or None
    others : mapping of str to str
        Unknown columns, kept as they stand.
    """

    piece: str
    design: str = ""
    form: str = ""
    clay: str = ""
    finish: Finish | None = None
    decorated: bool | None = None
    painted_on: Literal["greenware", "bisque"] | None = None
    glaze: str = ""
    use: Use | None = None
    height_mm: float | None = None
    shelf: str = ""
    place: str = ""
    firing: str = ""
    price: float | None = None
    others: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
