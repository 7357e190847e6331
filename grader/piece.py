"""The piece, cut out from its surroundings.

The photo is divided into small regions that keep to its edges. Table and wall are learned from
the margins; several cuts, which trust colour, texture and edges to different degrees, are made
through the regions, the best is chosen by what a good outline looks like, and is then moved onto
the sharpest edge nearby. How sure the choice is, is known from pictures with known outlines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.segmentation import watershed

from grader.outline.agreement import Expected, settle
from grader.outline.choice import choose_cut
from grader.outline.halves import settle_halves
from grader.outline.parts import ball, fill_holes
from grader.outline.regions import CHROMA_WEIGHT, Mask, Regions, divide, edge_strength, log_look
from grader.outline.sharp import sharpen
from grader.outline.still import OneStand
from grader.outline.surroundings import MARGIN_SHARE, Evidence, changes, weigh_surroundings

COARSE_LONG_SIDE_PX = 640
"""Enough to tell which region belongs to the piece."""

_FINE_LONG_SIDE_PX = 1000
"""Finding the outline needs no more; one pixel here is under 1 % of the area of a piece."""

_STRING_SHARE = 0.022
"""Of the long side: a handle seen from its edge is as broad, a grain of wood or a joint half that
(`parts.without_whiskers` takes out what is finer still, at the frame or not)."""

_NOTHING_COST = 4.6
"""Mean cost of an outline without an edge: a chance of one in a hundred."""

_UNSURE = 0.5


@dataclass(frozen=True, slots=True)
class Silhouette:
    """Where the piece is.

    Attributes
    ----------
    mask : ndarray of bool, shape (height, width)
        Size of the photo; holes (inside a handle) are False.
    bbox_px : tuple of int
        (x, y, width, height).
    certainty : float
        0..1: chance that the outline is right.
    touches_frame : bool
        True where the outline runs along the edge of the photo.
    notes : tuple of str
        Why it is unsure, in plain words.
    """

    mask: Mask
    bbox_px: tuple[int, int, int, int]
    certainty: float
    touches_frame: bool = False
    notes: tuple[str, ...] = ()


def cut_out(
    rgb: NDArray[np.uint8],
    cards_px: Sequence[NDArray[np.float64]] = (),
    *,
    upright: bool = False,
    stand: OneStand | None = None,
) -> Silhouette | None:
    """Find the piece on a photo.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
        Upright sRGB photo.
    cards_px : sequence of ndarray, each shape (n, 2)
        Outlines (x, y) of marker and chart, which are never part of the piece.
    upright : bool
        True where the piece is seen from the side, standing: its halves are then held against
        each other.
    stand : OneStand, optional
        This photo and those of the other sides, at any size: what stays where it is while the piece
        is turned is none of it.

    Returns
    -------
    Silhouette or None
        None where nothing stands out from the surroundings.
    """
    parts = _divided(rgb, cards_px, stand)
    choice = None if parts is None else choose_cut(parts.regions, parts.evidence)
    if parts is None or choice is None:
        return None
    chosen = choice.regions
    # What has no edges, but changes as it is turned, is there.
    if choice.edge_cost > _NOTHING_COST and not changes(
        parts.regions, parts.evidence, np.flatnonzero(chosen)
    ):
        return None
    if upright:
        chosen = settle_halves(parts.regions, parts.evidence, chosen)
    return _silhouette(rgb, cards_px, parts, chosen, choice.certainty)


def cut_out_again(
    rgb: NDArray[np.uint8],
    first: Silhouette,
    expected: Expected,
    cards_px: Sequence[NDArray[np.float64]] = (),
    stand: OneStand | None = None,
) -> Silhouette | None:
    """Find the piece on a photo whose outline the other sides dispute.

    Parameters
    ----------
    rgb, cards_px, stand
        As in `cut_out`.
    first : Silhouette
        What was found on this photo alone.
    expected : Expected
        By the other sides, in the frame of this photo, at any size.

    Returns
    -------
    Silhouette or None
        As sure as the first.
    """
    parts = _divided(rgb, cards_px, stand)
    if parts is None:
        return None
    size = (parts.coarse.shape[1], parts.coarse.shape[0])
    was, core, reach = (
        cv2.resize(each.astype(np.float32), size, interpolation=cv2.INTER_LINEAR) > 0.5
        for each in (first.mask, expected.core, expected.reach)
    )
    before = parts.regions.share_of(was) > 0.5
    chosen = settle(parts.regions, parts.evidence, before, Expected(core, reach))
    chosen = settle_halves(parts.regions, parts.evidence, chosen)
    return _silhouette(rgb, cards_px, parts, chosen, first.certainty)


@dataclass(frozen=True, slots=True)
class _Divided:
    """A reduced photo in its regions."""

    coarse: NDArray[np.uint8]
    regions: Regions
    evidence: Evidence


def _divided(
    rgb: NDArray[np.uint8], cards_px: Sequence[NDArray[np.float64]], stand: OneStand | None
) -> _Divided | None:
    shrink = min(1.0, COARSE_LONG_SIDE_PX / max(rgb.shape[:2]))
    coarse = _reduced(rgb, shrink)
    cards = _paint_cards(coarse.shape[:2], cards_px, shrink)
    regions = divide(coarse, cards)
    evidence = weigh_surroundings(regions, cards, stand)
    return None if evidence is None else _Divided(coarse, regions, evidence)


def _silhouette(
    rgb: NDArray[np.uint8],
    cards_px: Sequence[NDArray[np.float64]],
    parts: _Divided,
    regions: Mask,
    certainty: float,
) -> Silhouette | None:
    """The outline of the chosen regions at the size of the photo; None where nothing is left."""
    height, width = rgb.shape[:2]
    regions = fill_holes(parts.regions, parts.evidence, regions)
    chosen = _without_strings(regions[parts.regions.labels])
    chosen = _to_the_frame(chosen, parts.coarse)
    mask = _refined(rgb, chosen, cards_px)
    rows, cols = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    if not rows.size:
        return None
    bbox = (
        int(cols[0]),
        int(rows[0]),
        int(cols[-1] - cols[0] + 1),
        int(rows[-1] - rows[0] + 1),
    )
    touches = bool(rows[0] <= 1 or cols[0] <= 1 or rows[-1] >= height - 2 or cols[-1] >= width - 2)
    notes = []
    if touches:
        notes.append("the piece runs out of the frame")
    if certainty < _UNSURE:
        notes.append("the piece hardly stands out from what is behind it")
    return Silhouette(mask, bbox, certainty, touches, tuple(notes))


def _reduced(rgb: NDArray[np.uint8], shrink: float) -> NDArray[np.uint8]:
    if shrink >= 1.0:
        return rgb
    return np.asarray(
        cv2.resize(rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.uint8
    )


def _paint_cards(
    shape: tuple[int, ...], cards_px: Sequence[NDArray[np.float64]], shrink: float
) -> Mask:
    cards = np.zeros(shape[:2], np.uint8)
    for card in cards_px:
        cv2.fillConvexPoly(cards, np.round(np.asarray(card) * shrink).astype(np.int32), 1)
    # The cut edge of a card throws a thin line of its own.
    return cv2.dilate(cards, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))) > 0


def _strips(chosen: Mask) -> tuple[int, int]:
    """Breadth of the strips along the sides and at the top and bottom in which a margin ends."""
    height, width = chosen.shape
    return round(1.5 * MARGIN_SHARE * width), round(1.5 * MARGIN_SHARE * height)


def _without_strings(chosen: Mask) -> Mask:
    """Cut off what leads to the frame as thinly as a grain of wood or a joint between boards.

    A piece that runs out of the photo does so with its wall or the breadth of a handle.
    """
    height, width = chosen.shape
    across, down = _strips(chosen)
    margin = np.ones_like(chosen)
    margin[down : height - down, across : width - across] = False
    if not (chosen & margin).any():
        return chosen
    wide = 2 * round(_STRING_SHARE * max(height, width) / 2) + 1
    # Beyond the frame the picture goes on, so that what is cut off by it stays.
    thick = cv2.morphologyEx(
        np.pad(chosen.astype(np.uint8), wide, mode="edge"), cv2.MORPH_OPEN, ball(wide)
    )[wide:-wide, wide:-wide]
    if not thick.any():
        return chosen
    thin = chosen & (cv2.dilate(thick, ball(wide)) == 0)
    _, strings = cv2.connectedComponents(thin.astype(np.uint8))
    lead_out = np.unique(strings[margin])
    return chosen & ~np.isin(strings, lead_out[lead_out > 0])


def _to_the_frame(chosen: Mask, rgb: NDArray[np.uint8]) -> Mask:
    """Carry a piece that ends in the margin, which counts as surroundings, on to its own edge.

    Where the pixels at the frame look more like the piece than like the frame beside it, the piece
    runs out of the photo; else it ends on the sharpest edge within the margin.
    """
    across, down = _strips(chosen)
    strips = (across, across, down)
    out = chosen.copy()
    if not any(
        _reaches(view[:, strip], strip) for view, strip in zip(_ways(out), strips, strict=True)
    ):
        return out
    logs = cv2.GaussianBlur(log_look(rgb), (0, 0), 1.0)
    for view, look, strip in zip(_ways(out), _ways(logs), strips, strict=True):
        at = view[:, strip]
        if _reaches(at, strip):
            view[:, :strip] |= _in_margin(at, look[:, : 2 * strip], strip)
    return out


def _ways(plane: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """Views of a picture in which its left, right and upper margin lie on the left."""
    return plane, plane[:, ::-1], plane.swapaxes(0, 1)


def _reaches(at: Mask, strip: int) -> bool:
    """Whether a piece ends in a margin: only in a run of rows; a corner has few."""
    return bool(np.count_nonzero(at) > 2 * strip)


def _in_margin(at: Mask, look: NDArray[np.float32], strip: int) -> Mask:
    """What of a margin `strip` pixels wide belongs to a piece that reaches it in the rows `at`."""
    weighted = look * np.array([CHROMA_WEIGHT, CHROMA_WEIGHT, 1.0], np.float32)
    frame = weighted[:, :2].reshape(len(at), -1, 3).mean(1)
    markers = np.zeros((len(at), strip + 1), np.int32)
    markers[:, -1] = np.where(at, 2, 1)
    markers[~at, 0] = 1
    runs, count = ndimage.label(at)
    for number in range(1, count + 1):
        rows = np.flatnonzero(runs == number)
        length = len(rows)
        beside = np.r_[max(0, rows[0] - length) : rows[0], rows[-1] + 1 : rows[-1] + 1 + length]
        beside = beside[beside < len(at)]
        beside = beside[~at[beside]]
        piece = np.median(weighted[rows, strip:].reshape(-1, 3), axis=0)
        here = np.median(frame[rows], axis=0)
        table = np.median(frame[beside], axis=0) if len(beside) else np.full(3, np.inf)
        ends = np.linalg.norm(here - table) < np.linalg.norm(here - piece)
        markers[rows, 0] = 1 if ends else 2
    found = watershed(edge_strength(np.ascontiguousarray(look[:, : strip + 1])), markers)
    return np.asarray(found[:, :-1] == 2)


def _refined(rgb: NDArray[np.uint8], chosen: Mask, cards_px: Sequence[NDArray[np.float64]]) -> Mask:
    """The mask at the size of the photo."""
    height, width = rgb.shape[:2]
    shrink = min(1.0, _FINE_LONG_SIDE_PX / max(height, width))
    fine = _reduced(rgb, shrink)
    size = (fine.shape[1], fine.shape[0])
    soft = cv2.resize(chosen.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    sharp = sharpen(fine, soft > 0.5, _paint_cards(fine.shape[:2], cards_px, shrink))
    smooth = cv2.GaussianBlur(sharp.astype(np.float32), (0, 0), 1.2)
    return np.asarray(cv2.resize(smooth, (width, height), interpolation=cv2.INTER_LINEAR) > 0.5)
