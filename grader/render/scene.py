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
from .denoise import Calm, Guides, denoise, enlarge, mean_over
from .meshes import write_ground, write_quad, write_skin
from .noise import FloatArray
from .passes import (
    BACKDROP_U,
    CARD_OWNER,
    CARD_U,
    SKIN_U,
    gloss_integrator,
    light_integrator,
    surface_integrator,
)
from .piece import MadePiece
from .settings import Lamp, Material, Setting, material_tile, room_light
from .tones import planckian_rgb

# Dr.Jit's code needs LLVM 17 or newer: version 16 aborts the whole process on this renderer, and so
# does the variant without (mitsuba 3.9.1: its threads meet in the passes written in Python).
_LLVM_MIN = 17
# One path may not bring more light than this, some eight times that of white paper: a lone wild
# path must not leave a white dot that reads as a fault.
_BRIGHTEST = 8.0
# Surfaces are numbered: skins from 0, then these.
_CARD, _TABLE, _BACKDROP = 1000, 2000, 2001
# Radians of normal across which light is alike: diffuse light changes by a tenth over twice that,
# gloss within the width of the glaze's lobe.
_ALIKE_DIFFUSE, _ALIKE_GLOSS = 0.25, 0.05
# Doubling reaches of the filter of diffuse light: 126 coarse pixels.
_LEVELS = 6
# Of gloss: 30 fine pixels.
_GLOSS_LEVELS = 4
# Rays a pixel that ask what the surface is: edges get about that many steps.
_SURFACE_SPP = 8
# A round piece that is turned moves its edge by a few pixels: there the ground is traced anew.
_EDGE_PX = 12

_GLAZE = {
    "type": "roughplastic",
    "distribution": "ggx",
    # Softer than window glass: a stoneware glaze shows a slightly blurred window.
    "alpha": 0.055,
    "int_ior": 1.5,
}


class RendererMissingError(GraderError):
    """The path tracer, or the compiler that it needs, is not installed."""


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
    """Import mitsuba and choose the variant that works here.

    Returns
    -------
    module

    Raises
    ------
    RendererMissingError
        mitsuba is not installed, or no LLVM that it can use.
    """
    library = _find_llvm()
    if library is None:
        raise RendererMissingError(
            f"The path tracer needs LLVM {_LLVM_MIN} or newer, and none was found",
            where="libLLVM",
            remedy="Install it (Debian: apt install libllvm19), or name its file in "
            "DRJIT_LIBLLVM_PATH",
        )
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
        mitsuba.set_variant("llvm_ad_rgb")
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
            write_skin(canvas.skin, path, SKIN_U + 2 * k)
            self._skins.append((path, self._clay_bsdf(k)))
        relief = [self._mi.load_dict(self._bitmap(c.relief_mm)) for c in piece.canvases]
        gloss = [self._gloss_bsdf(k) for k in range(len(piece.canvases))]
        self._light = light_integrator(self._mi, relief, _BRIGHTEST)
        self._surface = surface_integrator(self._mi, relief)
        self._gloss = gloss_integrator(self._mi, gloss, _BRIGHTEST)
        self._glossy = any(bsdf is not None for bsdf in gloss)
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
            write_quad(card.corners_mm, path)
            scene_dict[f"card_{card.name}"] = {
                "type": "ply",
                "filename": str(path),
                "bsdf": {
                    "type": "twosided",
                    "bsdf": {"type": "diffuse", "reflectance": self._bitmap(card.albedo)},
                },
            }
        scene = mi.load_dict(scene_dict)
        uv, shape = self._first_hit(scene, view)
        labels = self._look_up(uv, shape)
        on_piece = shape < _CARD
        window = _bounding(on_piece, margin=2 * _EDGE_PX)
        x, y, w, h = window
        if base is not None:
            calm = self._calm(self._halves(scene, view, spp[1], seed, window, self._light))
            near, layers = self._develop(calm, scene, view, seed, window)
            light = base.copy()
            here = light[y : y + h, x : x + w]
            edge = cv2.dilate(on_piece[y : y + h, x : x + w].astype(np.uint8), _disc(_EDGE_PX)) > 0
            here[edge] = near[edge]
        else:
            whole = (0, 0, view.width_px, view.height_px)
            halves = self._halves(scene, view, spp[0], seed, whole, self._light)
            if spp[1] > 0 and on_piece.any():
                share = np.float32(spp[1] / (spp[0] + spp[1]))
                more = self._halves(scene, view, spp[1], seed + 1, window, self._light)
                for half, extra in zip(halves, more, strict=True):
                    part = half[y // 2 : (y + h) // 2, x // 2 : (x + w) // 2]
                    part += share * (extra - part)
            light, layers = self._develop(self._calm(halves), scene, view, seed, whole)
            here, layers = light[y : y + h, x : x + w], layers[y : y + h, x : x + w]
        if self._glossy and on_piece.any():
            here += self._shine(scene, view, max(2, sum(spp) // 6), seed, window, layers)
        return Picture(light, labels)

    def _calm(self, halves: tuple[FloatArray, FloatArray]) -> Calm:
        """Light that falls on all surfaces, coarse and without grain (see `LIGHT_CHANNELS`)."""
        mean = 0.5 * (halves[0] + halves[1])
        albedo, owner = np.maximum(mean[..., 3:6], 0.002), mean[..., 9]
        # Numbers of surfaces are whole: where they spread, several share the pixel.
        pure = np.abs(mean[..., 10] - owner**2) < 1e-3 * np.maximum(1.0, owner)
        return denoise(
            (halves[0][..., :3] / albedo, halves[1][..., :3] / albedo),
            Guides(mean[..., 6:9], owner, pure),
            _ALIKE_DIFFUSE,
            _LEVELS,
        )

    def _develop(
        self, calm: Calm, scene: Any, view: View, seed: int, window: tuple[int, int, int, int]
    ) -> tuple[FloatArray, FloatArray]:
        """Put coarse light on the fine surface; also its layers (see `SURFACE_CHANNELS`)."""
        layers = self._render(scene, self._sensor(view, window, _SURFACE_SPP), seed, self._surface)
        light = np.zeros((*layers.shape[:2], 3), np.float32)
        coarse_on_piece = calm.guides.owner < CARD_OWNER - 0.5
        for first, side in ((3, coarse_on_piece), (11, ~coarse_on_piece)):
            x, y, w, h = _bounding(layers[..., first] > 0, margin=2)
            here = np.s_[y : y + h, x : x + w]
            half = np.s_[y // 2 : (y + h) // 2, x // 2 : (x + w) // 2]
            part = layers[here][..., first : first + 8]
            own = np.asarray(part / np.maximum(part[..., :1], 1e-6), np.float32)
            guides = Guides(own[..., 4:7], own[..., 7], _whole(part))
            falling = enlarge(calm.part(half), side[half], guides, _ALIKE_DIFFUSE)
            light[here] += part[..., 1:4] * falling
        return light, layers

    def _shine(
        self,
        scene: Any,
        view: View,
        spp: int,
        seed: int,
        window: tuple[int, int, int, int],
        layers: FloatArray,
    ) -> FloatArray:
        """Trace what the glaze mirrors and settle it."""
        halves = self._halves(scene, view, spp, seed, window, self._gloss)
        share, whole = layers[..., 3], _whole(layers[..., 3:11])
        guides = Guides(layers[..., 7:10], layers[..., 10], whole)
        settled = denoise(halves, guides, _ALIKE_GLOSS, _GLOSS_LEVELS).light(guides.normal)
        # The edge mirrors what its neighbours do.
        near = [mean_over(np.ascontiguousarray(c), whole, 1.0) for c in np.moveaxis(settled, -1, 0)]
        edge = np.stack(near, -1) * share[..., None]
        return np.where(whole[..., None], settled, edge).astype(np.float32)

    def _render(self, scene: Any, sensor: Any, seed: int, integrator: Any) -> FloatArray:
        out = self._mi.render(
            scene,
            sensor=sensor,
            integrator=integrator,
            spp=sensor.sampler().sample_count(),
            seed=seed,
        )
        return np.nan_to_num(np.array(out, dtype=np.float32), nan=0.0, posinf=0.0)

    def _halves(
        self,
        scene: Any,
        view: View,
        spp: int,
        seed: int,
        window: tuple[int, int, int, int],
        integrator: Any,
    ) -> tuple[FloatArray, FloatArray]:
        """Two independent renderings, half of the samples each; light on the coarse grid."""
        sensor = self._sensor(view, window, spp=max(1, spp // 2), coarse=integrator is self._light)
        one, two = (self._render(scene, sensor, 2 * seed + k, integrator) for k in (0, 1))
        return one, two

    def _first_hit(self, scene: Any, view: View) -> tuple[FloatArray, npt.NDArray[np.int32]]:
        """Surface coordinates at each pixel's centre, and whose they are.

        The number of the skin travels in the whole part of u, which repeating textures ignore;
        cards are `_CARD`, all else `_TABLE` or `_BACKDROP`.
        """
        mi = self._mi
        integrator = mi.load_dict({"type": "aov", "aovs": "uv:uv"})
        sensor = self._sensor(view, None, 1)
        out = np.array(mi.render(scene, sensor=sensor, integrator=integrator, spp=1, seed=0))
        u = out[..., 0].astype(np.float64)
        owner = np.full(u.shape, _TABLE, np.int32)
        owner[u >= BACKDROP_U - 0.5] = _BACKDROP
        owner[u >= CARD_U - 0.5] = _CARD
        on_skin = (u >= SKIN_U - 0.5) & (u < CARD_U - 0.5)
        owner[on_skin] = ((u[on_skin] - SKIN_U) // 2).astype(np.int32)
        uv = np.stack([u - SKIN_U - 2 * owner * on_skin, out[..., 1]], -1)
        return uv.astype(np.float32), owner

    def _look_up(self, uv: FloatArray, shape: npt.NDArray[np.int32]) -> npt.NDArray[np.uint8]:
        labels = np.full(shape.shape, BACKGROUND, np.uint8)
        for k, texels in enumerate(self._labels):
            mask = shape == k
            row, col = _texel(uv[mask], texels.shape)
            labels[mask] = texels[row, col]
        return labels

    def _sensor(
        self, view: View, window: tuple[int, int, int, int] | None, spp: int, coarse: bool = False
    ) -> Any:
        """Phone camera on a window of the frame, or a pinhole without a window."""
        mi = self._mi
        size = np.array([view.width_px, view.height_px, *(window or ())]) // (2 if coarse else 1)
        keys = ("width", "height", "crop_offset_x", "crop_offset_y", "crop_width", "crop_height")
        film: dict[str, Any] = {
            "type": "hdrfilm",
            "pixel_format": "rgb",
            "component_format": "float32",
            # A narrow filter: the phone's own softness is added with its sensor.
            "rfilter": {"type": "box"},
            **dict(zip(keys, size.tolist(), strict=False)),
        }
        sensor: dict[str, Any] = {
            "type": "perspective",
            "fov": view.fov_deg,
            "fov_axis": "x",
            "near_clip": 5.0,
            "far_clip": 20000.0,
            "to_world": mi.ScalarTransform4f().look_at(
                list(view.origin_mm), list(view.aim_mm), list(view.up)
            ),
            "film": film,
            "sampler": {"type": "stratified", "sample_count": 1, "jitter": False},
        }
        if window is not None:
            sensor |= {
                "type": "thinlens",
                "aperture_radius": view.aperture_mm,
                "focus_distance": view.focus_mm,
                # Spread evenly over pixel, lens and lamps: half the noise of pure chance.
                "sampler": {"type": "multijitter", "sample_count": spp},
            }
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
                # What it mirrors is traced apart.
                "glassy": _GLAZE | {"diffuse_reflectance": albedo, "specular_reflectance": 0.0},
            }
        return self._bumped(k, body)

    def _gloss_bsdf(self, k: int) -> Any:
        """Build what a glazed skin mirrors, without the clay below; None for bare clay."""
        canvas = self._piece.canvases[k]
        if not canvas.glazed:
            return None
        black = {"type": "rgb", "value": 0.0}
        body = {
            "type": "blendbsdf",
            "weight": self._bitmap(canvas.glaze),
            "bare": {"type": "diffuse", "reflectance": black},
            "glassy": _GLAZE | {"diffuse_reflectance": black},
        }
        return self._mi.load_dict(self._bumped(k, body))

    def _bumped(self, k: int, body: dict[str, Any]) -> dict[str, Any]:
        # Finer relief than a twentieth of the texture would only add noise.
        return {
            "type": "twosided",
            "bsdf": {
                "type": "bumpmap",
                "relief": self._bitmap(self._piece.canvases[k].relief_mm),
                "bsdf": body,
            },
        }

    def _build_stage(self, folder: Path) -> dict[str, Any]:
        setting = self._setting
        stage: dict[str, Any] = {}
        write_ground(setting, folder)
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
            "sampling_weight": _attention(setting.room_power),
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
                    "emitter": {
                        "type": "area",
                        "radiance": {"type": "rgb", "value": colour},
                        "sampling_weight": _attention(lamp.power) / lamp.panes,
                    },
                }
        return out


def _attention(power: float) -> float:
    """Share of the samples that a light gets.

    By the root of its power: by power alone the side that only a weak lamp lights would be grainy.
    """
    return float(np.sqrt(power))


def _whole(part: FloatArray) -> npt.NDArray[np.bool_]:
    """Pixels well inside one surface, from the eight channels of one side."""
    owner = part[..., 7]
    return _within((part[..., 0] > 0.999) & (np.abs(owner - np.round(owner)) < 0.01))


def _within(mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Leave out the border of a mask, one pixel wide."""
    return np.asarray(cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)


def _disc(radius_px: int) -> npt.NDArray[np.uint8]:
    size = 2 * radius_px + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), np.uint8)


def _bounding(mask: npt.NDArray[np.bool_], margin: int) -> tuple[int, int, int, int]:
    """Window round a mask: x, y, width, height, all even; empty for an empty mask."""
    x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
    x0, y0 = max(0, x - margin) & ~1, max(0, y - margin) & ~1
    x1 = min(mask.shape[1], (x + w + margin + 1) & ~1)
    y1 = min(mask.shape[0], (y + h + margin + 1) & ~1)
    return x0, y0, x1 - x0, y1 - y0


def _texel(
    uv: FloatArray, shape: tuple[int, ...]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Row and column of the texel at each surface coordinate."""
    row = np.clip((uv[:, 1] * shape[0]).astype(np.intp), 0, shape[0] - 1)
    return row, np.clip((uv[:, 0] * shape[1]).astype(np.intp), 0, shape[1] - 1)
