"""What hangs on a piece, and what is seen through it: gaps of handles, and paint at the outline.

Both are decided for whole regions, after a cut has been chosen.
"""

from __future__ import annotations

from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, sparse
from scipy.sparse import csgraph

from grader.outline.cut import learn_from
from grader.outline.regions import Mask, Regions
from grader.outline.surroundings import Evidence, stays

_Kind = TypeVar("_Kind", np.bool_, np.int32)

_FAINT = 0.3
"""A gap seen through a handle stands out less than this share of what the body does; light that
the piece throws into it makes it stand out a little."""

_LIKE_TABLE = 0.5
"""Where piece and table are of one colour both stand out little: then a gap stands out less than
this share of what the body does, and looks more like the surroundings than like the piece."""

_SHUT_SHARE = 0.95
"""Share of its rim along which such a gap ends in an edge: all but the noise of it. What only the
light makes like the table has edges along a part of its rim (0.35 to 0.9)."""

_AXIS_ROWS = (0.75, 0.9)
"""Part of the height in which the axis of a body is read: a handle or a spout seldom reaches down
to there, and a shadow seldom up to the middle."""

_LEAST_TWIN_SHARE, _TWIN_ASIDE = 0.01, 0.55
"""Share of the piece, and distance from the axis over half the breadth, from which two parts of the
table's look that mirror each other are the gaps of two handles: gaps of one were 2 % and more, and
lay at 0.57 and further out. Smaller ones are painted, more often than not."""

_FAR_ASIDE, _LEAST_FAR_SHARE = 0.83, 0.001
"""From here on any that edges shut in is a gap, however small (those of small handles lay at 0.85,
with a share of 0.0017 each): a wall is seen so much at a slant there that what is painted on it is
but a line."""

_LEAST_GAP_SHARE = 0.003
"""Of the piece; smaller ones change no measurement."""

CLOSED_COST = 3.4
"""Cost of a border that is still an edge: a chance of one in thirty."""

_LEAST_BAY, _LEAST_EXPECTED_BAY = 0.0015, 0.02
"""Share of the piece from which a bay changes a measurement, and from which one beyond the hull of
the outline is no mere difference from what it is held against."""

_CLOSED_SHARE = 0.75
"""Share of its far side along which a bay must end in an edge to be part of the piece."""

_HOLE_SHARE, _HOLE_ASIDE = 0.01, 0.5
"""Share of the piece, and distance from the middle as a share of half the breadth, below which a
hole is no gap of a handle: those take 2 % and lie at 0.57 or further out, seen from above 0.8 %."""


_WHISKER_PX = 5
"""Width of the thinnest part of a piece, where its long side is 400 px: a handle is 2 % of that."""


def open_gaps(regions: Regions, evidence: Evidence, chosen: Mask) -> Mask:
    """Take out the gap inside a handle, or inside each of two.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    mask = chosen[regions.labels]
    beside = regions.share_of(beyond_mirror(mask)) > 0.5
    unlike = np.expm1(evidence.unlike[:, 0])
    body = chosen & ~beside
    if not body.any():
        return chosen
    usual = float(np.median(unlike[body]))
    faint = chosen & (unlike < _FAINT * usual)
    size = float(regions.area_px[chosen].sum())
    out = chosen.copy()
    for part in connected_parts(regions, faint & beside):
        if regions.area_px[part].sum() >= _LEAST_GAP_SHARE * size:
            out[part] = False
    for part in _twins(regions, faint & ~beside, mask):
        large = regions.area_px[part].sum() >= _LEAST_TWIN_SHARE * size
        if large and _is_enclosed(regions, chosen, part):
            out[part] = False
    known = learn_from(regions, evidence, chosen, doubtful=chosen & beside)
    if known is None:
        return out
    like_table = unlike < _LIKE_TABLE * usual
    for part in connected_parts(regions, out & beside & like_table):
        area = regions.area_px[part]
        large = area.sum() >= _LEAST_GAP_SHARE * size
        if large and area @ known[part] < 0 and _is_shut_in(regions, evidence, out, part):
            out[part] = False
    # Of a pair of handles that are not quite alike a gap lies in part beyond the mirror image.
    for part in connected_parts(regions, out & like_table & (~beside & (known < 0) | faint)):
        area = regions.area_px[part]
        large = area.sum() >= _LEAST_FAR_SHARE * size
        far = large and area @ known[part] < 0 and _aside(regions, mask, part) > _FAR_ASIDE
        if far and _is_shut_in(regions, evidence, out, part):
            out[part] = False
    return out


def _is_enclosed(regions: Regions, chosen: Mask, part: NDArray[np.intp]) -> bool:
    """Whether a part of the chosen borders on nothing else; a foot borders on the table."""
    touches = np.isin(regions.pairs, part).any(1)
    return bool(chosen[regions.pairs[touches]].all())


def _is_shut_in(regions: Regions, evidence: Evidence, chosen: Mask, part: NDArray[np.intp]) -> bool:
    """Whether a part of the chosen ends on edges and borders on nothing else, but for a hole."""
    filled = regions.share_of(ndimage.binary_fill_holes(chosen[regions.labels])) > 0.5
    if not _is_enclosed(regions, filled, part):
        return False
    rim, beyond = rim_of(regions, part)
    length = regions.border_px[rim] * chosen[beyond]
    closed = evidence.edge_cost[rim] < CLOSED_COST
    return float(length[closed].sum()) > _SHUT_SHARE * float(length.sum())


def _twins(regions: Regions, faint: Mask, mask: Mask) -> list[NDArray[np.intp]]:
    """Faint parts, out to the side, whose mirror image is as faint: gaps of a pair of handles."""
    seen = faint[regions.labels]
    axis = _axis_px(mask)
    across = np.arange(mask.shape[1]) - axis / 2
    half = np.abs(np.where(mask, across, 0)).max(1, keepdims=True)
    aside = np.abs(across) > _TWIN_ASIDE * half
    twin = seen & mirrored(seen, (0, axis + 1 - mask.shape[1]), False) & aside
    return connected_parts(regions, faint & (regions.share_of(twin) > 0.5))


def fill_bays(
    regions: Regions,
    evidence: Evidence,
    chosen: Mask,
    *,
    expected: Mask | None = None,
    closed_share: float = _CLOSED_SHARE,
) -> Mask:
    """Win back paint, glare or pool tint at the outline that looks like the table.

    A bay in the outline belongs to the piece where an edge closes it on the far side; the waist
    of a vase has none there.

    Parameters
    ----------
    regions : Regions
    evidence : Evidence
    chosen : ndarray of bool, shape (n,)
    expected : ndarray of bool, shape (h, w), optional
        What the other half or the other sides lead one to expect: bays are then looked for in both
        together, as a foot that was lost lies beyond the hull of all the rest.
    closed_share : float, optional
        Share of its far side along which a bay must end in an edge.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    mask = chosen[regions.labels]
    about = mask if expected is None else mask | expected
    least = _LEAST_BAY if expected is None else _LEAST_EXPECTED_BAY
    contours, _ = cv2.findContours(about.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    hull = np.zeros(mask.shape, np.uint8)
    cv2.fillConvexPoly(hull, cv2.convexHull(np.concatenate(contours)), 1)
    filled = ndimage.binary_fill_holes(mask)
    # The far side may bulge a little beyond the hull; what the piece encloses is no bay.
    within = (regions.share_of(hull > 0) > 0.3) & (regions.share_of(filled) < 0.5)
    edge = evidence.edge_cost < CLOSED_COST
    size = float(regions.area_px[chosen].sum())
    out = chosen.copy()
    # Regions of a bay hang together across everything that is no edge.
    for part in connected_parts(regions, within & ~chosen & ~evidence.fixed, without=edge):
        if regions.area_px[part].sum() < least * size:
            continue
        rim, beyond = rim_of(regions, part)
        far = ~chosen[beyond]
        length, closed = regions.border_px[rim], edge[rim]
        if not far.any() or far.all():
            continue
        shut = float(length[far & closed].sum()) / float(length[far].sum())
        fills = shut > closed_share and length[~far].sum() > 0.25 * length.sum()
        # The gap of a handle stays as it is while the piece is turned.
        out[part] = fills and not stays(regions, evidence, part)
    return out


def fill_holes(regions: Regions, evidence: Evidence, chosen: Mask) -> Mask:
    """Fill small holes in the middle of a piece: paint of the colour of what lies behind it.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    mask = chosen[regions.labels]
    filled = ndimage.binary_fill_holes(mask)
    size = float(regions.area_px[chosen].sum())
    out = chosen.copy()
    enclosed = (regions.share_of(filled & ~mask) > 0.5) & ~evidence.fixed
    for part in connected_parts(regions, enclosed):
        if regions.area_px[part].sum() >= _HOLE_SHARE * size:
            continue
        out[part] = _aside(regions, filled, part) < _HOLE_ASIDE
    return out


def _aside(regions: Regions, mask: Mask, part: NDArray[np.intp]) -> float:
    """Distance of a part from the middle of its row of the piece, over half the breadth there."""
    rows, cols = np.nonzero(np.isin(regions.labels, part))
    across = np.flatnonzero(mask[int(rows.mean())])
    left, right = int(across[0]), int(across[-1])
    return abs(2 * float(cols.mean()) - left - right) / max(1, right - left)


def without_whiskers(regions: Regions, chosen: Mask) -> Mask:
    """Take out thin lines that hang on a piece: a crack between two boards, the cable of a lamp.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    mask = chosen[regions.labels].astype(np.uint8)
    thick = cv2.morphologyEx(mask, cv2.MORPH_OPEN, ball(_WHISKER_PX))
    far = (mask > 0) & (cv2.dilate(thick, ball(2 * _WHISKER_PX)) == 0)
    return chosen & ~(regions.share_of(far) > 0.5)


def ball(wide_px: int) -> NDArray[np.uint8]:
    """A round structuring element, for growing and shrinking a mask."""
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide_px, wide_px)).astype(np.uint8)


def rim_of(regions: Regions, part: NDArray[np.intp]) -> tuple[Mask, NDArray[np.intp]]:
    """Borders all round a part, and the regions beyond them.

    Returns
    -------
    rim : ndarray of bool, shape (m,)
        Which of `Regions.pairs` have one region in the part.
    beyond : ndarray of int
        The other region of each.
    """
    inside = np.zeros(regions.count, bool)
    inside[part] = True
    first, second = regions.pairs.T
    rim = inside[first] != inside[second]
    return rim, np.where(inside[first], second, first)[rim]


def connected_parts(
    regions: Regions, wanted: Mask, without: Mask | None = None
) -> list[np.ndarray]:
    """Connected parts of the wanted regions, as lists of region numbers."""
    joined = wanted[regions.pairs].all(1)
    if without is not None:
        joined &= ~without
    first, second = regions.pairs[joined].T
    links = sparse.csr_matrix(
        (np.ones(len(first)), (first, second)), shape=(regions.count, regions.count)
    )
    _, part = csgraph.connected_components(links, directed=False)
    numbers = np.flatnonzero(wanted)
    return [numbers[part[numbers] == each] for each in np.unique(part[numbers])]


def beyond_mirror(mask: Mask, axis_rows: tuple[float, float] = _AXIS_ROWS) -> Mask:
    """What has no counterpart on the other side of the body's axis: handle, spout and gap.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
    axis_rows : tuple of float
        Part of the height in which the axis is read.
    """
    return mask & ~mirrored(mask, (0, _axis_px(mask, axis_rows) + 1 - mask.shape[1]), False)


def _axis_px(mask: Mask, axis_rows: tuple[float, float] = _AXIS_ROWS) -> int:
    """Twice the column of the axis of the body."""
    rows = np.flatnonzero(mask.any(1))
    left, right = mask[rows].argmax(1), mask.shape[1] - 1 - mask[rows, ::-1].argmax(1)
    first, last = (int(share * len(rows)) for share in axis_rows)
    return int(np.median((left + right)[first : last + 1]))


def mirrored(plane: NDArray[_Kind], shift: tuple[int, int], beyond: int) -> NDArray[_Kind]:
    """The mirror image of a picture, shifted; `beyond` where nothing of it comes to lie.

    Parameters
    ----------
    plane : ndarray of bool or int32, shape (h, w)
    shift : tuple of int
        (rows, columns) by which ``plane[:, ::-1]`` is shifted.
    beyond : int

    Returns
    -------
    ndarray
        Of the same shape and dtype.
    """
    height, width = plane.shape
    rows, cols = (np.arange(long) - by for long, by in zip(plane.shape, shift, strict=True))
    has_row, has_col = (rows >= 0) & (rows < height), (cols >= 0) & (cols < width)
    out = np.full_like(plane, beyond)
    out[np.ix_(has_row, has_col)] = plane[np.ix_(rows[has_row], width - 1 - cols[has_col])]
    return out
