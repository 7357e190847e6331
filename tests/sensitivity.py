"""How small and how faint a fault may be and still be found: curves for the documents.

``python -m tests.sensitivity PHOTOS --out FILE.svg`` lays faults of known size and strength over
photographs of sound pieces, looks for them, and draws the share found. PHOTOS is a folder with
``truth.json``; only pieces without faults serve. The marks are laid into the light of the photo,
blurred as its own lens blurs; they are irregular, so that no outline is met twice.

Needs the extra ``docs`` for the drawing.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.batch import find_batch
from grader.colour.difference import ciede2000
from grader.colour.srgb import linear_to_lab
from grader.faults import Evidence, flake, pit, pool_tint, scorch
from grader.faults.evidence import ViewEvidence
from grader.findings import Finding
from grader.proportions import wilson
from grader.surface import Surface, grow, light_of, renew, shrink
from grader.survey import gather, view_evidence

SIZES_MM = (0.3, 0.4, 0.5, 0.65, 0.8, 1.0, 1.3, 1.6, 2.0)
SHIFTS_DE00 = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0, 10.0)

_LENS_PX = 0.8
"""Blur of the laid marks on top of that of working pixels, as a sharp phone photo has it."""

_APART_MM = 6.0

_PATCH_MM = 14.0
"""Soft patches: the middle of the sizes of scorches; a veil runs round more of the pot."""

_PIT_LIGHT = 0.15
"""Share of the light that comes back from the bottom of a pit."""

_BROWN = np.array([0.35, -0.35, -1.0])
_MILKY = np.array([-0.45, 0.7, 0.25])
"""Steps of log(R/G), log(B/G) and tone: browning darkens as it colours, a veil hardly lightens."""


@dataclass
class Curve:
    """Tries and hits by size or shift."""

    tries: dict[float, int]
    hits: dict[float, int]

    @classmethod
    def empty(cls) -> Curve:
        return cls(defaultdict(int), defaultdict(int))

    def add(self, at: float, hit: bool) -> None:
        self.tries[at] += 1
        self.hits[at] += hit


def lay(surface: Surface, cover: NDArray[np.float32], light: NDArray[np.float32]) -> Surface:
    """Cover a surface with other light, blurred by the lens.

    Parameters
    ----------
    surface : Surface
    cover : ndarray of float32, shape (h, w), range 0..1
    light : ndarray of float32, shape (h, w, 3)
    """
    soft = cv2.GaussianBlur(cover, (0, 0), _LENS_PX)[..., None]
    return renew(surface, surface.light + soft * (light - surface.light))


def blob(radius_px: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Irregular disc of a mean radius, smooth at its rim, 8 times finer than a pixel."""
    side = 2 * int(radius_px + 3) + 1
    fine = 8
    rows, cols = (np.mgrid[0 : side * fine, 0 : side * fine] + 0.5) / fine - side / 2
    angle = np.arctan2(rows, cols)
    edge = radius_px * np.ones_like(angle)
    for order in (2, 3, 5):
        edge += (
            radius_px
            * 0.5
            / order**1.2
            * rng.normal()
            * np.cos(order * angle + rng.uniform(0, 6.28))
            * 0.5
        )
    inside = (np.hypot(rows, cols) < edge).astype(np.float32)
    return np.asarray(cv2.resize(inside, (side, side), interpolation=cv2.INTER_AREA))


def places(
    where: NDArray[np.bool_], apart_px: float, many: int, rng: np.random.Generator
) -> list[tuple[int, int]]:
    """Random places within a mask, each as far from the others as asked."""
    rows, cols = np.nonzero(where)
    out: list[tuple[int, int]] = []
    for number in rng.permutation(len(rows))[:4000]:
        at = (int(rows[number]), int(cols[number]))
        if all(np.hypot(at[0] - r, at[1] - c) >= apart_px for r, c in out):
            out.append(at)
        if len(out) == many:
            break
    return out


def marks(
    view: ViewEvidence, kind: str, rng: np.random.Generator
) -> tuple[Surface, list[tuple[float, int, int]]]:
    """Lay flakes or pits of all sizes over one view."""
    surface, zones = view.surface, view.zones
    base = zones.paint if kind == "flake" else zones.wall & ~grow(zones.painted, surface.px(2.0))
    base = base & zones.wall & (zones.stretch < 1.4) & ~view.relief & ~zones.foot & ~surface.glare
    cover = np.zeros(surface.mask.shape, np.float32)
    laid: list[tuple[float, int, int]] = []
    free = base.copy()
    for size_mm in sorted(SIZES_MM, reverse=True):
        margin = surface.px(size_mm / 2 + (0.9 if kind == "flake" else 1.5))
        for row, col in places(shrink(free, margin), surface.px(_APART_MM), 3, rng):
            mark = blob(surface.px(size_mm / 2), rng)
            half = mark.shape[0] // 2
            window = np.s_[row - half : row + half + 1, col - half : col + half + 1]
            if cover[window].shape != mark.shape:
                continue
            cover[window] = np.maximum(cover[window], mark)
            laid.append((size_mm, row, col))
            reach = int(surface.px(_APART_MM))
            free[max(0, row - reach) : row + reach, max(0, col - reach) : col + reach] = False
    if kind == "flake":
        light = light_of(zones.clay_chroma, zones.clay_tone)
    else:
        light = _PIT_LIGHT * surface.light
    return lay(surface, cover, light.astype(np.float32)), laid


def _touches(found: Sequence[Finding], surface: Surface, row: int, col: int) -> bool:
    x = (col + 0.5) * surface.step + surface.origin_px[0]
    y = (row + 0.5) * surface.step + surface.origin_px[1]
    slack = surface.step * 2
    return any(
        each.photo == surface.photo
        and each.bbox_px[0] - slack <= x <= each.bbox_px[0] + each.bbox_px[2] + slack
        and each.bbox_px[1] - slack <= y <= each.bbox_px[1] + each.bbox_px[3] + slack
        for each in found
    )


def by_size(looks: Sequence[Evidence], kind: str, curve: Curve, rng: np.random.Generator) -> None:
    """Count marks found by their size."""
    module = {"flake": flake, "pit": pit}[kind]
    for evidence in looks:
        if evidence.finish != "glazed" or (kind == "flake" and evidence.decorated is False):
            continue
        before = module.find(evidence)
        # Dark dots all round are the specks of a clay, so pits lie on one side at a time.
        only = int(rng.integers(len(evidence.sides))) if kind == "pit" else None
        done = [
            marks(view, kind, rng) if only in (None, number) else (view.surface, [])
            for number, view in enumerate(evidence.sides)
        ]
        views = view_evidence(
            [surface for surface, _ in done], decorated=evidence.decorated, finish=evidence.finish
        )
        found = module.find(replace(evidence, views=views))
        for surface, laid in done:
            for size_mm, row, col in laid:
                if not _touches(before, surface, row, col):
                    curve.add(size_mm, _touches(found, surface, row, col))


def strength_for(
    surface: Surface, region: NDArray[np.bool_], way: NDArray[np.float64], de00: float
) -> float:
    """Factor of a step of chroma and tone that shifts a region by so much."""
    sound = np.median(surface.light[region], axis=0)
    gain = 0.35 / max(float(sound[1]), 1e-6)
    low, high = 0.0, 2.0
    for _ in range(24):
        middle = (low + high) / 2
        changed = sound * _step(way * middle)
        lab = linear_to_lab(np.stack([sound, changed]) * gain)
        if float(ciede2000(lab[0], lab[1])) < de00:
            low = middle
        else:
            high = middle
    return high


def _step(change: NDArray[np.float64]) -> NDArray[np.floating]:
    return light_of(change[..., :2], change[..., 2])


def by_shift(looks: Sequence[Evidence], kind: str, curve: Curve, rng: np.random.Generator) -> None:
    """Count soft patches found by their shift: one on each of two opposite sides at a time."""
    finish, way = ("glazed", _MILKY) if kind == "pool_tint" else ("raw", _BROWN)
    module = pool_tint if kind == "pool_tint" else scorch
    for evidence in looks:
        if evidence.finish != finish:
            continue
        before = module.find(evidence)
        order = list(rng.permutation(SHIFTS_DE00))
        for pair in (order[n : n + 2] for n in range(0, len(order), 2)):
            first = int(rng.integers(len(evidence.sides)))
            surfaces = [each.surface for each in evidence.sides]
            laid: list[tuple[float, int, int, int]] = []
            for turn, de00 in enumerate(pair):
                number = (first + turn * len(surfaces) // 2) % len(surfaces)
                changed = _tinted(evidence.sides[number], kind, way, de00, before, rng)
                if changed is not None:
                    surfaces[number], row, col = changed
                    laid.append((de00, number, row, col))
            views = view_evidence(surfaces, decorated=evidence.decorated, finish=evidence.finish)
            found = module.find(replace(evidence, views=views))
            for de00, number, row, col in laid:
                curve.add(float(de00), _touches(found, surfaces[number], row, col))


def _tinted(
    view: ViewEvidence,
    kind: str,
    way: NDArray[np.float64],
    de00: float,
    before: Sequence[Finding],
    rng: np.random.Generator,
) -> tuple[Surface, int, int] | None:
    """One side with a soft patch, and where; None where there is no room for one.

    Never where something was found before: that would be found whatever is laid there.
    """
    surface, zones = view.surface, view.zones
    base = zones.wall & (zones.stretch < 1.4) & ~view.relief & ~view.shade
    base &= ~grow(zones.painted, surface.px(6.0))
    if kind == "pool_tint":
        first, last = zones.body_rows
        base[: first + int(0.55 * (last - first))] = False
    spot = next(
        (each for each in places(base, 1.0, 20, rng) if not _touches(before, surface, *each)), None
    )
    if spot is None:
        return None
    row, col = spot
    radius = surface.px(_PATCH_MM / 2)
    rows, cols = np.mgrid[0 : surface.mask.shape[0], 0 : surface.mask.shape[1]]
    away = np.hypot(rows - row, cols - col)
    cover = np.clip((1.6 * radius - away) / (1.2 * radius), 0, 1) ** 1.5
    factor = strength_for(surface, (away < radius) & surface.mask, way, de00)
    light = surface.light * _step(cover[..., None] * factor * way).astype(np.float32)
    return renew(surface, light), row, col


def draw(curves: dict[str, Curve], path: Path) -> None:
    """Draw the curves with their Wilson intervals."""
    import matplotlib

    matplotlib.use("svg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(1, 2, figsize=(9, 3.6), sharey=True)
    styles = {"flake": "o-", "pit": "s--", "scorch": "o-", "pool_tint": "s--"}
    for axis, kinds, label in (
        (axes[0], ("flake", "pit"), "diameter, mm"),
        (axes[1], ("scorch", "pool_tint"), "shift, CIEDE2000"),
    ):
        for kind in kinds:
            curve = curves[kind]
            at = sorted(curve.tries)
            share = [curve.hits[x] / curve.tries[x] for x in at]
            ends = [wilson(curve.hits[x], curve.tries[x]) for x in at]
            axis.plot(at, share, styles[kind], label=kind.replace("_", " "))
            axis.fill_between(at, [e[0] for e in ends], [e[1] for e in ends], alpha=0.15)
        axis.set_xlabel(label)
        axis.set_ylim(0, 1.02)
        axis.grid(alpha=0.3)
        axis.legend(loc="lower right")
    axes[0].set_ylabel("share found")
    figure.tight_layout()
    figure.savefig(path, metadata={"Date": None})


def sound_pieces(folder: Path, only: Sequence[str]) -> Iterator[Evidence]:
    """Evidence of every piece without a fault."""
    truth = {piece["piece"]: piece for piece in json.loads((folder / "truth.json").read_text())}
    for entry in find_batch(folder).pieces:
        if (
            entry.code in truth
            and not truth[entry.code]["faults"]
            and (not only or entry.code in only)
        ):
            yield gather(entry).evidence


def main(arguments: Sequence[str] | None = None) -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photos", type=Path)
    parser.add_argument("--out", type=Path, help="draw the curves into this SVG file")
    parser.add_argument("--only", nargs="*", default=())
    parser.add_argument("--rounds", type=int, default=1, help="how often a piece is laid over anew")
    options = parser.parse_args(arguments)
    rng = np.random.default_rng(20261125)
    looks = list(sound_pieces(options.photos, options.only))
    curves = {kind: Curve.empty() for kind in ("flake", "pit", "scorch", "pool_tint")}
    for _ in range(options.rounds):
        for kind in ("flake", "pit"):
            by_size(looks, kind, curves[kind], rng)
        for kind in ("scorch", "pool_tint"):
            by_shift(looks, kind, curves[kind], rng)
    for kind, curve in curves.items():
        print(kind)
        for at in sorted(curve.tries):
            hits, total = curve.hits[at], curve.tries[at]
            low, high = wilson(hits, total)
            print(
                f"  {at:5.2f}  {hits:3d} of {total:3d}  {100 * hits / total:3.0f} %"
                f"  ({100 * low:.0f}-{100 * high:.0f} %)"
            )
    if options.out:
        draw(curves, options.out)
    return 0


if __name__ == "__main__":
    sys.exit(main())
