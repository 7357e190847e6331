"""Find the standard 24-patch colour chart in a photo and read its patches.

The chart is any maker's card of four rows of six patches in the order of McCamy, Marcus &
Davidson (1976): dark skin first, six greys from white to black last. It is looked for on a
reduced picture and measured on the full one. Whether the reading can be believed is for
`grader.colour.fit` to say: the detector also invents charts where there is none.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.colour.srgb import decode_srgb, srgb_to_lab
from grader.reduce import reduce_picture

ROWS, COLUMNS = 4, 6
PATCHES = ROWS * COLUMNS

# Longest side, px, of the picture that is searched: a chart a tenth of the picture wide still
# has patches of 15 px there, and the search takes less than 0.1 s instead of one second.
_SEARCH_PX = 1500

# A picture narrower than this cannot show four rows of patches that can be measured, and the
# detector, which enlarges what is small, would fill the memory with a sliver.
_MIN_SEARCH_PX = 100
# Patches below this pitch, px in the full picture, hold too few clean pixels.
_MIN_PITCH_PX = 10.0

# Side, px, of one cell (patch and gap) of the chart when it is laid flat for measuring.
_CELL_PX = 64
# How far, in cells, the flattened picture reaches beyond the patches on each side.
_MARGIN_CELLS = 1.5

# Side of the measured middle of a patch, in cells. Patches take up about 0.77 of a cell; the
# rest keeps clear of edges, blur and a grid that is a little off.
_MIDDLE_CELLS = 0.45

# At this level and above a channel has run out of range; some phones stop short of 255.
_CLIPPED_LEVEL = 252
# Share of clipped pixels from which even the median of a noisy patch is pulled.
_CLIPPED_SHARE = 0.2

# CIE76 distance from the patch's middle colour that noise does not reach but a finger, a
# shadow's edge or a hole in the card does, and the share of such pixels that spoils a patch.
_STRANGE_LAB = 14.0
_STRANGE_SHARE = 0.12

# A card is known by its form where so much of the gaps has one colour (a corner may be covered),
# so many patches at most are uneven, and the others show at least so many colours: a painted
# chequer has three, and a chart of which two thirds are clipped still twelve.
_GAPS_ALIKE, _MOST_SPOILT, _MANY_COLOURS = 0.85, 6, 8


@dataclass(frozen=True, slots=True)
class ChartReading:
    """What the chart looks like in one photo.

    Attributes
    ----------
    linear_rgb : ndarray of float64, shape (24, 3)
        Median linear camera colour of each patch, in chart order, 0..1.
    clipped : ndarray of bool, shape (24,)
        A channel has run out of range in this patch.
    spoilt : ndarray of bool, shape (24,)
        Partly covered, uneven, or outside the picture.
    outline_px : ndarray of float64, shape (4, 2)
        Corners (x, y) of the whole card, its border included; may lie outside the picture.
    pitch_px : float
        Mean distance of neighbouring patches.
    is_card : bool
        Whether even patches of many colours lie in a grid of one colour: a card beyond doubt,
        though its colours may be washed out.
    """

    linear_rgb: NDArray[np.float64]
    clipped: NDArray[np.bool_]
    spoilt: NDArray[np.bool_]
    outline_px: NDArray[np.float64]
    pitch_px: float
    is_card: bool = False


def find_charts(rgb: NDArray[np.uint8]) -> tuple[ChartReading, ...]:
    """Look for 24-patch charts.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
        Upright, sRGB.

    Returns
    -------
    tuple of ChartReading
        Candidates, best first; empty where nothing looks like a chart.
    """
    small, factor = reduce_picture(rgb, _SEARCH_PX)
    if min(small.shape[:2]) < _MIN_SEARCH_PX:
        return ()
    centres = _search(np.ascontiguousarray(small[..., ::-1]))
    readings: list[ChartReading] = []
    for found in centres:
        # A pixel's centre, not its corner, has whole coordinates.
        grid = _fit_grid((found + 0.5) / factor - 0.5, np.ones(PATCHES, dtype=bool))
        if grid is None or not _is_card_like(grid):
            continue
        reading = _read(rgb, grid)
        # The detector may see the same card twice.
        if all(_apart(reading, other) for other in readings):
            readings.append(reading)
    return tuple(readings)


def _is_card_like(grid: NDArray[np.float64]) -> bool:
    """Tell whether cells become a convex quadrilateral of some size, as a flat card does."""
    corners = np.array([[[0, 0], [COLUMNS, 0], [COLUMNS, ROWS], [0, ROWS]]], dtype=np.float64)
    quad = cv2.perspectiveTransform(corners, grid).astype(np.float32)
    area = abs(float(cv2.contourArea(quad)))
    return bool(cv2.isContourConvex(quad) and area > PATCHES * _MIN_PITCH_PX**2)


def _apart(one: ChartReading, other: ChartReading) -> bool:
    distance = np.linalg.norm(one.outline_px.mean(axis=0) - other.outline_px.mean(axis=0))
    # Two cards that do not overlap are at least four cells apart.
    return bool(distance > 3 * max(one.pitch_px, other.pitch_px))


def _search(bgr: NDArray[np.uint8]) -> list[NDArray[np.float64]]:
    """Return the centres (24, 2) of the patches of each candidate."""
    detector = cv2.mcc.CCheckerDetector.create()
    # Without the type the answer changes from run to run.
    detector.setColorChartType(cv2.mcc.MCC24)
    try:
        found = detector.process(bgr, 2)
    except cv2.error:
        # On some pictures it meets a system without a solution.
        return []
    # The result of a failed search must not be touched: it ends the interpreter.
    if not found:
        return []
    centres = []
    for checker in detector.getListColorChecker():
        corners = np.asarray(checker.getColorCharts(), dtype=np.float64)
        if corners.shape == (4 * PATCHES, 2) and np.isfinite(corners).all():
            centres.append(corners.reshape(PATCHES, 4, 2).mean(axis=1))
    return centres


# --- the grid ------------------------------------------------------------------------------


def _cell_centres() -> NDArray[np.float64]:
    """Centres (24, 2) of the cells; the grid of cells spans (0, 0) to (6, 4)."""
    rows, columns = np.divmod(np.arange(PATCHES), COLUMNS)
    return np.stack([columns + 0.5, rows + 0.5], axis=1).astype(np.float64)


def _fit_grid(
    centres_px: NDArray[np.float64], good: NDArray[np.bool_]
) -> NDArray[np.float64] | None:
    """Return the homography (3, 3) from cells to the picture, or None where it is degenerate."""
    if good.sum() < 8:
        return None
    grid, _ = cv2.findHomography(_cell_centres()[good], centres_px[good], cv2.LMEDS)
    if grid is None or not np.isfinite(grid).all() or abs(np.linalg.det(grid)) < 1e-9:
        return None
    return np.asarray(grid, dtype=np.float64)


def _flatten(
    rgb: NDArray[np.uint8], grid: NDArray[np.float64]
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Lay the chart flat; the second result tells which pixels come from the picture."""
    width = int((COLUMNS + 2 * _MARGIN_CELLS) * _CELL_PX)
    height = int((ROWS + 2 * _MARGIN_CELLS) * _CELL_PX)
    # From pixels of the flat picture to cells to pixels of the photo.
    to_photo = grid @ np.array(
        [
            [1 / _CELL_PX, 0, 0.5 / _CELL_PX - _MARGIN_CELLS],
            [0, 1 / _CELL_PX, 0.5 / _CELL_PX - _MARGIN_CELLS],
            [0, 0, 1],
        ]
    )
    # Nearest, not interpolated: a clipped pixel must stay recognisable.
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    flat = cv2.warpPerspective(rgb, to_photo, (width, height), flags=flags)
    present = cv2.warpPerspective(
        np.ones(rgb.shape[:2], dtype=np.uint8), to_photo, (width, height), flags=flags
    )
    return flat, present.astype(bool)


def _middle(index: int, side_cells: float) -> tuple[slice, slice]:
    """Rows and columns, in the flat picture, of a square about the centre of a cell."""
    column, row = _cell_centres()[index] + _MARGIN_CELLS
    half = side_cells / 2
    return (
        slice(round((row - half) * _CELL_PX), round((row + half) * _CELL_PX)),
        slice(round((column - half) * _CELL_PX), round((column + half) * _CELL_PX)),
    )


def _refine(rgb: NDArray[np.uint8], grid: NDArray[np.float64]) -> NDArray[np.float64]:
    """Shift each cell to the middle of the even patch it lies on, and fit the grid anew.

    The detector's own grid is up to a fifth of a cell off, enough to touch an edge.
    """
    flat, present = _flatten(rgb, grid)
    lab = srgb_to_lab(flat)
    centres = _cell_centres()
    good = np.zeros(PATCHES, dtype=bool)
    for index in range(PATCHES):
        core = _middle(index, 0.25)
        cell = _middle(index, 1.3)
        if not present[cell].all():
            continue
        colour = np.median(lab[core].reshape(-1, 3), axis=0)
        alike = (np.linalg.norm(lab[cell] - colour, axis=-1) < _STRANGE_LAB).astype(np.uint8)
        _, labels, stats, middles = cv2.connectedComponentsWithStats(alike, connectivity=4)
        label = labels[labels.shape[0] // 2, labels.shape[1] // 2]
        size = stats[label, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]] / _CELL_PX
        # A patch is 0.55 to 0.95 of a cell; the black patch runs into the border.
        if label == 0 or size.min() < 0.55 or size.max() > 0.95:
            continue
        shift = (middles[label] + 0.5 - labels.shape[0] / 2) / _CELL_PX
        centres[index] += shift
        good[index] = True
    moved = cv2.perspectiveTransform(centres[None], grid)[0]
    better = _fit_grid(moved, good)
    return grid if better is None else better


def _read(rgb: NDArray[np.uint8], grid: NDArray[np.float64]) -> ChartReading:
    for _ in range(2):
        grid = _refine(rgb, grid)
    flat, present = _flatten(rgb, grid)
    lab = srgb_to_lab(flat)
    linear = np.zeros((PATCHES, 3))
    seen = np.zeros((PATCHES, 3), np.float32)
    clipped = np.zeros(PATCHES, dtype=bool)
    spoilt = np.zeros(PATCHES, dtype=bool)
    for index in range(PATCHES):
        middle = _middle(index, _MIDDLE_CELLS)
        levels = flat[middle].reshape(-1, 3)
        colours = lab[middle].reshape(-1, 3)
        linear[index] = np.median(decode_srgb(levels), axis=0)
        top, bottom = levels.max(axis=1) >= _CLIPPED_LEVEL, levels.min(axis=1) == 0
        clipped[index] = max(top.mean(), bottom.mean()) > _CLIPPED_SHARE
        seen[index] = np.median(colours, axis=0)
        distance = np.linalg.norm(colours - seen[index], axis=1)
        spoilt[index] = (
            not present[middle].all() or (distance > _STRANGE_LAB).mean() > _STRANGE_SHARE
        )
    corners = np.array([[[0, 0], [COLUMNS, 0], [COLUMNS, ROWS], [0, ROWS]]], dtype=np.float64)
    outer = cv2.perspectiveTransform(corners, grid)[0]
    area = cv2.contourArea(outer.astype(np.float32))
    return ChartReading(
        linear_rgb=linear,
        clipped=clipped,
        spoilt=spoilt,
        outline_px=_card_outline(lab, present, grid),
        pitch_px=float(np.sqrt(area / PATCHES)),
        is_card=_is_card(lab, seen[~spoilt]),
    )


def _is_card(lab: NDArray[np.float32], patches: NDArray[np.float32]) -> bool:
    """Tell a card by its form: even patches of many colours, and gaps between them of one."""
    if len(patches) < PATCHES - _MOST_SPOILT:
        return False
    first, half = round(_MARGIN_CELLS * _CELL_PX), 3
    rows, cols = ([first + at * _CELL_PX for at in range(1, count)] for count in (ROWS, COLUMNS))
    across, down = (slice(first, first + count * _CELL_PX) for count in (COLUMNS, ROWS))
    gaps = [lab[row - half : row + half, across] for row in rows]
    gaps += [lab[down, col - half : col + half] for col in cols]
    seen = np.concatenate([gap.reshape(-1, 3) for gap in gaps])
    alike = np.linalg.norm(seen - _border_colour(lab), axis=-1) < _STRANGE_LAB
    if alike.mean() < _GAPS_ALIKE:
        return False
    colours: list[NDArray[np.float32]] = []
    for patch in patches:
        if all(np.linalg.norm(patch - other) > _STRANGE_LAB for other in colours):
            colours.append(patch)
    return len(colours) >= _MANY_COLOURS


def _card_outline(
    lab: NDArray[np.float32], present: NDArray[np.bool_], grid: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Follow the dark border outwards from the patches until the card ends."""
    gap = _border_colour(lab)
    strange = np.linalg.norm(lab - gap, axis=-1) > _STRANGE_LAB
    first = round(_MARGIN_CELLS * _CELL_PX)
    last_row, last_column = first + ROWS * _CELL_PX, first + COLUMNS * _CELL_PX
    # Share of pixels unlike the border along each line beside the patches.
    beside_rows = strange[first:last_row].mean(axis=0)
    beside_columns = strange[:, first:last_column].mean(axis=1)
    reach = [
        _steps_alike(beside_rows[first::-1]),
        _steps_alike(beside_columns[first::-1]),
        _steps_alike(beside_rows[last_column:]),
        _steps_alike(beside_columns[last_row:]),
    ]
    left, top, right, bottom = (steps / _CELL_PX for steps in reach)
    corners = np.array(
        [
            [-left, -top],
            [COLUMNS + right, -top],
            [COLUMNS + right, ROWS + bottom],
            [-left, ROWS + bottom],
        ]
    )
    return np.asarray(cv2.perspectiveTransform(corners[None], grid)[0], dtype=np.float64)


def _border_colour(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the median colour of the crossings between the patches."""
    half = 3
    crossings = [
        lab[row - half : row + half, column - half : column + half].reshape(-1, 3)
        for row in (round((_MARGIN_CELLS + r) * _CELL_PX) for r in range(1, ROWS))
        for column in (round((_MARGIN_CELLS + c) * _CELL_PX) for c in range(1, COLUMNS))
    ]
    return np.asarray(np.median(np.concatenate(crossings), axis=0), dtype=np.float32)


def _steps_alike(strange_share: NDArray[np.floating]) -> int:
    """Count the lines, going outwards, of which most still show the border."""
    ends = np.flatnonzero(strange_share > 0.5)
    steps = int(ends[0]) if len(ends) else len(strange_share)
    # Two pixels more, for the blur of the card's edge.
    return min(steps + 2, len(strange_share))
