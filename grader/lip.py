"""The lip of a round opening, found by both of its halves at once.

The lip of a turned piece is a circle about its axis, so a photo from the side shows an ellipse: its
far half is the top of the silhouette, its near half a step of tone from the inside to the wall. A
spout bends a part of one half; the rest still says where the ellipse lies.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.piece import Mask
from grader.surface import Surface

_SLACK_MM = 0.8
"""Roundness of a lip: so far its edge of tone may lie from the line that is laid along it."""

_STEPS = 4.0
"""A lip shows a step of tone so many times as steep as is usual on the piece."""

_ROWS = 150
"""Places of the long axis that are tried over the height of the body: 0.7 mm on a mug."""

_DEEPEST = 0.45
"""Lowest place of the long axis, as a share of the body's rows, for a bowl seen from above."""

_FLATTEST, _ROUNDEST = 0.03, 0.95
"""Short over long axis, the sine of the camera's look down: below 2 degrees no inside is seen."""

_REACH = np.radians(70.0)
"""Angle to either side of the axis, seen from above, that is compared: beyond it a lip runs along
the line of sight. Equal angles give its sides, which tell it from a flatter arc, a say."""

_PLACES = 91

_FAR_SLACK = 0.02
"""Distance from the silhouette at which a place is on the far half, as a share of the half width:
what a thrown rim is out of round."""

_FAR_SHAPE = 0.1
"""The same as a share of the half depth: a flatter ellipse laid into the arc of a deep one leaves
it by twice as much at its sides."""

_MIDDLE = 0.3
"""What rises above the far lip on the axis itself, in this share of the half width, is the knob of
a lid, which hides more than the tenth that noise may."""
_ON_AXIS = 0.9

_FAR_SHARE = 0.75
"""Share of the far half that the silhouette must show. A spout takes up a sixth of the way round at
most; the flange of a lid with its dome above it shows less."""

_WHOLE_SIDE = 0.95
"""The same of the better side of the axis, which a spout on the other leaves whole. An ellipse laid
into a deeper arc leaves it on both sides."""

_FLARE = 1.06
"""Half a depth below the long axis no side of the body is wider than this. Under a lip the wall
falls away, while the arc of a wider lip, into which a line of shade within draws one, goes on."""

_NEAR_SHARE = 0.85
"""Share of the near half that must show the edge of tone; a spout toward the camera bends some."""


@dataclass(frozen=True, slots=True)
class Lip:
    """Ellipse of a lip in working pixels.

    Attributes
    ----------
    middle_px : tuple of float
        (x, y) of its centre.
    across_px : float
        Half of its long axis, which lies level.
    deep_px : float
        Half of its short axis.
    far : float
        Share of its far half that the silhouette follows, 0 to 1; 0 where it was not held against.
    near : float
        Share of its near half along which the tone steps, 0 to 1.
    """

    middle_px: tuple[float, float]
    across_px: float
    deep_px: float
    far: float = 0.0
    near: float = 0.0


def tone_edges(surface: Surface) -> tuple[Mask, int]:
    """Where the tone steps from row to row as at a lip, and how many rows wide that is drawn.

    Parameters
    ----------
    surface : Surface

    Returns
    -------
    edges : ndarray of bool, shape (h, w)
        Widened up and down by the roundness of a lip.
    slack : int
        Rows that an edge is widened to.
    """
    calm = cv2.GaussianBlur(surface.tone, (0, 0), max(1.0, surface.px(0.25)))
    step = np.abs(cv2.Sobel(calm, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8))
    slack = 2 * max(1, round(surface.px(_SLACK_MM))) + 1
    usual = float(np.median(step[surface.mask]))
    edges = cv2.dilate((step > _STEPS * usual).astype(np.uint8), np.ones((slack, 1))) > 0
    return edges, slack


def find_lip(
    surface: Surface,
    body_rows: tuple[int, int],
    left: NDArray[np.float64],
    right: NDArray[np.float64],
) -> Lip | None:
    """Find the ellipse that silhouette and tone agree on.

    Parameters
    ----------
    surface : Surface
    body_rows : tuple of int
        First and last row of the body.
    left, right : ndarray of float, shape (h,)
        Outline of the body without handles, NaN beyond it.

    Returns
    -------
    Lip or None
        None where no ellipse is shown by enough of both halves, as under a lid.
    """
    first, last = body_rows
    tall = last - first
    if tall < 20:
        return None
    # A spout on one side moves the middle of the upper rows, a leaning neck that of the lower.
    middles = (left + right) / 2
    axis = float(np.median(middles[first + tall // 2 : first + 9 * tall // 10]))
    if np.isnan(axis):
        return None
    edges, slack = tone_edges(surface)
    turn = np.linspace(-_REACH, _REACH, _PLACES)
    along, rise = np.sin(turn), np.cos(turn)
    on_axis = np.abs(along) < _MIDDLE
    tops = surface.mask.argmax(0)
    best: Lip | None = None
    for row in range(first + 1, first + int(_DEEPEST * tall), max(1, tall // _ROWS)):
        for middle in dict.fromkeys((axis, float(middles[row]))):
            across = float(min(middle - left[row], right[row] - middle))
            if not across > _PLACES / 4:
                continue
            columns = np.round(middle + across * along).astype(int)
            top = tops[columns]
            most = min(_ROUNDEST * across, row - first + _FAR_SLACK * across)
            deep = np.arange(_FLATTEST * across, most, across / 100)[:, None]
            if not len(deep):
                continue
            slack_px = max(_FAR_SLACK * across, surface.px(_SLACK_MM))
            allowed = np.maximum(1.5, np.minimum(slack_px, _FAR_SHAPE * deep))
            # Square to the line, which falls ever more steeply toward its sides.
            off = np.abs(row - deep * rise - top) / np.hypot(1, deep / across * along / rise)
            on_far = off < allowed
            far = on_far.mean(1)
            sides = [on_far[:, side].mean(1) for side in (along <= 0, along >= 0)]
            below = np.clip(row + deep[:, 0] / 2, 0, last).astype(int)
            wide = np.minimum(middle - left[below], right[below] - middle)
            fits = (far >= _FAR_SHARE) & (np.maximum(*sides) > _WHOLE_SIDE)
            fits &= (off < allowed / 2)[:, on_axis].mean(1) > _ON_AXIS
            fits &= wide < _FLARE * across
            # Few depths follow the silhouette: only of those the near half is looked at.
            if not fits.any():
                continue
            deep, far = deep[fits], far[fits]
            near_rows = row + deep * rise
            at = np.clip(np.round(near_rows).astype(int), 0, last)
            near = (edges[at, columns] & (near_rows > top + slack)).mean(1)
            both = np.where(near >= _NEAR_SHARE, far + near, 0)
            index = int(both.argmax())
            if both[index] > 0 and (best is None or both[index] >= best.far + best.near):
                best = Lip(
                    (middle, float(row)),
                    across,
                    float(deep[index, 0]),
                    float(far[index]),
                    float(near[index]),
                )
    return best
