"""How much a photo of the same piece differs from the next: what no rule should trip over.

The shots are laid over each other and compared in small squares. What all squares of a shot have
in common is exposure and white balance, which judging within one photo does not feel; what is
left is the noise floor of colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from grader import channels
from grader.batch import list_photos
from grader.colour.difference import ciede2000
from grader.colour.srgb import decode_srgb, linear_to_lab
from grader.errors import BatchError, PhotoError
from grader.photo import read_photo
from grader.piece import cut_out
from grader.scale import DEFAULT_MARKER_MM
from grader.target import read_target

LEAST_SHOTS = 3
"""A spread from two shots is hardly better than a guess."""

# Sides of the squares, mm: what a speck and what a scorch or veil is measured over.
_SPECK_MM, _PATCH_MM = 0.5, 3.0

# Working scale, px per mm: the speck's square is then 4 px wide.
_WORK_PX_PER_MM = 8.0

# The rim of the piece is left out, mm: there the smallest shift changes the colour.
_SAME_SIZE = (0.6, 1.6)
"""Areas of one piece on two shots from one stand: a fit that shrinks it further has slipped."""

_LEAST_COMMON = 0.5
"""Share of the first shot's piece that another must show for the two to be compared."""

_RIM_MM = 3.0

_CLIPPED_LEVEL = 252

# Correlation of two shots, laid over each other, below which they do not fit: of their shading,
# and of their paint and specks, where there are any (natural log units of light within 3 mm).
_SAME_SHAPE = 0.8
_SAME_SIDE = 0.5
_HAS_DETAIL = 0.03


@dataclass(frozen=True, slots=True)
class NoiseFloor:
    """What repeated shots of one side of one piece differ by.

    Attributes
    ----------
    shots : int
    noise_de00 : float
        Standard deviation, CIEDE2000, of a patch of 3 mm within a photo; the rules' key
        ``colour.noise_de00``.
    speck_de00 : float
        The same of a speck of 0.5 mm.
    between_de00 : float
        Standard deviation, CIEDE2000, of the colour of the whole piece between photos.
    size_mm : float or None
        Standard deviation of ``extent_mm``; None without a marker in each photo.
    extent_mm : float or None
        Mean height of the outline of the piece, with what is seen of its opening.
    notes : tuple of str
        Shots that were left out, and why.
    """

    shots: int
    noise_de00: float
    speck_de00: float
    between_de00: float
    size_mm: float | None
    extent_mm: float | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Shot:
    """One shot at working scale: corrected light, where it can be trusted, and its extent."""

    name: str
    light: NDArray[np.float32]
    good: NDArray[np.bool_]
    extent_mm: float | None


def measure_noise(folder: Path, *, marker_mm: float = DEFAULT_MARKER_MM) -> NoiseFloor:
    """Measure the noise floor from repeated shots of one piece.

    Parameters
    ----------
    folder : Path
        At least three photos of the same side of one piece. Lift the piece and put it back
        between them to have that included.
    marker_mm : float
        Side of the printed marker.

    Returns
    -------
    NoiseFloor

    Raises
    ------
    BatchError
        The folder is missing, or fewer than three shots can be compared.
    """
    if not folder.is_dir():
        raise BatchError(
            "there is no such folder", where=str(folder), remedy="Check the name of the folder"
        )
    shots: list[_Shot] = []
    notes: list[str] = []
    for path in list_photos(folder, "", []):
        try:
            shots.append(_read(path, marker_mm))
        except PhotoError as error:
            notes.append(f"{str(error).rstrip('.')}; it was left out.")
    laid = _lay_over_each_other(shots, notes)
    if len(laid) < LEAST_SHOTS:
        why = f" {notes[0]}" if notes else ""
        raise BatchError(
            f"only {len(laid)} shots can be compared",
            where=str(folder),
            remedy=f"Put at least {LEAST_SHOTS} photos of one side of one piece there.{why}",
        )
    good = np.all([shot.good for shot in laid], axis=0)
    lights = [shot.light for shot in laid]
    heights = [shot.extent_mm for shot in laid if shot.extent_mm is not None]
    all_heights = len(heights) == len(laid)
    patch, between = _spread(lights, good, _PATCH_MM)
    speck, _ = _spread(lights, good, _SPECK_MM)
    return NoiseFloor(
        shots=len(laid),
        noise_de00=patch,
        speck_de00=speck,
        between_de00=between,
        size_mm=float(np.std(heights, ddof=1)) if all_heights else None,
        extent_mm=float(np.mean(heights)) if all_heights else None,
        notes=tuple(notes),
    )


def _read(path: Path, marker_mm: float) -> _Shot:
    photo = read_photo(path)
    target = read_target(photo, marker_mm=marker_mm)
    silhouette = cut_out(photo.rgb, target.cards_px)
    if silhouette is None:
        raise PhotoError(
            "no piece stands out from the background",
            where=photo.name,
            remedy="Use a plain backdrop of another colour",
        )
    left, top, width, height = silhouette.bbox_px
    scale = target.scale.px_per_mm
    # Without a marker the piece is taken to be 100 mm high, which only sets the squares.
    factor = min(1.0, _WORK_PX_PER_MM / (scale or height / 100.0))
    margin = round(4 / factor)
    rows = slice(max(0, top - margin), top + height + margin)
    columns = slice(max(0, left - margin), left + width + margin)
    crop = np.ascontiguousarray(photo.rgb[rows, columns])
    piece = silhouette.mask[rows, columns] & (channels.largest(crop) < _CLIPPED_LEVEL)
    size = (max(8, round(crop.shape[1] * factor)), max(8, round(crop.shape[0] * factor)))
    light = cv2.resize(decode_srgb(crop), size, interpolation=cv2.INTER_AREA)
    light = cv2.transform(light, target.colour.matrix.astype(np.float32))
    share = cv2.resize(piece.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    rim = round(_RIM_MM * _WORK_PX_PER_MM)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * rim + 1, 2 * rim + 1))
    inner = cv2.erode((share > 0.99).astype(np.uint8), kernel, borderValue=0)
    return _Shot(
        name=photo.name,
        light=light,
        good=inner.astype(bool),
        extent_mm=None if scale is None else height / scale,
    )


def _lay_over_each_other(shots: list[_Shot], notes: list[str]) -> list[_Shot]:
    """Move every shot onto the first; leave out those that do not fit."""
    if not shots:
        return []
    first = shots[0]
    height, width = first.good.shape
    tone = _tone(first.light)
    laid = [first]
    for shot in shots[1:]:
        found = _fit(tone, _tone(shot.light), shot.good)
        if found is None:
            notes.append(f"{shot.name} does not show the same side as {first.name}; left out.")
            continue
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        light = cv2.warpAffine(shot.light, found, (width, height), flags=flags)
        good = cv2.warpAffine(shot.good.astype(np.float32), found, (width, height), flags=flags)
        if ((good > 0.99) & first.good).sum() < _LEAST_COMMON * first.good.sum():
            notes.append(f"{shot.name} does not show the same side as {first.name}; left out.")
            continue
        laid.append(_Shot(shot.name, light, good > 0.99, shot.extent_mm))
    return laid


def _tone(light: NDArray[np.float32]) -> NDArray[np.float32]:
    # Logarithms, so that a change of exposure is only an offset.
    grey = np.log(np.maximum(channels.mean(light), 1e-3))
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), 2.0), dtype=np.float32)


def _fit(
    first: NDArray[np.float32], other: NDArray[np.float32], where: NDArray[np.bool_]
) -> NDArray[np.float32] | None:
    """Return the affine map (2, 3) from the first to the other (Evangelidis & Psarakis 2008).

    ``where`` marks the piece on the other.
    """
    # Half the size is exact to a tenth of a pixel, at a quarter of the time.
    halves = [
        cv2.resize(p, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA) for p in (first, other)
    ]
    mask = cv2.resize(
        where.astype(np.uint8), halves[1].shape[::-1], interpolation=cv2.INTER_NEAREST
    )
    start = np.eye(2, 3, dtype=np.float32)
    # Both are cut to the piece: their middles nearly meet.
    start[:, 2] = (np.array(halves[1].shape[::-1]) - np.array(halves[0].shape[::-1])) / 2
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-5)
    try:
        likeness, found = cv2.findTransformECC(
            halves[0], halves[1], start, cv2.MOTION_AFFINE, stop, mask, 5
        )
    except cv2.error:
        # It raises where it does not converge.
        return None
    low, high = _SAME_SIZE
    if likeness < _SAME_SHAPE or not low < float(np.linalg.det(found[:, :2])) < high:
        return None
    full = np.asarray(found, dtype=np.float32)
    # Whole coordinates are pixel centres, so that the shift is not simply doubled.
    full[:, 2] = 2 * full[:, 2] + 0.5 - full[:, :2] @ np.array([0.5, 0.5], dtype=np.float32)
    laid = cv2.warpAffine(
        other, full, first.shape[::-1], flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    there = cv2.warpAffine(
        where.astype(np.uint8),
        full,
        first.shape[::-1],
        flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP,
    ).astype(bool)
    return full if _same_detail(first, laid, there) else None


def _same_detail(
    first: NDArray[np.float32], other: NDArray[np.float32], where: NDArray[np.bool_]
) -> bool:
    wide = _PATCH_MM * _WORK_PX_PER_MM
    one, two = (p[where] - cv2.GaussianBlur(p, (0, 0), wide)[where] for p in (first, other))
    if len(one) < 100:
        return False
    if min(one.std(), two.std()) < _HAS_DETAIL:
        # Plain ware looks alike from every side.
        return True
    return bool(np.corrcoef(one, two)[0, 1] >= _SAME_SIDE)


def _spread(
    lights: list[NDArray[np.float32]], good: NDArray[np.bool_], square_mm: float
) -> tuple[float, float]:
    """Return the spread of squares within a shot, and of whole shots, both as dE00."""
    side = max(1, round(square_mm * _WORK_PX_PER_MM))
    rows, columns = good.shape[0] // side, good.shape[1] // side
    if not rows or not columns:
        raise BatchError("the piece is too small in the photos to be compared", remedy="Go closer")

    def squares(plane: NDArray[np.floating]) -> NDArray[np.floating]:
        cut = plane[: rows * side, : columns * side]
        shape = (rows, side, columns, side, *plane.shape[2:])
        return np.asarray(cut.reshape(shape).mean(axis=(1, 3)))

    whole = squares(good.astype(np.float32)) > 0.99
    if whole.sum() < 4:
        raise BatchError(
            "too little of the piece can be compared (glare, or too small)",
            remedy="Go closer, and move the lamp",
        )
    cells = np.stack([squares(light)[whole] for light in lights])
    lab = linear_to_lab(np.maximum(cells, 0)).astype(np.float64)
    # What a shot has in common is taken out as a factor on light, channel by channel.
    common = np.exp(np.log(np.maximum(cells, 1e-4)).mean(axis=1, keepdims=True))
    even = cells / common * common.mean(axis=0, keepdims=True)
    even_lab = linear_to_lab(even).astype(np.float64)
    # The mean of n shots is itself unsure by a share 1 / n.
    few = np.sqrt(len(lights) / (len(lights) - 1))
    local = ciede2000(even_lab, even_lab.mean(axis=0, keepdims=True))
    means = lab.mean(axis=1)
    between = ciede2000(means, means.mean(axis=0, keepdims=True))
    return (
        float(few * np.sqrt(np.mean(local**2))),
        float(few * np.sqrt(np.mean(between**2))),
    )
