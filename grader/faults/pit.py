"""Pits and pinholes: small dark dots with a sharp rim that are not the clay's own iron specks.

A speckled clay shows hundreds of specks, blurred by the glaze they have bled into. How sharp their
rim is for their size is learned from the piece itself; a pit is a hole through the glaze and its
rim is sharper than theirs. A piece without specks shows so few dark dots that each counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from grader.colour.difference import ciede2000
from grader.colour.srgb import linear_to_lab
from grader.faults.evidence import Evidence, ViewEvidence, finding, in_words
from grader.faults.spots import Spot, enclosed, find_spots, local_median
from grader.findings import Finding
from grader.surface import grow, shrink

_LARGEST_MM = 2.2
"""Pinholes are 0.2 to 1 mm, and an open blister a little more (common practice, no source)."""

_WINDOW_MM = 2.6
"""The surface without its dots is the median over this; larger things stay in it."""

_LEAST_DEPTH = 0.45
"""A hole in the glaze lets through at most two thirds of the light of its surroundings."""

_LEAST_SHIFT_DE00 = 9.0
"""A hole is black at its bottom; what differs less is a speck or a shadow."""

_GRAIN_SPREADS = 5.5
_LEAST_PX = 3.0
_SPECKLED = 25
"""Dark dots over all views from which a clay counts as speckled."""

_SHARPER = 1.9
_SHARPER_SPREADS = 2.2
"""A pit's rim is this many times as sharp as that of specks of its size, and so many of their
spreads above them: one speck in some thousands is."""

_ALONE = 0.45
"""Certainty left to a single pit among hundreds of specks: chance makes one now and then."""

_RING_MM = 0.8
_ENCLOSED = 0.85
"""Share of the ring round a dot that must be as light as the surroundings: the tip of a painted
petal goes on to one side."""

_STEEP = 1.7
_LONG = 3.0


@dataclass(frozen=True, slots=True)
class _Dot:
    view: ViewEvidence
    spot: Spot

    @property
    def painted(self) -> bool:
        return bool(self.view.zones.painted[self.spot.peak_at])

    @property
    def size_mm(self) -> float:
        return self.spot.diameter_px / self.view.surface.px_per_mm


def find(evidence: Evidence) -> list[Finding]:
    """Find pits in glazed clay and in paint.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    list of Finding
        One a pit.
    """
    if evidence.finish == "raw":
        return []
    dots = [_Dot(view, spot) for view in evidence.views for spot in _dark_dots(view)]
    speckled = len(dots) >= _SPECKLED
    if speckled:
        # On burnt-out clay every speck has a hard rim: the glaze round it is cut off at white.
        dots = [dot for dot in dots if not _on_burnt(dot)]
    out = []
    # Specks look otherwise through paint than through glaze: each is held against its own.
    for painted in (False, True):
        group = [dot for dot in dots if dot.painted is painted]
        usual = _usual_rim(group)
        if speckled and usual is None:
            continue
        pits = [(dot, excess) for dot in group if (excess := _excess(dot, usual)) is not None]
        trust = _ALONE if speckled and len(pits) < 2 else 1.0
        reports = (_report(dot, excess, trust, speckled) for dot, excess in pits)
        out += [each for each in reports if (each.shift_de00 or 0) >= _LEAST_SHIFT_DE00]
    return out


def _dark_dots(view: ViewEvidence) -> list[Spot]:
    surface, zones = view.surface, view.zones
    around = local_median(surface.tone, surface.px(_WINDOW_MM), low=-6.2, high=0.8)
    depth = around - surface.tone
    # Where two paints or paint and clay meet, the median flips sides: no dot can be read there.
    # The tip of a petal, thinner than the zones can follow, would look like a dot, too.
    border = grow(zones.painted, surface.px(1.6)) & ~shrink(zones.paint, surface.px(1.0))
    where = zones.facing & ~border & ~view.relief & ~zones.foot
    where &= shrink(surface.mask, surface.px(2.5))
    dark = -surface.tone
    # Grain of a dim photo makes dark dots by the hundred: a pit stands well above it.
    quiet = depth[where]
    grain = 1.4826 * float(np.median(np.abs(quiet - np.median(quiet)))) if quiet.size else 0.0
    seed = max(0.5 * _LEAST_DEPTH, _GRAIN_SPREADS * grain)
    out = []
    for spot in find_spots(depth, where, seed=seed, largest_px=surface.px(_LARGEST_MM)):
        if spot.diameter_px < _LEAST_PX or spot.length_px > _LONG * spot.width_px:
            continue
        # All round, the light must come back to that of the surroundings of the dot itself.
        back = 0.45 * spot.peak - float(around[spot.peak_at])
        if enclosed(dark, spot, surface.px(_RING_MM), below=back) > _ENCLOSED:
            out.append(spot)
    return out


def _on_burnt(dot: _Dot) -> bool:
    row, col = dot.spot.corner
    height, width = dot.spot.region.shape
    window = dot.view.surface.clipped[row : row + height, col : col + width]
    return bool(window.mean() > 0.15)


def _rim_slope(dot: _Dot) -> float:
    """Steepest fall of the log light at the rim, per millimetre."""
    return dot.spot.steepness * dot.spot.peak / max(dot.size_mm, 0.05)


def _usual_rim(dots: Sequence[_Dot]) -> tuple[float, float, float] | None:
    """Line and spread of log rim slope against size for the specks; None where there are none."""
    if len(dots) < _SPECKLED:
        return None
    sizes = np.array([dot.size_mm for dot in dots])
    rims = np.log([max(_rim_slope(dot), 1e-3) for dot in dots])
    keep = np.ones(len(dots), bool)
    slope = level = 0.0
    spread = 1.0
    for _ in range(4):
        slope, level = np.polyfit(sizes[keep], rims[keep], 1)
        rest = rims - (slope * sizes + level)
        spread = 1.4826 * float(np.median(np.abs(rest[keep] - np.median(rest[keep])))) + 1e-3
        keep = np.abs(rest) < 2.5 * spread
    return float(slope), float(level), spread


def _excess(dot: _Dot, usual: tuple[float, float, float] | None) -> float | None:
    """How far the dot stands above what is usual, 1 at the limit; None below it."""
    if dot.spot.peak < _LEAST_DEPTH or dot.spot.steepness < _STEEP:
        return None
    if usual is None:
        return dot.spot.peak / _LEAST_DEPTH
    slope, level, spread = usual
    # Beyond a millimetre specks are rare; the line is not carried on past them.
    over = np.log(_rim_slope(dot)) - (slope * min(dot.size_mm, 1.0) + level)
    excess = float(over) / max(float(np.log(_SHARPER)), _SHARPER_SPREADS * spread)
    return excess if excess > 1.0 else None


def _report(dot: _Dot, excess: float, trust: float, speckled: bool) -> Finding:
    view, spot = dot.view, dot.spot
    darker = 100 * (1 - np.exp(-spot.peak))
    sharp = float(np.clip((spot.diameter_px - 2.0) / 3.5, 0.2, 1.0))
    # Among specks the limit itself is already rare; on a clear clay depth is the only witness.
    clear = min(1.0, 0.6 * excess) if speckled else float(np.clip(0.5 * excess, 0.0, 1.0))
    certainty = trust * sharp * clear
    beside = (
        "and sharper than the iron specks of its size" if speckled else "on a clay without specks"
    )
    why = (
        f"A dark dot of {in_words(dot.size_mm, view)} with a sharp rim, {darker:.0f} % darker "
        f"than the glaze round it {beside}."
    )
    return finding(
        view,
        "pit",
        spot.region,
        spot.corner,
        shift_de00=_shift(view, spot),
        certainty=certainty,
        why=why,
        area_px=spot.area_px,
        measures=(("depth", round(spot.peak, 3), "ln"), ("excess", round(excess, 2), "1")),
    )


def _shift(view: ViewEvidence, spot: Spot) -> float:
    row, col = spot.corner
    height, width = spot.region.shape
    light = view.surface.light[row : row + height, col : col + width]
    ring = ~grow(spot.region, 2)
    if not ring.any():
        return 0.0
    inside = np.median(linear_to_lab(light[spot.region]), axis=0)
    return float(ciede2000(inside, np.median(linear_to_lab(light[ring]), axis=0)))
