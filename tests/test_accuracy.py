"""The accuracy is the same whether photos are looked at or the result of a run is read."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from grader.batch import PieceEntry
from grader.findings import PieceSurvey
from grader.result import result_json
from tests import accuracy
from tests.pieces import SIDES, a_batch, a_finding, a_survey, some_facts


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """One piece with a scorch on its front, known to the pixel."""
    labels = np.zeros((900, 1200), np.uint8)
    labels[100:800, 200:1000] = 1
    (tmp_path / "K01").mkdir()
    for side in SIDES:
        Image.fromarray(labels).save(tmp_path / "K01" / f"{side}.jpg")
        labels[600:820, 800:] = 13 if side == "front" else 1
        Image.fromarray(labels).save(tmp_path / "K01" / f"{side}_truth.png")
    truth = [{"piece": "K01", "faults": [{"kind": "scorch", "severity": "major"}]}]
    (tmp_path / "truth.json").write_text(json.dumps(truth))
    (tmp_path / "pieces.csv").write_text("piece,finish,use\nK01,glazed,food\n")
    return tmp_path


def test_a_result_that_is_read_counts_as_one_that_was_made(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = a_survey(
        a_finding("scorch", mm=20, zone="clay", at=(850, 610)),
        a_finding("pit", "back", at=(300, 300)),
    )

    def look(_: PieceEntry) -> PieceSurvey:
        return found

    monkeypatch.setattr(accuracy, "survey_piece", look)
    seen = accuracy.measure(folder, workers=1)
    result = tmp_path / "result.json"
    result.write_bytes(result_json(a_batch((some_facts(decorated=False), found))))
    read = accuracy.measure(folder, result=result)
    assert seen.found["marked scorch"] == [1, 1]
    assert seen.grades == [1, 1]
    assert accuracy.report(read) == accuracy.report(seen)
    assert "back.jpg pit" in accuracy.report(read)


def test_a_result_without_a_piece_is_none_to_read(folder: Path, tmp_path: Path) -> None:
    result = tmp_path / "result.json"
    result.write_bytes(result_json(a_batch()))
    with pytest.raises(SystemExit, match="lacks K01"):
        accuracy.measure(folder, result=result)
