"""What is written beside the pictures."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from grader.render.faults import FaultMark, FaultSpec
from grader.render.truth import CSV_COLUMNS, expected_grades, label_counts, write_facts, write_truth


def _marks(kind: str, count: int) -> tuple[FaultMark, ...]:
    mark = FaultMark(kind, "major", "body", 0.0, 40.0, 1.0, 0.8, 30.0, False)
    return (mark,) * count


# Common practice, no source: which faults a refire can mend, and what still passes as first.
@pytest.mark.parametrize(
    ("spec", "count", "grade"),
    [
        (FaultSpec("pool", "minor"), 1, "first"),
        (FaultSpec("pool", "major"), 1, "second"),
        (FaultSpec("flake", "major"), 4, "refire"),
        (FaultSpec("flake", "major"), 15, "second"),
        (FaultSpec("pit", "minor"), 2, "first"),
        (FaultSpec("pit", "major"), 9, "second"),
        (FaultSpec("pit", "minor", part="inside"), 1, "second"),
        (FaultSpec("scorch", "major"), 1, "second"),
        (FaultSpec("streak", "major"), 1, "second"),
        (FaultSpec("crawl", "major"), 1, "refire"),
        (FaultSpec("crack", "minor"), 1, "second"),
    ],
)
def test_one_fault_gives_its_grade(spec: FaultSpec, count: int, grade: str) -> None:
    got, allowed = expected_grades((spec,), _marks(spec.kind, count), "food")
    assert got == grade
    assert allowed[0] == grade


def test_no_fault_is_first_and_nothing_else() -> None:
    assert expected_grades((), (), "food") == ("first", ["first"])


def test_a_crack_outweighs_what_a_refire_could_mend() -> None:
    specs = (FaultSpec("crawl", "major"), FaultSpec("crack", "minor"))
    assert expected_grades(specs, _marks("crawl", 1) + _marks("crack", 1), "food") == (
        "second",
        ["second"],
    )


def test_counts_are_by_name() -> None:
    labels = np.array([[0, 1, 1], [10, 3, 0]], np.uint8)
    assert label_counts(labels) == {"background": 2, "body": 2, "bare": 1, "flake": 1}


def test_files_can_be_read_back(tmp_path: Path) -> None:
    write_facts(tmp_path, [{"piece": "M01", "clay": "white"}])
    write_truth(tmp_path, [{"piece": "M01"}])
    with (tmp_path / "pieces.csv").open(newline="") as file:
        (row,) = csv.DictReader(file)
    assert tuple(row) == CSV_COLUMNS and row["clay"] == "white"
    assert json.loads((tmp_path / "truth.json").read_text()) == [{"piece": "M01"}]
    assert not list(tmp_path.glob("*.part"))
