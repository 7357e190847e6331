"""Millimetres: the printed marker, its tilt, and how much nearer than it the piece comes.

A phone is a pinhole to better than a percent once it has corrected its lens, so one length in
the picture, the side of the marker, and the angle of view give the scale at any distance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from grader.colour.srgb import decode_srgb
from grader.reduce import reduce_picture

DEFAULT_MARKER_MM = 20.0
"""Side of the black square of the marker that `grader slips` prints."""

# The picture that is searched first; a marker of 20 px there is a hundredth of the picture.
_SEARCH_PX = 1500
# A smaller marker cannot give 2 % (half a pixel on each side), whatever finds it.
_MIN_SIDE_PX = 25.0

# Paper must reflect at least so many times the light of the print beside it; painted squares
# on a pot and squares of shadow seldom do. Black toner on white paper gives 10 and more.
_MIN_CONTRAST = 2.5

# Side, px, of the marker when it is laid flat for measuring, and how far, in sides, the flat
# picture reaches beyond it.
_FLAT_PX = 160
_MARGIN_SIDES = 0.6
# The white that any reader needs around a marker is one module, a sixth of the side; where the
# end of the card cannot be seen (white card on white paper) this much is taken for the card.
_DEFAULT_BORDER_SIDES = 0.2
# Light of the border, relative to its own median, within which it still counts as the card.
_SAME_PAPER = (0.72, 1.25)

# Diagonal of the 35 mm format, mm (36 x 24); 35 mm equivalents compare diagonals (CIPA DCG-001).
_DIAGONAL_35MM = math.hypot(36.0, 24.0)

# What phones are used at when the file does not tell (common practice, no source): the main
# lens is 23 to 28 mm, a portrait or tele lens, advised for pots, 48 to 80 mm.
_FOCAL_RANGE_35MM = (24.0, 80.0)
# Directions in the picture go with the reciprocal of the focal length: its middle is as wrong
# for the one lens as for the other.
_FOCAL_ASSUMED_35MM = 2 / (1 / _FOCAL_RANGE_35MM[0] + 1 / _FOCAL_RANGE_35MM[1])

# Pots are not round to the percent, the card is put beside the middle by eye (a tenth of the
# width off), and the phone's own figure for its lens is rounded.
_KNOWN_FOCAL_ERROR = 0.02


@dataclass(frozen=True, slots=True)
class Marker:
    """A printed square marker in a photo.

    Attributes
    ----------
    number : int
        Its number in the dictionary DICT_4X4_50.
    corners_px : ndarray of float64, shape (4, 2)
        Corners (x, y) of the black square, to a fraction of a pixel, clockwise as printed from
        the top left.
    card_px : ndarray of float64, shape (4, 2)
        Outline of the white card that it is printed on, as far as it can be told.
    px_per_mm : float
        Scale of a plane through the middle of the marker that faces the camera.
    tilt_deg : float
        Angle between the marker and such a plane.
    pitch_deg : float
        The part of it by which the camera looks down on a card that stands upright.
    paper_linear : ndarray of float64, shape (3,), or None
        Linear camera colour of the white paper around it; None where it is clipped.
    """

    number: int
    corners_px: NDArray[np.float64]
    card_px: NDArray[np.float64]
    px_per_mm: float
    tilt_deg: float
    pitch_deg: float
    paper_linear: NDArray[np.float64] | None


@dataclass(frozen=True, slots=True)
class NearSurface:
    """Scale on the side of the piece that faces the camera.

    Attributes
    ----------
    px_per_mm : float
    error_share : float
        How far, as a share, the scale may be off on top of the scale it was derived from.
    """

    px_per_mm: float
    error_share: float


def focal_px(size_px: tuple[int, int], focal_35mm: float) -> float:
    """Focal length in pixels of a photo of ``size_px`` (width, height)."""
    return focal_35mm / _DIAGONAL_35MM * math.hypot(*size_px)


def scale_at_row(
    px_per_mm: float,
    size_px: tuple[int, int],
    focal_35mm: float | None,
    *,
    pitch_deg: float,
    from_row_px: float,
    to_row_px: float,
) -> float:
    """Carry the scale of an upright plane from one row of the picture to another.

    A camera that looks down sees the foot of a piece, where the card stands, from farther away
    than its middle: at 15 degrees the scale is 3 % smaller there.

    Parameters
    ----------
    px_per_mm : float
        Scale at ``from_row_px``.
    size_px : tuple of int
        (width, height) of the uncropped photo.
    focal_35mm : float or None
        From EXIF; an assumed one takes its place.
    pitch_deg : float
        How far the camera looks down; below 0 it is taken for 0, as then the card leans.
    from_row_px, to_row_px : float
        Rows of the marker's and of the piece's middle.

    Returns
    -------
    float
    """
    focal = focal_px(size_px, _FOCAL_ASSUMED_35MM if focal_35mm is None else focal_35mm)
    middle = (size_px[1] - 1) / 2
    pitch = math.radians(max(0.0, pitch_deg))
    rise = (from_row_px - to_row_px) / focal
    above = (middle - to_row_px) / focal
    # Height above the marker over the distance of the marker.
    height = rise / (math.cos(pitch) + above * math.sin(pitch))
    nearer = 1.0 - height * math.sin(pitch)
    return px_per_mm / nearer if nearer > 0 else px_per_mm


def near_surface_px_per_mm(
    px_per_mm: float,
    size_px: tuple[int, int],
    focal_35mm: float | None,
    piece_width_px: float,
    *,
    pitch_deg: float = 0.0,
) -> NearSurface:
    """Carry the scale from the plane of the piece's axis to its nearest surface.

    The nearest surface of a round piece is its radius closer than its axis, so everything on
    it looks larger: by a fifth for a mug that fills half of a main lens's picture.

    Parameters
    ----------
    px_per_mm : float
        Scale on the axis at the height of the piece's middle.
    size_px : tuple of int
        (width, height) of the uncropped photo.
    focal_35mm : float or None
        From EXIF. None: the middle of what phones can have been used at, with its error.
    piece_width_px : float
        Width of the round body without handle.
    pitch_deg : float, default 0
        How far the camera looks down.

    Returns
    -------
    NearSurface
    """
    toward = math.cos(math.radians(pitch_deg))

    def nearer(focal: float) -> float:
        # The outline of a cylinder is where sight lines touch it: its half angle has the sine
        # radius over distance.
        sine = math.sin(math.atan(piece_width_px / 2 / focal_px(size_px, focal)))
        return 1.0 / (1.0 - sine * toward)

    if focal_35mm is not None:
        return NearSurface(px_per_mm * nearer(focal_35mm), _KNOWN_FOCAL_ERROR)
    most, least = (nearer(focal) for focal in _FOCAL_RANGE_35MM)
    middle = math.sqrt(most * least)
    return NearSurface(px_per_mm * middle, most / middle - 1.0 + _KNOWN_FOCAL_ERROR)


def find_markers(
    rgb: NDArray[np.uint8],
    *,
    marker_mm: float = DEFAULT_MARKER_MM,
    focal_35mm: float | None = None,
    dictionary: int = cv2.aruco.DICT_4X4_50,
) -> tuple[Marker, ...]:
    """Find the printed markers, of any number, in a photo.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
        Upright, sRGB.
    marker_mm : float
        Side of the black square.
    focal_35mm : float, optional
        Focal length from EXIF; it takes part only where the marker is tilted. Without it the
        scale of a marker near the edge of a wide picture may be off by 2 % at 10 degrees of
        tilt and by 6 % at 40.
    dictionary : int
        One of OpenCV's predefined sets of markers; `grader slips` prints from the default.

    Returns
    -------
    tuple of Marker
        Largest first; empty where there is none.
    """
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(dictionary))
    found = _detect(grey, _SEARCH_PX, detector)
    if not found and max(grey.shape) > _SEARCH_PX:
        # A small marker in a large photo: twice as fine, at four times the cost.
        found = _detect(grey, 2 * _SEARCH_PX, detector)
    markers = [_measure(rgb, number, corners, marker_mm, focal_35mm) for number, corners in found]
    return tuple(
        sorted(
            (marker for marker in markers if marker is not None),
            key=lambda marker: -_side_px(marker.corners_px),
        )
    )


def _detect(
    grey: NDArray[np.uint8], search_px: int, detector: cv2.aruco.ArucoDetector
) -> list[tuple[int, NDArray[np.float64]]]:
    """Return number and corners (4, 2) in pixels of the full picture."""
    small, factor = reduce_picture(grey, search_px)
    quads, numbers, _ = detector.detectMarkers(small)
    found = []
    for quad, number in zip(quads, () if numbers is None else numbers.ravel(), strict=True):
        corners = (quad.reshape(4, 2).astype(np.float64) + 0.5) / factor - 0.5
        side = _side_px(corners)
        if side < _MIN_SIDE_PX:
            continue
        found.append((int(number), _sharpen_corners(grey, corners, side)))
    return found


def _sharpen_corners(
    grey: NDArray[np.uint8], corners: NDArray[np.float64], side: float
) -> NDArray[np.float64]:
    """Find the corners to a fraction of a pixel on the full picture.

    In linear light: in encoded levels the middle of a blurred edge lies on its dark side, and
    the square would come out half a pixel too small.
    """
    # A window of a twelfth of the side sees one corner only: modules are a sixth.
    half = int(np.clip(side / 12, 2, 15))
    reach = 2 * half + 4
    height, width = grey.shape
    left, top = np.maximum(np.floor(corners.min(axis=0)).astype(int) - reach, 0)
    right, bottom = np.minimum(
        np.ceil(corners.max(axis=0)).astype(int) + reach, [width - 1, height - 1]
    )
    light = decode_srgb(grey[top : bottom + 1, left : right + 1])
    start = (corners - [left, top]).astype(np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 40, 0.005)
    exact = cv2.cornerSubPix(light, start, (half, half), (-1, -1), stop)
    return np.asarray(exact.reshape(4, 2).astype(np.float64) + np.array([left, top]))


def _side_px(corners: NDArray[np.float64]) -> float:
    return math.sqrt(abs(float(cv2.contourArea(corners.astype(np.float32)))))


def _measure(
    rgb: NDArray[np.uint8],
    number: int,
    corners: NDArray[np.float64],
    marker_mm: float,
    focal_35mm: float | None,
) -> Marker | None:
    flat, to_photo = _flatten(rgb, corners)
    first = round(_MARGIN_SIDES * _FLAT_PX)
    last = first + _FLAT_PX
    light = decode_srgb(flat)
    luminance = light.mean(axis=-1)
    ring = _ring(luminance.shape, first, last, 0.03, 0.10)
    border = _ring(luminance.shape, first, last, -0.12, -0.04)
    paper = float(np.median(luminance[ring]))
    if paper < _MIN_CONTRAST * float(np.median(luminance[border])):
        return None
    clipped = bool((flat[ring].max(axis=-1) >= 252).mean() > 0.25)
    scale, tilt, pitch = _pose(corners, (rgb.shape[1], rgb.shape[0]), marker_mm, focal_35mm)
    return Marker(
        number=number,
        corners_px=corners,
        card_px=_card_outline(luminance, paper, first, last, to_photo),
        px_per_mm=scale,
        tilt_deg=tilt,
        pitch_deg=pitch,
        paper_linear=None if clipped else np.median(light[ring], axis=0).astype(np.float64),
    )


def _flatten(
    rgb: NDArray[np.uint8], corners: NDArray[np.float64]
) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """Lay marker and margin flat; also return the homography from there to the photo."""
    first = _MARGIN_SIDES * _FLAT_PX - 0.5
    last = first + _FLAT_PX
    square = np.array([[first, first], [last, first], [last, last], [first, last]])
    to_photo = cv2.getPerspectiveTransform(square.astype(np.float32), corners.astype(np.float32))
    size = round((1 + 2 * _MARGIN_SIDES) * _FLAT_PX)
    flat = cv2.warpPerspective(
        rgb, to_photo, (size, size), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    return flat, np.asarray(to_photo, dtype=np.float64)


def _ring(
    shape: tuple[int, ...], first: int, last: int, inner: float, outer: float
) -> NDArray[np.bool_]:
    """Mark the band from ``inner`` to ``outer`` sides outside the edge of the marker."""
    rows, columns = np.indices(shape[:2])
    outside = np.maximum(
        np.maximum(first - rows, rows - last + 1), np.maximum(first - columns, columns - last + 1)
    )
    return (outside > inner * _FLAT_PX) & (outside <= outer * _FLAT_PX)


def _card_outline(
    luminance: NDArray[np.floating],
    paper: float,
    first: int,
    last: int,
    to_photo: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Follow the white paper outwards from the black square until the card ends."""
    same = (luminance > _SAME_PAPER[0] * paper) & (luminance < _SAME_PAPER[1] * paper)
    rows, columns = same[:, first:last].mean(axis=1), same[first:last].mean(axis=0)
    # The first pixels outside the black square are its blur.
    skip = 4
    left, top, right, bottom = (
        _steps_alike(line[skip:], skip)
        for line in (
            columns[first - 1 :: -1],
            rows[first - 1 :: -1],
            columns[last:],
            rows[last:],
        )
    )
    near, far = first - 0.5, last - 0.5
    outline = np.array(
        [
            [near - left, near - top],
            [far + right, near - top],
            [far + right, far + bottom],
            [near - left, far + bottom],
        ]
    )
    return np.asarray(cv2.perspectiveTransform(outline[None], to_photo)[0], dtype=np.float64)


def _steps_alike(same_share: NDArray[np.floating], skipped: int) -> float:
    ends = np.flatnonzero(same_share < 0.5)
    if not len(ends):
        return _DEFAULT_BORDER_SIDES * _FLAT_PX
    # Three pixels more, for the blur of the card's edge and its thickness.
    return float(skipped + ends[0] + 3)


def _pose(
    corners: NDArray[np.float64],
    size_px: tuple[int, int],
    marker_mm: float,
    focal_35mm: float | None,
) -> tuple[float, float, float]:
    """Return px per mm at the distance of the marker's middle, its tilt and pitch in degrees."""
    width, height = size_px
    focal = focal_px(size_px, _FOCAL_ASSUMED_35MM if focal_35mm is None else focal_35mm)
    camera = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    half = marker_mm / 2
    square = np.array([[-half, half, 0], [half, half, 0], [half, -half, 0], [-half, -half, 0]])
    found, rotation, shift = cv2.solvePnP(
        square, corners, camera, None, flags=cv2.SOLVEPNP_IPPE_SQUARE
    )
    distance = float(shift[2, 0]) if found else 0.0
    if distance <= 0 or not math.isfinite(distance):
        return _side_px(corners) / marker_mm, 0.0, 0.0
    normal = cv2.Rodrigues(rotation)[0][:, 2]
    if normal[2] > 0:
        normal = -normal
    tilt = math.degrees(math.acos(min(1.0, abs(float(normal[2])))))
    # y points down in the picture: seen from above, the face of an upright card points up to
    # the camera less than the line of sight does.
    pitch = math.degrees(math.asin(float(np.clip(normal[1], -1.0, 1.0))))
    return focal / distance, tilt, pitch


def surface_px_per_mm(
    near: NearSurface, axis_px_per_mm: float, offset_share: ArrayLike
) -> NDArray[np.float64]:
    """Scale on a round piece between its nearest line and its outline.

    Parameters
    ----------
    near : NearSurface
    axis_px_per_mm : float
        Scale in the plane of the axis.
    offset_share : array_like of float
        Distance from the middle over half the width, 0 (nearest line) to 1 (outline).

    Returns
    -------
    ndarray of float64, same shape
    """
    offset = np.clip(np.abs(np.asarray(offset_share, dtype=np.float64)), 0.0, 1.0)
    # Depth goes as the reciprocal of the scale; a circle's depth as the cosine.
    reach = 1 / axis_px_per_mm - 1 / near.px_per_mm
    return np.asarray(1.0 / (1 / axis_px_per_mm - reach * np.sqrt(1 - offset**2)))
