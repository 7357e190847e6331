"""Small and upright copies of the photos, for pages and lists; made again when missing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import ExifTags, Image

from grader.photo import Photo, read_photo
from grader.record.errors import told
from grader.record.files import temporary_beside, within
from grader.record.photos import photo_file
from grader.record.studio import Studio

THUMB_PX = 360
"""Long edge for contact sheets: about 180 px wide at twice the density of a plain screen."""

SCREEN_PX = 1600
"""Long edge for the bench before anybody zooms in: fills a laptop's window."""

_SHOWN_AS_IT_IS = frozenset({".jpg", ".jpeg", ".jpe", ".png", ".webp"})
"""Kinds that every browser shows and turns upright by EXIF itself."""


def preview_file(studio: Studio, file: str, *, edge_px: int = THUMB_PX, turn_deg: int = 0) -> Path:
    """Return an upright WebP copy of a photo that is no larger than `edge_px`.

    Parameters
    ----------
    studio : Studio
    file : str
        The photo's path within the studio folder.
    edge_px : int
        Longest edge in pixels.
    turn_deg : int
        Clockwise turn that the maker asked for: 0, 90, 180 or 270.

    Raises
    ------
    PhotoError
        The photo cannot be read.
    """
    target = _cache(studio, file, f"{edge_px}-{turn_deg}", ".webp")
    if not target.is_file():
        photo = read_photo(photo_file(studio, file), least_long_side_px=edge_px)
        image = _upright(photo, turn_deg)
        image.thumbnail((edge_px, edge_px), Image.Resampling.LANCZOS, reducing_gap=3.0)
        _save(image, target, format="WEBP", quality=82, method=2)
    return target


def full_file(studio: Studio, file: str, *, turn_deg: int = 0) -> Path:
    """Return the photo at full size in a kind that browsers show: the original where it is one."""
    path = photo_file(studio, file)
    if turn_deg == 0 and path.suffix.lower() in _SHOWN_AS_IT_IS:
        return path
    target = _cache(studio, file, f"full-{turn_deg}", ".jpg")
    if not target.is_file():
        # 92, without colour subsampling: no visible loss where the loupe looks.
        image = _upright(read_photo(path), turn_deg)
        _save(image, target, format="JPEG", quality=92, subsampling=0)
    return target


def working_file(studio: Studio, file: str, *, turn_deg: int = 0) -> Path:
    """Return the file that the analysis reads: the original, or a lossless turned copy.

    A turned copy keeps what the analysis takes from EXIF: capture time and lens.
    """
    path = photo_file(studio, file)
    if turn_deg == 0:
        return path
    target = _cache(studio, file, f"turned-{turn_deg}", ".png")
    if not target.is_file():
        photo = read_photo(path)
        exif = Image.Exif()
        # Upright by now; and without a tag of its own Pillow leaves the other directory out.
        exif[ExifTags.Base.Orientation] = 1
        tags = exif.get_ifd(ExifTags.IFD.Exif)
        if photo.captured_at is not None:
            tags[ExifTags.Base.DateTimeOriginal] = photo.captured_at.strftime("%Y:%m:%d %H:%M:%S")
        if photo.focal_35mm is not None:
            tags[ExifTags.Base.FocalLengthIn35mmFilm] = round(photo.focal_35mm)
        _save(_upright(photo, turn_deg), target, format="PNG", compress_level=1, exif=exif)
    return target


def _upright(photo: Photo, turn_deg: int) -> Image.Image:
    # rot90 turns anticlockwise for positive counts.
    return Image.fromarray(np.ascontiguousarray(np.rot90(photo.rgb, -(turn_deg // 90))))


def _cache(studio: Studio, file: str, kind: str, suffix: str) -> Path:
    stem = Path(file).stem
    return within(studio.folder, f"previews/{stem[:2]}/{stem}-{kind}{suffix}")


def _save(image: Image.Image, target: Path, **options: object) -> None:
    with told(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        with temporary_beside(target) as made:
            image.save(made, **options)  # type: ignore[arg-type]
            made.replace(target)
