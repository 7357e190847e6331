"""Find room for number labels beside outlined places, so that no label hides a place."""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, pi, sin

Rect = tuple[float, float, float, float]
"""(left, top, right, bottom) in pixels of the shown picture."""

_DIRECTIONS = 12
_STEPS = (1.5, 2.7, 4.2, 6.0, 8.0)
"""Distances from the edge of the place to the middle of the label, in label heights halved."""

# What a label costs: on another label it cannot be read; on a place it hides it; the rest is
# distance, in label heights.
_ON_LABEL = 100.0
_ON_PLACE = 20.0


def room_for_labels(
    places: Sequence[Rect], wanted: Sequence[int], size: tuple[float, float], half: float
) -> list[tuple[float, float]]:
    """Middle points for the labels of some places.

    Parameters
    ----------
    places : sequence of (left, top, right, bottom)
        Every outlined place.
    wanted : sequence of int
        Indices of the places that get a label, in the order in which they choose.
    size : (float, float)
        Width and height of the picture.
    half : float
        Half the height of a label; its width is 2.8 times that.

    Returns
    -------
    list of (float, float)
        One (x, y) for each of `wanted`, within the picture.
    """
    taken: list[Rect] = []
    chosen: list[tuple[float, float]] = []
    for index in wanted:
        x, y = min(
            _spots(places[index], size, half),
            key=lambda spot: _cost(spot, places[index], places, taken, half),
        )
        taken.append(_label(x, y, half))
        chosen.append((x, y))
    return chosen


def _label(x: float, y: float, half: float) -> Rect:
    return x - 1.5 * half, y - 1.1 * half, x + 1.5 * half, y + 1.1 * half


def _spots(place: Rect, size: tuple[float, float], half: float) -> list[tuple[float, float]]:
    left, top, right, bottom = place
    cx, cy = (left + right) / 2, (top + bottom) / 2
    spots = []
    for step in _STEPS:
        for turn in range(_DIRECTIONS):
            # The first direction is up to the right, where a reader looks for a number.
            angle = 2 * pi * turn / _DIRECTIONS - pi / 4
            x = cx + cos(angle) * ((right - left) / 2 + step * half * 1.3)
            y = cy + sin(angle) * ((bottom - top) / 2 + step * half)
            x = min(max(x, 1.5 * half), size[0] - 1.5 * half)
            y = min(max(y, 1.1 * half), size[1] - 1.1 * half)
            spots.append((x, y))
    return spots


def _cost(
    spot: tuple[float, float], own: Rect, places: Sequence[Rect], taken: list[Rect], half: float
) -> float:
    label = _label(*spot, half)
    cost = _ON_LABEL * sum(_overlap(label, other) for other in taken)
    cost += _ON_PLACE * sum(_overlap(label, place) for place in places)
    away = max(own[0] - spot[0], spot[0] - own[2], 0) + max(own[1] - spot[1], spot[1] - own[3], 0)
    return cost + away / half


def _overlap(one: Rect, other: Rect) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
