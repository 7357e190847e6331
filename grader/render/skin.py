"""Surfaces laid flat: a grid of texels that knows its millimetres, and the mesh it wraps."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from .forms import LIP, WALL, Form, Handle, lid_outline, wall_outline
from .noise import FloatArray, smoothstep

# Most texels one skin may have: 9 million are about 200 MB of layers.
_TEXELS_MAX = 9e6


@dataclass(frozen=True, slots=True)
class Skin:
    """One surface of a piece.

    Rows run along the outline, columns round the piece. Azimuth 0 (the front) is the middle column,
    the seam is at the back.

    Attributes
    ----------
    name : str
        "body", "lid" or "handle".
    mesh_mm : numpy.ndarray of float32, shape (M, N, 3)
        Vertices; x to the right of the front view, y away from the viewer, z up.
    along_mm : numpy.ndarray of float32, shape (H,)
        Place of each row along the outline.
    radius_mm : numpy.ndarray of float32, shape (H,)
        Mean radius at each row; times `across` it is the place across.
    across : numpy.ndarray of float32, shape (W,)
        Arc length of the unit plan from the front, to the right.
    part : numpy.ndarray of uint8, shape (H,)
        Part of the outline (see `forms`).
    height_mm : numpy.ndarray of float32, shape (H,)
        Height of each row above the table (mean over the row).
    texels_per_mm : float
    """

    name: str
    mesh_mm: FloatArray
    along_mm: FloatArray
    radius_mm: FloatArray
    across: FloatArray
    part: npt.NDArray[np.uint8]
    height_mm: FloatArray
    texels_per_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of texels."""
        return self.along_mm.size, self.across.size

    @property
    def azimuth_rad(self) -> FloatArray:
        """Azimuth of each column, -pi to pi."""
        width = self.across.size
        return ((np.arange(width) + 0.5) / width * 2 * np.pi - np.pi).astype(np.float32)

    def texel_area_mm2(self) -> FloatArray:
        """Area of each texel, shape (H, W)."""
        row = np.gradient(self.along_mm)
        col = np.abs(np.gradient(self.across))
        return (row * self.radius_mm)[:, None] * col[None, :]

    def points_mm(self, step: int = 1) -> FloatArray:
        """Positions of (every `step`-th) texel, shape (ceil(H/step), ceil(W/step), 3)."""
        rows, cols = self.shape
        m, n = self.mesh_mm.shape[:2]
        y = (np.arange(0, rows, step, dtype=np.float32) + 0.5) / rows * (m - 1)
        x = (np.arange(0, cols, step, dtype=np.float32) + 0.5) / cols * (n - 1)
        map_x, map_y = np.meshgrid(x, y)
        return np.asarray(cv2.remap(self.mesh_mm, map_x, map_y, cv2.INTER_LINEAR), np.float32)

    def column_at(self, azimuth_rad: float) -> int:
        """Column that looks in a direction."""
        turn = (azimuth_rad + np.pi) / (2 * np.pi) % 1.0
        return int(turn * self.across.size) % self.across.size

    def row_at_height(self, height_mm: float, parts: tuple[int, ...] = (WALL,)) -> int:
        """Row of the given parts nearest to a height above the table."""
        miss = np.abs(self.height_mm - height_mm) + 1e6 * ~np.isin(self.part, parts)
        return int(np.argmin(miss))

    def window(
        self, row: int, col: int, half_mm: float
    ) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], FloatArray, FloatArray]:
        """Texels round a place and their offsets from it.

        Returns
        -------
        rows, cols : numpy.ndarray of intp
            Indexes for ``numpy.ix_``; columns wrap round the back.
        right_mm, up_mm : numpy.ndarray of float32, shape (rows, cols)
            Offset from the centre, to the right and along the outline (up on the outside).
        """
        reach = int(np.ceil(half_mm * self.texels_per_mm)) + 1
        rows = np.arange(max(0, row - reach), min(self.shape[0], row + reach + 1))
        width = self.across.size
        perimeter = self._perimeter()
        radius = max(float(self.radius_mm[rows].min()), 0.5)
        col_reach = int(np.ceil(half_mm / (radius * perimeter) * width * 1.3)) + 1
        offsets = np.arange(-min(col_reach, width // 2), min(col_reach, (width - 1) // 2) + 1)
        cols = (col + offsets) % width
        turn = self.across[cols] - self.across[col]
        turn = (turn + perimeter / 2) % perimeter - perimeter / 2
        right = self.radius_mm[rows][:, None] * turn[None, :]
        up = np.broadcast_to((self.along_mm[rows] - self.along_mm[row])[:, None], right.shape)
        return rows, cols, right.astype(np.float32), up.astype(np.float32)

    def _perimeter(self) -> float:
        step = float(np.mean(np.diff(self.across)))
        return step * self.across.size


def _grid_skin(
    name: str,
    mesh: FloatArray,
    radius: FloatArray,
    across_mesh: FloatArray,
    part: npt.NDArray[np.uint8],
    texels_per_mm: float,
    along_mesh: FloatArray,
) -> Skin:
    m, n = mesh.shape[:2]
    length, girth = float(along_mesh[-1]), float(radius.max() * (across_mesh[-1] - across_mesh[0]))
    density = min(texels_per_mm, float(np.sqrt(_TEXELS_MAX / (length * girth))))
    rows, cols = max(8, int(length * density)), max(8, int(girth * density))
    row_at = (np.arange(rows) + 0.5) / rows * (m - 1)
    col_at = (np.arange(cols) + 0.5) / cols * (n - 1)
    index = np.arange(m)
    return Skin(
        name=name,
        mesh_mm=mesh,
        along_mm=np.interp(row_at, index, along_mesh).astype(np.float32),
        radius_mm=np.interp(row_at, index, radius).astype(np.float32),
        across=np.interp(col_at, np.arange(n), across_mesh).astype(np.float32),
        part=part[np.clip(np.rint(row_at).astype(int), 0, m - 1)],
        height_mm=np.interp(row_at, index, mesh[:, :, 2].mean(axis=1)).astype(np.float32),
        texels_per_mm=density,
    )


def body_skin(form: Form, texels_per_mm: float = 10.0, lid: bool = False) -> Skin:
    """Wrap the wall of a piece (or its lid) in a skin.

    Parameters
    ----------
    form : Form
    texels_per_mm : float
        Wished density; large pieces get less so that the skin stays below nine million texels.
    lid : bool
        Take the lid's outline instead of the wall's.

    Returns
    -------
    Skin
    """
    outline = lid_outline(form) if lid else wall_outline(form)
    points = outline.points_mm
    columns = 361
    theta = np.linspace(-np.pi, np.pi, columns).astype(np.float32)
    factor = form.cross.factor(theta)
    plan = np.stack([factor * np.sin(theta), -factor * np.cos(theta)], -1)
    across = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(plan, axis=0), axis=1))])
    across -= across[columns // 2]
    mesh = np.empty((len(points), columns, 3), np.float32)
    mesh[..., :2] = points[:, None, :1] * plan[None]
    mesh[..., 2] = points[:, 1:2]
    if form.spout_mm and not lid:
        away = (theta - form.spout_azimuth_rad + np.pi) % (2 * np.pi) - np.pi
        pull = (
            np.exp(-((away / 0.36) ** 2))[None, :]
            * smoothstep(0.72, 1.0, points[:, 1] / form.height_mm)[:, None]
        )
        side = np.array([np.sin(form.spout_azimuth_rad), -np.cos(form.spout_azimuth_rad)])
        mesh[..., :2] += (form.spout_mm * pull)[..., None] * side.astype(np.float32)
        mesh[..., 2] += 0.18 * form.spout_mm * pull
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    return _grid_skin(
        "lid" if lid else "body",
        mesh,
        np.maximum(points[:, 0], 0.02),
        across.astype(np.float32),
        outline.part,
        texels_per_mm,
        along.astype(np.float32),
    )


def handle_skin(form: Form, handle: Handle, texels_per_mm: float = 10.0) -> Skin:
    """Wrap a handle in a skin; its rows run from the upper to the lower root.

    Parameters
    ----------
    form : Form
    handle : Handle
    texels_per_mm : float

    Returns
    -------
    Skin
    """
    outside, height = form.outside(), form.height_mm
    factor = float(form.cross.factor(handle.azimuth_rad))
    root = [
        float(np.interp(h * height, outside[:, 1], outside[:, 0])) * factor
        for h in (handle.top, handle.bottom)
    ]
    # The roots reach half a wall into the body, so that no gap shows at the joint.
    sink = 0.5 * form.wall_mm
    ends = np.array(
        [[root[0] - sink, handle.top * height], [root[1] - sink, handle.bottom * height]]
    )
    span = ends[0, 1] - ends[1, 1]
    out = max(root) + handle.reach_mm * 1.3
    control = np.array(
        [ends[0], [out, ends[0, 1] + 0.12 * span], [out, ends[1, 1] + 0.1 * span], ends[1]]
    )
    t = np.linspace(0, 1, 400)[:, None]
    curve = (1 - t) ** 3 * control[0] + 3 * t * (1 - t) ** 2 * control[1]
    curve = curve + 3 * t**2 * (1 - t) * control[2] + t**3 * control[3]
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(curve, axis=0).T))])
    count = max(48, int(length[-1] / 0.8))
    at = np.linspace(0, length[-1], count)
    path = np.stack([np.interp(at, length, curve[:, k]) for k in (0, 1)], -1)
    tangent = np.gradient(path, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], -1)
    # Pulled handles are thickest where they join.
    from_end = np.minimum(at, at[-1] - at)
    flare = 1.0 + 0.45 * np.exp(-((from_end / 6.0) ** 2))
    ring = np.linspace(-np.pi, np.pi, 49)
    half_t = handle.thickness_mm / 2 * flare
    half_w = handle.width_mm / 2 * flare
    radial = path[:, :1] + normal[:, :1] * (half_t[:, None] * np.cos(ring))
    rise = path[:, 1:] + normal[:, 1:] * (half_t[:, None] * np.cos(ring))
    side = half_w[:, None] * np.sin(ring)
    sin, cos = np.sin(handle.azimuth_rad), np.cos(handle.azimuth_rad)
    mesh = np.stack([radial * sin + side * cos, -radial * cos + side * sin, rise], -1)
    unit = np.stack([np.cos(ring) * handle.thickness_mm, np.sin(ring) * handle.width_mm], -1) / 2
    across = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(unit, axis=0), axis=1))])
    # The radius carries the flare, the unit plan the section, so that area stays right.
    return _grid_skin(
        "handle",
        mesh.astype(np.float32),
        flare.astype(np.float32),
        (across - across[24]).astype(np.float32),
        np.full(count, WALL, np.uint8),
        texels_per_mm,
        at.astype(np.float32),
    )


def piece_skins(form: Form, texels_per_mm: float = 10.0) -> list[Skin]:
    """All skins of a piece, the body first."""
    skins = [body_skin(form, texels_per_mm)]
    skins += [handle_skin(form, handle, texels_per_mm) for handle in form.handles]
    if form.lid:
        skins.append(body_skin(form, texels_per_mm, lid=True))
    return skins


def is_shown(skin: Skin) -> npt.NDArray[np.bool_]:
    """Rows that the four side views can show: the outside and the lip."""
    return np.isin(skin.part, (WALL, LIP))
