"""In what a piece is the odd one among its sisters: clay, browning round it, paints, painted area.

Each measure is held against the median and the robust spread of the sisters. So many comparisons
are made at once that some stand out by chance: Holm's correction says which may be believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from scipy.stats import t

from grader.colour.difference import ciede2000
from grader.colour.srgb import linear_to_lab
from grader.mates.likeness import AZIMUTH_DEG, Likeness, PaintLook
from grader.mates.report import LEAST_SISTERS, Kind, MateNote, sisters_in_words

_NOTICED_DE00, _OBJECTED_DE00 = 0.8, 1.8
"""CIEDE2000 that half of observers see, and that half object to (Paravina et al. 2015, measured on
dental ceramic)."""

_PRIOR = 10
"""How many sisters the usual spread below is worth beside the spread of the real ones (no
source): of five alone the spread is hardly known."""

_USUAL_CHART, _USUAL_BARE = 0.012, 0.03
"""Usual spread of a log-chromaticity between photos of one clay: 0.5 dE00 where each photo was
corrected by a chart, 1 where the camera's own balance is all there is."""

_USUAL_TURN = 0.008
"""The same for a difference between sides of one piece, which share their balance."""

_USUAL_SHARE = 0.15
"""Usual spread of the logarithm of the painted share: a hand paints no two alike."""

_USUAL_PAINT = 0.08
"""Usual spread of the logarithm of a paint's light over that of clay."""

_SURE, _WATCH = 0.05, 0.05
"""Chance of an error: after Holm's correction for all comparisons of the group, and alone."""

_USUAL_PLACE = 0.1
_PLACE_CELLS = 3.0
"""Usual spread of the share of the painting that lies elsewhere; and the blur (grid cells of about
1.3 mm) that forgives what a hand moves."""

_SAME_PAINT_DEG = 20.0
"""Directions from clay within which two paints are one: what a thicker coat changes."""

_REFERENCE_DE00 = 4.0
"""A reference piece comes from another session: phones repeat themselves, but lamps do not."""

# Consistency of the MAD in small samples (Croux & Rousseeuw 1992; from memory), times 1.4826.
_MAD_FACTOR = {4: 1.363, 5: 1.206, 6: 1.200, 7: 1.140, 8: 1.129, 9: 1.107}

_MID_CLAY = np.array([0.42, 0.35, 0.27])
"""A buff clay of middle lightness, under which paints are held against each other (no source)."""


@dataclass(frozen=True, slots=True)
class _Odd:
    """A note that becomes sure if its chance stands up to the other comparisons."""

    note: MateNote
    chance: float


def odd_ones(
    pieces: Sequence[Likeness], references: Sequence[Likeness], *, coloured: bool
) -> list[MateNote]:
    if len(pieces) - 1 < LEAST_SISTERS:
        return [
            note
            for piece in pieces
            for reference in references
            if (note := _against_reference(piece, reference, coloured)) is not None
        ]
    odd: list[_Odd] = []
    tests = 0
    for piece in pieces:
        sisters = [each for each in pieces if each is not piece]
        for test in (_clay, _one_side, _paints, _share, _place):
            found, made = test(piece, sisters, coloured)
            odd += found
            tests += made
    return _holm(odd, tests)


def _holm(odd: Sequence[_Odd], tests: int) -> list[MateNote]:
    """Keep what stands out; what does not stand up to Holm's correction is to be watched."""
    out, sure = [], True
    for number, each in enumerate(sorted(odd, key=lambda one: one.chance)):
        sure = sure and each.chance * max(1, tests - number) < _SURE
        if sure:
            out.append(each.note)
        elif each.chance < _WATCH:
            text = f"To be watched, as {each.note.sisters} sisters say little: {each.note.text}"
            out.append(replace(each.note, sure=False, text=text))
    return out


def _beyond(value: float, sisters: Sequence[float], usual: float) -> tuple[float, float]:
    """Difference from the median of the sisters, and the chance that one more lies so far off.

    A moderated t: the variance seen and the usual one are averaged by their degrees of freedom
    (Smyth 2004, doi:10.2202/1544-6115.1027).
    """
    values = np.array(sisters)
    count = len(values)
    middle = float(np.median(values))
    factor = 1.4826 * _MAD_FACTOR.get(count, count / (count - 0.8))
    seen = factor * float(np.median(np.abs(values - middle)))
    free = _PRIOR + count - 1
    spread = np.sqrt((_PRIOR * usual**2 + (count - 1) * seen**2) / free)
    far = abs(value - middle) / (spread * np.sqrt(1 + 1 / count))
    return value - middle, 2 * float(t.sf(far, free))


def _clay(piece: Likeness, sisters: Sequence[Likeness], coloured: bool) -> tuple[list[_Odd], int]:
    """Whether the clay, or the coloured glaze, is of another colour."""
    own = piece.clay
    others = [each.clay for each in sisters if each.colour_from == piece.colour_from]
    known = np.array([each for each in others if each is not None])
    if own is None or len(known) < LEAST_SISTERS:
        return [], 0
    shift = _clay_shift(own, tuple(np.median(known, axis=0)))
    usual = _USUAL_CHART if piece.colour_from == "chart" else _USUAL_BARE
    count = len(known)
    if coloured:
        chance = 2 * min(_beyond(own[n], known[:, n].tolist(), usual)[1] for n in (0, 1))
        text = (
            f"Its glaze is of another shade than on its {sisters_in_words(count)} sisters, by "
            f"{shift:.1f} dE00. Where the glaze breaks and flows is its own way and no fault."
        )
        note = MateNote(piece.piece, "shade", text, round(shift, 1), count, True)
        return ([_Odd(note, chance)] if shift > _OBJECTED_DE00 else []), 1
    brown = (known[:, 0] - known[:, 1]) / 2
    more, chance = _beyond((own[0] - own[1]) / 2, brown.tolist(), usual)
    kind: Kind = "browner" if more > 0 else "paler"
    text = f"{kind.capitalize()} than its {sisters_in_words(count)} sisters, by {shift:.1f} dE00."
    note = MateNote(piece.piece, kind, text, round(shift, 1), count, True)
    return ([_Odd(note, chance)] if shift > _NOTICED_DE00 else []), 1


def _one_side(
    piece: Likeness, sisters: Sequence[Likeness], coloured: bool
) -> tuple[list[_Odd], int]:
    """Whether the browning changes more round this piece than round its sisters."""
    known = [float(np.hypot(*each.turn)) for each in sisters if each.turn is not None]
    if coloured or piece.turn is None or len(known) < LEAST_SISTERS:
        return [], 0
    own = float(np.hypot(*piece.turn))
    more, chance = _beyond(own, known, _USUAL_TURN)
    clay = piece.clay
    assert clay is not None
    shift = _clay_shift((clay[0] + own, clay[1] - own), (clay[0] - own, clay[1] + own))
    if more <= 0 or shift < _NOTICED_DE00:
        return [], 1
    text = (
        f"From its {_toward(piece.turn)} side to the opposite one its clay changes by "
        f"{shift:.1f} dE00, more than on its {sisters_in_words(len(known))} sisters."
    )
    note = MateNote(piece.piece, "one_sided", text, round(shift, 1), len(known), True)
    return [_Odd(note, chance)], 1


def _paints(piece: Likeness, sisters: Sequence[Likeness], coloured: bool) -> tuple[list[_Odd], int]:
    """Whether a paint is lighter or darker than the same paint on the sisters."""
    out, tests = [], 0
    for own in [] if coloured else piece.paints:
        same = [paint for each in sisters if (paint := _same_paint(own, each.paints)) is not None]
        if len(same) < LEAST_SISTERS:
            continue
        tests += 1
        light = [float(np.log(np.mean(each.light) + 0.01)) for each in same]
        more, chance = _beyond(float(np.log(np.mean(own.light) + 0.01)), light, _USUAL_PAINT)
        usual = np.median([each.light for each in same], axis=0)
        shift = _shift(_MID_CLAY * np.array(own.light), _MID_CLAY * usual)
        if shift < _OBJECTED_DE00:
            continue
        how = "lighter" if more > 0 else "darker"
        text = (
            f"One of its paints is {how} than on its {sisters_in_words(len(same))} sisters, by "
            f"{shift:.1f} dE00."
        )
        note = MateNote(piece.piece, "paint", text, round(shift, 1), len(same), True)
        out.append(_Odd(note, chance))
    return out, tests


def _share(piece: Likeness, sisters: Sequence[Likeness], coloured: bool) -> tuple[list[_Odd], int]:
    """Whether more or less of it is painted."""
    shares = [each.painted_share for each in sisters]
    if coloured or min([piece.painted_share, *shares]) <= 0.01:
        return [], 0
    logs = np.log(shares).tolist()
    more, chance = _beyond(float(np.log(piece.painted_share)), logs, _USUAL_SHARE)
    usual = 100 * float(np.median(shares))
    how = "more" if more > 0 else "less"
    text = (
        f"{100 * piece.painted_share:.0f} % of its wall is painted, {how}"
        f" than on its {sisters_in_words(len(shares))} sisters ({usual:.0f} %)."
    )
    return [_Odd(MateNote(piece.piece, "painted_share", text, None, len(shares), True), chance)], 1


def _place(piece: Likeness, sisters: Sequence[Likeness], coloured: bool) -> tuple[list[_Odd], int]:
    """Whether the painting covers other places."""
    views = {side.view for side in piece.sides}
    for each in sisters:
        views &= {side.view for side in each.sides}
    painted = min([piece.painted_share, *(each.painted_share for each in sisters)])
    if coloured or painted <= 0.01 or not views:
        return [], 0
    maps = np.stack([_map(each, sorted(views)) for each in (piece, *sisters)])
    total = maps.sum(0)
    count = len(maps)
    # Each against the mean of the others.
    mean = (total[None] - maps) / (count - 1)
    # Pixels in both or in neither agree; a piece shares at most what is painted.
    elsewhere = np.abs(maps - mean).sum((1, 2, 3)) / np.maximum(2 * mean.sum((1, 2, 3)), 1e-6)
    own, others = float(elsewhere[0]), elsewhere[1:].tolist()
    more, chance = _beyond(own, others, _USUAL_PLACE)
    if more <= 0:
        return [], 1
    text = (
        f"{100 * min(1.0, own):.0f} % of its painting lies elsewhere than on its "
        f"{sisters_in_words(len(sisters))} sisters."
    )
    note = MateNote(piece.piece, "painted_place", text, None, len(sisters), True)
    return [_Odd(note, chance)], 1


def _map(piece: Likeness, views: Sequence[str]) -> NDArray[np.float64]:
    """Painted cells of some views, softened, shape (views, rows, columns)."""
    cells = {side.view: side.painted_cells() for side in piece.sides}
    return np.stack(
        [gaussian_filter(cells[view].astype(np.float64), _PLACE_CELLS) for view in views]
    )


def _against_reference(piece: Likeness, reference: Likeness, coloured: bool) -> MateNote | None:
    """Hold one piece against an approved one; never more than something to watch."""
    own, usual = piece.clay, reference.clay
    comparable = piece.colour_from == reference.colour_from == "chart"
    if own is None or usual is None or not comparable or piece.piece == reference.piece:
        return None
    shift = _clay_shift(own, usual)
    if shift < _REFERENCE_DE00:
        return None
    kind: Kind = "browner" if own[0] - own[1] > usual[0] - usual[1] else "paler"
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


def _toward(turn: tuple[float, float]) -> str:
    azimuth = np.degrees(np.arctan2(turn[1], turn[0]))
    return max(AZIMUTH_DEG, key=lambda view: np.cos(np.radians(azimuth - AZIMUTH_DEG[view])))
