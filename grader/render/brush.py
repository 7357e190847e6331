"""Brush-drawn motifs on flat paper, in millimetres: coverage and colour of each layer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from .noise import FloatArray

Points = npt.NDArray[np.float64]
# cv2 draws with four fractional bits: a sixteenth of a pixel.
_SHIFT = 4


@dataclass(frozen=True, slots=True)
class Layer:
    """One colour of a motif; `cover` is (N, N) float32 from 0 to 1, centred on the motif."""

    cover: FloatArray
    colour: str


class Sheet:
    """Square paper with its origin in the middle, x right and y up, in millimetres."""

    def __init__(self, half_mm: float, px_per_mm: float) -> None:
        """Take a paper of twice `half_mm` on a side."""
        self.px_per_mm = px_per_mm
        self.size = 2 * int(np.ceil(half_mm * px_per_mm)) + 1
        self.pixels = np.zeros((self.size, self.size), np.uint8)

    def _px(self, points_mm: npt.ArrayLike) -> npt.NDArray[np.int32]:
        points = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        flipped = points * np.array([1.0, -1.0]) * self.px_per_mm + self.size // 2
        return np.rint(flipped * 2**_SHIFT).astype(np.int32)

    def fill(self, points_mm: npt.ArrayLike, value: int = 255) -> Sheet:
        """Fill a closed outline."""
        cv2.fillPoly(self.pixels, [self._px(points_mm)], value, cv2.LINE_AA, _SHIFT)
        return self

    def stroke(self, points_mm: npt.ArrayLike, widths_mm: npt.ArrayLike, value: int = 255) -> Sheet:
        """Pull a brush of changing width along a line."""
        points = np.asarray(points_mm, dtype=np.float64)
        widths = np.broadcast_to(np.asarray(widths_mm, dtype=np.float64), (len(points),))
        step = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        fine = np.arange(0, step[-1], 0.12)
        line = np.stack([np.interp(fine, step, points[:, k]) for k in (0, 1)], -1)
        breadth = np.interp(fine, step, widths)
        direction = (
            np.gradient(line, axis=0) if len(line) > 2 else np.tile([1.0, 0.0], (len(line), 1))
        )
        direction /= np.maximum(np.linalg.norm(direction, axis=1, keepdims=True), 1e-9)
        normal = np.stack([-direction[:, 1], direction[:, 0]], -1)
        for end in (0, -1):
            self.dot(line[end], float(breadth[end]), value)
        left, right = line + normal * breadth[:, None] / 2, line - normal * breadth[:, None] / 2
        quads = np.stack([left[:-1], left[1:], right[1:], right[:-1]], 1)
        for quad in quads:
            cv2.fillConvexPoly(self.pixels, self._px(quad), value, cv2.LINE_AA, _SHIFT)
        return self

    def dot(self, centre_mm: npt.ArrayLike, diameter_mm: float, value: int = 255) -> Sheet:
        """Touch the brush down once."""
        centre = self._px(centre_mm)[0]
        radius = round(diameter_mm / 2 * self.px_per_mm * 2**_SHIFT)
        cv2.circle(
            self.pixels, (int(centre[0]), int(centre[1])), radius, value, -1, cv2.LINE_AA, _SHIFT
        )
        return self

    def leaf(
        self,
        centre_mm: Sequence[float],
        length_mm: float,
        width_mm: float,
        angle_rad: float,
        value: int = 255,
    ) -> Sheet:
        """Press one pointed leaf or petal."""
        t = np.linspace(0, 2 * np.pi, 60)
        x, y = length_mm / 2 * np.cos(t), width_mm / 2 * np.sin(t) * np.abs(np.sin(t)) ** 0.35
        return self.fill(np.asarray(centre_mm) + _turn(np.stack([x, y], -1), angle_rad), value)

    def layer(self, colour: str) -> Layer:
        """Finish the paper as one layer."""
        return Layer(self.pixels.astype(np.float32) / 255.0, colour)


def _turn(points: Points, angle: float) -> Points:
    c, s = np.cos(angle), np.sin(angle)
    return points @ np.array([[c, s], [-s, c]])


def _curve(points: Sequence[Sequence[float]], count: int = 80) -> Points:
    """Smooth line through a few points (Catmull-Rom)."""
    p = np.asarray(points, dtype=np.float64)
    p = np.concatenate([2 * p[:1] - p[1:2], p, 2 * p[-1:] - p[-2:-1]])
    out = []
    per = max(4, count // (len(p) - 3))
    for a, b, c, d in zip(p[:-3], p[1:-2], p[2:-1], p[3:], strict=True):
        t = np.linspace(0, 1, per, endpoint=False)[:, None]
        out.append(
            0.5
            * (
                2 * b
                + (c - a) * t
                + (2 * a - 5 * b + 4 * c - d) * t**2
                + (3 * b - a - 3 * c + d) * t**3
            )
        )
    return np.concatenate([*out, p[-2:-1]])


def newt(
    size_mm: float, px_per_mm: float, rng: np.random.Generator, colours: Sequence[str]
) -> list[Layer]:
    """A newt from above, bent like an S, with feet, two eyes and a row of spots."""
    s = size_mm / 2
    flip = rng.choice([-1.0, 1.0])
    spine = _curve(
        [
            (-s, -0.35 * s * flip),
            (-0.55 * s, 0.12 * s * flip),
            (-0.1 * s, 0.1 * s * flip),
            (0.35 * s, -0.08 * s * flip),
            (0.72 * s, 0.06 * s * flip),
            (0.95 * s, 0.14 * s * flip),
        ],
        100,
    )
    t = np.linspace(0, 1, len(spine))
    breadth = size_mm * np.interp(
        t,
        [0, 0.3, 0.5, 0.65, 0.8, 0.86, 0.95, 1],
        [0.012, 0.06, 0.1, 0.11, 0.07, 0.085, 0.085, 0.03],
    )
    body = Sheet(1.15 * s, px_per_mm).stroke(spine, breadth)
    line = max(1.0, 0.03 * size_mm)
    for at, lean in ((0.47, -0.5), (0.76, 0.45)):
        foot = spine[int(at * len(spine))]
        for side in (-1.0, 1.0):
            knee = foot + np.array([0.12 * lean * s, side * 0.2 * s])
            toe = knee + np.array([0.22 * s * np.sign(lean), side * 0.1 * s])
            body.stroke(
                _curve([foot, knee, toe], 16),
                line * 1.2,
            )
            for spread in (-0.5, 0.0, 0.5):
                tip = (
                    toe + _turn(np.array([[0.09 * s * np.sign(lean), side * 0.05 * s]]), spread)[0]
                )
                body.stroke(np.stack([toe, tip]), max(0.9, 0.7 * line))
    spots = Sheet(1.15 * s, px_per_mm)
    for at in np.linspace(0.42, 0.74, 5):
        spots.dot(spine[int(at * len(spine))], float(rng.uniform(0.028, 0.04) * size_mm))
    eyes = Sheet(1.15 * s, px_per_mm)
    head = spine[int(0.93 * len(spine))]
    for side in (-1.0, 1.0):
        eyes.dot(head + np.array([0.0, side * 0.055 * s]), max(1.0, 0.03 * size_mm))
    second = colours[1 % len(colours)]
    return [
        body.layer(colours[0]),
        spots.layer(second),
        eyes.layer("white slip" if colours[0] != "white slip" else "black"),
    ]


def moth(
    size_mm: float, px_per_mm: float, rng: np.random.Generator, colours: Sequence[str]
) -> list[Layer]:
    """A moth with four wings, an eye on each upper wing, feelers of one line."""
    s = size_mm / 2
    wings, lower, marks, pupils = (Sheet(1.15 * s, px_per_mm) for _ in range(4))
    spread = rng.uniform(0.45, 0.7)
    for side in (-1.0, 1.0):
        wings.leaf((side * 0.48 * s, 0.25 * s), 1.0 * s, 0.62 * s, side * spread)
        lower.leaf((side * 0.36 * s, -0.32 * s), 0.75 * s, 0.5 * s, -side * 0.9)
        eye = (side * 0.55 * s, 0.3 * s)
        marks.dot(eye, max(1.8, 0.13 * size_mm))
        pupils.dot(eye, max(0.9, 0.055 * size_mm))
        marks.stroke(
            _curve(
                [
                    (side * 0.2 * s, -0.5 * s),
                    (side * 0.36 * s, -0.36 * s),
                    (side * 0.52 * s, -0.22 * s),
                ],
                20,
            ),
            1.0,
        )
    trunk = Sheet(1.15 * s, px_per_mm)
    back = np.stack([np.zeros(41), np.linspace(-0.5 * s, 0.42 * s, 41)], -1)
    trunk.stroke(back, size_mm * np.interp(np.linspace(0, 1, 41), [0, 0.5, 1], [0.03, 0.1, 0.07]))
    for side in (-1.0, 1.0):
        trunk.stroke(
            _curve([(0, 0.42 * s), (side * 0.1 * s, 0.62 * s), (side * 0.28 * s, 0.78 * s)], 20),
            max(0.9, 0.018 * size_mm),
        )
    second = colours[1 % len(colours)]
    pale = "white slip" if "white slip" not in colours else "black"
    return [
        lower.layer(second),
        wings.layer(colours[0]),
        marks.layer(pale),
        pupils.layer("black" if pale != "black" else colours[0]),
        trunk.layer(colours[0] if colours[0] != second else "black"),
    ]


def snail(
    size_mm: float, px_per_mm: float, rng: np.random.Generator, colours: Sequence[str]
) -> list[Layer]:
    """A snail whose shell is a filled round with a thin spiral line on it."""
    s = size_mm / 2
    foot, shell, spiral = (Sheet(1.15 * s, px_per_mm) for _ in range(3))
    line = _curve(
        [
            (-0.85 * s, -0.62 * s),
            (-0.2 * s, -0.6 * s),
            (0.5 * s, -0.56 * s),
            (0.8 * s, -0.3 * s),
            (0.88 * s, -0.02 * s),
        ],
        60,
    )
    foot.stroke(
        line,
        size_mm
        * np.interp(np.linspace(0, 1, len(line)), [0, 0.4, 0.8, 1], [0.03, 0.12, 0.11, 0.08]),
    )
    for dx in (0.0, 0.14):
        tip = np.array([(0.9 + dx) * s, (0.34 - dx / 2) * s])
        foot.stroke(np.stack([line[-1], tip]), max(1.0, 0.022 * size_mm)).dot(
            tip, max(1.4, 0.04 * size_mm)
        )
    shell.dot((-0.12 * s, 0.02 * s), 1.1 * s)
    turns = rng.uniform(2.2, 3.2)
    t = np.linspace(0.1, 1, 160)
    swirl = (
        np.stack([np.cos(t * turns * 2 * np.pi), np.sin(t * turns * 2 * np.pi)], -1)
        * (0.48 * s * t)[:, None]
    )
    spiral.stroke(swirl + np.array([-0.12 * s, 0.02 * s]), max(1.0, 0.032 * size_mm))
    pale = "white slip" if colours[0] != "white slip" else "black"
    return [foot.layer(colours[1 % len(colours)]), shell.layer(colours[0]), spiral.layer(pale)]


def reeds(
    size_mm: float, px_per_mm: float, rng: np.random.Generator, colours: Sequence[str]
) -> list[Layer]:
    """A stand of reeds: lines of 1 to 2.5 mm, some with a seed head."""
    s = size_mm / 2
    stems, heads = Sheet(1.1 * s, px_per_mm), Sheet(1.1 * s, px_per_mm)
    for x in np.linspace(-0.45, 0.45, int(rng.integers(4, 8))) * s:
        top = rng.uniform(0.3, 0.98) * s
        lean = rng.normal(0, 0.14) * s
        path = _curve(
            [(x, -s), (x + 0.15 * lean, -0.4 * s), (x + 0.5 * lean, 0.1 * s), (x + lean, top)], 50
        )
        stems.stroke(path, np.linspace(rng.uniform(1.6, 2.5), 1.0, len(path)))
        if rng.random() < 0.5:
            heads.stroke(
                np.stack([path[-1] - [0.1 * lean, 0.16 * size_mm], path[-1]]),
                max(2.2, 0.06 * size_mm),
            )
    return [stems.layer(colours[0]), heads.layer(colours[1 % len(colours)])]


def sprig(
    size_mm: float, px_per_mm: float, rng: np.random.Generator, colours: Sequence[str]
) -> list[Layer]:
    """A twig with pressed leaves and a few berries."""
    s = size_mm / 2
    twig, leaves, berries = (Sheet(1.15 * s, px_per_mm) for _ in range(3))
    bend = rng.uniform(-0.4, 0.4) * s
    path = _curve(
        [(-0.9 * s, -0.5 * s), (-0.2 * s, bend), (0.4 * s, 0.1 * s + bend / 2), (0.9 * s, 0.5 * s)],
        60,
    )
    twig.stroke(path, 1.3)
    for k, at in enumerate(np.linspace(0.15, 0.95, 7)):
        p = path[int(at * (len(path) - 1))]
        side = 1.0 if k % 2 else -1.0
        leaves.leaf((p[0] + 0.05 * s, p[1] + side * 0.22 * s), 0.42 * s, 0.2 * s, 0.5 + side * 0.9)
        if k % 3 == 0:
            berries.dot(p + np.array([0.12 * s, -side * 0.14 * s]), max(2.0, 0.07 * size_mm))
    return [
        twig.layer(colours[0]),
        leaves.layer(colours[0]),
        berries.layer(colours[1 % len(colours)]),
    ]


def comet(
    size_mm: float, px_per_mm: float, rng: np.random.Generator, colours: Sequence[str]
) -> list[Layer]:
    """A ring of dots round a dot, as pressed with the end of a brush."""
    s = size_mm / 2
    ring, middle = Sheet(1.15 * s, px_per_mm), Sheet(1.15 * s, px_per_mm)
    count = int(rng.integers(6, 10))
    for turn in np.arange(count) * 2 * np.pi / count:
        ring.dot(
            (0.7 * s * np.cos(turn), 0.7 * s * np.sin(turn)),
            float(rng.uniform(0.1, 0.15) * size_mm),
        )
    middle.dot((0, 0), 0.34 * size_mm)
    return [ring.layer(colours[0]), middle.layer(colours[1 % len(colours)])]


Motif = Callable[[float, float, np.random.Generator, Sequence[str]], list[Layer]]
MOTIFS: dict[str, Motif] = {
    "newt": newt,
    "moth": moth,
    "snail": snail,
    "reeds": reeds,
    "sprig": sprig,
    "dot ring": comet,
}
