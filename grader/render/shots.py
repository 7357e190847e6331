"""How a session photographs a piece: poses, cards beside it, the phone's place and habits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .camera import Sensor, View, frame_view
from .forms import Form
from .noise import FloatArray
from .piece import MadePiece
from .scene import Card
from .settings import Setting
from .targets import CHART_COLS, CHART_ROWS, MARKER_CARD_MM, chart_card, marker_card
from .tones import planckian_rgb

SIDES = ("front", "right", "back", "left")


@dataclass(frozen=True, slots=True)
class Session:
    """One table, one light, one phone on its stand.

    `card_gap_mm` below zero lets a card overlap the outline of the piece.
    """

    setting: Setting
    elevation_deg: float
    azimuth_deg: float
    fov_deg: float
    size_px: tuple[int, int]
    chart: bool
    chart_mm: float
    marker_side: int
    card_gap_mm: float
    exposure_ev: float
    cast: tuple[float, float, float]
    noise: float
    blur_px: float
    contrast: float
    vignette: float
    quality: int
    fill: float
    offset: tuple[float, float]
    roll_deg: float


@dataclass(frozen=True, slots=True)
class Shot:
    """All that places one photograph; scales are in pixels per mm."""

    name: str
    view: View
    pose: npt.NDArray[np.float64]
    cards: tuple[Card, ...]
    px_per_mm: float
    marker_px_per_mm: float


def random_session(rng: np.random.Generator, setting: Setting, size_px: tuple[int, int]) -> Session:
    """Draw the habits of a photographer."""
    return Session(
        setting=setting,
        elevation_deg=float(rng.uniform(6, 42)),
        azimuth_deg=0.0,
        fov_deg=float(rng.uniform(24, 55)),
        size_px=size_px,
        chart=bool(rng.random() < 0.55),
        chart_mm=float(rng.uniform(56, 78)),
        marker_side=int(rng.choice([-1, 1])),
        card_gap_mm=float(rng.uniform(3, 15)),
        exposure_ev=float(rng.uniform(-0.55, 0.3)),
        cast=_triple(1.0 + rng.normal(0, (0.03, 0.008, 0.045))),
        noise=float(rng.uniform(0.006, 0.02)),
        blur_px=float(rng.uniform(0.45, 1.0)),
        contrast=float(rng.uniform(0.0, 0.35)),
        vignette=float(rng.uniform(0.0, 0.28)),
        quality=int(rng.integers(84, 95)),
        fill=float(rng.uniform(0.86, 0.97)),
        offset=_pair(rng.uniform(-0.06, 0.06, 2)),
        roll_deg=float(rng.normal(0, 0.6)),
    )


def _triple(v: npt.NDArray[np.float64]) -> tuple[float, float, float]:
    return (float(v[0]), float(v[1]), float(v[2]))


def _pair(v: npt.NDArray[np.float64]) -> tuple[float, float]:
    return (float(v[0]), float(v[1]))


def _turn_z(angle: float) -> npt.NDArray[np.float64]:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])


def _turn_x(angle: float) -> npt.NDArray[np.float64]:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[1.0, 0, 0], [0, c, -s], [0, s, c]])


def _rest_angle(form: Form) -> float:
    """Angle between axis and table when the piece lies on its side (on belly and rim or foot)."""
    hull = form.outside()
    best, pair = -1.0, (hull[0], hull[-1])
    # The longest straight edge of the outline's outer hull is what it lies on.
    points = hull[:: max(1, len(hull) // 60)]
    for i in range(len(points)):
        for j in range(i + 1, len(points)):
            edge = points[j] - points[i]
            cross = edge[1] * (points[:, 0] - points[i, 0]) - edge[0] * (
                points[:, 1] - points[i, 1]
            )
            if (cross <= 1e-3).all():
                length = float(np.hypot(*edge))
                if length > best:
                    best, pair = length, (points[i], points[j])
    (r0, z0), (r1, z1) = pair
    return float(np.arctan2(r1 - r0, z1 - z0))


def pose_for(name: str, form: Form, turn_extra_rad: float = 0.0) -> npt.NDArray[np.float64]:
    """Rotation of the piece for a view; the front faces the camera at -y.

    Parameters
    ----------
    name : str
        "front", "right", "back", "left", "inside" or "foot".
    form : Form
    turn_extra_rad : float
        How far the maker missed the quarter turn.

    Returns
    -------
    numpy.ndarray of float64, shape (3, 3)
    """
    if name in SIDES:
        return _turn_z(-SIDES.index(name) * np.pi / 2 + turn_extra_rad)
    if name == "inside":
        return _turn_z(turn_extra_rad)
    wide = form.radius_mm * 2 > 1.15 * form.height_mm or form.lid
    if wide and not form.spout_mm:
        # Upside down on its rim.
        return _turn_z(turn_extra_rad) @ _turn_x(np.pi)
    # On its side, foot towards the camera, a handle pointing up, a spout to the side.
    first = -form.handles[0].azimuth_rad if form.handles else turn_extra_rad
    lie = _turn_x(-np.pi / 2 + _rest_angle(form))
    return _turn_z(0.12) @ lie @ _turn_z(first)


def plan_shot(piece: MadePiece, session: Session, name: str, rng: np.random.Generator) -> Shot:
    """Place piece, cards and phone for one view.

    Parameters
    ----------
    piece : MadePiece
    session : Session
    name : str
        View name.
    rng : numpy.random.Generator

    Returns
    -------
    Shot
    """
    form = piece.plan.form
    shown = [c for c in piece.canvases if not (c.skin.name == "lid" and name in ("inside", "foot"))]
    vertices = np.concatenate([c.skin.mesh_mm[::3, ::6].reshape(-1, 3) for c in shown]).astype(
        np.float64
    )
    rotation = pose_for(name, form, float(rng.normal(0, 0.035)))
    turned = vertices @ rotation.T
    shift = np.array([0.0, 0.0, -turned[:, 2].min()])
    if name == "foot":
        shift[:2] = -(turned[:, :2].min(0) + turned[:, :2].max(0)) / 2
    placed = turned + shift
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = rotation, shift

    elevation = session.elevation_deg
    if name == "inside":
        elevation = float(rng.uniform(58, 68))
    elif name == "foot":
        upside_down = rotation[2, 2] < -0.9
        elevation = float(rng.uniform(46, 58)) if upside_down else min(session.elevation_deg, 22.0)
    # The cards stay where they are while the piece is turned, so they clear its widest side.
    if name in SIDES:
        reach = (
            float(np.hypot(vertices[:, 0], vertices[:, 1]).max())
            if form.handles or form.spout_mm
            else float(np.abs(placed[:, 0]).max())
        )
    else:
        reach = float(np.abs(placed[:, 0]).max())
    centre = np.array([0.0, 0.0, (placed[:, 2].min() + placed[:, 2].max()) / 2])
    lean = 0.0 if elevation < 45 else np.radians(elevation)
    side = session.marker_side
    cards = [
        _card(
            "marker",
            marker_card(),
            MARKER_CARD_MM,
            MARKER_CARD_MM,
            side * (reach + session.card_gap_mm + MARKER_CARD_MM / 2),
            lean,
        )
    ]
    if session.chart:
        width = session.chart_mm
        height = width * (CHART_ROWS + 0.999) / (CHART_COLS + 1.333)
        chart = chart_card()
        height = width * chart.shape[0] / chart.shape[1]
        cards.append(
            _card(
                "chart",
                chart,
                width,
                height,
                -side * (reach + session.card_gap_mm + width / 2),
                lean,
            )
        )
    corners = np.concatenate([placed, *[c.corners_mm for c in cards]])
    if name in SIDES:
        # The phone stays on its stand while the piece is turned: frame every side at once.
        spin = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        r = np.hypot(vertices[:, 0], vertices[:, 1])
        rings = [np.stack([r * np.sin(t), -r * np.cos(t), vertices[:, 2]], -1)[::7] for t in spin]
        corners = np.concatenate([*rings, *[c.corners_mm for c in cards]])
    view = frame_view(
        corners,
        centre,
        elevation,
        session.fov_deg,
        session.size_px,
        session.fill,
        session.offset,
        session.roll_deg,
        session.azimuth_deg,
    )
    depth = float(view.project(centre)[2])
    marker_depth = float(view.project(cards[0].corners_mm.mean(axis=0))[2])
    return Shot(name, view, pose, tuple(cards), view.focal_px / depth, view.focal_px / marker_depth)


def _card(
    name: str, albedo: FloatArray, width: float, height: float, x: float, lean: float
) -> Card:
    up = np.array([0.0, np.sin(lean), np.cos(lean)])
    foot = np.array([x, -0.5 * height * np.sin(lean), 0.3])
    half = np.array([width / 2, 0.0, 0.0])
    top = foot + height * up
    corners = np.stack([top - half, top + half, foot + half, foot - half]).astype(np.float32)
    return Card(name, albedo, corners)


def sensor_for(session: Session, light: FloatArray, on_piece: npt.NDArray[np.bool_]) -> Sensor:
    """Let the phone choose exposure and white balance for a session.

    The phone balances most of the light's colour away and meters so that the brightest part of the
    piece, highlights aside, stays below clipping.

    Parameters
    ----------
    session : Session
    light : numpy.ndarray of float32, shape (H, W, 3)
        Linear light of the first view.
    on_piece : numpy.ndarray of bool, shape (H, W)

    Returns
    -------
    Sensor
    """
    lamps = session.setting.lamps
    power = sum((lamp.power * planckian_rgb(lamp.temperature_k) for lamp in lamps), np.zeros(3))
    power = power + session.setting.room_power * planckian_rgb(session.setting.room_temperature_k)
    power = power / power[1]
    gains = (1.0 / power) ** 0.94 * np.asarray(session.cast)
    gains = gains / gains[1]
    luma = (light * gains) @ np.array([0.2126, 0.7152, 0.0722])
    bright = float(np.percentile(luma[on_piece], 96))
    frame = float(np.percentile(luma, 92))
    # Bright clay may reach 0.72 of full scale, the frame at large 0.9; dark pots stay dark.
    metered = min(
        0.70 / max(bright, 1e-3), 0.88 / max(frame, 1e-3), 2.2 * 0.4 / max(float(luma.mean()), 1e-3)
    )
    return Sensor(
        gains=_triple(gains),
        exposure=float(metered * 2.0**session.exposure_ev),
        noise=session.noise,
        blur_px=session.blur_px,
        sharpen=0.25,
        vignette=session.vignette,
        contrast=session.contrast,
        quality=session.quality,
    )
