"""Reading photos: every kind of file a phone, camera or scanner writes, and every broken one."""

from __future__ import annotations

import io
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms, ImageOps

from grader import photo as photo_module
from grader.errors import PhotoError
from grader.photo import read_capture_time, read_photo

pillow_heif.register_heif_opener()


def _scene(width: int = 64, height: int = 48) -> NDArray[np.uint8]:
    """Four flat fields of different colour, so that turning and mirroring show."""
    scene = np.zeros((height, width, 3), dtype=np.uint8)
    half_h, half_w = height // 2, width // 2
    scene[:half_h, :half_w] = (200, 40, 40)
    scene[:half_h, half_w:] = (40, 160, 60)
    scene[half_h:, :half_w] = (50, 60, 180)
    scene[half_h:, half_w:] = (210, 205, 190)
    return scene


def _corner_colours(rgb: NDArray[np.uint8]) -> NDArray[np.int16]:
    height, width = rgb.shape[:2]
    rows, cols = (height // 4, 3 * height // 4), (width // 4, 3 * width // 4)
    return np.array([rgb[row, col] for row in rows for col in cols], dtype=np.int16)


@pytest.mark.parametrize("suffix", [".jpg", ".heic", ".png", ".tif", ".webp"])
def test_every_format_gives_the_same_picture(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"K07{suffix}"
    Image.fromarray(_scene()).save(path, quality=95)
    photo = read_photo(path, name="K07/front" + suffix)
    assert photo.rgb.shape == (48, 64, 3)
    assert photo.rgb.dtype == np.uint8
    assert photo.name == "K07/front" + suffix
    difference = np.abs(_corner_colours(photo.rgb) - _corner_colours(_scene()))
    assert difference.max() <= 5


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif", ".webp"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_is_turned_upright(tmp_path: Path, orientation: int, suffix: str) -> None:
    # What the sensor holds is the upright scene turned the other way.
    stored = {
        1: lambda image: image,
        2: ImageOps.mirror,
        3: lambda image: image.transpose(Image.Transpose.ROTATE_180),
        4: ImageOps.flip,
        5: lambda image: image.transpose(Image.Transpose.TRANSPOSE),
        6: lambda image: image.transpose(Image.Transpose.ROTATE_90),
        7: lambda image: image.transpose(Image.Transpose.TRANSVERSE),
        8: lambda image: image.transpose(Image.Transpose.ROTATE_270),
    }[orientation](Image.fromarray(_scene()))
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    path = tmp_path / f"turned{suffix}"
    stored.save(path, exif=exif, quality=95)
    rgb = read_photo(path).rgb
    assert rgb.shape == (48, 64, 3)
    assert np.abs(_corner_colours(rgb) - _corner_colours(_scene())).max() <= 6


def test_a_heic_photo_is_turned_once_only(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    path = tmp_path / "turned.heic"
    Image.fromarray(_scene()).transpose(Image.Transpose.ROTATE_90).save(
        path, exif=exif.tobytes(), quality=95
    )
    rgb = read_photo(path).rgb
    assert rgb.shape == (48, 64, 3)
    assert np.abs(_corner_colours(rgb) - _corner_colours(_scene())).max() <= 6


def _gamma_profile(primaries_xy: tuple[tuple[float, float], ...], gamma: float) -> bytes:
    """Write a minimal ICC v2 matrix profile (ICC.1:2001-04, 6.3.1.2) with white D65."""

    def s15(value: float) -> bytes:
        return round(value * 65536).to_bytes(4, "big", signed=True)

    xyz = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries_xy]).T
    white = np.array([0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290])
    bradford = np.array(
        [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
    )
    d50 = np.array([0.9642, 1.0, 0.8249])
    adapt = np.linalg.inv(bradford) @ np.diag((bradford @ d50) / (bradford @ white)) @ bradford
    columns = adapt @ (xyz * np.linalg.solve(xyz, white))
    tags = {
        b"rXYZ": b"XYZ \0\0\0\0" + b"".join(map(s15, columns[:, 0])),
        b"gXYZ": b"XYZ \0\0\0\0" + b"".join(map(s15, columns[:, 1])),
        b"bXYZ": b"XYZ \0\0\0\0" + b"".join(map(s15, columns[:, 2])),
        b"wtpt": b"XYZ \0\0\0\0" + b"".join(map(s15, d50)),
        b"rTRC": b"curv\0\0\0\0\0\0\0\1" + round(gamma * 256).to_bytes(2, "big") + b"\0\0",
        b"desc": b"desc\0\0\0\0\0\0\0\5test\0" + b"\0" * 79,
    }
    tags[b"gTRC"] = tags[b"bTRC"] = tags[b"rTRC"]
    table, body = len(tags).to_bytes(4, "big"), b""
    start = 128 + 4 + 12 * len(tags)
    for sign, data in tags.items():
        data += b"\0" * (-len(data) % 4)
        table += sign + (start + len(body)).to_bytes(4, "big") + len(data).to_bytes(4, "big")
        body += data
    header = bytearray(128)
    header[0:4] = (start + len(body)).to_bytes(4, "big")
    header[8:12] = b"\x02\x10\0\0"
    header[12:24] = b"mntrRGB XYZ "
    header[36:40] = b"acsp"
    header[68:80] = b"".join(map(s15, d50))
    return bytes(header) + table + body


# SMPTE EG 432-1 (DCI-P3 primaries, here with white D65) and sRGB (IEC 61966-2-1).
P3_PRIMARIES = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
SRGB_PRIMARIES = ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".heic"])
def test_display_p3_becomes_srgb(tmp_path: Path, suffix: str) -> None:
    colour = pytest.importorskip("colour")
    p3_rgb = np.array([160, 110, 90])
    path = tmp_path / f"p3{suffix}"
    Image.new("RGB", (32, 32), tuple(p3_rgb)).save(
        path, icc_profile=_gamma_profile(P3_PRIMARIES, 2.2), quality=100
    )
    p3 = colour.RGB_COLOURSPACES["P3-D65"]
    srgb = colour.RGB_COLOURSPACES["sRGB"]
    linear = colour.RGB_to_RGB((p3_rgb / 255) ** 2.2, p3, srgb)
    expected = np.asarray(srgb.cctf_encoding(linear)) * 255
    found = read_photo(path).rgb[16, 16]
    # Two levels are what JPEG and HEIC round; doing nothing would be ten off.
    assert np.abs(found - expected).max() <= 2.5


def test_display_p3_told_by_code_points(tmp_path: Path) -> None:
    colour = pytest.importorskip("colour")
    p3_rgb = np.array([160, 110, 90])
    path = tmp_path / "p3.heic"
    heif = pillow_heif.from_pillow(Image.new("RGB", (32, 32), tuple(p3_rgb)))
    heif.save(path, quality=100, color_primaries=12, transfer_characteristics=13)
    with Image.open(path) as image:
        codes = image.info.get("nclx_profile") or {}
    if codes.get("color_primaries") != 12:
        pytest.skip("this encoder does not write the code points")
    matrix = colour.matrix_RGB_to_RGB(
        colour.RGB_COLOURSPACES["Display P3"], colour.RGB_COLOURSPACES["sRGB"]
    )
    light = colour.cctf_decoding(p3_rgb / 255, function="sRGB") @ matrix.T
    expected = colour.cctf_encoding(light, function="sRGB") * 255
    found = read_photo(path).rgb[16, 16]
    assert np.abs(found - expected).max() <= 3


def test_an_srgb_profile_leaves_the_levels_alone(tmp_path: Path) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    path = tmp_path / "plain.png"
    Image.fromarray(_scene()).save(path, icc_profile=profile)
    assert np.array_equal(read_photo(path).rgb, _scene())


@pytest.mark.parametrize("profile", [b"not a profile at all", b"\0" * 400])
def test_a_broken_profile_is_noted_and_survived(tmp_path: Path, profile: bytes) -> None:
    path = tmp_path / "broken.png"
    Image.fromarray(_scene()).save(path, icc_profile=profile)
    photo = read_photo(path)
    assert np.array_equal(photo.rgb, _scene())
    assert any("profile" in note for note in photo.notes)


def test_a_profile_of_the_wrong_kind_is_noted(tmp_path: Path) -> None:
    path = tmp_path / "grey.png"
    Image.new("L", (20, 10), 120).save(path, icc_profile=_gamma_profile(SRGB_PRIMARIES, 2.2))
    photo = read_photo(path)
    assert np.all(photo.rgb == 120)
    assert photo.notes


@pytest.mark.parametrize(
    ("mode", "fill", "expected"),
    [
        ("L", 120, (120, 120, 120)),
        ("1", 1, (255, 255, 255)),
        ("LA", (120, 0), (255, 255, 255)),
        ("RGBA", (10, 20, 30, 0), (255, 255, 255)),
        ("RGBA", (10, 20, 30, 255), (10, 20, 30)),
        ("RGBA", (0, 0, 0, 128), (127, 127, 127)),
        ("I;16", 65535, (255, 255, 255)),
        ("I;16", 32896, (128, 128, 128)),
    ],
)
def test_grey_alpha_and_16_bit(
    tmp_path: Path, mode: str, fill: object, expected: tuple[int, int, int]
) -> None:
    path = tmp_path / "other.png"
    Image.new(mode, (20, 10), fill).save(path)  # type: ignore[arg-type]
    assert np.abs(read_photo(path).rgb.astype(int) - expected).max() <= 1


def test_palette_with_a_transparent_colour(tmp_path: Path) -> None:
    image = Image.new("P", (20, 10), 0)
    image.putpalette([10, 20, 30, 200, 100, 50])
    image.putpixel((3, 4), 1)
    path = tmp_path / "palette.png"
    image.save(path, transparency=0)
    rgb = read_photo(path).rgb
    assert tuple(rgb[4, 3]) == (200, 100, 50)
    assert tuple(rgb[0, 0]) == (255, 255, 255)


@pytest.mark.parametrize("suffix", [".jpg", ".tif"])
def test_cmyk_is_read_and_noted(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"print{suffix}"
    Image.new("CMYK", (20, 10), (0, 255, 255, 0)).save(path, quality=100)
    photo = read_photo(path)
    red, green, blue = photo.rgb[5, 5].astype(int)
    assert red > 200 > 60 > max(green, blue)
    assert any("CMYK" in note for note in photo.notes)


def test_16_bit_colour_tiff(tmp_path: Path) -> None:
    tifffile = pytest.importorskip("tifffile")
    path = tmp_path / "scan.tif"
    tifffile.imwrite(path, _scene().astype(np.uint16) * 257, photometric="rgb")
    assert np.array_equal(read_photo(path).rgb, _scene())


def test_capture_time_with_its_fraction_and_lens(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.DateTime] = "2026:05:02 12:00:00"
    exif.get_ifd(ExifTags.IFD.Exif).update(
        {
            ExifTags.Base.DateTimeOriginal: "2026:05:01 09:08:07",
            ExifTags.Base.SubsecTimeOriginal: "05",
            ExifTags.Base.FocalLengthIn35mmFilm: 26,
        }
    )
    path = tmp_path / "timed.jpg"
    Image.fromarray(_scene()).save(path, exif=exif)
    photo = read_photo(path)
    assert photo.captured_at == datetime(2026, 5, 1, 9, 8, 7, 50_000)
    assert photo.focal_35mm == 26.0
    assert read_capture_time(path) == photo.captured_at


@pytest.mark.parametrize("text", ["0000:00:00 00:00:00", "    :  :     :  :  ", "soon"])
def test_an_impossible_time_is_no_time(tmp_path: Path, text: str) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.DateTime] = text
    path = tmp_path / "untimed.jpg"
    Image.fromarray(_scene()).save(path, exif=exif)
    assert read_photo(path).captured_at is None


def test_no_time_at_all(tmp_path: Path) -> None:
    path = tmp_path / "plain.png"
    Image.fromarray(_scene()).save(path)
    photo = read_photo(path)
    assert photo.captured_at is None
    assert photo.focal_35mm is None


# --- what cannot be read -------------------------------------------------------------------


def _encoded(kind: str) -> bytes:
    buffer = io.BytesIO()
    noise = np.random.default_rng(5).integers(0, 256, (200, 300, 3), dtype=np.uint8)
    Image.fromarray(noise).save(buffer, format=kind)
    return buffer.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "HEIF", "PNG", "TIFF", "WEBP"])
@pytest.mark.parametrize("share", [0.002, 0.3, 0.7])
def test_a_file_cut_short_is_an_error(tmp_path: Path, kind: str, share: float) -> None:
    data = _encoded(kind)
    path = tmp_path / "cut.jpg"
    path.write_bytes(data[: max(4, int(len(data) * share))])
    with pytest.raises(PhotoError, match=r"cut\.jpg"):
        read_photo(path)
    read_capture_time(path)  # never raises


@pytest.mark.parametrize(
    "content", [b"", b"dear potter, this is a letter\n", b"%PDF-1.7\n", b"GIF89a" + b"\0" * 99]
)
def test_what_is_no_photo_is_an_error_with_a_remedy(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "letter.jpg"
    path.write_bytes(content)
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert caught.value.remedy
    assert str(caught.value).startswith("letter.jpg: ")


@pytest.mark.parametrize("suffix", [".jpg", ".png"])
def test_a_photo_read_coarsely_is_the_same_picture_and_large_enough(
    tmp_path: Path, suffix: str
) -> None:
    rows, cols = np.mgrid[0:600, 0:800]
    smooth = np.stack([cols * 255 / 799, rows * 255 / 599, 0 * rows + 90], axis=-1)
    path = tmp_path / f"large{suffix}"
    Image.fromarray(smooth.astype(np.uint8)).save(path, quality=95)
    whole = read_photo(path).rgb
    coarse = read_photo(path, least_long_side_px=300).rgb
    assert coarse.shape == ((300, 400, 3) if suffix == ".jpg" else whole.shape)
    alike = cv2.resize(whole, coarse.shape[1::-1], interpolation=cv2.INTER_AREA)
    assert np.abs(coarse.astype(int) - alike).max() <= 6
    assert read_photo(path, least_long_side_px=5000).rgb.shape == whole.shape


def test_a_missing_file_and_a_folder_are_errors(tmp_path: Path) -> None:
    with pytest.raises(PhotoError):
        read_photo(tmp_path / "gone.jpg")
    with pytest.raises(PhotoError):
        read_photo(tmp_path)


def test_too_large_is_an_error_before_decoding(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "huge.png"
    Image.fromarray(_scene()).save(path)
    monkeypatch.setattr(photo_module, "MAX_PIXELS", 64 * 48 - 1)
    with pytest.raises(PhotoError, match="larger"):
        read_photo(path)
    monkeypatch.setattr(photo_module, "MAX_PIXELS", 64 * 48)
    read_photo(path)


def test_a_picture_past_the_librarys_own_limit_is_the_same_error(tmp_path: Path) -> None:
    path = tmp_path / "bomb.png"
    # 400 million pixels in a few kilobytes of file.
    Image.new("1", (20_000, 20_000)).save(path)
    with pytest.raises(PhotoError, match="larger"):
        read_photo(path)


def test_reading_leaves_the_original_alone(tmp_path: Path) -> None:
    path = tmp_path / "kept.jpg"
    Image.fromarray(_scene()).save(path)
    before = path.read_bytes()
    read_photo(path).rgb[:] = 0
    assert path.read_bytes() == before
