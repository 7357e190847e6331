"""Read the likeness of a piece from the evidence of its side views."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from grader import channels
from grader.faults.coverage import Relative, find_paints, relative_light
from grader.faults.evidence import Evidence, ViewEvidence
from grader.findings import Finding, PhotoReport
from grader.mates.likeness import ColourFrom, Flag, Likeness, PaintLook, Side, SmallMark
from grader.piece import Mask
from grader.skin import COLUMNS, ROWS
from grader.surface import fill_from

_SURROUND_MM = 9.0
"""A mark is what differs from the median this far round it: wider shapes are paint or clay."""

_CONTRAST = 0.15
"""Light relative to clay by which a mark differs from its surround in some colour: three spreads
of the grain of a good photo at 4 px/mm."""

_MARK_MM = (0.5, 7.0)
"""Marks are as large as the spots that may be taken for a flake or a pit, and no larger than half
the surround."""

_MOST_MARKS = 160
"""Of one view, the strongest: enough for a speckled clay to show that it is one."""

_LEAST_PAINTED = 0.25
"""Share of a cell of the grid from which it counts as painted."""


def read_likeness(
    piece: str,
    evidence: Evidence,
    findings: Sequence[Finding] = (),
    photos: Sequence[PhotoReport] = (),
) -> Likeness:
    """Read the likeness of a piece from its side views.

    Parameters
    ----------
    piece : str
    evidence : Evidence
    findings : sequence of Finding
        Of this piece: their places are kept with it.
    photos : sequence of PhotoReport
        They tell what the colours were corrected with.

    Returns
    -------
    Likeness
        Without sides where no side could be seen.
    """
    views = evidence.sides
    relative = [relative_light(view) for view in views]
    painted = [_painted(view) for view in views]
    sides = tuple(
        _side(view, light, cells, [each for each in findings if each.photo == view.surface.photo])
        for view, light, cells in zip(views, relative, painted, strict=True)
    )
    used = {view.surface.photo for view in views}
    return Likeness(
        piece=piece,
        sides=sides,
        paints=_paints(relative),
        painted_share=round(float(np.mean(painted)), 4) if painted else 0.0,
        turn=_turn(sides),
        colour_from=_poorest([each for each in photos if each.photo in used]),
    )


def _side(view: ViewEvidence, light: Relative, painted: Mask, findings: Sequence[Finding]) -> Side:
    skin = view.skin
    assert skin is not None
    red, blue, tone = None, None, None
    if skin.known.any():
        tone = round(float(np.median(skin.tone[skin.known])), 4)
        chroma = np.median(skin.chroma[skin.known], axis=0)
        red, blue = round(float(chroma[0]), 4), round(float(chroma[1]), 4)
    marks = _marks(view, light)
    return Side(
        view=view.surface.view,
        wide_mm=round(skin.cell_mm[0] * COLUMNS, 1),
        high_mm=round(skin.cell_mm[1] * ROWS, 1),
        red=red,
        blue=blue,
        tone=tone,
        painted=np.packbits(painted).tobytes().hex(),
        marks=marks,
        flags=tuple(_flag(view, each, marks) for each in findings),
    )


def _painted(view: ViewEvidence) -> Mask:
    """Cells of the grid that are painted."""
    skin = view.skin
    assert skin is not None
    # Blurred over a cell, so that one sample says how much of it is painted.
    cell = min(skin.cell_mm) * view.surface.px_per_mm
    share = cv2.GaussianBlur(view.zones.paint.astype(np.float32), (0, 0), max(0.5, cell / 3))
    return np.asarray(cv2.remap(share, skin.map_x, skin.map_y, cv2.INTER_LINEAR) > _LEAST_PAINTED)


def _paints(relative: Sequence[Relative]) -> tuple[PaintLook, ...]:
    paints = find_paints(relative)
    if not paints:
        return ()
    pixels = np.concatenate([each.light[each.paint & each.seen] for each in relative]) - 1
    ways = np.stack([paint.direction for paint in paints])
    nearest = (pixels @ ways.T / np.linalg.norm(pixels + 1e-6, axis=1)[:, None]).argmax(1)
    out = []
    for number, paint in enumerate(paints):
        full = np.maximum(1 + paint.direction * paint.distance, 0.0)
        red, green, blue = (round(float(each), 3) for each in full)
        out.append(PaintLook((red, green, blue), round(float((nearest == number).mean()), 3)))
    return tuple(out)


def _marks(view: ViewEvidence, light: Relative) -> tuple[SmallMark, ...]:
    """Small marks of one view on its smaller picture."""
    size = light.light.shape[1::-1]
    facing = cv2.resize(view.zones.facing.astype(np.uint8), size, interpolation=0) > 0
    if not facing.any():
        return ()
    scaled = np.clip(fill_from(light.light, facing) * 100, 0, 255).astype(np.uint8)
    window = 2 * round(_SURROUND_MM * light.px_per_mm / 2) + 1
    around = cv2.medianBlur(scaled, window).astype(np.float32) / 100
    contrast = channels.largest(np.abs(light.light - around))
    _, labels, stats, middles = cv2.connectedComponentsWithStats(
        ((contrast > _CONTRAST) & facing).astype(np.uint8)
    )
    extent = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(1) / light.px_per_mm
    flat = labels.ravel()
    strength = np.bincount(flat, contrast.ravel(), len(stats))
    peak = np.zeros(len(stats))
    np.maximum.at(peak, flat, contrast.ravel())
    # The blur of the lens spreads a mark, but keeps the sum of its contrast.
    size_mm = 2 * np.sqrt(strength / np.maximum(peak, _CONTRAST) / np.pi) / light.px_per_mm
    chosen = (size_mm >= _MARK_MM[0]) & (extent <= _MARK_MM[1])
    chosen[0] = False
    weighted = light.light * contrast[..., None]
    colour = (
        np.stack(
            [np.bincount(flat, weighted[..., channel].ravel(), len(stats)) for channel in range(3)],
            axis=1,
        )
        / np.maximum(strength, 1e-6)[:, None]
    )
    order = sorted(np.flatnonzero(chosen), key=lambda number: -strength[number])[:_MOST_MARKS]
    out = []
    for number in order:
        x, y = (middles[number] + 0.5) / light.scale - 0.5
        across, down = _place(view, float(x), float(y))
        red, green, blue = (round(float(each), 3) for each in colour[number])
        out.append(SmallMark(across, down, round(float(size_mm[number]), 2), (red, green, blue)))
    return tuple(out)


def _place(view: ViewEvidence, x: float, y: float) -> tuple[float, float]:
    """Place on the wall of a point of the working picture, shares 0..1."""
    skin = view.skin
    assert skin is not None
    rows = skin.map_y[:, 0]
    down = (y - rows[0]) / max(1.0, float(rows[-1] - rows[0]))
    left = float(np.interp(y, rows, skin.map_x[:, 0]))
    right = float(np.interp(y, rows, skin.map_x[:, -1]))
    across = (x - left) / max(1.0, right - left)
    return round(float(np.clip(across, 0, 1)), 3), round(float(np.clip(down, 0, 1)), 3)


def _flag(view: ViewEvidence, found: Finding, marks: Sequence[SmallMark]) -> Flag:
    surface, skin = view.surface, view.skin
    assert skin is not None
    x, y, width, height = found.bbox_px
    middle = np.array([x + width / 2, y + height / 2])
    at = (middle - np.array(surface.origin_px)) / surface.step - 0.5
    across, down = _place(view, float(at[0]), float(at[1]))
    size = max(width, height) / surface.step / surface.px_per_mm
    wide, high = skin.cell_mm[0] * COLUMNS, skin.cell_mm[1] * ROWS
    near = [
        (float(np.hypot((each.across - across) * wide, (each.down - down) * high)), number)
        for number, each in enumerate(marks)
    ]
    mark = None
    if near and min(near)[0] < size / 2 + 0.5:
        mark = marks[min(near)[1]]
    return Flag(found.fault, found.photo, found.bbox_px, across, down, round(size, 2), mark)


def _turn(sides: Sequence[Side]) -> tuple[float, float] | None:
    """First harmonic of the browning: clay turns redder and less blue as it browns."""
    brown = [
        0.5 * (side.red - side.blue)
        for side in sides
        if side.red is not None and side.blue is not None
    ]
    if len(brown) < 3 or len(brown) < len(sides):
        return None
    angle = 2 * np.pi * np.arange(len(brown)) / len(brown)
    values = np.array(brown) - np.mean(brown)
    toward = 2 / len(brown) * np.array([values @ np.cos(angle), values @ np.sin(angle)])
    return round(float(toward[0]), 4), round(float(toward[1]), 4)


_WORTH: tuple[ColourFrom, ...] = (
    None,
    "backdrop",
    "grey",
    "chart",
)


def _poorest(photos: Sequence[PhotoReport]) -> ColourFrom:
    known = [_WORTH.index(each.colour_from) for each in photos]
    return _WORTH[min(known)] if known else None
