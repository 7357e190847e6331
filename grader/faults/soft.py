"""Soft faults share one search: a region of the skin that departs one way from the rest.

Scorch, one-sided browning and pool tint have no edge to hold on to. They are found on the coarse
skin grid, each along its own direction of colour, against the view of the same place in the room
that shows the least of it: a fault of that kind can only add.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.colour.difference import ciede2000
from grader.colour.srgb import linear_to_lab
from grader.faults.evidence import ViewEvidence
from grader.findings import BESIDE, OPPOSITE, quarters_between
from grader.fits import fit_of_most
from grader.piece import Mask
from grader.skin import COLUMNS, ROWS
from grader.surface import light_of

_SMOOTH_CELLS = 1.2
"""Blur of the grid before anything is compared: noise falls to a quarter, 4 mm stay visible."""

_RELIEF_SHARE = 0.3
"""A cell with more than this of relief in it is lit in its own way and not judged."""


_SHADE_TRUST = 0.4
"""Beside a handle that faces the camera most of a difference is the handle's own light."""


_OF_STEP = 0.5
"""Share of a departure that the next row of sound skin makes alone, from which a row too high or
too low may have made it."""

_ALONE_TRUST = 0.6
"""Held against one view alone, the light itself may bend more than the fit does."""

_AT_EDGE = 0.62
"""Distance from the middle, as a share of half the width, from which the view beside, a quarter of
a turn on, shows a place better: the sine of 45 degrees less half a patch."""

_SLACK_CELLS, _REACH_CELLS = 2, 8
"""Rows and columns by which the place may be off where the body is not round."""

STAYS = 0.5
"""From this share of a departure on that the opposite side shows at the same place of its photo, it
is light, or the shadow of a second handle, of a lid or of the foot."""

_SEEN_OPPOSITE = 0.3
"""Share of a region that must be seen on the opposite side for it to tell."""

_AROUND_CELLS = 5
"""Cells beyond a region in which its surroundings are seen: as far as half a scorch."""

HEMMED = 0.55
"""Share of the edge of a region along which nothing is known beyond it, from which it has no edge
of its own to be known by: clay between brush strokes, or between a handle and the outline."""

_FEWEST_CELLS = 100
"""Cells of sound skin from which the hue of less light is learned, a fiftieth of the grid."""

_FOLLOWS = 0.8
"""Correlation from which hue is said to follow tone over sound skin: two thirds of what the one
varies is then explained by the other."""

_WITHIN = 0.35
"""Share of its own strongest part down to which a region reaches: what is weaker round a strong
middle is the light of the room, not the fault."""


@dataclass(frozen=True, slots=True)
class Direction:
    """A direction of colour that a fault moves along.

    Attributes
    ----------
    red, blue, tone : float
        Weights of log(R/G), log(B/G) and tone; positive departure means more of the fault.
    """

    red: float
    blue: float
    tone: float = 0.0

    @property
    def weights(self) -> NDArray[np.float32]:
        """The three, shape (3,)."""
        return np.array([self.red, self.blue, self.tone], np.float32)


@dataclass(frozen=True, slots=True)
class SkinField:
    """How far each cell of each side view departs along one direction.

    Attributes
    ----------
    departure : ndarray of float32, shape (views, ROWS, COLUMNS)
        0 where nothing is known.
    fields : ndarray of float32, shape (views, ROWS, COLUMNS, 3)
        Departure of log(R/G), log(B/G) and tone, against the same sound skin.
    known : ndarray of bool
    noise : float
        Spread of the departure on sound skin.
    shared_light : bool
        Whether views were held against each other; else each was held against itself.
    per_tone : float
        What a step of tone adds to the departure of sound skin, which the light alone moves; 0
        where the one does not follow the other.
    """

    departure: NDArray[np.float32]
    fields: NDArray[np.float32]
    known: Mask
    noise: float
    shared_light: bool
    per_tone: float = 0.0

    @property
    def trust(self) -> float:
        """Certainty that any finding in this field can have at most, 0..1."""
        return 1.0 if self.shared_light else _ALONE_TRUST


def depart(views: Sequence[ViewEvidence], direction: Direction, *, witnesses: int = 1) -> SkinField:
    """Measure the departure of each view along a direction.

    Parameters
    ----------
    views : sequence of ViewEvidence
        Side views, each with a skin.
    direction : Direction
    witnesses : int, default 1
        How many views must be at least as sound as the one that stands for sound skin. Two
        where a fault faces at most half of the views: then a single shaded view misleads nobody.

    Returns
    -------
    SkinField
    """
    fields, known = _stack(views)
    weights = direction.weights
    along = fields @ weights
    along[~known] = np.nan
    if len(views) >= 3:
        sound = _least(fields, along, witnesses)
        shared = True
        per_tone = _per_tone(sound[0], weights)
        # Where no other view shows the place, the view is held against the bend of its own light.
        alone = known & ~np.isfinite(sound).all(-1)
        for number in np.flatnonzero(alone.any((1, 2))):
            sound[number][alone[number]] = _plane(fields[number], known[number])[alone[number]]
    else:
        sound = np.stack([_plane(field, ok) for field, ok in zip(fields, known, strict=True)])
        alone = np.zeros_like(known)
        shared, per_tone = False, 0.0
    rest = fields - sound
    ok = known & np.isfinite(rest).all(-1)
    rest = np.where(ok[..., None], rest, 0).astype(np.float32)
    departure = (rest @ weights).astype(np.float32)
    values = departure[ok]
    if not len(values):
        return SkinField(departure, rest, ok, 0.0, shared, per_tone)
    # The least of four noisy views lies below the truth by about one spread: its median over
    # the whole skin, where most is sound, gives that back.
    level = float(np.median(values[values < np.quantile(values, 0.75)])) if shared else 0.0
    departure = np.where(ok, departure - level, 0).astype(np.float32)
    low = departure[ok]
    noise = float(1.4826 * np.median(np.abs(low - np.median(low))))
    shade = np.stack([on_grid(view.shade, view) for view in views]) > 0.5
    departure[_within_a_row(sound @ weights) > _OF_STEP * departure] = 0
    departure[shade] *= _SHADE_TRUST
    departure[alone] *= _ALONE_TRUST
    return SkinField(departure, rest, ok, noise, shared, per_tone)


def _per_tone(sound: NDArray[np.float32], weights: NDArray[np.float32]) -> float:
    """What a step of tone adds to the departure of sound skin (ROWS, COLUMNS, 3), or 0.

    Lamp, sky and table are of unlike colour: where less of the lamp falls, on a facet turned away,
    in the bevel over the foot, beside a handle, clay takes on the hue of what is round it.
    """
    skin = sound[np.isfinite(sound).all(-1)]
    if len(skin) < _FEWEST_CELLS:
        return 0.0
    hue, tone = skin[:, :2] @ weights[:2], skin[:, 2]
    terms = np.column_stack([tone, np.ones_like(tone)]).astype(float)
    fit = fit_of_most(terms, hue[:, None], rounds=4, least_spread=1e-4, fewest=1)
    follows = float(np.corrcoef(tone, hue)[0, 1]) if min(np.ptp(tone), np.ptp(hue)) > 0 else 0.0
    return float(fit[0, 0]) if abs(follows) > _FOLLOWS else 0.0


def core_of(departure: NDArray[np.float32], region: Mask) -> Mask:
    """Cells of a region that depart at least half as far as its strongest tenth."""
    return region & (departure > 0.5 * float(np.quantile(departure[region], 0.9)))


def left_by_light(field: SkinField, number: int, region: Mask) -> float:
    """Share of the departure of a region that is left after what its want of light brings about.

    Parameters
    ----------
    field : SkinField
    number : int
        The view that shows the region.
    region : ndarray of bool, shape (ROWS, COLUMNS)
    """
    departure = field.departure[number]
    core = core_of(departure, region)
    along = float(np.median(departure[core]))
    return 1 - field.per_tone * float(np.median(field.fields[number][core][:, 2])) / along


def _within_a_row(along: NDArray[np.floating]) -> NDArray[np.float32]:
    """What sound skin gains within a row up or down, shape (views, ROWS, COLUMNS).

    Rims and feet are found to within a row: at the shadow of a lid the next row is far browner,
    and no view need show it at the same height as another.
    """
    known = np.isfinite(along)
    filled = np.where(known, along, -np.inf).astype(np.float32)
    rows = np.ones((3, 1), np.uint8)
    most = np.stack([cv2.dilate(each, rows) for each in filled])
    gain = np.subtract(most, filled, out=np.zeros_like(filled), where=known)
    return np.where(np.isfinite(gain), gain, 0)


def _stack(views: Sequence[ViewEvidence]) -> tuple[NDArray[np.float32], Mask]:
    """Smoothed skins (views, ROWS, COLUMNS, 3) and where they are known."""
    fields, known = [], []
    for view in views:
        skin = view.skin
        assert skin is not None
        ok = skin.known & (on_grid(view.relief, view) < _RELIEF_SHARE)
        field = np.concatenate([skin.chroma, skin.tone[..., None]], axis=-1)
        calm, ok = _smooth(field, ok)
        fields.append(calm)
        known.append(ok)
    return np.stack(fields), np.stack(known)


def on_grid(mask: Mask, view: ViewEvidence) -> NDArray[np.float32]:
    """Share of each cell of the skin that a mask of the working picture covers, (ROWS, COLUMNS)."""
    skin = view.skin
    assert skin is not None
    return cv2.remap(  # type: ignore[no-any-return]
        mask.astype(np.float32), skin.map_x, skin.map_y, cv2.INTER_LINEAR
    )


def _smooth(field: NDArray[np.float32], known: Mask) -> tuple[NDArray[np.float32], Mask]:
    weight = cv2.GaussianBlur(known.astype(np.float32), (0, 0), _SMOOTH_CELLS)
    filled = np.where(known[..., None], np.nan_to_num(field), 0).astype(np.float32)
    total = cv2.GaussianBlur(filled, (0, 0), _SMOOTH_CELLS)
    calm = total / np.maximum(weight, 1e-6)[..., None]
    return calm.astype(np.float32), known & (weight > 0.3)


def _least(
    fields: NDArray[np.float32], along: NDArray[np.float32], witnesses: int
) -> NDArray[np.float32]:
    """At each cell the view that shows least of the fault, or the next after it."""
    filled = np.where(np.isfinite(along), along, np.inf)
    seen = np.isfinite(along).sum(0)
    order = filled.argsort(0)
    rank = np.clip(np.minimum(witnesses - 1, seen - 2), 0, None)
    pick = np.take_along_axis(order, rank[None], axis=0)[0]
    rows, cols = np.mgrid[0:ROWS, 0:COLUMNS]
    sound = fields[pick, rows, cols]
    sound[seen < 2] = np.nan
    return np.broadcast_to(sound, fields.shape).copy()


def _plane(field: NDArray[np.float32], known: Mask) -> NDArray[np.float32]:
    """Robust second-order surface through one view: the light bends like this, a fault does not."""
    rows, cols = np.mgrid[-1 : 1 : ROWS * 1j, -1 : 1 : COLUMNS * 1j]
    terms = np.stack(
        [np.ones_like(rows), rows, cols, rows * cols, rows**2, cols**2], axis=-1
    ).reshape(-1, 6)
    seen = known.ravel()
    if seen.sum() < 60:
        return np.full_like(field, np.nan)
    values = field.reshape(-1, 3)[seen]
    weights = fit_of_most(terms[seen], values, rounds=5, least_spread=1e-3, fewest=60)
    return (terms @ weights).reshape(field.shape).astype(np.float32)


def seen_beside(
    views: Sequence[ViewEvidence], field: SkinField, number: int, region: Mask
) -> float | None:
    """How much of a region at the edge of one view the views beside it show, nearer their middle.

    Parameters
    ----------
    views : sequence of ViewEvidence
        Those of the field.
    field : SkinField
    number : int
        The view that shows the region.
    region : ndarray of bool, shape (ROWS, COLUMNS)

    Returns
    -------
    float or None
        Departure there, the greater of the two views beside it; None where the region is no
        nearer to the edge than its place is in those views, or where neither shows the place.
    """
    across = 2 * (float(np.average(np.flatnonzero(region.any(0)))) + 0.5) / COLUMNS - 1
    if abs(across) < _AT_EDGE:
        return None
    # The body is taken as round: a quarter of a turn brings what lies at the edge near the middle.
    middle = float(np.sin(np.arcsin(across) - np.sign(across) * np.pi / 2))
    col = int((middle + 1) / 2 * COLUMNS)
    rows = np.flatnonzero(region.any(1))
    place = np.s_[
        max(0, rows[0] - _SLACK_CELLS) : rows[-1] + _SLACK_CELLS + 1,
        max(0, col - _REACH_CELLS) : col + _REACH_CELLS + 1,
    ]
    seen = []
    for other, view in enumerate(views):
        known = field.known[other][place]
        # Whichever way the piece was turned, one of the two shows the place.
        if quarters_apart(views[number], view) == BESIDE and known.mean() > 0.5:
            seen.append(float(np.quantile(field.departure[other][place][known], 0.9)))
    return max(seen) if seen else None


def hemmed(field: SkinField, number: int, region: Mask) -> float:
    """Share of the cells round a region of which nothing is known; below the foot nothing is.

    Parameters
    ----------
    field : SkinField
    number : int
        The view that shows the region.
    region : ndarray of bool, shape (ROWS, COLUMNS)
    """
    known = np.pad(field.known[number], ((1, 0), (1, 1)))
    wide = np.pad(region, ((1, 0), (1, 1)))
    ring = cv2.dilate(wide.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    ring &= ~wide
    return float((~known)[ring].mean())


def ring_round(region: Mask, cells: int) -> Mask:
    """Cells up to so many beyond a region, without those that touch it.

    Parameters
    ----------
    region : ndarray of bool, shape (ROWS, COLUMNS)
    cells : int
    """
    near, far = (
        cv2.dilate(region.astype(np.uint8), np.ones((2 * reach + 1,) * 2, np.uint8)) > 0
        for reach in (1, cells)
    )
    return far & ~near


def share_opposite(
    views: Sequence[ViewEvidence], field: SkinField, number: int, region: Mask
) -> float:
    """How strong the opposite side departs at the same place of its photo.

    Light of the room stays in the picture while the piece is turned; a fault goes with the piece.

    Parameters
    ----------
    views : sequence of ViewEvidence
        The sides.
    field : SkinField
        Of those sides.
    number : int
        Which of them shows the region.
    region : ndarray of bool, shape (ROWS, COLS)

    Returns
    -------
    float
        As a share of the departure here, or of what it exceeds its surroundings by where that is
        less: a side that is browned all over has no patch where the other has its scorch. 0 where
        that place is hardly seen there.
    """
    share = 0.0
    around = ring_round(region, _AROUND_CELLS)
    for other, view in enumerate(views):
        if quarters_apart(views[number], view) != OPPOSITE:
            continue
        known = region & field.known[other]
        if known.sum() > _SEEN_OPPOSITE * region.sum():
            both = [field.departure[i] for i in (number, other)]
            own, there = (float(np.median(each[known])) for each in both)
            stays = there / max(own, 1e-6)
            beyond = around & field.known[number] & field.known[other]
            if beyond.sum() > _SEEN_OPPOSITE * around.sum():
                own, there = (
                    level - float(np.median(each[beyond]))
                    for level, each in zip((own, there), both, strict=True)
                )
                stays = min(stays, there / max(own, 1e-6))
            share = max(share, stays)
    return share


def quarters_apart(one: ViewEvidence, other: ViewEvidence) -> int | None:
    """Quarters of a turn between two sides: 0, 1 (beside) or 2 (`OPPOSITE`); None if unknown.

    Parameters
    ----------
    one, other : ViewEvidence
    """
    return quarters_between(one.surface.view, other.surface.view)


def own_skin(
    view: ViewEvidence, direction: Direction
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Colour of one view along a direction, smoothed, and its departure from its own bend.

    Parameters
    ----------
    view : ViewEvidence
    direction : Direction

    Returns
    -------
    along, departure : ndarray of float32, shape (ROWS, COLUMNS)
        0 where nothing is known.
    """
    fields, known = _stack([view])
    rest = fields[0] - _plane(fields[0], known[0])
    along, departure = (
        np.where(known[0], np.nan_to_num(field @ direction.weights), 0).astype(np.float32)
        for field in (fields[0], rest)
    )
    return along, departure


def regions(departure: NDArray[np.float32], known: Mask, seed: float, grow_to: float) -> list[Mask]:
    """Connected cells above `grow_to` that hold at least one cell above `seed`, largest first."""
    out: list[Mask] = []
    for wide in _joined((departure > grow_to) & known):
        strongest = float(departure[wide].max())
        if strongest <= seed:
            continue
        within = wide & (departure > _WITHIN * strongest)
        out += [region for region in _joined(within) if departure[region].max() > seed]
    return sorted(out, key=lambda mask: -int(mask.sum()))


def _joined(mask: Mask) -> list[Mask]:
    count, labels = cv2.connectedComponents(mask.astype(np.uint8))
    return [labels == number for number in range(1, count)]


def on_photo(
    view: ViewEvidence, region: Mask, departure: NDArray[np.float32], level: float
) -> tuple[Mask, tuple[int, int]] | None:
    """Carry a region of the grid back to the working picture.

    Returns
    -------
    (mask, corner) or None
        Window of the working picture and its (row, column).
    """
    skin = view.skin
    assert skin is not None
    height, width = view.surface.mask.shape
    near = cv2.dilate(region.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    strength = np.where(near, np.maximum(departure, level * 0.2 * region), 0).astype(np.float32)
    first, last = float(skin.map_y[0, 0]), float(skin.map_y[-1, 0])
    rows = np.arange(max(0, int(first)), min(height, int(last) + 1))
    if len(rows) < 2:
        return None
    grid_row = (rows - first) / max(1e-6, last - first) * (ROWS - 1)
    left = np.interp(rows, skin.map_y[:, 0], skin.map_x[:, 0])
    right = np.interp(rows, skin.map_y[:, 0], skin.map_x[:, -1])
    cols = np.arange(width)
    grid_col = (cols[None] - left[:, None]) / np.maximum(1, right - left)[:, None] * (COLUMNS - 1)
    map_y = np.repeat(grid_row[:, None], width, axis=1).astype(np.float32)
    back = cv2.remap(
        strength,
        grid_col.astype(np.float32),
        map_y,
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=0,
    )
    mask = (back > level) & view.surface.mask[rows[0] : rows[-1] + 1]
    where_rows, where_cols = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    if not where_rows.size:
        return None
    window = mask[where_rows[0] : where_rows[-1] + 1, where_cols[0] : where_cols[-1] + 1]
    return window, (int(rows[0] + where_rows[0]), int(where_cols[0]))


def shift_of(view: ViewEvidence, region: Mask, fields: NDArray[np.float32]) -> float:
    """CIEDE2000 between a region of the grid and the sound skin it was held against.

    Parameters
    ----------
    view : ViewEvidence
    region : ndarray of bool, shape (ROWS, COLUMNS)
    fields : ndarray of float32, shape (ROWS, COLUMNS, 3)
        Departures of this view from `SkinField.fields`.
    """
    skin = view.skin
    assert skin is not None
    usable = region & np.isfinite(skin.chroma).all(-1) & np.isfinite(skin.tone)
    if not usable.any():
        return 0.0
    seen = light_of(skin.chroma[usable], skin.tone[usable])
    gone = fields[usable]
    sound = light_of(skin.chroma[usable] - gone[:, :2], skin.tone[usable] - gone[:, 2])
    # The photo's exposure is free: sound skin is taken as the mid tone it usually is, L* near 65.
    gain = 0.35 / max(1e-6, float(np.median(sound[:, 1])))
    lab_seen, lab_sound = linear_to_lab(seen * gain), linear_to_lab(sound * gain)
    return float(np.median(ciede2000(lab_seen, lab_sound)))
