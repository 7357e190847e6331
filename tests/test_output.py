"""Files appear whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from grader.errors import OutputError
from grader.output import prepare_folder, refuse_originals, write_files


def test_files_are_written_and_nothing_else_is_left(tmp_path: Path) -> None:
    write_files({tmp_path / "a.csv": b"a", tmp_path / "b.json": b"b"})
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.csv", "b.json"]
    write_files({tmp_path / "a.csv": b"new"})
    assert (tmp_path / "a.csv").read_bytes() == b"new"


def test_where_one_cannot_be_written_none_is(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"old")
    (tmp_path / "folder").mkdir()
    for bad in (tmp_path / "missing" / "b.csv", tmp_path / "folder"):
        with pytest.raises(OutputError):
            write_files({tmp_path / "a.csv": b"new", bad: b"b"})
    assert (tmp_path / "a.csv").read_bytes() == b"old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.csv", "folder"]


def test_a_folder_is_made_and_left_empty(tmp_path: Path) -> None:
    prepare_folder(tmp_path / "deep" / "out")
    assert list((tmp_path / "deep" / "out").iterdir()) == []


def test_a_file_in_the_way_is_named(tmp_path: Path) -> None:
    (tmp_path / "out").write_bytes(b"")
    with pytest.raises(OutputError, match="out: cannot be written"):
        prepare_folder(tmp_path / "out")


def test_originals_are_never_written_over(tmp_path: Path) -> None:
    photo = tmp_path / "K01" / "front.jpg"
    photo.parent.mkdir()
    photo.write_bytes(b"photo")
    with pytest.raises(OutputError, match="not written over"):
        refuse_originals(photo.parent / ".." / "K01" / "front.jpg", tmp_path)
    refuse_originals(tmp_path / "new.json", tmp_path)
    refuse_originals(photo, tmp_path / "elsewhere")
