"""In what a piece is the odd one among its sisters: clay, browning round it, paints, painted area.

Each measure is held against the median and the robust spread of the sisters. So many comparisons
are made at once that some stand out by chance: Holm's correction says which may be believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from grader.colour.difference import ciede2000
from grader.colour.srgb import linear_to_lab
from grader.facts import Finish
from grader.findings import MateKind, MateNote
from grader.mates.chance import Odd, beyond, stand_up, whom
from grader.mates.likeness import Likeness, PaintLook, Side
from grader.mates.report import LEAST_SISTERS

_NOTICED_DE00, _OBJECTED_DE00 = 0.8, 1.8
"""CIEDE2000 that half of observers see, and that half object to (Paravina et al. 2015, measured on
dental ceramic)."""

_USUAL_CHART, _USUAL_BARE = 0.012, 0.03
"""Usual spread of a log-chromaticity between photos of one clay: 0.5 dE00 where each photo was
corrected by a chart, 1 where the camera's own balance is all there is."""

_USUAL_TURN = 0.008
"""The same for a difference between sides of one piece, which share their balance."""

_USUAL_SHARE = 0.15
"""Usual spread of the logarithm of the painted share: a hand paints no two alike."""

_USUAL_PAINT = 0.08
"""Usual spread of the logarithm of a paint's light over that of clay."""


_USUAL_PLACE = 0.1
_PLACE_CELLS = 3.0
"""Usual spread of the share of the painting that lies elsewhere; and the blur (grid cells of about
1.3 mm) that forgives what a hand moves."""

_SAME_PAINT_DEG = 20.0
"""Directions from clay within which two paints are one: what a thicker coat changes."""

_REFERENCE_DE00 = 4.0
"""A reference piece comes from another session: phones repeat themselves, but lamps do not."""


_MID_CLAY = np.array([0.42, 0.35, 0.27])
"""A buff clay of middle lightness, under which paints are held against each other (no source)."""


def odd_ones(
    pieces: Sequence[Likeness],
    references: Sequence[Likeness],
    *,
    finish: Finish | None,
    one_design: bool,
) -> list[MateNote]:
    """Find what sets single pieces apart from their sisters.

    Parameters
    ----------
    pieces : sequence of Likeness
        One group of sisters.
    references : sequence of Likeness
        Kept pieces of the same group, for where the sisters are too few.
    finish : {"raw", "glazed", "coloured"} or None
        A coloured glaze has no browning and no drawing to compare; only raw clay browns on a side.
    one_design : bool
        False where only clay and finish make them sisters: then forms differ and with them the
        light on them, and nothing is more than something to watch.

    Returns
    -------
    list of MateNote
        The oddest first.
    """
    if len(pieces) - 1 < LEAST_SISTERS:
        return [
            note
            for piece in pieces
            for reference in references
            if (note := _against_reference(piece, reference, finish == "coloured")) is not None
        ]
    tests = [_glaze if finish == "coloured" else _clay]
    if finish in ("raw", None):
        tests.append(_one_side)
    if one_design and finish != "coloured":
        tests += [_paints, _share, _place]
    odd: list[Odd] = []
    made = 0
    for piece in pieces:
        sisters = [each for each in pieces if each is not piece]
        for test in tests:
            found, number = test(piece, sisters)
            odd += found
            made += number
    return stand_up(odd, made, one_design)


def _known_clay(
    piece: Likeness, sisters: Sequence[Likeness]
) -> tuple[tuple[float, float], NDArray[np.float64], float] | None:
    """Clay of the piece, and of the sisters whose colours were corrected alike, shape (n, 2); and
    the usual spread."""
    others = [each.clay for each in sisters if each.colour_from == piece.colour_from]
    known = np.array([each for each in others if each is not None])
    if piece.clay is None or len(known) < LEAST_SISTERS:
        return None
    return piece.clay, known, _USUAL_CHART if piece.colour_from == "chart" else _USUAL_BARE


def _clay(piece: Likeness, sisters: Sequence[Likeness]) -> tuple[list[Odd], int]:
    """Whether the clay is browner or paler."""
    found = _known_clay(piece, sisters)
    if found is None:
        return [], 0
    own, known, usual = found
    shift = _clay_shift(own, tuple(np.median(known, axis=0)))
    brown = (known[:, 0] - known[:, 1]) / 2
    more, chance, passed = beyond((own[0] - own[1]) / 2, brown.tolist(), usual)
    kind: MateKind = "browner" if more > 0 else "paler"
    count = len(known)
    text = f"{kind.capitalize()} than {whom(passed, count)}, by {shift:.1f} dE00."
    note = MateNote(piece.piece, kind, text, round(shift, 1), count, True)
    return ([Odd(note, chance)] if shift > _NOTICED_DE00 else []), 1


def _glaze(piece: Likeness, sisters: Sequence[Likeness]) -> tuple[list[Odd], int]:
    """Whether a coloured glaze came out in another shade."""
    found = _known_clay(piece, sisters)
    if found is None:
        return [], 0
    own, known, usual = found
    shift = _clay_shift(own, tuple(np.median(known, axis=0)))
    # Either log-chromaticity may be the odd one: two chances.
    by_channel = [beyond(own[n], known[:, n].tolist(), usual) for n in (0, 1)]
    chance, passed = min((2 * chance, passed) for _, chance, passed in by_channel)
    count = len(known)
    text = (
        f"Its glaze is of another shade than on {whom(passed, count)}, by {shift:.1f} dE00. "
        "Where the glaze breaks and flows is its own way and no fault."
    )
    note = MateNote(piece.piece, "shade", text, round(shift, 1), count, True)
    return ([Odd(note, chance)] if shift > _OBJECTED_DE00 else []), 1


def _one_side(piece: Likeness, sisters: Sequence[Likeness]) -> tuple[list[Odd], int]:
    """Whether the browning changes more round this piece than round its sisters."""
    known = [float(np.hypot(*each.turn)) for each in sisters if each.turn is not None]
    if piece.turn is None or len(known) < LEAST_SISTERS:
        return [], 0
    own = float(np.hypot(*piece.turn))
    more, chance, passed = beyond(own, known, _USUAL_TURN)
    clay = piece.clay
    assert clay is not None
    shift = _clay_shift((clay[0] + own, clay[1] - own), (clay[0] - own, clay[1] + own))
    if more <= 0 or shift < _NOTICED_DE00:
        return [], 1
    text = (
        f"From its {piece.browner_side} side to the opposite one its clay changes by "
        f"{shift:.1f} dE00, more than on {whom(passed, len(known))}."
    )
    note = MateNote(piece.piece, "one_sided", text, round(shift, 1), len(known), True)
    return [Odd(note, chance)], 1


def _paints(piece: Likeness, sisters: Sequence[Likeness]) -> tuple[list[Odd], int]:
    """Whether a paint is lighter or darker than the same paint on the sisters."""
    out, tests = [], 0
    for own in piece.paints:
        same = [paint for each in sisters if (paint := _same_paint(own, each.paints)) is not None]
        if len(same) < LEAST_SISTERS:
            continue
        tests += 1
        light = [float(np.log(np.mean(each.light) + 0.01)) for each in same]
        more, chance, passed = beyond(float(np.log(np.mean(own.light) + 0.01)), light, _USUAL_PAINT)
        usual = np.median([each.light for each in same], axis=0)
        shift = _shift(_MID_CLAY * np.array(own.light), _MID_CLAY * usual)
        if shift < _OBJECTED_DE00:
            continue
        how = "lighter" if more > 0 else "darker"
        text = f"One of its paints is {how} than on {whom(passed, len(same))}, by {shift:.1f} dE00."
        note = MateNote(piece.piece, "paint", text, round(shift, 1), len(same), True)
        out.append(Odd(note, chance))
    return out, tests


def _share(piece: Likeness, sisters: Sequence[Likeness]) -> tuple[list[Odd], int]:
    """Whether more or less of it is painted."""
    shares = [each.painted_share for each in sisters]
    if min([piece.painted_share, *shares]) <= 0.01:
        return [], 0
    logs = np.log(shares).tolist()
    more, chance, passed = beyond(float(np.log(piece.painted_share)), logs, _USUAL_SHARE)
    usual = 100 * float(np.median(shares))
    how = "more" if more > 0 else "less"
    text = (
        f"{100 * piece.painted_share:.0f} % of its wall is painted, {how}"
        f" than on {whom(passed, len(shares))} ({usual:.0f} %)."
    )
    return [Odd(MateNote(piece.piece, "painted_share", text, None, len(shares), True), chance)], 1


def _place(piece: Likeness, sisters: Sequence[Likeness]) -> tuple[list[Odd], int]:
    """Whether the painting covers other places."""
    views = {side.view for side in piece.sides}
    for each in sisters:
        views &= {side.view for side in each.sides}
    painted = min([piece.painted_share, *(each.painted_share for each in sisters)])
    if painted <= 0.01 or not views:
        return [], 0
    maps = np.stack([_map(each, sorted(views)) for each in (piece, *sisters)])
    total = maps.sum(0)
    count = len(maps)
    # Each against the mean of the others.
    mean = (total[None] - maps) / (count - 1)
    # Pixels in both or in neither agree; a piece shares at most what is painted.
    elsewhere = np.abs(maps - mean).sum((1, 2, 3)) / np.maximum(2 * mean.sum((1, 2, 3)), 1e-6)
    own, others = float(elsewhere[0]), elsewhere[1:].tolist()
    more, chance, passed = beyond(own, others, _USUAL_PLACE)
    if more <= 0:
        return [], 1
    text = (
        f"{100 * min(1.0, own):.0f} % of its painting lies elsewhere than on "
        f"{whom(passed, len(sisters))}."
    )
    note = MateNote(piece.piece, "painted_place", text, None, len(sisters), True)
    return [Odd(note, chance)], 1


def _map(piece: Likeness, views: Sequence[str]) -> NDArray[np.float64]:
    """Painted cells of some views, softened, shape (views, rows, columns)."""
    sides = {side.view: side for side in piece.sides}
    return np.stack([_softened(sides[view]) for view in views])


# Each piece is held against each other one: its map is needed once for every sister.
@lru_cache(maxsize=1024)
def _softened(side: Side) -> NDArray[np.float64]:
    return gaussian_filter(side.painted_cells().astype(np.float64), _PLACE_CELLS)


def _against_reference(piece: Likeness, reference: Likeness, coloured: bool) -> MateNote | None:
    """Hold one piece against an approved one; never more than something to watch."""
    own, usual = piece.clay, reference.clay
    comparable = piece.colour_from == reference.colour_from == "chart"
    if own is None or usual is None or not comparable or piece.piece == reference.piece:
        return None
    shift = _clay_shift(own, usual)
    if shift < _REFERENCE_DE00:
        return None
    kind: MateKind = "browner" if own[0] - own[1] > usual[0] - usual[1] else "paler"
    what = f"its glaze is of another shade than on {reference.piece}"
    text = (
        f"To be watched, as it is one piece against one: "
        f"{what if coloured else f'{kind} than {reference.piece}'}, the piece kept for "
        f"reference, by {shift:.1f} dE00."
    )
    return MateNote(piece.piece, "shade" if coloured else kind, text, round(shift, 1), 0, False)


def _same_paint(own: PaintLook, paints: Sequence[PaintLook]) -> PaintLook | None:
    """The paint of another piece that lies in the same direction from clay."""
    way = np.array(own.light) - 1
    best: tuple[float, PaintLook] | None = None
    for each in paints:
        other = np.array(each.light) - 1
        cosine = way @ other / max(1e-6, float(np.linalg.norm(way) * np.linalg.norm(other)))
        angle = float(np.degrees(np.arccos(np.clip(cosine, -1, 1))))
        if angle < _SAME_PAINT_DEG and (best is None or angle < best[0]):
            best = angle, each
    return None if best is None else best[1]


def _clay_shift(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    """CIEDE2000 of two clays at the same middle lightness: exposure has no say."""
    lights = []
    for red, blue in (one, other):
        light = np.exp(np.array([red, 0.0, blue]))
        lights.append(light * 0.35 / float(light @ [0.2126, 0.7152, 0.0722]))
    return _shift(*lights)


def _shift(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    lab = linear_to_lab(np.stack([one, other]))
    return float(ciede2000(lab[0], lab[1]))
