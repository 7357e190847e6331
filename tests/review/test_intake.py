"""Dropped photos reach the disk under harmless names, then the record."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.errors import BatchError, UsageError
from grader.record.bench import piece_view
from grader.record.queries import batches
from grader.record.studio import Studio, init_studio
from grader.review.intake import (
    free_path,
    is_wanted,
    safe_part,
    safe_path,
    take_dropped,
    take_folder,
    told_of,
)
from tests.review.bench_kit import a_pot


@dataclass
class AFile:
    name: str
    content: bytes

    def getbuffer(self) -> memoryview:
        return memoryview(self.content)


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    return init_studio(tmp_path / "studio")


def pot(tmp_path: Path, mark: str) -> bytes:
    path = tmp_path / "pot.jpg"
    a_pot(path, size=(160, 120), mark=mark)
    return path.read_bytes()


@given(st.text(max_size=300))
def test_no_name_leaves_the_folder(name: str) -> None:
    path = safe_path(name)
    assert not path.is_absolute()
    assert ".." not in path.parts
    assert 1 <= len(path.parts) <= 2
    assert all(part == safe_part(part) for part in path.parts)
    assert Path("/studio/incoming/load") in (Path("/studio/incoming/load") / path).parents


@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("K07_front.jpg", "K07_front.jpg"),
        ("load/K07/front.jpg", "K07/front.jpg"),
        ("../../x.jpg", "x.jpg"),
        ("..\\..\\x.jpg", "x.jpg"),
        ("/etc/passwd.jpg", "etc/passwd.jpg"),
        ("<b>x</b>.jpg", "_b_x_/b_.jpg"),
        (".hidden.jpg", "hidden.jpg"),
        ("", "_"),
    ],
)
def test_names_become_harmless(name: str, path: str) -> None:
    assert safe_path(name) == Path(path)


def test_only_photos_and_the_list_of_pieces_are_taken() -> None:
    assert is_wanted("a.HEIC") and is_wanted("Pieces.csv")
    assert not is_wanted("run.exe") and not is_wanted("other.csv")


def test_dropped_photos_become_pieces_and_leave_no_second_copy(
    studio: Studio, tmp_path: Path
) -> None:
    files = [
        AFile("K07_front.jpg", pot(tmp_path, "front")),
        AFile("K07_back.jpg", pot(tmp_path, "back")),
        AFile("notes.txt", b"no photo"),
        AFile("pieces.csv", b"piece,design\nK07,=1+1\n"),
    ]
    added = take_dropped(studio, files, load="../20 November", refire=False)
    view = piece_view(studio, "K07")
    assert [photo.view for photo in view.photos] == ["front", "back"]
    assert view.words["design"] == "=1+1"
    assert told_of(added)[0] == "1 piece new: K07."
    assert not any((studio.folder / "incoming").rglob("*.jpg"))
    assert [row.label for row in batches(studio)] == ["_20 November"]
    assert not (tmp_path / "20 November").exists()


def test_two_drops_of_one_load_are_one_load(studio: Studio, tmp_path: Path) -> None:
    for view in ("front", "back"):
        files = [AFile(f"K07_{view}.jpg", pot(tmp_path, view))]
        take_dropped(studio, files, load="Load", refire=False)
    assert len(batches(studio)) == 1
    assert len(piece_view(studio, "K07").photos) == 2


def test_two_photos_of_one_name_are_both_kept(tmp_path: Path) -> None:
    (tmp_path / "IMG_1.jpg").write_bytes(b"one")
    assert free_path(tmp_path / "IMG_1.jpg", b"one") is None
    assert free_path(tmp_path / "IMG_1.jpg", b"two") == tmp_path / "IMG_1 (2).jpg"


def test_folder_without_photos_or_name_is_refused_with_a_remedy(
    studio: Studio, tmp_path: Path
) -> None:
    with pytest.raises(UsageError, match="no folder was named"):
        take_folder(studio, "  ", refire=False)
    (tmp_path / "empty").mkdir()
    with pytest.raises(BatchError, match="no photos"):
        take_folder(studio, str(tmp_path / "empty"), refire=False)
