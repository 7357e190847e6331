"""Triangle meshes of skins, cards and the ground, written as binary PLY files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

from .noise import FloatArray
from .passes import BACKDROP_U, CARD_U
from .settings import TILE_MM, Setting
from .skin import Skin


def _write_ply(
    path: Path,
    vertices: FloatArray,
    normals: FloatArray,
    uv: FloatArray,
    faces: npt.NDArray[np.int32],
) -> None:
    header = (
        "ply\nformat binary_little_endian 1.0\n"
        f"element vertex {len(vertices)}\n"
        + "".join(f"property float {n}\n" for n in ("x", "y", "z", "nx", "ny", "nz", "u", "v"))
        + f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    table = np.concatenate([vertices, normals, uv], axis=1).astype("<f4")
    rows = np.empty(len(faces), dtype=[("n", "u1"), ("v", "<i4", (3,))])
    rows["n"], rows["v"] = 3, faces
    path.write_bytes(header.encode("ascii") + table.tobytes() + rows.tobytes())


def _grid_faces(m: int, n: int) -> npt.NDArray[np.int32]:
    k = np.arange((m - 1) * n).reshape(m - 1, n)[:, :-1].ravel()
    return np.concatenate(
        [np.stack([k, k + 1, k + n + 1], -1), np.stack([k, k + n + 1, k + n], -1)]
    ).astype(np.int32)


def write_skin(skin: Skin, path: Path, first_u: float) -> None:
    """Write the mesh of a skin; its u runs from `first_u` to one more."""
    mesh = skin.mesh_mm
    m, n = mesh.shape[:2]
    # Columns close on themselves, so slopes are taken across the seam.
    wrapped = np.concatenate([mesh[:, -2:-1], mesh, mesh[:, 1:2]], axis=1)
    across = (wrapped[:, 2:] - wrapped[:, :-2]) / 2
    along = np.gradient(mesh, axis=0)
    normal = np.cross(across, along)
    if skin.name == "handle":
        normal = -normal
    normal /= np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-9)
    u, v = np.meshgrid(first_u + np.linspace(0, 1, n), np.linspace(0, 1, m))
    uv = np.stack([u, v], -1).reshape(-1, 2)
    faces = _grid_faces(m, n)
    if skin.name == "handle":
        faces = faces[:, ::-1]
    _write_ply(path, mesh.reshape(-1, 3), normal.reshape(-1, 3), uv.astype(np.float32), faces)


def write_quad(corners: FloatArray, path: Path) -> None:
    """Write a card from its four corners in mm (top left, then clockwise)."""
    normal = np.cross(corners[2] - corners[3], corners[0] - corners[3])
    normal /= np.linalg.norm(normal)
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32) + np.array([CARD_U, 0])
    faces = np.array([[0, 3, 2], [0, 2, 1]], np.int32)
    _write_ply(path, corners, np.repeat(normal[None], 4, 0), uv.astype(np.float32), faces)


def write_ground(setting: Setting, folder: Path) -> None:
    """Write the table and, apart from it or swept up from it, the backdrop."""
    reach, depth = 2600.0, setting.backdrop_mm
    bend = 120.0
    if setting.sweep:
        turn = np.linspace(0, np.pi / 2, 24)
        y = np.concatenate([[-2600.0], depth + bend * np.sin(turn), [depth + bend]])
        z = np.concatenate([[0.0], bend - bend * np.cos(turn), [2600.0]])
    else:
        y, z = np.array([-2600.0, depth + 40.0]), np.array([0.0, 0.0])
    _write_strip(folder / "table.ply", y, z, reach, 0.0)
    if not setting.sweep:
        _write_strip(
            folder / "backdrop.ply",
            np.full(2, depth + 45.0),
            np.array([-400.0, 2600.0]),
            reach,
            BACKDROP_U,
        )


def _write_strip(
    path: Path, y: npt.NDArray[np.float64], z: npt.NDArray[np.float64], reach: float, first_u: float
) -> None:
    length = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(y), np.diff(z)))])
    rows = len(y)
    slope_y, slope_z = np.gradient(y), np.gradient(z)
    vertices, normals, uv = [], [], []
    for x, u in ((-reach, first_u), (reach, first_u + 2 * reach / TILE_MM)):
        vertices.append(np.stack([np.full(rows, x), y, z], -1))
        normals.append(np.stack([np.zeros(rows), -slope_z, slope_y], -1))
        uv.append(np.stack([np.full(rows, u), length / TILE_MM], -1))
    normal = np.stack(normals, 1).reshape(-1, 3)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    grid = np.stack(vertices, 1).reshape(-1, 3).astype(np.float32)
    _write_ply(
        path,
        grid,
        normal.astype(np.float32),
        np.stack(uv, 1).reshape(-1, 2).astype(np.float32),
        _grid_faces(rows, 2),
    )
