"""One photo, decoded once: upright, sRGB, 8 bit.

`read_photo` is the only place where picture files are opened. It takes what phones, cameras
and scanners write, and turns everything that can go wrong into a `PhotoError`.
"""

from __future__ import annotations

import io
import struct
import warnings
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import cast

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms, ImageOps, UnidentifiedImageError

from grader.colour.srgb import decode_srgb, encode_srgb
from grader.errors import PhotoError

pillow_heif.register_heif_opener()

PHOTO_SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".jpe", ".heic", ".heif", ".hif", ".png", ".tif", ".tiff", ".webp"}
)
"""File endings, in lower case, that are taken for photos."""

MAX_PIXELS = 80_000_000
"""Largest picture that is read. Phones make up to 64 million pixels without stitching; above
that the working memory (about 60 bytes a pixel) would no longer fit a small computer."""

# Every other parser of the library stays shut: less to attack, and no PDF or icon is a photo.
# "JPEG" includes the two-picture JPEG (MPO) that phones write beside a depth or gain map.
_FORMATS = ("JPEG", "HEIF", "PNG", "TIFF", "WEBP")

# Code points of ISO/IEC 23091-2: Display P3 primaries (SMPTE EG 432-1), and the transfer curves
# PQ and HLG, which have no agreed white.
_P3_PRIMARIES = 12
_HDR_TRANSFERS = frozenset({16, 18})
# Linear Display P3 to linear sRGB: both have white D65, so a grey stays as it is.
_P3_TO_SRGB = np.array([[1.2249, -0.2249, 0.0], [-0.0420, 1.0420, 0.0], [-0.0197, -0.0786, 1.0983]])

_SAVE_AGAIN = "Save it again as JPEG or PNG, or take the photo again"
_COPY_AGAIN = "Copy it again from the camera, or take the photo again"

# What broken files raise inside the library, besides OSError (truncated JPEG) and
# UnidentifiedImageError: ValueError (truncated HEIC), SyntaxError (broken PNG), struct.error
# and the rest (broken TIFF and EXIF).
_BROKEN_FILE = (
    OSError,
    ValueError,
    SyntaxError,
    struct.error,
    EOFError,
    KeyError,
    IndexError,
    TypeError,
    OverflowError,
    RuntimeError,
)


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as every later stage sees it.

    Attributes
    ----------
    name : str
        Path within the batch, with `/`.
    path : Path
        The file; only ever read.
    rgb : ndarray of uint8, shape (height, width, 3)
        Upright, in sRGB.
    captured_at : datetime or None
        From EXIF, naive local time.
    focal_35mm : float or None
        Focal length in mm for the 35 mm format, from EXIF.
    notes : tuple of str
        What was missing or repaired while reading, in plain words.
    """

    name: str
    path: Path
    rgb: NDArray[np.uint8]
    captured_at: datetime | None = None
    focal_35mm: float | None = None
    notes: tuple[str, ...] = ()


def read_photo(
    path: Path, *, name: str | None = None, least_long_side_px: int | None = None
) -> Photo:
    """Read one photo file.

    Parameters
    ----------
    path : Path
    name : str, optional
        Path within the batch; the file's own name by default.
    least_long_side_px : int, optional
        Decode no more than is needed for a long side of so many pixels: a JPEG is read at a half,
        a quarter or an eighth of its size, at a fraction of the time. Other kinds are read whole.

    Returns
    -------
    Photo
        Turned upright by its EXIF orientation (1 to 8), converted to sRGB by its colour profile,
        CMYK, grey, palette and 16-bit pictures made 8-bit RGB, transparent parts laid on white.

    Raises
    ------
    PhotoError
        The file is missing, empty, no picture, cut short, of an unknown kind or too large.
    """
    label = name if name is not None else path.name
    _check_file(path, label)
    try:
        with _open(path, label) as image:
            notes: list[str] = []
            exif = _exif(image, notes)
            if least_long_side_px is not None:
                _read_coarsely(image, least_long_side_px)
            image.load()
            upright = _turn_upright(image, notes)
            rgb = _to_srgb(upright, notes)
            return Photo(
                name=label,
                path=path,
                rgb=np.array(rgb, dtype=np.uint8),
                captured_at=_capture_time(exif),
                focal_35mm=_focal_35mm(exif),
                notes=tuple(notes),
            )
    except MemoryError as error:
        raise PhotoError(
            "there is not enough memory to read this photo",
            where=label,
            remedy="Close other programs, or make the picture smaller",
        ) from error
    except _BROKEN_FILE as error:
        raise PhotoError(
            "the photo is damaged or was cut short", where=label, remedy=_COPY_AGAIN
        ) from error


def read_capture_time(path: Path) -> datetime | None:
    """Read only the capture time of a photo, without decoding its pixels.

    Returns
    -------
    datetime or None
        Naive local time from EXIF; None where there is none or the file cannot be read.
    """
    try:
        _check_file(path, path.name)
        with _open(path, path.name) as image:
            return _capture_time(_exif(image, []))
    except (PhotoError, *_BROKEN_FILE):
        # `read_photo` says what is wrong with the file; sorting only does without its time.
        return None


def _check_file(path: Path, label: str) -> None:
    if not path.exists():
        raise PhotoError("there is no such file", where=label, remedy="Check the name")
    if not path.is_file():
        raise PhotoError("this is not a file", where=label, remedy="Name a photo")
    if path.stat().st_size == 0:
        raise PhotoError("the file is empty (0 bytes)", where=label, remedy=_COPY_AGAIN)


def _open(path: Path, label: str) -> Image.Image:
    too_large = PhotoError(
        f"the picture is larger than {MAX_PIXELS // 1_000_000} million pixels",
        where=label,
        remedy="Make it smaller, or set the camera to 12 to 50 megapixels",
    )
    try:
        with warnings.catch_warnings():
            # The library only warns of huge pictures up to twice its limit; ours is checked below.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(path, formats=_FORMATS)
    except Image.DecompressionBombError as error:
        raise too_large from error
    except UnidentifiedImageError as error:
        raise PhotoError(
            "this is not a photo that can be read (JPEG, HEIC, PNG, TIFF or WebP)",
            where=label,
            remedy=_SAVE_AGAIN,
        ) from error
    except PermissionError as error:
        raise PhotoError(
            "the file may not be read", where=label, remedy="Allow reading it, then try again"
        ) from error
    if image.width * image.height > MAX_PIXELS:
        image.close()
        raise too_large
    return image


def _read_coarsely(image: Image.Image, long_side_px: int) -> None:
    """Ask the decoder of a picture for a smaller one, if it can make it."""
    shrink = long_side_px / max(image.size)
    if shrink < 1:
        # The next larger size than the one asked for is what it gives.
        image.draft(None, (round(image.width * shrink), round(image.height * shrink)))


# --- EXIF ----------------------------------------------------------------------------------


def _exif(image: Image.Image, notes: list[str]) -> dict[int, object]:
    """Return the tags of the main and of the Exif directory in one mapping."""
    try:
        exif = image.getexif()
        tags: dict[int, object] = dict(exif)
        tags.update(exif.get_ifd(ExifTags.IFD.Exif))
        return tags
    except _BROKEN_FILE:
        notes.append("The camera's data in this file are broken; time and lens are unknown.")
        return {}


def _capture_time(tags: dict[int, object]) -> datetime | None:
    for time_tag, fraction_tag in (
        (ExifTags.Base.DateTimeOriginal, ExifTags.Base.SubsecTimeOriginal),
        (ExifTags.Base.DateTimeDigitized, ExifTags.Base.SubsecTimeDigitized),
        (ExifTags.Base.DateTime, ExifTags.Base.SubsecTime),
    ):
        text = str(tags.get(time_tag, "")).strip("\0 ")
        with suppress(ValueError):
            moment = datetime.strptime(text[:19], "%Y:%m:%d %H:%M:%S")
            fraction = str(tags.get(fraction_tag, "")).strip("\0 ")
            if fraction.isdecimal() and fraction.isascii():
                # "5" is half a second, "05" is a twentieth.
                moment = moment.replace(microsecond=int(fraction[:6].ljust(6, "0")))
            return moment
    return None


def _focal_35mm(tags: dict[int, object]) -> float | None:
    with suppress(TypeError, ValueError, ZeroDivisionError):
        focal = float(cast("float", tags.get(ExifTags.Base.FocalLengthIn35mmFilm, 0)))
        # 0 means unknown (Exif 2.32, 4.6.5); beyond 2 m no such lens exists.
        if 1.0 <= focal <= 2000.0:
            return focal
    return None


def _turn_upright(image: Image.Image, notes: list[str]) -> Image.Image:
    try:
        # Pillow would copy what lies right already.
        if image.getexif().get(ExifTags.Base.Orientation, 1) == 1:
            return image
        return ImageOps.exif_transpose(image)
    except _BROKEN_FILE:
        notes.append("Which way up the photo is could not be read; it is used as it lies.")
        return image


# --- colour --------------------------------------------------------------------------------


def _to_srgb(image: Image.Image, notes: list[str]) -> Image.Image:
    profile = image.info.get("icc_profile")
    plain = _without_alpha(_to_8_bit(image))
    if profile:
        return _convert_by_profile(plain, profile, notes)
    if plain.mode == "CMYK":
        notes.append("A print (CMYK) picture without a colour profile: its colours are a guess.")
    # Some phones tell the colours of a HEIC photo by code points instead of a profile.
    codes = image.info.get("nclx_profile") or {}
    if codes.get("transfer_characteristics") in _HDR_TRANSFERS:
        notes.append("A high dynamic range photo: its brightness and colours are a guess.")
    elif codes.get("color_primaries") == _P3_PRIMARIES and plain.mode == "RGB":
        light = decode_srgb(np.asarray(plain))
        return Image.fromarray(encode_srgb(light @ _P3_TO_SRGB.T.astype(np.float32)))
    # Pillow would copy what is RGB already.
    return plain if plain.mode == "RGB" else plain.convert("RGB")


def _to_8_bit(image: Image.Image) -> Image.Image:
    """Reduce 16-bit grey to 8 bit; refuse what has no agreed white."""
    if image.mode.startswith("I;16"):
        levels = np.asarray(image).astype(np.uint32)
        # 65535 is white and must become 255, so 257 and not 256.
        return Image.fromarray(((levels + 128) // 257).astype(np.uint8), "L")
    if image.mode in {"I", "F"}:
        raise PhotoError(
            "this picture holds measured values, not colours of a photo",
            where=Path(getattr(image, "filename", "")).name,
            remedy=_SAVE_AGAIN,
        )
    return image


def _without_alpha(image: Image.Image) -> Image.Image:
    """Lay transparent parts on white, still in the picture's own colour space."""
    if image.mode == "1":
        return image.convert("L")
    if image.mode in {"P", "PA"}:
        image = image.convert("RGBA" if image.has_transparency_data else "RGB")
    if image.mode in {"LA", "La"}:
        solid = image.convert("LA")
        ground = Image.new("L", image.size, 255)
        ground.paste(solid.getchannel("L"), mask=solid.getchannel("A"))
        return ground
    if image.mode in {"RGBA", "RGBa"} or image.has_transparency_data:
        solid = image.convert("RGBA")
        ground = Image.new("RGB", image.size, (255, 255, 255))
        ground.paste(solid, mask=solid.getchannel("A"))
        return ground
    if image.mode in {"RGBX", "YCbCr", "HSV"}:
        return image.convert("RGB")
    return image


def _convert_by_profile(image: Image.Image, profile: bytes, notes: list[str]) -> Image.Image:
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        # OSError where the profile is not for this kind of picture, e.g. a grey one in a
        # colour picture.
        transform = ImageCms.buildTransform(
            source,
            ImageCms.createProfile("sRGB"),
            image.mode,
            "RGB",
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
        )
        if image.mode == "RGB" and _changes_nothing(transform):
            return image
        converted = ImageCms.applyTransform(image, transform)
    except (ImageCms.PyCMSError, *_BROKEN_FILE):
        notes.append("The colour profile is broken; the photo is taken as sRGB.")
        return image.convert("RGB")
    return cast("Image.Image", converted)


def _changes_nothing(transform: ImageCms.ImageCmsTransform) -> bool:
    """Tell whether a profile is sRGB by another name, to save converting the whole photo."""
    steps = np.linspace(0, 255, 9).round().astype(np.uint8)
    cube = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(27, 27, 3)
    probe = Image.fromarray(cube)
    changed = np.asarray(ImageCms.applyTransform(probe, transform)).astype(np.int16)
    # One level is the rounding of the conversion itself.
    return bool(np.abs(changed - cube).max() <= 1)
