"""Photos of the sample batch, made smaller where their size is not the point of a test."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

SAMPLES = Path(__file__).parent.parent / "sample_images"


def halve(photo: Path, copy: Path) -> Path:
    """Write a photo at half the pixels of its width and height, a quarter of the time to look at.

    What the camera wrote into it stays, and the marker in it can still be read.
    """
    with Image.open(photo) as opened:
        smaller = opened.resize((opened.width // 2, opened.height // 2))
        smaller.save(copy, quality=92, exif=opened.getexif())
    return copy
