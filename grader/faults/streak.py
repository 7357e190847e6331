"""Streaks: parallel bands at brush pitch where the clay shows through a coat that is too thin.

Within the paint, square windows are searched for the direction across which the share of clay
rises and falls most. A streaked coat does so several times over, by a tenth and more, with soft
flanks; brush mottling does it in all directions alike and by a few hundredths; the edges of a
drawing are sharp and left out; shading does not change the chromaticity.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.morphology import remove_small_objects

from grader import channels
from grader.colour.difference import OBJECTED_DE00, ciede2000
from grader.colour.srgb import linear_to_lab
from grader.faults.coverage import (
    Coverage,
    Relative,
    find_paints,
    measure_coverage,
    relative_light,
)
from grader.faults.evidence import Evidence, ViewEvidence, finding
from grader.faults.slots import rise
from grader.findings import Finding
from grader.piece import Mask
from grader.surface import grow, light_of, opened

_WINDOW_MM, _STEP_MM = 14.0, 7.0
"""Bands lie 3 to 15 mm apart (common practice, no source), mostly below 8: a window shows two."""

_LEAST_MM2 = 12.0
"""Paint that a window must hold, and the least that hangs together: a stripe of 1.5 mm along
8 mm."""

_ANGLES = np.radians(np.arange(0, 180, 15))
_BIN_MM = 0.5
_FULLEST = 0.25
"""Bins with less than a quarter of the pixels of the fullest lie on the rim of the paint."""

_SWING = (0.05, 0.09)
"""Standard deviation of the share of clay across the bands. Mottling has 0.03; a coat that thins
by a quarter 0.1."""

_PARALLEL = (0.65, 0.8)
"""Share of the variation that lies across one direction: 1 for ruled bands, 0.3 for mottling, 0.5
to 0.7 for a painted band of squares; the two surest windows of streaked coats 0.70 and more."""

_TURNS = 3
"""Changes between more and less clay than the mean: a slope has one, one band two."""

_SOUND = (0.15, 0.25)
"""Share of clay in the fullest tenth: somewhere in a streaked coat the paint is whole."""

_WHOLE_SHARE = 0.1
"""Share of what hangs together that is whole."""

_LINER_MM = 1.4
"""Brushes that lay a coat leave broader marks than liners do (common practice, no source)."""

_SHARP_PER_MM = 0.9
_SHARP_REACH_MM = 0.5
"""Change of the share of clay that only the edge of a drawing makes, blurred as it is; a band of
3 mm that bares 0.8 of the clay changes by 0.8 per mm."""

_FLANK_MM = 1.5
"""From whole paint to bare clay within this it is the edge of a drawing, however soft: a lens that
blurs more shows no bands, and the flank of a band that is bare takes half its pitch, 1.5 mm and
more."""

_CLAY = 0.92
_OFF_LINE = 0.3
_DISAGREE = 0.3
"""Left out: clay itself, colours that are no mixture of paint and clay, and places where light
and chromaticity tell shares this far apart (a glint, a shadow)."""

_APART = (0.18, 0.28)
"""By how much the bands in light and those in chromaticity differ, over their swing. A thinner coat
moves both alike (0.03 to 0.17 measured on noisy photos); warmer light, a shadow or the zones of a
drawing do not (0.25 and more)."""

_TOLD, _BY_LIGHT = (0.07, 0.12), (0.075, 0.105)
"""Swing of log-chromaticity across bands, from which it bears witness to a thinner coat (in
streaked paint 0.15 and more, where throwing rings and shine were taken for one 0.08 and less).
Black and white paint hardly change it: there the share of clay by light must swing by more than
throwing rings make it, 0.08 (measured on 17 streaked pieces and 8 false ones, all rendered)."""

_SHINE = (0.45, 0.7)
_LEAST_SHINE = 0.01
_COMMON = 0.5
"""Correlation of the bands with those in the light of bare clay beside them, from which both are
the lamp on throwing rings: brushed bands end where the paint ends. The clay must swing by 1 % and
show on half of the way across the bands."""

_SEVERAL = 2
"""Real streaks run through several windows: the second strongest gives the certainty."""

_BAND = 0.15
"""Share of clay above which a band is outlined."""

_LEAST_CERTAINTY = 0.25
"""Less than this is not worth a look."""


@dataclass(frozen=True, slots=True)
class _Window:
    """One streaked window: its corner (row, col), size, strength 0..1, swing and pitch."""

    corner: tuple[int, int]
    size: int
    strength: float
    swing: float
    pitch_mm: float


def find(evidence: Evidence) -> list[Finding]:
    """Find streaked paint.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    list of Finding
        One a photo at most.
    """
    # Seen from below, a painted wall lies aslant and its bands close up.
    views = [
        view for view in evidence.views if view.surface.view != "foot" and view.zones.paint.any()
    ]
    if evidence.decorated is False or evidence.finish == "coloured" or not views:
        return []
    relative = [relative_light(view) for view in views]
    paints = find_paints(relative)
    if not paints:
        return []
    out = []
    for view, light in zip(views, relative, strict=True):
        coverage = measure_coverage(light, paints)
        report = _of_view(view, light, coverage)
        if report is not None and report.certainty > _LEAST_CERTAINTY and _is_seen(report):
            out.append(report)
    return out


def _is_seen(report: Finding) -> bool:
    """In a paint as pale as its clay throwing rings make less between thin and whole coat."""
    return report.shift_de00 is None or report.shift_de00 >= OBJECTED_DE00


def _of_view(view: ViewEvidence, light: Relative, coverage: Coverage) -> Finding | None:
    coat = _coat(light, coverage)
    windows = list(_streaked_windows(light, coverage, coat))
    if len(windows) < _SEVERAL:
        return None
    where = np.zeros(coat.shape, bool)
    for window in windows:
        row, col = window.corner
        where[row : row + window.size, col : col + window.size] = True
    bands = where & coat & (coverage.by_chroma > _BAND)
    bands = opened(bands, 1.0) & bands
    if not bands.any():
        return None
    return _report(view, light, coverage, windows, bands, where & coat & ~bands)


def _coat(light: Relative, coverage: Coverage) -> Mask:
    """Where the coat can be judged: paint, whole or thin, away from the edges of the drawing."""
    across = cv2.Sobel(coverage.share, cv2.CV_32F, 1, 0, scale=light.px_per_mm / 8)
    down = cv2.Sobel(coverage.share, cv2.CV_32F, 0, 1, scale=light.px_per_mm / 8)
    sharp = light.painted & (np.hypot(across, down) > _SHARP_PER_MM)
    most = np.maximum(coverage.share, coverage.by_chroma)
    coat = light.seen & (most < _CLAY) & (coverage.error < _OFF_LINE)
    coat &= np.abs(coverage.share - coverage.by_chroma) < _DISAGREE
    coat &= ~grow(sharp, max(1.0, _SHARP_REACH_MM * light.px_per_mm))
    coat &= ~_flanks(light.seen, coverage, _FLANK_MM / 2 * light.px_per_mm)
    coat = opened(coat, 1.0) & coat
    # Between the lines of a drawing clay in odd light looks like thin paint in a patch here, a
    # patch there; a coat hangs together.
    least_px = round(_LEAST_MM2 * light.px_per_mm**2)
    coat = remove_small_objects(coat, max_size=least_px - 1, connectivity=2)
    # A stroke of another paint upon it takes nothing from the breadth of the brush.
    least = np.minimum(coverage.share, coverage.by_chroma)
    paint = light.painted & ((least < _SOUND[1]) | ~light.seen)
    broad = opened(paint, _LINER_MM / 2 * light.px_per_mm) & paint
    return _whole_somewhere(coat, broad & (coverage.by_chroma < _SOUND[1]))


def _flanks(seen: Mask, coverage: Coverage, reach_px: float) -> Mask:
    """Where the lens, out of focus, mixes whole paint and clay that lie close to each other."""
    clay = opened(seen & (np.maximum(coverage.share, coverage.by_chroma) >= _CLAY), 1.0)
    # By chromaticity, as light tells a fired paint from a worn one less well.
    whole = seen & (coverage.by_chroma < _SOUND[1]) & (coverage.share < 2 * _SOUND[1])
    return grow(clay, reach_px) & grow(whole, reach_px)


def _whole_somewhere(coat: Mask, full: Mask) -> Mask:
    """Leave out what hangs together and is full nowhere: clay in odd light within a drawing, and a
    drawing of lines, whose gaps the lens fills with their colour."""
    count, labels = cv2.connectedComponents(coat.astype(np.uint8), connectivity=8)
    rows, cols = np.nonzero(coat)
    number = labels[rows, cols]
    whole = np.bincount(number, full[rows, cols], minlength=count)
    all_of_it = np.maximum(np.bincount(number, minlength=count), 1)
    return np.asarray(coat & (whole / all_of_it > _WHOLE_SHARE)[labels])


def _streaked_windows(light: Relative, coverage: Coverage, coat: Mask) -> Iterator[_Window]:
    px_per_mm = light.px_per_mm
    beside = light.piece & ~grow(light.paint | coat, _SHARP_REACH_MM * px_per_mm)
    bright = channels.mean(light.light)
    size, step = round(_WINDOW_MM * px_per_mm), round(_STEP_MM * px_per_mm)
    height, width = coat.shape
    least = _LEAST_MM2 * px_per_mm**2
    for row in range(0, max(1, height - size // 2), step):
        for col in range(0, max(1, width - size // 2), step):
            window = np.s_[row : row + size, col : col + size]
            rows, cols = np.nonzero(coat[window])
            if len(rows) < least:
                continue
            planes = (coverage.by_chroma, coverage.share, coverage.tint)
            values = np.stack([plane[window][rows, cols] for plane in planes]).astype(np.float64)
            found = _bands(values, rows, cols, px_per_mm)
            if found is None:
                continue
            strength, profile, swing, pitch = found
            rows, cols = np.nonzero(beside[window])
            on_clay = bright[window][rows, cols].astype(np.float64)
            strength *= 1.0 - _shine(on_clay, rows, cols, profile)
            if strength > 0.0:
                yield _Window((row, col), size, strength, swing, pitch)


@dataclass(frozen=True, slots=True)
class _Profile:
    """Values across a direction: `first` is the bin of the first, `known` where they count."""

    angle: float
    bin_px: float
    first: int
    values: NDArray[np.float64]
    known: Mask


def _bands(
    values: NDArray[np.float64],
    rows: NDArray[np.intp],
    cols: NDArray[np.intp],
    px_per_mm: float,
) -> tuple[float, _Profile, float, float] | None:
    """Strength, profile, swing and pitch (mm) of the bands among pixels; None where there are none.

    `values` holds the share of clay from chromaticity and from light, and the tint that goes with
    it, shape (3, n).
    """
    rest = _without_slope(values, rows, cols)
    spread = float(rest[0].var())
    if spread < (_SWING[0] / 2) ** 2:
        return None
    bin_px = _BIN_MM * px_per_mm
    across = [_profile(rest, rows, cols, angle, bin_px) for angle in _ANGLES]
    variation = [(count * means[0] ** 2).sum() for _, count, means in across]
    best = int(np.argmax(variation))
    angle, (first, count, (by_chroma, by_light, tint)) = _ANGLES[best], across[best]
    parallel = float(variation[best]) / (len(rows) * spread)
    full = count >= _FULLEST * count.max()
    profile = _Profile(float(angle), bin_px, first, by_chroma, full)
    by_chroma, by_light, tint = by_chroma[full], by_light[full], tint[full]
    swing, apart, told = (
        float(np.sqrt(np.average(each**2, weights=count[full])))
        for each in (by_chroma, by_chroma - by_light, tint)
    )
    calm = np.convolve(by_chroma, [0.25, 0.5, 0.25], "same")
    side = np.sign(np.where(np.abs(calm) > 0.5 * swing, calm, 0))
    side = side[side != 0]
    turns = int((np.diff(side) != 0).sum()) if len(side) else 0
    strength = (
        (turns >= _TURNS)
        * rise(swing, _SWING)
        * rise(parallel, _PARALLEL)
        * (1.0 - rise(apart / swing, _APART))
        * max(rise(told, _TOLD), rise(swing, _BY_LIGHT))
        * (1.0 - rise(float(np.quantile(values[0], 0.1)), _SOUND))
    )
    if strength <= 0.0:
        return None
    return strength, profile, swing, 2.0 * len(by_chroma) * _BIN_MM / turns


def _shine(
    bright: NDArray[np.float64],
    rows: NDArray[np.intp],
    cols: NDArray[np.intp],
    bands: _Profile,
) -> float:
    """How far the bands go on in the light of the clay beside the paint, 0..1."""
    if len(rows) < 10:
        return 0.0
    rest = _without_slope(bright[None], rows, cols)
    first, count, (on_clay,) = _profile(rest, rows, cols, bands.angle, bands.bin_px)
    clay, seen = np.zeros(len(bands.values)), np.zeros(len(bands.values), bool)
    start, stop = max(first, bands.first), min(first + len(count), bands.first + len(clay))
    if start >= stop:
        return 0.0
    here, there = (slice(start - each, stop - each) for each in (bands.first, first))
    clay[here] = on_clay[there]
    seen[here] = count[there] >= bands.bin_px
    both = seen & bands.known
    if both.sum() < max(4, _COMMON * bands.known.sum()):
        return 0.0
    one, other = bands.values[both], clay[both]
    if float(other.std()) < _LEAST_SHINE or float(one.std()) == 0.0:
        return 0.0
    return rise(float(np.corrcoef(one, other)[0, 1]), _SHINE)


def _without_slope(
    values: NDArray[np.float64], rows: NDArray[np.intp], cols: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Values less their plane: a slow change over the window is the light or the hand, no band."""
    terms = np.column_stack([np.ones(len(rows)), rows - rows.mean(), cols - cols.mean()])
    return np.asarray(values - (terms @ np.linalg.lstsq(terms, values.T, rcond=None)[0]).T)


def _profile(
    rest: NDArray[np.float64],
    rows: NDArray[np.intp],
    cols: NDArray[np.intp],
    angle: float,
    bin_px: float,
) -> tuple[int, NDArray[np.intp], list[NDArray[np.float64]]]:
    """Number of the first bin across a direction, pixels of each bin, and the means of each row."""
    bins = np.floor((cols * np.cos(angle) + rows * np.sin(angle)) / bin_px).astype(int)
    first = int(bins.min())
    count = np.bincount(bins - first)
    return first, count, [np.bincount(bins - first, each) / np.maximum(count, 1) for each in rest]


def _report(
    view: ViewEvidence,
    light: Relative,
    coverage: Coverage,
    windows: Sequence[_Window],
    bands: Mask,
    sound: Mask,
) -> Finding:
    by_strength = sorted(windows, key=lambda window: -window.strength)
    strongest, certainty = by_strength[0], by_strength[_SEVERAL - 1].strength
    bare = float(np.quantile(coverage.by_chroma[bands], 0.75))
    pitch = float(np.median([window.pitch_mm for window in windows]))
    height, width = view.surface.mask.shape
    region = cv2.resize(bands.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST)
    why = (
        f"In the paint, parallel bands about {pitch:.0f} mm apart let {100 * bare:.0f} % of the "
        f"clay show through; between them it is whole."
    )
    return finding(
        view,
        "streak",
        region > 0,
        (0, 0),
        shift_de00=_shift(view, light, bands, sound),
        certainty=certainty,
        why=why,
        zone="painted",
        measures=(
            ("clay_share", round(bare, 2), "1"),
            ("swing", round(strongest.swing, 3), "1"),
            ("pitch", round(pitch, 1), "mm"),
        ),
    )


def _shift(view: ViewEvidence, light: Relative, bands: Mask, sound: Mask) -> float | None:
    """CIEDE2000 between thin and whole coat, both as clay of mean light would show them."""
    if not sound.any():
        return None
    zones = view.zones
    tone = float(np.median(zones.clay_tone[zones.painted]))
    clay = light_of(np.median(zones.clay_chroma[zones.painted], axis=0), tone)
    thin = np.quantile(light.light[bands], 0.5, axis=0) * clay
    whole = np.quantile(light.light[sound], 0.5, axis=0) * clay
    lab = linear_to_lab(np.stack([thin, whole]))
    return float(ciede2000(lab[0], lab[1]))
