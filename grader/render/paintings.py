"""Underglaze paintings on a piece: motifs, bands, dots, chequers, with an honest brush."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from .brush import MOTIFS
from .canvas import Canvas
from .forms import INSIDE, LIP, WALL
from .noise import FloatArray, flat_noise, smoothstep
from .tones import lab_to_linear

# Fired underglaze under a clear glaze, CIELAB judged by eye.
PAINTS: dict[str, tuple[float, float, float]] = {
    "cobalt blue": (31.0, 6.0, -34.0),
    "black": (19.0, 0.5, 0.5),
    "moss green": (43.0, -13.0, 22.0),
    "ochre": (63.0, 14.0, 48.0),
    "coral": (58.0, 40.0, 30.0),
    "white slip": (90.0, 0.5, 4.0),
    "pink": (72.0, 22.0, 8.0),
    "brown": (34.0, 14.0, 18.0),
    "turquoise": (58.0, -26.0, -14.0),
}


@dataclass(frozen=True, slots=True)
class Element:
    """One thing painted.

    `kind` is a motif of `brush.MOTIFS`, or "band", "dots", "chequer", "stripes", "line", "dip".
    `height` is the middle as a share of the piece's height, `size_mm` the motif's length, the
    band's breadth, the dot's diameter or the chequer's side; `azimuth_rad` is for motifs.
    """

    kind: str
    colours: tuple[str, ...]
    height: float
    size_mm: float
    azimuth_rad: float = 0.0
    turn_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class Painting:
    """A named design: elements in the order in which they are painted."""

    name: str
    elements: tuple[Element, ...]


def paint(
    canvas: Canvas, painting: Painting, piece_height_mm: float, rng: np.random.Generator
) -> None:
    """Paint a design on a canvas.

    Parameters
    ----------
    canvas : Canvas
        Changed in place.
    painting : Painting
    piece_height_mm : float
    rng : numpy.random.Generator
        The hand: edges, mottling and small slips of place differ between sisters.
    """
    brush = _brush_fields(canvas, rng)
    for element in painting.elements:
        if element.kind in MOTIFS:
            _paint_motif(canvas, element, piece_height_mm, brush, rng)
        else:
            _paint_round(canvas, element, piece_height_mm, brush, rng)


@dataclass(frozen=True, slots=True)
class _Brush:
    """Fields of one painting session: how opaque the coats are, and their shade."""

    opacity: FloatArray
    shade: FloatArray


def _brush_fields(canvas: Canvas, rng: np.random.Generator) -> _Brush:
    density, shape = canvas.skin.texels_per_mm, canvas.skin.shape
    # Strokes lie along the turn: hairs leave fine lines, loads leave soft patches.
    hairs = flat_noise(shape, (0.25 * density, 5.0 * density), rng)
    patch = flat_noise(shape, (3.0 * density, 5.0 * density), rng)
    strength = rng.uniform(0.4, 1.0)
    opacity = 0.955 + strength * (0.014 * hairs + 0.014 * patch)
    shade = 1.0 + strength * (0.03 * hairs + 0.04 * patch)
    return _Brush(np.clip(opacity, 0.86, 1.0).astype(np.float32), shade.astype(np.float32))


def _lay(
    canvas: Canvas,
    index: tuple[npt.NDArray[np.intp], ...],
    cover: FloatArray,
    colour: str,
    brush: _Brush,
) -> None:
    # Where clay and paint are laid in several passes the last colour hides those below.
    tone = lab_to_linear(PAINTS[colour]) * brush.shade[index][..., None]
    hide = cover * brush.opacity[index]
    below = canvas.cover[index]
    total = hide + below * (1.0 - hide)
    share = np.divide(hide, total, out=np.zeros_like(total), where=total > 1e-6)[..., None]
    canvas.paint[index] += share * (tone - canvas.paint[index])
    canvas.cover[index] = total
    canvas.painted[index] |= cover >= 0.5
    # A coat of underglaze stands a few hundredths of a millimetre proud.
    canvas.relief_mm[index] += 0.02 * cover


def _paint_motif(
    canvas: Canvas,
    element: Element,
    piece_height_mm: float,
    brush: _Brush,
    rng: np.random.Generator,
) -> None:
    skin = canvas.skin
    place = INSIDE if element.height < 0 else WALL
    if place == INSIDE:
        row = skin.row_at_height(-element.height * piece_height_mm, (INSIDE,))
    else:
        row = skin.row_at_height(element.height * piece_height_mm, (WALL,))
    col = skin.column_at(element.azimuth_rad + rng.normal(0, 0.03))
    half = 0.6 * element.size_mm
    rows, cols, right, up = skin.window(row, col, half * 1.05)
    if place == INSIDE:
        up = -up
    turn = element.turn_rad + rng.normal(0, 0.05)
    x = right * np.cos(turn) + up * np.sin(turn)
    y = -right * np.sin(turn) + up * np.cos(turn)
    # The hand shakes: edges wander by about a fifth of a millimetre.
    wander = 0.18 * skin.texels_per_mm / skin.texels_per_mm
    soft = 0.6 * skin.texels_per_mm
    x = x + wander * flat_noise(x.shape, soft, rng, wrap_x=False)
    y = y + wander * flat_noise(x.shape, soft, rng, wrap_x=False)
    index = np.ix_(rows, cols)
    allowed = np.isin(skin.part[rows], (place, LIP))[:, None]
    for layer in MOTIFS[element.kind](element.size_mm, skin.texels_per_mm, rng, element.colours):
        centre = layer.cover.shape[0] // 2
        map_x = (x * skin.texels_per_mm + centre).astype(np.float32)
        map_y = (centre - y * skin.texels_per_mm).astype(np.float32)
        cover = cv2.remap(layer.cover, map_x, map_y, cv2.INTER_LINEAR, borderValue=0)
        _lay(canvas, index, np.asarray(cover * allowed, np.float32), layer.colour, brush)


def _paint_round(
    canvas: Canvas,
    element: Element,
    piece_height_mm: float,
    brush: _Brush,
    rng: np.random.Generator,
) -> None:
    skin = canvas.skin
    density = skin.texels_per_mm
    row = skin.row_at_height(element.height * piece_height_mm)
    wall = np.flatnonzero(np.isin(skin.part, (WALL, LIP)))
    reach = int((element.size_mm * (1.6 if element.kind == "stripes" else 1.2) + 4) * density)
    if element.kind in ("chequer", "stripes"):
        reach = (
            int((2.2 * element.size_mm + 4) * density)
            if element.kind == "chequer"
            else int(0.3 * piece_height_mm * density)
        )
    if element.kind == "dip":
        rows = wall[skin.height_mm[wall] < element.height * piece_height_mm + 6]
    else:
        rows = wall[np.abs(wall - row) <= reach]
    cols = np.arange(skin.shape[1])
    up = skin.along_mm[rows][:, None] - skin.along_mm[row]
    radius = float(skin.radius_mm[row])
    girth = radius * (skin.across[-1] - skin.across[0])
    turn = skin.across[None, :] * radius
    edge = 0.22 * flat_noise((rows.size, cols.size), (0.8 * density, 1.5 * density), rng)
    # A band pulled on the wheel closes on itself with a slow wave.
    drift = 0.35 * flat_noise((1, cols.size), (0.1, 9.0 * density), rng)
    soft = 0.14
    v = up + edge + drift
    if element.kind in ("band", "line"):
        cover = smoothstep(-soft, soft, element.size_mm / 2 - np.abs(v))
    elif element.kind == "dip":
        cover = smoothstep(-soft, soft, -v)
    elif element.kind == "dots":
        count = max(4, round(girth / (2.6 * element.size_mm)))
        pitch = girth / count
        number = np.floor(turn / pitch)
        slip = rng.normal(0, 0.08 * element.size_mm, (3, count + 2))
        which = number.astype(int) % (count + 2)
        dx = turn - (number + 0.5) * pitch + slip[0][which]
        dy = up + slip[1][which]
        size = element.size_mm / 2 + 0.4 * slip[2][which]
        cover = smoothstep(-soft, soft, size - np.hypot(dx + 0.5 * edge, dy + 0.5 * edge))
    elif element.kind == "chequer":
        count = 2 * max(4, round(girth / (2 * element.size_mm)))
        pitch = girth / count
        a = np.sin(np.pi * (turn + 0.4 * edge) / pitch) * pitch / np.pi
        b = np.sin(np.pi * v / element.size_mm) * element.size_mm / np.pi
        inside = smoothstep(-soft, soft, 2.0 * element.size_mm - np.abs(v))
        cover = smoothstep(-0.1, 0.1, a * b / np.maximum(np.hypot(a, b), 0.3)) * inside
    else:  # stripes
        count = max(6, round(girth / (3.2 * element.size_mm)))
        pitch = girth / count
        dx = turn - (np.floor(turn / pitch) + 0.5) * pitch
        inside = smoothstep(-soft, soft, 0.26 * piece_height_mm - np.abs(v))
        cover = smoothstep(-soft, soft, element.size_mm / 2 - np.abs(dx + edge)) * inside
    cover = np.broadcast_to(cover, (rows.size, cols.size)).astype(np.float32)
    _lay(canvas, np.ix_(rows, cols), cover, element.colours[0], brush)


_PAIRS = (
    ("cobalt blue", "ochre"),
    ("black", "coral"),
    ("moss green", "ochre"),
    ("brown", "white slip"),
    ("turquoise", "black"),
    ("coral", "moss green"),
    ("pink", "cobalt blue"),
    ("black", "white slip"),
    ("ochre", "brown"),
    ("cobalt blue", "white slip"),
    ("moss green", "black"),
)
_ON_DARK = (
    ("white slip", "ochre"),
    ("turquoise", "white slip"),
    ("pink", "white slip"),
    ("ochre", "white slip"),
)


def random_painting(
    rng: np.random.Generator, height_mm: float, radius_mm: float, dark_clay: bool, shallow: bool
) -> Painting:
    """Draw a design that fits a piece.

    Parameters
    ----------
    rng : numpy.random.Generator
    height_mm, radius_mm : float
    dark_clay : bool
        Only light colours read on it.
    shallow : bool
        A dish is painted inside.

    Returns
    -------
    Painting
    """
    pairs = _ON_DARK if dark_clay else _PAIRS
    colours = pairs[int(rng.integers(len(pairs)))]
    family = rng.choice(["motif", "motif", "band", "chequer", "reeds", "mixed", "dip", "stripes"])
    elements: list[Element] = []
    room = min(0.62 * height_mm, 1.5 * radius_mm)
    if shallow:
        kind = str(rng.choice(list(MOTIFS)))
        elements.append(
            Element(
                kind, colours, -0.4, float(min(0.9 * radius_mm, 60.0)), float(rng.uniform(-3, 3))
            )
        )
        return Painting(f"{kind} inside", tuple(elements))
    if family in ("motif", "mixed"):
        kind = str(rng.choice([k for k in MOTIFS if k != "reeds"]))
        size = float(np.clip(rng.uniform(0.75, 1.0) * room, 18, 75))
        count = max(1, int(2 * np.pi * radius_mm / (size * rng.uniform(1.2, 2.2))))
        count = min(count, 5)
        for k in range(count):
            elements.append(
                Element(
                    kind,
                    colours,
                    float(rng.uniform(0.46, 0.56)),
                    size,
                    2 * np.pi * k / count + float(rng.uniform(-0.2, 0.2)),
                )
            )
        if family == "mixed":
            elements.append(Element("line", (colours[1],), 0.92, float(rng.uniform(1.2, 3))))
            elements.append(Element("line", (colours[0],), 0.12, float(rng.uniform(1.2, 3))))
        name = kind
    elif family == "reeds":
        for k in range(5):
            elements.append(
                Element(
                    "reeds",
                    colours,
                    0.5,
                    float(np.clip(0.8 * height_mm, 30, 90)),
                    2 * np.pi * k / 5 + float(rng.uniform(-0.3, 0.3)),
                )
            )
        name = "reeds"
    elif family == "band":
        breadth = float(rng.uniform(0.16, 0.3) * height_mm)
        elements.append(Element("band", (colours[0],), float(rng.uniform(0.42, 0.6)), breadth))
        if rng.random() < 0.7:
            elements.append(
                Element(
                    "dots",
                    (colours[1],),
                    elements[0].height,
                    float(np.clip(breadth * 0.3, 2.0, 8.0)),
                )
            )
        name = "band"
    elif family == "chequer":
        elements.append(Element("chequer", (colours[0],), 0.5, float(rng.uniform(5, 11))))
        name = "chequer"
    elif family == "dip":
        elements.append(Element("dip", (colours[0],), float(rng.uniform(0.3, 0.55)), 10.0))
        elements.append(
            Element("dots", (colours[1],), elements[0].height + 0.14, float(rng.uniform(2.0, 5.0)))
        )
        name = "dip"
    else:
        elements.append(Element("stripes", (colours[0],), 0.5, float(rng.uniform(1.5, 6.0))))
        name = "stripes"
    return Painting(name, tuple(elements))
