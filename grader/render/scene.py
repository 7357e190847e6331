"""Path tracing of one view with mitsuba, and its exact labels."""

from __future__ import annotations

import ctypes.util
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from ..errors import GraderError
from .camera import View
from .canvas import BACKGROUND
from .noise import FloatArray
from .piece import MadePiece
from .settings import TILE_MM, Lamp, Material, Setting, material_tile, room_light
from .skin import Skin
from .tones import planckian_rgb

# Dr.Jit's code needs LLVM 17 or newer: version 16 aborts the whole process on this renderer.
_LLVM_MIN = 17
# Paths longer than this change a picture of a pot on a table by less than its noise.
_DEPTH = 4
# Whole numbers added to u tell the surfaces apart; textures repeat, so they see no difference.
_SKIN_U, _CARD_U = 64, 256
_BACKDROP_U = 32
_CARD, _TABLE, _BACKDROP = 1000, 2000, 2001


class RendererMissingError(GraderError):
    """The path tracer is not installed."""


@dataclass(frozen=True, slots=True)
class Card:
    """A card in the scene: reflectance, its four corners in mm (top left, then clockwise)."""

    name: str
    albedo: FloatArray
    corners_mm: FloatArray


@dataclass(frozen=True, slots=True)
class Picture:
    """A rendered view: linear light (H, W, 3) float32 and labels (H, W) uint8."""

    light: FloatArray
    labels: npt.NDArray[np.uint8]


def load_mitsuba() -> Any:
    """Import mitsuba and choose the fastest variant that works here.

    Returns
    -------
    module

    Raises
    ------
    RendererMissingError
        mitsuba is not installed.
    """
    library = _find_llvm()
    if library:
        os.environ.setdefault("DRJIT_LIBLLVM_PATH", library)
    try:
        import mitsuba
    except ImportError as error:
        raise RendererMissingError(
            "The path tracer that makes sample pictures is not installed",
            where="mitsuba",
            remedy="Install it with: pip install 'unload-grader[samples]'",
        ) from error
    if mitsuba.variant() is None:
        mitsuba.set_variant("llvm_ad_rgb" if library else "scalar_rgb")
    return mitsuba


def _find_llvm() -> str | None:
    given = os.environ.get("DRJIT_LIBLLVM_PATH")
    if given:
        return given
    for version in range(30, _LLVM_MIN - 1, -1):
        name = ctypes.util.find_library(f"LLVM-{version}") or ctypes.util.find_library(
            f"LLVM.so.{version}"
        )
        if name:
            return name
        for folder in ("/usr/lib/x86_64-linux-gnu", "/usr/lib/aarch64-linux-gnu", "/usr/lib"):
            path = Path(folder) / f"libLLVM-{version}.so"
            if path.exists():
                return str(path)
    return None


class Studio:
    """Renders views of one piece in one setting; the textures are loaded once."""

    def __init__(self, piece: MadePiece, setting: Setting) -> None:
        """Load the renderer and hand it the surfaces.

        Parameters
        ----------
        piece : MadePiece
        setting : Setting
        """
        self._mi = load_mitsuba()
        self._piece = piece
        self._setting = setting
        self._folder = tempfile.TemporaryDirectory(prefix="grader-render-")
        folder = Path(self._folder.name)
        self._labels = [canvas.labels() for canvas in piece.canvases]
        self._albedos = [np.clip(canvas.albedo(), 0.004, 0.92) for canvas in piece.canvases]
        self._skins: list[tuple[Path, dict[str, Any]]] = []
        for k, canvas in enumerate(piece.canvases):
            path = folder / f"skin{k}.ply"
            _write_skin(canvas.skin, path, _SKIN_U + 2 * k)
            self._skins.append((path, self._clay_bsdf(k)))
        self._stage = self._build_stage(folder)

    def close(self) -> None:
        """Remove the temporary meshes."""
        self._folder.cleanup()

    def __enter__(self) -> Studio:
        """Use as a context."""
        return self

    def __exit__(self, *_: object) -> None:
        """Clean up."""
        self.close()

    def render(
        self,
        view: View,
        pose: npt.NDArray[np.float64],
        cards: list[Card],
        spp: tuple[int, int],
        seed: int,
        hidden: tuple[str, ...] = (),
        base: FloatArray | None = None,
    ) -> Picture:
        """Path-trace one view.

        Parameters
        ----------
        view : View
        pose : numpy.ndarray of float64, shape (4, 4)
            Where the piece stands.
        cards : list of Card
        spp : tuple of int
            Samples a pixel for the whole frame, and more of them on the piece.
        seed : int
        hidden : tuple of str
            Names of skins that were put aside for this view, such as the lid.
        base : numpy.ndarray of float32, shape (H, W, 3), optional
            Light of another view by the same camera of the same round piece: only the
            surroundings of the piece are traced anew.

        Returns
        -------
        Picture
        """
        mi = self._mi
        scene_dict: dict[str, Any] = {"type": "scene", **self._stage}
        transform = mi.ScalarTransform4f(pose.tolist())
        for k, (path, bsdf) in enumerate(self._skins):
            if self._piece.canvases[k].skin.name in hidden:
                continue
            scene_dict[f"skin{k}"] = {
                "type": "ply",
                "filename": str(path),
                "to_world": transform,
                "bsdf": bsdf,
            }
        folder = Path(self._folder.name)
        for card in cards:
            path = folder / f"{card.name}{seed}.ply"
            _write_quad(card.corners_mm, path)
            scene_dict[f"card_{card.name}"] = {
                "type": "ply",
                "filename": str(path),
                "bsdf": {
                    "type": "twosided",
                    "bsdf": {"type": "diffuse", "reflectance": self._bitmap(card.albedo)},
                },
            }
        scene = mi.load_dict(scene_dict)
        uv, shape = self._first_hit(scene, view, (0.0, 0.0))
        labels = self._look_up(uv, shape)
        on_piece, ground = shape < _CARD, shape >= _TABLE
        # The pattern of cloth, wood or stone hides noise that plain paper would show, but must
        # not be smoothed; plain grounds and printed cards are settled instead.
        plain = shape == _CARD
        for number, cover in ((_TABLE, self._setting.table), (_BACKDROP, self._setting.backdrop)):
            if cover.look == "paper":
                plain |= shape == number
        if base is None:
            light = _settle(self._trace(scene, view, spp[0], seed, None), plain)
        else:
            light = base.copy()
        window = _bounding(on_piece, margin=round(0.06 * view.width_px))
        if window is not None and spp[1] > 0:
            x, y, w, h = window
            here = np.s_[y : y + h, x : x + w]
            part = self._trace(scene, view, spp[1], seed + 1, window)
            part = _settle(_drop_sparks(part, on_piece[here]), plain[here])
            albedo, whole = self._albedo(scene, view)
            part = _settle_piece(part, albedo[here], whole[here])
            share = _feather(~ground[here], window, view)[..., None]
            light[here] += share * (part - light[here])
        return Picture(light.astype(np.float32), labels)

    def _albedo(self, scene: Any, view: View) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
        """Mean reflectance of the piece in each pixel, and the pixels that it fills."""
        total = np.zeros((view.height_px, view.width_px, 3), np.float32)
        whole = np.ones(total.shape[:2], bool)
        # Four places in the pixel: enough for surfaces that are finer than it by half.
        for dx, dy in ((-0.25, -0.25), (0.25, -0.25), (-0.25, 0.25), (0.25, 0.25)):
            uv, shape = self._first_hit(scene, view, (dx, dy))
            for k, texels in enumerate(self._albedos):
                mask = shape == k
                row, col = _texel(uv[mask], texels.shape)
                total[mask] += 0.25 * texels[row, col]
            whole &= shape < _CARD
        return total, whole

    def _trace(
        self, scene: Any, view: View, spp: int, seed: int, window: tuple[int, int, int, int] | None
    ) -> FloatArray:
        mi = self._mi
        sensor = self._sensor(view, window, thin=True)
        integrator = mi.load_dict({"type": "path", "max_depth": _DEPTH, "rr_depth": 3})
        total: FloatArray | None = None
        done = 0
        # Passes of at most 16 samples bound the renderer's memory.
        while done < spp:
            now = min(16, spp - done)
            part = np.array(
                mi.render(
                    scene, sensor=sensor, integrator=integrator, spp=now, seed=seed * 64 + done
                ),
                dtype=np.float32,
            )
            part = np.nan_to_num(part, nan=0.0, posinf=0.0)
            # One wild path must not leave a white dot that reads as a fault.
            part = np.minimum(part, 40.0)
            total = part * now if total is None else total + part * now
            done += now
        assert total is not None
        return np.asarray(total / done, np.float32)

    def _first_hit(
        self, scene: Any, view: View, shift_px: tuple[float, float]
    ) -> tuple[FloatArray, npt.NDArray[np.int32]]:
        """Surface coordinates at each pixel's centre (or beside it), and whose they are.

        The number of the skin travels in the whole part of u, which repeating textures ignore;
        cards are `_CARD`, all else `_TABLE` or `_BACKDROP`.
        """
        mi = self._mi
        integrator = mi.load_dict({"type": "aov", "aovs": "uv:uv"})
        sensor = self._sensor(view, None, thin=False, shift_px=shift_px)
        out = np.array(mi.render(scene, sensor=sensor, integrator=integrator, spp=1, seed=0))
        u = out[..., 0].astype(np.float64)
        owner = np.full(u.shape, _TABLE, np.int32)
        owner[u >= _BACKDROP_U - 0.5] = _BACKDROP
        owner[u >= _CARD_U - 0.5] = _CARD
        on_skin = (u >= _SKIN_U - 0.5) & (u < _CARD_U - 0.5)
        owner[on_skin] = ((u[on_skin] - _SKIN_U) // 2).astype(np.int32)
        uv = np.stack([u - _SKIN_U - 2 * owner * on_skin, out[..., 1]], -1)
        return uv.astype(np.float32), owner

    def _look_up(self, uv: FloatArray, shape: npt.NDArray[np.int32]) -> npt.NDArray[np.uint8]:
        labels = np.full(shape.shape, BACKGROUND, np.uint8)
        for k, texels in enumerate(self._labels):
            mask = shape == k
            row, col = _texel(uv[mask], texels.shape)
            labels[mask] = texels[row, col]
        return labels

    def _sensor(
        self,
        view: View,
        window: tuple[int, int, int, int] | None,
        thin: bool,
        shift_px: tuple[float, float] = (0.0, 0.0),
    ) -> Any:
        mi = self._mi
        film: dict[str, Any] = {
            "type": "hdrfilm",
            "width": view.width_px,
            "height": view.height_px,
            "pixel_format": "rgb",
            "component_format": "float32",
            # A narrow filter: the phone's own softness is added with its sensor.
            "rfilter": {"type": "box"},
        }
        if window is not None:
            film |= dict(
                zip(
                    ("crop_offset_x", "crop_offset_y", "crop_width", "crop_height"),
                    window,
                    strict=True,
                )
            )
        sensor: dict[str, Any] = {
            "type": "thinlens" if thin else "perspective",
            "fov": view.fov_deg,
            "fov_axis": "x",
            "near_clip": 5.0,
            "far_clip": 20000.0,
            "to_world": mi.ScalarTransform4f().look_at(
                list(view.origin_mm), list(view.aim_mm), list(view.up)
            ),
            "film": film,
            "sampler": {"type": "independent", "sample_count": 16}
            if thin
            else {"type": "stratified", "sample_count": 1, "jitter": False},
        }
        if not thin:
            sensor |= {
                "principal_point_offset_x": shift_px[0] / view.width_px,
                "principal_point_offset_y": shift_px[1] / view.height_px,
            }
        if thin:
            sensor |= {"aperture_radius": view.aperture_mm, "focus_distance": view.focus_mm}
        return mi.load_dict(sensor)

    def _bitmap(self, values: FloatArray) -> dict[str, Any]:
        array = values if values.ndim == 3 else values[..., None]
        return {
            "type": "bitmap",
            "bitmap": self._mi.Bitmap(np.ascontiguousarray(array, dtype=np.float32)),
            "raw": True,
            "filter_type": "bilinear",
            "wrap_mode": "repeat",
            "format": "fp16",
        }

    def _clay_bsdf(self, k: int) -> dict[str, Any]:
        canvas = self._piece.canvases[k]
        albedo = self._bitmap(self._albedos[k])
        body: dict[str, Any] = {"type": "diffuse", "reflectance": albedo}
        if canvas.glazed:
            body = {
                "type": "blendbsdf",
                "weight": self._bitmap(canvas.glaze),
                "bare": body,
                "glassy": {
                    "type": "roughplastic",
                    "distribution": "ggx",
                    # Softer than window glass: a stoneware glaze shows a slightly blurred window.
                    "alpha": 0.055,
                    "int_ior": 1.5,
                    "diffuse_reflectance": albedo,
                },
            }
        # Finer relief than a twentieth of the texture would only add noise.
        return {
            "type": "twosided",
            "bsdf": {
                "type": "bumpmap",
                "relief": self._bitmap(canvas.relief_mm),
                "bsdf": body,
            },
        }

    def _build_stage(self, folder: Path) -> dict[str, Any]:
        setting = self._setting
        stage: dict[str, Any] = {}
        _write_ground(setting, folder)
        stage["table"] = {
            "type": "ply",
            "filename": str(folder / "table.ply"),
            "bsdf": self._ground_bsdf(setting.table),
        }
        if not setting.sweep:
            stage["backdrop"] = {
                "type": "ply",
                "filename": str(folder / "backdrop.ply"),
                "bsdf": self._ground_bsdf(setting.backdrop),
            }
        for k, lamp in enumerate(setting.lamps):
            stage |= self._lamp(k, lamp)
        room = room_light(setting) * planckian_rgb(setting.room_temperature_k)
        # Irradiance of an even sky of radiance L is pi * L.
        stage["room"] = {
            "type": "envmap",
            "bitmap": self._mi.Bitmap(
                np.ascontiguousarray(room * setting.room_power / np.pi, dtype=np.float32)
            ),
            "to_world": self._mi.ScalarTransform4f().rotate([1, 0, 0], 90),
        }
        return stage

    def _ground_bsdf(self, material: Material) -> dict[str, Any]:
        albedo = self._bitmap(material_tile(material))
        diffuse = {"type": "diffuse", "reflectance": albedo}
        if material.shine <= 0:
            return {"type": "twosided", "bsdf": diffuse}
        shiny = {"type": "roughplastic", "alpha": 0.22, "diffuse_reflectance": albedo}
        blend = {"type": "blendbsdf", "weight": material.shine, "a": diffuse, "b": shiny}
        return {"type": "twosided", "bsdf": blend}

    def _lamp(self, k: int, lamp: Lamp) -> dict[str, Any]:
        mi = self._mi
        a, e = np.radians(lamp.azimuth_deg), np.radians(lamp.elevation_deg)
        origin = lamp.distance_mm * np.array(
            [np.sin(a) * np.cos(e), -np.cos(a) * np.cos(e), np.sin(e)]
        )
        area = lamp.width_mm * lamp.height_mm
        # Light on the table: radiance * area * cos / distance², for a lamp that faces the piece.
        radiance = lamp.power * lamp.distance_mm**2 / (area * np.sin(e))
        colour = (radiance * planckian_rgb(lamp.temperature_k)).tolist()
        frame = mi.ScalarTransform4f().look_at(origin.tolist(), [0, 0, 50], [0, 0, 1])
        columns = 1 if lamp.panes == 1 else 2
        rows = lamp.panes // columns
        # Glazing bars take a twelfth of the breadth of a pane.
        bar = 0.0 if lamp.panes == 1 else 1 / 12
        out: dict[str, Any] = {}
        for i in range(columns):
            for j in range(rows):
                x = ((i + 0.5) / columns - 0.5) * lamp.width_mm
                y = ((j + 0.5) / rows - 0.5) * lamp.height_mm
                size = [
                    lamp.width_mm / columns / 2 * (1 - bar),
                    lamp.height_mm / rows / 2 * (1 - bar),
                    1,
                ]
                out[f"lamp{k}_{i}_{j}"] = {
                    "type": "rectangle",
                    "to_world": frame @ mi.ScalarTransform4f().translate([x, y, 0]).scale(size),
                    "emitter": {"type": "area", "radiance": {"type": "rgb", "value": colour}},
                }
        return out


def _bounding(mask: npt.NDArray[np.bool_], margin: int) -> tuple[int, int, int, int] | None:
    if not mask.any():
        return None
    x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
    x0, y0 = max(0, x - margin), max(0, y - margin)
    x1, y1 = min(mask.shape[1], x + w + margin), min(mask.shape[0], y + h + margin)
    return x0, y0, x1 - x0, y1 - y0


def _texel(
    uv: FloatArray, shape: tuple[int, ...]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Row and column of the texel at each surface coordinate."""
    row = np.clip((uv[:, 1] * shape[0]).astype(np.intp), 0, shape[0] - 1)
    return row, np.clip((uv[:, 0] * shape[1]).astype(np.intp), 0, shape[1] - 1)


def _settle(light: FloatArray, plain: npt.NDArray[np.bool_]) -> FloatArray:
    """Smooth the light on plain ground and printed cards but for edges of shadows and patches.

    Few samples suffice there; the piece is never smoothed.
    """
    # The median takes the wild pixels, the bilateral passes the grain (about 0.25 in logarithms
    # with few samples); both leave edges between printed patches, which are many times that.
    middle = cv2.medianBlur(np.ascontiguousarray(light), 5)
    smooth = np.log(np.maximum(middle, 1e-4)).astype(np.float32)
    for reach, spread in ((0.35, 4.0), (0.12, 6.0)):
        smooth = np.asarray(cv2.bilateralFilter(smooth, 15, reach, spread), np.float32)
    inner = cv2.erode(plain.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    return np.where(inner[..., None], np.exp(smooth), light).astype(np.float32)


def _settle_piece(
    light: FloatArray, albedo: FloatArray, whole: npt.NDArray[np.bool_]
) -> FloatArray:
    """Smooth the light that falls on a piece, never what is painted, spotted or cracked on it.

    Divided by the exact reflectance, what is left is shading and highlights. Those change over
    several pixels and are smoothed over two; every mark of the surface comes back by
    multiplication.
    """
    safe = np.maximum(albedo, 0.02)
    falling = np.log(np.maximum(light / safe, 1e-4))
    # Outside the piece nothing may bleed in.
    falling[~whole] = np.log(1e-4)
    smooth = np.asarray(cv2.bilateralFilter(falling.astype(np.float32), 9, 0.45, 2.2), np.float32)
    return np.where(whole[..., None], np.exp(smooth) * safe, light).astype(np.float32)


def _drop_sparks(light: FloatArray, on_piece: npt.NDArray[np.bool_]) -> FloatArray:
    """Take out single wild pixels of the path tracer; they would read as flakes of white.

    A spark stands alone: brighter by half than the middle of its neighbours, and no neighbour comes
    near. A mirrored lamp is many pixels and stays.
    """
    luma = light.mean(axis=2)
    middle = cv2.medianBlur(light, 3)
    ring = np.ones((3, 3), np.uint8)
    ring[1, 1] = 0
    next_best = cv2.dilate(luma, ring)
    around = cv2.medianBlur(cv2.medianBlur(luma, 5), 3)
    alone = luma > 1.15 * next_best
    spark = (
        on_piece
        & (luma > 1.25 * around)
        & (alone | (luma > 1.6 * around) & (next_best < 0.9 * luma))
    )
    return np.where(spark[..., None], middle, light).astype(np.float32)


def _feather(
    solid: npt.NDArray[np.bool_], window: tuple[int, int, int, int], view: View
) -> FloatArray:
    """Share of the window's own samples: one on the piece, falling to zero at inner borders."""
    x, y, w, h = window
    soft = 0.05 * view.width_px
    gx, gy = np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32)
    left = gx if x > 0 else np.full_like(gx, soft)
    right = w - 1 - gx if x + w < view.width_px else np.full_like(gx, soft)
    top = gy if y > 0 else np.full_like(gy, soft)
    bottom = h - 1 - gy if y + h < view.height_px else np.full_like(gy, soft)
    share = np.minimum(np.minimum(left, right)[None], np.minimum(top, bottom)[:, None]) / soft
    return np.where(solid, 1.0, np.clip(share, 0, 1)).astype(np.float32)


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


def _write_skin(skin: Skin, path: Path, first_u: float) -> None:
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


def _write_quad(corners: FloatArray, path: Path) -> None:
    normal = np.cross(corners[2] - corners[3], corners[0] - corners[3])
    normal /= np.linalg.norm(normal)
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32) + np.array([_CARD_U, 0])
    faces = np.array([[0, 3, 2], [0, 2, 1]], np.int32)
    _write_ply(path, corners, np.repeat(normal[None], 4, 0), uv.astype(np.float32), faces)


def _write_ground(setting: Setting, folder: Path) -> None:
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
            _BACKDROP_U,
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
