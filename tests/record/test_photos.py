"""The originals: kept by content, whole or not at all."""

from __future__ import annotations

import hashlib
import resource
from pathlib import Path

import pytest

from grader.record import photos
from grader.record.errors import FullDiskError, RecordError
from grader.record.files import within
from grader.record.photos import content_sha256, keep_photo, photo_file, unsound_photos
from grader.record.studio import Studio
from tests.record.kit import a_batch, add, three_pieces


@pytest.mark.parametrize(
    ("message", "digest"),
    [
        # NIST's example values for FIPS 180-4 (SHA-256): one block, two blocks, and a million
        # letters, which also crosses the chunks in which files are read.
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (
            b"a" * 1_000_000,
            "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
        ),
    ],
)
def test_content_is_named_by_sha_256(tmp_path: Path, message: bytes, digest: str) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(message)
    assert content_sha256(path) == digest


def test_a_photo_is_kept_once_under_its_content(studio: Studio, tmp_path: Path) -> None:
    one, other = tmp_path / "one.JPG", tmp_path / "other.jpg"
    one.write_bytes(b"the same pot")
    other.write_bytes(b"the same pot")
    kept = keep_photo(studio, one)
    assert keep_photo(studio, other) == kept
    assert kept.file == f"photos/{kept.sha256[:2]}/{kept.sha256}.jpg"
    assert photo_file(studio, kept.file).read_bytes() == b"the same pot"
    assert len(list(studio.photos.rglob("*.*"))) == 1
    assert one.read_bytes() == other.read_bytes() == b"the same pot"


def test_a_strange_ending_is_left_out(studio: Studio, tmp_path: Path) -> None:
    path = tmp_path / "pot.jpg;rm -rf"
    path.write_bytes(b"pot")
    assert keep_photo(studio, path).file.endswith(hashlib.sha256(b"pot").hexdigest())


def test_no_name_leads_out_of_the_folder(studio: Studio) -> None:
    for name in ("../../x", "/etc/passwd", "photos/../../x"):
        with pytest.raises(RecordError, match="leads out"):
            within(studio.folder, name)


def test_a_full_disk_leaves_no_half_photo(studio: Studio, tmp_path: Path) -> None:
    path = tmp_path / "large.jpg"
    path.write_bytes(b"x" * 3_000_000)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    # The kernel then refuses to write on, as it does at the end of a disk.
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_500_000, limits[1]))
    try:
        with pytest.raises(FullDiskError, match="Make room"):
            keep_photo(studio, path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert [each for each in studio.photos.rglob("*") if each.is_file()] == []
    assert keep_photo(studio, path).size_bytes == 3_000_000


def test_a_photo_that_changes_while_copied_is_refused(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "arriving.jpg"
    path.write_bytes(b"first half")
    real = photos.content_sha256

    def grows_afterwards(source: Path) -> str:
        digest = real(source)
        source.write_bytes(b"first half, second half")
        return digest

    monkeypatch.setattr(photos, "content_sha256", grows_afterwards)
    with pytest.raises(RecordError, match="changed while it was copied"):
        keep_photo(studio, path)
    assert [each for each in studio.photos.rglob("*") if each.is_file()] == []


def test_missing_and_changed_photos_are_named(studio: Studio, tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "b", three_pieces())
    add(studio, batch)
    assert list(unsound_photos(studio, read_all=True)) == []
    kept = sorted(path for path in studio.photos.rglob("*") if path.is_file())
    kept[0].unlink()
    kept[1].write_bytes(kept[1].read_bytes()[:-1])
    data = kept[2].read_bytes()
    kept[2].write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    assert len(list(unsound_photos(studio))) == 2
    assert sorted(what.split()[-1] for _, what in unsound_photos(studio, read_all=True)) == sorted(
        ["missing", str(len(kept[1].read_bytes()) + 1), "changed"]
    )


def test_adding_again_brings_a_missing_photo_back(studio: Studio, tmp_path: Path) -> None:
    batch = a_batch(tmp_path / "b", three_pieces())
    add(studio, batch)
    next(path for path in studio.photos.rglob("*") if path.is_file()).unlink()
    notes = [note for piece in add(studio, batch).pieces for note in piece.notes]
    assert len(notes) == 1
    assert "is back" in notes[0]
    assert list(unsound_photos(studio, read_all=True)) == []
