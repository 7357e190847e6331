"""Where the photographs are taken: table, backdrop, lamps and windows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .noise import FloatArray, flat_noise, smoothstep
from .tones import lab_to_linear

# Side of a table texture that repeats, in millimetres and pixels.
TILE_MM = 900.0
_TILE_PX = 2250


@dataclass(frozen=True, slots=True)
class Material:
    """A table top or backdrop: `look` is paper, linen, wood, stone or slate; CIELAB base colour."""

    look: str
    lab: tuple[float, float, float]
    shine: float = 0.0
    seed: int = 0


@dataclass(frozen=True, slots=True)
class Lamp:
    """A flat light: directions in degrees (0 is from the camera's side, 90 from the right).

    `power` is its share of the light that falls on the table.
    """

    azimuth_deg: float
    elevation_deg: float
    distance_mm: float
    width_mm: float
    height_mm: float
    temperature_k: float
    power: float
    panes: int = 1


@dataclass(frozen=True, slots=True)
class Setting:
    """A corner of the workshop where a whole session is photographed."""

    table: Material
    backdrop: Material
    sweep: bool
    backdrop_mm: float
    lamps: tuple[Lamp, ...]
    room_power: float
    room_temperature_k: float
    seed: int


def material_tile(material: Material) -> FloatArray:
    """Reflectance of a material, repeating in both directions.

    Parameters
    ----------
    material : Material

    Returns
    -------
    numpy.ndarray of float32, shape (2250, 2250, 3) or smaller for plain paper
        Linear reflectance over `TILE_MM`.
    """
    rng = np.random.default_rng(material.seed)
    if material.look == "paper":
        base = np.broadcast_to(lab_to_linear(material.lab), (512, 512, 3))
        return (base * (1.0 + 0.006 * flat_noise((512, 512), 3.0, rng)[..., None])).astype(
            np.float32
        )
    shape, px = (_TILE_PX, _TILE_PX), _TILE_PX / TILE_MM
    lab = np.empty((*shape, 3), np.float32)
    lab[:] = material.lab
    if material.look == "linen":
        y, x = np.meshgrid(np.arange(shape[0]) / px, np.arange(shape[1]) / px, indexing="ij")
        pitch = TILE_MM / round(TILE_MM / 1.6)
        warp = flat_noise(shape, (0.4 * px, 14 * px), rng)
        weft = flat_noise(shape, (14 * px, 0.4 * px), rng)
        over = np.sin(2 * np.pi * x / pitch) * np.sin(2 * np.pi * y / pitch)
        lab[..., 0] += 2.6 * over + 1.8 * warp + 1.8 * weft
    elif material.look == "wood":
        ring = flat_noise(shape, (5.0 * px, 160.0 * px), rng)
        line = flat_noise(shape, (0.5 * px, 60.0 * px), rng)
        pore = flat_noise(shape, (0.22 * px, 5.0 * px), rng)
        grain = 0.5 + 0.5 * np.sin(5.0 * ring + 0.5 * line)
        lab[..., 0] += (
            -9.0 * smoothstep(0.7, 1.0, grain) - 2.0 * line - 7.0 * smoothstep(1.6, 2.6, pore)
        )
        lab[..., 1] += 2.0 * smoothstep(0.6, 1.0, grain)
        boards = (np.arange(shape[0]) / px) % (TILE_MM / 9)
        lab[boards < 0.8, :, 0] -= 25.0
    elif material.look == "stone":
        for size, share, depth in ((0.5, 2.0, -14.0), (0.9, 2.1, -22.0), (0.7, 2.0, 10.0)):
            lab[..., 0] += depth * smoothstep(share, share + 0.5, flat_noise(shape, size * px, rng))
        lab[..., 0] += 1.5 * flat_noise(shape, 12 * px, rng)
    elif material.look == "slate":
        lab[..., 0] += 1.6 * flat_noise(shape, (1.0 * px, 4.0 * px), rng) + 1.6 * flat_noise(
            shape, 14 * px, rng
        )
    lab[..., 0] = np.clip(lab[..., 0], 4, 95)
    return lab_to_linear(lab)


def room_light(setting: Setting) -> FloatArray:
    """Radiance of the room all round, shape (64, 128, 3), mean luminance about one, zenith first.

    A glaze mirrors the room, so it is never one even tone: ceiling, darker walls, furniture.
    """
    rng = np.random.default_rng(setting.seed)
    rows = np.linspace(1, -1, 64)[:, None]
    level = 0.75 + 0.5 * smoothstep(-0.1, 0.7, rows) + 0.0 * np.zeros((1, 128), np.float32)
    patches = flat_noise((64, 128), (7.0, 9.0), rng)
    level = level * np.exp(0.45 * np.clip(patches, -2, 2))
    tint = 1.0 + 0.05 * flat_noise((64, 128), (8.0, 14.0), rng)[..., None] * np.array([1, 0, -1])
    return np.maximum(level[..., None] * tint / level.mean(), 0.05).astype(np.float32)


# Looks of tables and backdrops by eye (CIELAB).
_PAPERS = {
    "white paper": ("paper", (93.0, 0.0, 1.0)),
    "grey paper": ("paper", (62.0, 0.0, 0.5)),
    "dark grey paper": ("paper", (38.0, 0.0, 0.0)),
    "cream paper": ("paper", (88.0, 1.0, 11.0)),
    "blue-grey paper": ("paper", (66.0, -2.0, -6.0)),
    "sage paper": ("paper", (72.0, -8.0, 9.0)),
    "rose paper": ("paper", (76.0, 10.0, 5.0)),
    "kraft paper": ("paper", (64.0, 8.0, 22.0)),
    "slate board": ("slate", (30.0, -1.0, -2.5)),
    "natural linen": ("linen", (74.0, 2.5, 11.0)),
    "grey linen": ("linen", (58.0, 0.5, 1.0)),
    "oak": ("wood", (66.0, 9.0, 26.0)),
    "walnut": ("wood", (40.0, 10.0, 16.0)),
    "scrubbed pine": ("wood", (78.0, 6.0, 24.0)),
    "granite": ("stone", (62.0, 0.0, 1.0)),
    "pale stone": ("stone", (82.0, 1.0, 5.0)),
    "plaster": ("slate", (86.0, 0.5, 3.0)),
}
MATERIALS = tuple(_PAPERS)


def material(name: str, seed: int, shine: float = 0.0) -> Material:
    """Look up a material by its plain name."""
    look, lab = _PAPERS[name]
    return Material(look, lab, shine, seed)


def random_setting(rng: np.random.Generator) -> Setting:
    """Draw a table, a backdrop and one to three lights."""
    names = list(_PAPERS)
    table_name = str(rng.choice(names))
    table = material(
        table_name, int(rng.integers(1 << 30)), float(rng.choice([0, 0, 0, 0.35, 0.6]))
    )
    table = Material(table.look, _vary(table.lab, rng), table.shine, table.seed)
    sweep = table.look == "paper" and rng.random() < 0.6
    plain = [n for n in names if _PAPERS[n][0] in ("paper", "linen", "slate")]
    back = table if sweep else material(str(rng.choice(plain)), int(rng.integers(1 << 30)))
    if not sweep:
        back = Material(back.look, _vary(back.lab, rng), 0.0, back.seed)
    side = float(rng.choice([-1, 1]))
    warm = float(rng.uniform(3000, 7000))
    lamps = [_key(rng, side, warm)]
    if rng.random() < 0.65:
        other = warm if rng.random() < 0.6 else float(rng.uniform(3000, 6800))
        lamps.append(
            Lamp(
                -side * float(rng.uniform(30, 85)),
                float(rng.uniform(20, 55)),
                float(rng.uniform(700, 1400)),
                float(rng.uniform(250, 800)),
                float(rng.uniform(250, 800)),
                other,
                float(rng.uniform(0.12, 0.45)),
            )
        )
    if rng.random() < 0.35:
        lamps.append(
            Lamp(
                float(rng.uniform(-40, 40)),
                float(rng.uniform(65, 84)),
                float(rng.uniform(900, 1600)),
                float(rng.uniform(80, 400)),
                float(rng.uniform(80, 400)),
                float(rng.uniform(2900, 5000)),
                float(rng.uniform(0.15, 0.5)),
            )
        )
    return Setting(
        table=table,
        backdrop=back,
        sweep=sweep,
        backdrop_mm=float(rng.uniform(160, 520)),
        lamps=tuple(lamps),
        room_power=float(rng.uniform(0.25, 0.7)),
        room_temperature_k=float(np.clip(warm + rng.normal(0, 500), 2900, 7000)),
        seed=int(rng.integers(1 << 30)),
    )


def _vary(lab: tuple[float, float, float], rng: np.random.Generator) -> tuple[float, float, float]:
    moved = np.asarray(lab) + rng.normal(0, (4.0, 1.2, 1.8))
    return (float(np.clip(moved[0], 14, 94)), float(moved[1]), float(moved[2]))


def _key(rng: np.random.Generator, side: float, temperature_k: float) -> Lamp:
    kind = rng.choice(["softbox", "window", "lamp"], p=[0.45, 0.4, 0.15])
    azimuth, elevation = side * float(rng.uniform(15, 80)), float(rng.uniform(28, 65))
    if kind == "window":
        return Lamp(
            azimuth,
            float(rng.uniform(22, 42)),
            float(rng.uniform(1100, 1900)),
            float(rng.uniform(600, 1000)),
            float(rng.uniform(800, 1300)),
            float(rng.uniform(5200, 7000)),
            1.0,
            int(rng.choice([1, 4, 6])),
        )
    if kind == "lamp":
        return Lamp(
            azimuth,
            elevation,
            float(rng.uniform(700, 1100)),
            float(rng.uniform(60, 140)),
            float(rng.uniform(60, 140)),
            temperature_k,
            1.0,
        )
    return Lamp(
        azimuth,
        elevation,
        float(rng.uniform(550, 1100)),
        float(rng.uniform(250, 600)),
        float(rng.uniform(250, 600)),
        temperature_k,
        1.0,
    )
