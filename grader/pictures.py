"""Cut the pictures for a page out of a photo: the piece, a place enlarged, sound surface beside.

Coordinates are pixels of the upright, full-size photo, x right, y down.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from grader import channels
from grader.findings import Finding
from grader.photo import Photo

Box = tuple[int, int, int, int]
"""(x, y, width, height)."""

# Room around the piece, as a share of its longer side: enough to see that nothing is cut off.
_MARGIN = 0.05

# A close-up shows the place with an eighth of its size on each side, and as much again as the
# place is long up to this many pixels: a pit needs its surroundings, a browned side has them.
_ROOM = 1.25
_MORE_ROOM_PX = 80
# And at least this many pixels of the photo, or a pit would be a blur of a few squares.
_LEAST_SIDE_PX = 64

# Work size of the search for sound surface: the window is this many pixels wide there, enough
# for its mean colour and its grain.
_SEARCH_WINDOW_PX = 12

# Sound surface as large as the close-up where there is room, else smaller at the same scale.
_SOUND_SHARES = (1.0, 0.7, 0.45, 0.3)

# CIELAB difference, spread of the window and distance together, up to which a window shows the same
# surface: shading and grain make 5 to 8. Of fine paint only a smaller window shows nothing else.
_SAME_SURFACE = 10.0

# Width of the ring around a place that says what its sound surface looks like, in pixels of the
# search: a quarter of a window.
_RING_PX = 3

# A flake at the outline of a fine stroke has paint on a quarter of the ring round it.
_PAINT_IN_RING = 0.75

# Share of the width of the piece's box that is left out on each side, where the background shows
# beside a foot, a curve or a tilted piece.
_BESIDE = 0.2

# What a window one piece-width away costs in units of CIELAB difference: near surface has the
# same light, so of two that match alike the nearer one is better to compare with.
_DISTANCE_COST = 6.0

# JPEG quality: 80 shows a pit of three pixels unharmed at about 1.5 bits a pixel.
_QUALITY = 80


@dataclass(frozen=True, slots=True)
class Picture:
    """A part of a photo, made smaller or larger, as a page embeds it.

    Attributes
    ----------
    source : str
        ``data:`` address with the JPEG.
    width_px, height_px : int
        Of the embedded picture.
    box : tuple of int
        Part of the photo that it shows.
    zoom : float
        Pixels of the picture for one pixel of the photo.
    """

    source: str
    width_px: int
    height_px: int
    box: Box
    zoom: float

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Where a point of the photo lies in the picture."""
        return (x - self.box[0]) * self.zoom, (y - self.box[1]) * self.zoom


def piece_picture(photo: Photo, piece_bbox_px: Box | None, *, longest_px: int) -> Picture:
    """The piece with a little room around it; the whole photo where its place is unknown."""
    height, width = photo.rgb.shape[:2]
    if piece_bbox_px is None:
        box = (0, 0, width, height)
    else:
        x, y, w, h = piece_bbox_px
        room = round(_MARGIN * max(w, h))
        box = _clipped((x - room, y - room, w + 2 * room, h + 2 * room), width, height)
    return _cut(photo, box, min(1.0, longest_px / max(box[2:])))


def close_up_box(photo: Photo, finding: Finding) -> Box:
    """Square part of the photo that shows a place and its surroundings."""
    height, width = photo.rgb.shape[:2]
    x, y, w, h = finding.bbox_px
    longest = max(w, h)
    side = round(_ROOM * longest + min(longest, _MORE_ROOM_PX))
    side = min(max(side, _LEAST_SIDE_PX), width, height)
    left = min(max(round(x + w / 2 - side / 2), 0), width - side)
    top = min(max(round(y + h / 2 - side / 2), 0), height - side)
    return left, top, side, side


def close_up(photo: Photo, box: Box, *, zoom: float) -> Picture:
    """One part of the photo, `zoom` pixels of the picture for one of the photo."""
    return _cut(photo, box, zoom)


def sound_box(
    photo: Photo,
    piece_bbox_px: Box | None,
    box: Box,
    finding: Finding,
    findings: Iterable[Finding],
) -> Box | None:
    """Part of the photo that shows sound surface like that around a place.

    Parameters
    ----------
    photo : Photo
    piece_bbox_px : tuple of int or None
        Where the piece is.
    box : tuple of int
        The close-up to compare with, a square.
    finding : Finding
        The place itself.
    findings : iterable of Finding
        All places of this photo; none of them may show in the result.

    Returns
    -------
    tuple of int or None
        A square, as large as `box` if there is room for it, else smaller. None where no part
        of the piece is free, or where the piece was not found.
    """
    if piece_bbox_px is None:
        return None
    everywhere = list(findings)
    best: tuple[float, Box] | None = None
    for share in _SOUND_SHARES:
        side = round(box[2] * share)
        found = _sound_square(photo, piece_bbox_px, side, finding, everywhere)
        if found is not None and (best is None or found[0] < best[0]):
            best = found
        if best is not None and best[0] < _SAME_SURFACE:
            break
    return None if best is None else best[1]


def _sound_square(
    photo: Photo, piece_bbox_px: Box, side: int, finding: Finding, findings: list[Finding]
) -> tuple[float, Box] | None:
    """The best square of a side, and what it costs in units of CIELAB difference."""
    height, width = photo.rgb.shape[:2]
    x0, y0, w, h = _clipped(piece_bbox_px, width, height)
    if side >= min(w, h) or side < 1:
        return None
    shrink = min(1.0, _SEARCH_WINDOW_PX / side)
    small = _resized(photo.rgb[y0 : y0 + h, x0 : x0 + w], shrink)
    window = max(3, round(side * shrink))
    lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    taken = np.zeros(small.shape[:2], np.float32)
    for each in findings:
        taken[_part(each.bbox_px, x0, y0, shrink, 1)] = 1
    # The surface right around the place is what it is to be compared with.
    near = lab[_part(finding.bbox_px, x0, y0, shrink, _RING_PX)]
    free = taken[_part(finding.bbox_px, x0, y0, shrink, _RING_PX)] == 0
    if not free.any():
        return None
    around = near[free]
    if finding.zone == "painted":
        # A flake shows the clay. Where the ring holds paint and clay, the paint is sound.
        unlike = np.linalg.norm(around - _own_lab(photo, finding), axis=1)
        around = around[unlike >= np.quantile(unlike, _PAINT_IN_RING)]
    x, y, fw, fh = finding.bbox_px
    centre = ((y + fh / 2 - y0) * shrink, (x + fw / 2 - x0) * shrink)
    best = _best_window(lab, taken, window, np.median(around, axis=0), centre)
    if best is None:
        return None
    cost, row, col = best
    left = round(x0 + (col + 0.5) / shrink - side / 2)
    top = round(y0 + (row + 0.5) / shrink - side / 2)
    return cost, (min(max(left, x0), x0 + w - side), min(max(top, y0), y0 + h - side), side, side)


def _own_lab(photo: Photo, finding: Finding) -> NDArray[np.float32]:
    """Colour of a place itself, from the middle half of its box: its edge is blurred."""
    x, y, w, h = finding.bbox_px
    middle = photo.rgb[y + h // 4 : y + h - h // 4, x + w // 4 : x + w - w // 4]
    lab = cv2.cvtColor(middle.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    return np.asarray(np.median(lab, axis=(0, 1)), np.float32)


def _best_window(
    lab: NDArray[np.float32],
    taken: NDArray[np.float32],
    window: int,
    like: NDArray[np.float32],
    centre: tuple[float, float],
) -> tuple[float, int, int] | None:
    """Cost and centre (row, col) of the free window most like `like`, rather near `centre`."""
    rows, cols = lab.shape[:2]
    half = window // 2 + 1
    if min(rows, cols) <= 2 * half:
        return None
    size = (window, window)
    mean = cv2.boxFilter(lab, -1, size)
    spread = np.sqrt(np.maximum(cv2.boxFilter(lab**2, -1, size) - mean**2, 0))
    ys, xs = np.ogrid[:rows, :cols]
    away = np.hypot(ys - centre[0], xs - centre[1]) / cols
    cost = channels.length(mean - like) + channels.total(spread) + _DISTANCE_COST * away
    blocked = cv2.boxFilter(taken, -1, size, normalize=False) > 0
    blocked[:half] = blocked[-half:] = True
    side = max(half, round(_BESIDE * cols))
    blocked[:, :side] = blocked[:, -side:] = True
    if blocked.all():
        return None
    row, col = np.unravel_index(np.argmin(np.where(blocked, np.inf, cost)), cost.shape)
    return float(cost[row, col]), int(row), int(col)


def _part(box: Box, x0: int, y0: int, shrink: float, more: int) -> tuple[slice, slice]:
    """Rows and columns of a box in the shrunk picture of the piece, `more` pixels wider."""
    x, y, w, h = box
    left, top = int((x - x0) * shrink) - more, int((y - y0) * shrink) - more
    right, bottom = int((x + w - x0) * shrink) + more + 1, int((y + h - y0) * shrink) + more + 1
    return slice(max(0, top), max(0, bottom)), slice(max(0, left), max(0, right))


def _clipped(box: Box, width: int, height: int) -> Box:
    x, y, w, h = box
    left, top = min(max(x, 0), width - 1), min(max(y, 0), height - 1)
    return left, top, max(1, min(x + w, width) - left), max(1, min(y + h, height) - top)


def _cut(photo: Photo, box: Box, zoom: float) -> Picture:
    x, y, w, h = box
    pixels = _resized(photo.rgb[y : y + h, x : x + w], zoom)
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=_QUALITY, optimize=True)
    source = "data:image/jpeg;base64," + base64.b64encode(file.getvalue()).decode("ascii")
    return Picture(source, pixels.shape[1], pixels.shape[0], box, zoom)


def _resized(rgb: NDArray[np.uint8], zoom: float) -> NDArray[np.uint8]:
    height, width = rgb.shape[:2]
    size = (max(1, round(width * zoom)), max(1, round(height * zoom)))
    # Area means make smaller without moire; cubic makes larger without squares.
    how = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(np.ascontiguousarray(rgb), size, interpolation=how), np.uint8)
