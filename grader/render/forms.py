"""Shapes of thrown and built ware: outlines, cross-sections, handles, spouts, lids."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage
from scipy.interpolate import PchipInterpolator

FloatArray = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class CrossSection:
    """How the plan of a piece differs from a circle.

    `exponent` 2 is round and 4 softly squared; `facets` 0 is none; `aspect` is length by width;
    `wobble` is the share by which the hand-thrown plan is out of round.
    """

    exponent: float = 2.0
    facets: int = 0
    aspect: float = 1.0
    wobble: float = 0.004
    phase_rad: float = 0.0

    def factor(self, azimuth_rad: npt.ArrayLike) -> FloatArray:
        """Radius at each azimuth as a share of the mean radius (azimuth 0 faces the front)."""
        theta = np.asarray(azimuth_rad, dtype=np.float64)
        turned = theta + self.phase_rad
        out = np.ones_like(theta)
        if self.exponent != 2.0:
            n = self.exponent
            out *= (np.abs(np.cos(turned)) ** n + np.abs(np.sin(turned)) ** n) ** (-1.0 / n)
            out /= (1.0 + 2.0 ** (0.5 - 1.0 / n)) / 2.0
        if self.facets:
            part = np.pi / self.facets
            flat = np.cos(part) / np.cos(np.mod(turned, 2 * part) - part)
            # Cut with a wire on leather-hard clay: the ridge is rounded, never a knife edge.
            out *= np.minimum(flat, 1.0 - 0.25 * (1.0 - np.cos(part)))
        if self.aspect != 1.0:
            a, b = np.sqrt(self.aspect), 1.0 / np.sqrt(self.aspect)
            out *= 1.0 / np.sqrt((np.sin(theta) / a) ** 2 + (np.cos(theta) / b) ** 2)
        out *= 1.0 + self.wobble * np.cos(2 * theta + self.phase_rad + 0.7)
        return out.astype(np.float32)


@dataclass(frozen=True, slots=True)
class Handle:
    """A pulled handle: an ear beside the piece at one azimuth, heights as shares of the piece's."""

    azimuth_rad: float
    top: float
    bottom: float
    reach_mm: float
    width_mm: float
    thickness_mm: float


@dataclass(frozen=True, slots=True)
class Form:
    """One shape of ware; `outline_mm` holds (radius, height) from the foot's edge to the rim."""

    name: str
    outline_mm: tuple[tuple[float, float], ...]
    wall_mm: float
    foot_ring_mm: float
    foot_recess_mm: float
    bare_height_mm: float
    cross: CrossSection = CrossSection()
    hole_mm: float = 0.0
    handles: tuple[Handle, ...] = ()
    spout_mm: float = 0.0
    spout_azimuth_rad: float = 0.0
    lid: bool = False

    @property
    def height_mm(self) -> float:
        """Height of the rim above the table."""
        return max(z for _, z in self.outline_mm) + self.wall_mm / 2.0

    @property
    def radius_mm(self) -> float:
        """Largest mean radius."""
        return max(r for r, _ in self.outline_mm)

    @property
    def is_round(self) -> bool:
        """Whether a turn about the axis leaves the outline (and so the shadow) as it was."""
        cross = self.cross
        return (
            not self.handles and not self.spout_mm and (cross.exponent, cross.aspect) == (2.0, 1.0)
        )

    def outside(self, count: int = 400) -> FloatArray:
        """Smooth outside curve.

        Returns
        -------
        numpy.ndarray of float32, shape (count, 2)
            Radius and height in mm, foot to rim, evenly spaced.
        """
        knots = np.asarray(self.outline_mm, dtype=np.float64)
        chord = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(knots, axis=0).T))])
        fine = PchipInterpolator(chord, knots)(np.linspace(0, chord[-1], 4 * count))
        return _resample(fine, count)


def _resample(points: npt.NDArray[np.floating], count: int) -> FloatArray:
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.linspace(0, length[-1], count)
    return np.stack([np.interp(at, length, points[:, k]) for k in (0, 1)], -1).astype(np.float32)


# Parts of the closed outline, in the order in which it is walked.
BASE, RING, WALL, LIP, INSIDE = range(5)


@dataclass(frozen=True, slots=True)
class Outline:
    """The whole wall's outline from under the base over the rim to the inside's floor.

    `points_mm` (N, 2) is (radius, height), evenly spaced; `part` (N,) names each point's part.
    """

    points_mm: FloatArray
    part: npt.NDArray[np.uint8]


def wall_outline(form: Form, step_mm: float = 0.6) -> Outline:
    """Walk once round the wall of a piece: base, foot ring, outside, lip, inside.

    Parameters
    ----------
    form : Form
    step_mm : float
        Spacing of the points.

    Returns
    -------
    Outline
    """
    outside = form.outside()
    foot_r, top_z = float(outside[0, 0]), float(outside[-1, 1])
    hole, recess = form.hole_mm, form.foot_recess_mm
    ring_in = max(foot_r - form.foot_ring_mm, hole + 2.0)
    base = [(hole, recess), (ring_in - 0.6, recess)]
    ring = [(ring_in, max(recess - 0.6, 0.0)), (ring_in + 0.3, 0.0), (foot_r - 0.9, 0.0)]

    tangent = np.gradient(outside, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    inward = np.stack([-tangent[:, 1], tangent[:, 0]], -1)
    # Thrown walls thicken towards the foot.
    thick = form.wall_mm * (1.0 + 0.45 * (1.0 - outside[:, 1] / top_z))[:, None]
    inner = outside + inward * thick
    floor = recess + 1.4 * form.wall_mm
    # The inside turns into the floor in a wide curve, as a rib leaves it.
    sweep = float(min(0.35 * (top_z - floor), 0.4 * foot_r, 14.0))
    inner = inner[(inner[:, 1] > floor + sweep) & (inner[:, 0] > hole + 2.0)]
    turn = np.linspace(0, np.pi, 12)[1:-1]
    middle, half = (outside[-1] + inner[-1]) / 2.0, (outside[-1] - inner[-1]) / 2.0
    up = np.array([-half[1], half[0]])
    lip = middle + np.cos(turn)[:, None] * half + np.sin(turn)[:, None] * up
    last, lean = inner[0], inner[0] - inner[min(6, len(inner) - 1)]
    drop = (last[1] - floor) / max(-lean[1], 1e-3)
    bend = np.array([max(last[0] + lean[0] * drop, hole + 2.0), floor])
    end = np.array([max(bend[0] - 1.1 * sweep, hole + 1.0), floor])
    t = np.linspace(0, 1, 16)[1:, None]
    corner = (1 - t) ** 2 * last + 2 * t * (1 - t) * bend + t**2 * end
    pieces = [
        (BASE, np.array(base)),
        (RING, np.array(ring)),
        (WALL, outside[outside[:, 1] > 0.7]),
        (LIP, lip),
        (INSIDE, np.concatenate([inner[::-1], corner, np.array([(hole, floor)])])),
    ]
    if hole > 0:
        pieces[0] = (BASE, np.array([(hole, floor - 0.5), (hole, recess + 0.5), *base]))
    points = np.concatenate([p for _, p in pieces]).astype(np.float64)
    part = np.concatenate([np.full(len(p), k) for k, p in pieces])
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    count = max(64, int(length[-1] / step_mm))
    at = np.linspace(0, length[-1], count)
    even = np.stack([np.interp(at, length, points[:, k]) for k in (0, 1)], -1)
    # One millimetre of rounding: clay has no sharp corner after sponging.
    smooth = ndimage.gaussian_filter1d(even, 1.0 / step_mm * 0.6, axis=0, mode="nearest")
    smooth[:, 0] = np.maximum(smooth[:, 0], hole if hole > 0 else 0.0)
    if hole == 0:
        smooth[0, 0] = smooth[-1, 0] = 0.02
    index = np.clip(np.searchsorted(length, at, side="right") - 1, 0, len(part) - 1)
    labels = part[index].astype(np.uint8)
    bare = (labels == WALL) & (smooth[:, 1] < form.bare_height_mm)
    labels[bare] = RING
    return Outline(smooth.astype(np.float32), labels)


def lid_outline(form: Form, step_mm: float = 0.6) -> Outline:
    """Outline of a domed lid with a knob that sits on the rim of `form`."""
    rim = float(form.outside()[-1, 0])
    z, dome = form.height_mm, max(6.0, 0.25 * rim)
    inner = rim - form.wall_mm * 1.3
    knob = max(6.0, 0.2 * rim)
    under = [(0.02, z - 2.0), (inner - 3.0, z - 2.0), (inner, z - 4.0), (inner + 0.5, z + 0.1)]
    edge = [(rim + 1.0, z + 0.2), (rim + 1.6, z + 1.6), (rim + 0.8, z + 3.0)]
    t = np.linspace(0.08, 1, 16)
    over = np.stack([rim + (0.45 * knob - rim) * np.sin(t * np.pi / 2), z + 3 + dome * t**1.5], -1)
    top = z + 3.0 + dome
    button = [
        (0.42 * knob, top + 0.25 * knob),
        (0.8 * knob, top + 0.75 * knob),
        (0.9 * knob, top + 1.1 * knob),
        (0.6 * knob, top + 1.5 * knob),
        (0.02, top + 1.6 * knob),
    ]
    points = np.concatenate([np.array(under), np.array(edge), over, np.array(button)])
    part = np.concatenate([np.full(4, BASE), np.full(3 + 16 + 5, WALL)])
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.linspace(0, length[-1], max(64, int(length[-1] / step_mm)))
    even = np.stack([np.interp(at, length, points[:, k]) for k in (0, 1)], -1)
    smooth = ndimage.gaussian_filter1d(even, 0.9 / step_mm, axis=0, mode="nearest")
    smooth[0, 0] = smooth[-1, 0] = 0.02
    index = np.clip(np.searchsorted(length, at, side="right") - 1, 0, len(part) - 1)
    return Outline(smooth.astype(np.float32), part[index].astype(np.uint8))


# Relative outlines: (share of the largest radius, share of the height). Drawn by eye from common
# shapes of studio ware; no maker's line.
_OUTLINES: dict[
    str, tuple[tuple[tuple[float, float], ...], tuple[float, float], tuple[float, float]]
]
_OUTLINES = {
    # name: outline, range of height in mm, range of width over height
    "beaker": (
        ((0.72, 0), (0.78, 0.06), (0.86, 0.35), (0.94, 0.7), (1.0, 1)),
        (85, 125),
        (0.62, 0.85),
    ),
    "mug": (((0.84, 0), (0.93, 0.05), (1.0, 0.25), (0.98, 0.6), (0.95, 1)), (80, 105), (0.8, 1.0)),
    "bellied mug": (
        ((0.7, 0), (0.82, 0.06), (1.0, 0.4), (0.92, 0.7), (0.88, 1)),
        (78, 100),
        (0.9, 1.1),
    ),
    "teacup": (((0.48, 0), (0.56, 0.05), (0.8, 0.35), (0.93, 0.7), (1.0, 1)), (58, 75), (1.3, 1.6)),
    "bowl": (((0.42, 0), (0.45, 0.08), (0.68, 0.3), (0.9, 0.65), (1.0, 1)), (55, 85), (1.8, 2.5)),
    "deep bowl": (
        ((0.5, 0), (0.55, 0.05), (0.85, 0.35), (0.98, 0.7), (1.0, 1)),
        (75, 110),
        (1.25, 1.6),
    ),
    "dish": (((0.62, 0), (0.66, 0.1), (0.86, 0.4), (0.96, 0.75), (1.0, 1)), (32, 48), (3.2, 4.4)),
    "jug": (
        ((0.7, 0), (0.8, 0.05), (1.0, 0.32), (0.82, 0.65), (0.66, 0.86), (0.74, 1)),
        (125, 190),
        (0.55, 0.75),
    ),
    "vase": (
        ((0.55, 0), (0.64, 0.04), (0.95, 0.4), (1.0, 0.6), (0.6, 0.86), (0.66, 1)),
        (130, 210),
        (0.5, 0.75),
    ),
    "bottle": (
        ((0.75, 0), (0.85, 0.04), (1.0, 0.3), (0.9, 0.52), (0.34, 0.76), (0.3, 0.92), (0.4, 1)),
        (150, 220),
        (0.42, 0.58),
    ),
    "flared vase": (
        ((0.6, 0), (0.58, 0.1), (0.62, 0.45), (0.75, 0.75), (1.0, 1)),
        (130, 190),
        (0.5, 0.7),
    ),
    "salt pot": (
        ((0.78, 0), (0.88, 0.06), (1.0, 0.38), (0.95, 0.7), (0.8, 1)),
        (70, 95),
        (1.0, 1.25),
    ),
    "storage jar": (
        ((0.82, 0), (0.92, 0.04), (1.0, 0.3), (1.0, 0.7), (0.82, 1)),
        (110, 150),
        (0.75, 0.95),
    ),
    "planter": (
        ((0.76, 0), (0.8, 0.05), (0.9, 0.45), (0.97, 0.8), (1.0, 1)),
        (95, 150),
        (0.95, 1.2),
    ),
    "round planter": (
        ((0.55, 0), (0.68, 0.06), (1.0, 0.48), (0.96, 0.72), (0.86, 1)),
        (90, 140),
        (1.05, 1.3),
    ),
    "egg cup": (
        ((0.78, 0), (0.62, 0.15), (0.5, 0.35), (0.85, 0.62), (1.0, 0.8), (0.96, 1)),
        (58, 72),
        (0.75, 0.95),
    ),
    "moon jar": (
        ((0.45, 0), (0.6, 0.05), (0.96, 0.36), (1.0, 0.5), (0.88, 0.75), (0.5, 0.95), (0.46, 1)),
        (110, 170),
        (0.95, 1.1),
    ),
    "squared pot": (
        ((0.86, 0), (0.92, 0.05), (0.98, 0.4), (1.0, 0.75), (0.98, 1)),
        (75, 120),
        (0.8, 1.1),
    ),
    "faceted beaker": (
        ((0.76, 0), (0.82, 0.06), (0.94, 0.35), (1.0, 0.65), (0.98, 1)),
        (85, 120),
        (0.68, 0.85),
    ),
    "oval dish": (
        ((0.66, 0), (0.7, 0.1), (0.88, 0.4), (0.97, 0.75), (1.0, 1)),
        (45, 65),
        (2.0, 2.7),
    ),
}
FORM_NAMES = tuple(_OUTLINES)
_HANDLED = ("mug", "bellied mug", "teacup", "jug")


def make_form(
    name: str,
    rng: np.random.Generator,
    height_mm: float | None = None,
    width_ratio: float | None = None,
) -> Form:
    """Draw one piece of a kind of ware, with the spread of a hand at the wheel.

    Parameters
    ----------
    name : str
        One of `FORM_NAMES`.
    rng : numpy.random.Generator
    height_mm, width_ratio : float, optional
        Fixed instead of drawn; sisters of one design share them.

    Returns
    -------
    Form
    """
    outline, heights, ratios = _OUTLINES[name]
    height = height_mm if height_mm is not None else float(rng.uniform(*heights))
    radius = (
        height * (width_ratio if width_ratio is not None else float(rng.uniform(*ratios))) / 2.0
    )
    wall = float(np.clip(radius * rng.uniform(0.055, 0.085), 2.6, 6.0))
    knots = [
        (r * radius * (1 + 0.012 * rng.standard_normal()), z * (height - wall / 2))
        for r, z in outline
    ]
    cross = CrossSection(
        wobble=float(rng.uniform(0.001, 0.007)), phase_rad=float(rng.uniform(0, 6))
    )
    form = Form(
        name=name,
        outline_mm=tuple(knots),
        wall_mm=wall,
        foot_ring_mm=float(rng.uniform(3.5, 7.0)),
        foot_recess_mm=float(rng.choice([0.0, rng.uniform(1.5, 4.0)])),
        bare_height_mm=float(rng.uniform(1.2, 4.5)),
        cross=cross,
    )
    if name == "squared pot":
        form = replace(
            form,
            cross=replace(
                cross,
                exponent=float(rng.uniform(3.2, 5.0)),
                phase_rad=float(rng.choice([0.0, np.pi / 8])),
            ),
        )
    elif name == "faceted beaker":
        form = replace(form, cross=replace(cross, facets=int(rng.integers(6, 11))))
    elif name == "oval dish":
        form = replace(form, cross=replace(cross, aspect=float(rng.uniform(1.25, 1.6))))
    if "planter" in name:
        form = replace(form, hole_mm=float(rng.uniform(4, 7)), wall_mm=wall * 1.15)
    if name in ("salt pot", "storage jar"):
        form = replace(form, lid=True)
    if name in _HANDLED:
        top, bottom = float(rng.uniform(0.76, 0.9)), float(rng.uniform(0.2, 0.36))
        handle = Handle(
            azimuth_rad=np.pi / 2,
            top=top,
            bottom=bottom,
            reach_mm=float(rng.uniform(22, 30)) * (height / 95) ** 0.6,
            width_mm=float(rng.uniform(11, 17)) * (height / 95) ** 0.4,
            thickness_mm=float(rng.uniform(6.0, 8.5)),
        )
        form = replace(form, handles=(handle,))
    if name == "jug":
        form = replace(form, spout_mm=float(rng.uniform(7, 12)), spout_azimuth_rad=-np.pi / 2)
    if name in ("storage jar", "round planter") and rng.random() < 0.4:
        lug = Handle(np.pi / 2, 0.82, 0.6, 9.0, 12.0, 6.5)
        form = replace(form, handles=(lug, replace(lug, azimuth_rad=-np.pi / 2)))
    return form
