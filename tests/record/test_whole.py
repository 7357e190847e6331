"""With the real analysis: from photos to a page, and once more after a refire."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from grader.batch import find_batch
from grader.record.add import add_batch
from grader.record.bench import piece_view
from grader.record.explain import explain
from grader.record.queries import piece_list
from grader.record.refires import before_and_after
from grader.record.studio import Studio
from tests.drawn import CLAY, blob, draw_pot

SIDES = ("front", "right", "back", "left")
SIZE = (900, 1100)
BURNT = (0.24, 0.14, 0.08)


def photograph(folder: Path, *, scorched: bool, seed: int) -> None:
    """Four sides of a raw cup, scorched on its front or not."""
    folder.mkdir(parents=True)
    for number, view in enumerate(SIDES):
        layers: dict[str, Any] = {}
        if scorched and view == "front":
            layers["scorch"] = (blob(SIZE, 520, 470, 70), BURNT)
        drawn = draw_pot(size=SIZE, clay=CLAY, layers=layers, seed=seed + number)
        Image.fromarray(drawn.rgb).save(folder / f"{view}.jpg", quality=94)


@pytest.fixture
def table(tmp_path: Path) -> str:
    """What the maker knows of the cup."""
    return "piece,finish,decorated,form,height_mm,use\nM1,raw,no,cup,76,plant\n"


def test_from_photos_to_a_refire(studio: Studio, tmp_path: Path, table: str) -> None:
    photograph(tmp_path / "one" / "M1", scorched=True, seed=1)
    (tmp_path / "one" / "pieces.csv").write_text(table)
    added = add_batch(studio, find_batch(tmp_path / "one"), workers=1)
    assert [one.trouble for one in added.looked] == [""]
    (row,) = piece_list(studio)
    view = piece_view(studio, "M1")
    assert "scorch" in {each.stored.finding.fault for each in view.findings}
    assert (row.grade, row.pending) == ("second", False)
    assert view.verdict is not None
    assert explain(studio, view.verdict.id).same

    photograph(tmp_path / "two" / "M1", scorched=False, seed=11)
    (tmp_path / "two" / "pieces.csv").write_text(table)
    add_batch(studio, find_batch(tmp_path / "two"), refire=True, workers=1)
    found = before_and_after(studio, "M1")
    assert found is not None
    # Light and wall are the same from every side, and nothing else is on the cup.
    assert not found.alignment.known
    assert "healed" in {mark.state for mark in found.marks}
    again = add_batch(studio, find_batch(tmp_path / "two"), refire=True, workers=1)
    assert (again.looked, [piece.step for piece in again.pieces]) == ((), ["known"])


def test_the_drawing_is_what_it_claims_to_be() -> None:
    plain = draw_pot(size=SIZE, clay=CLAY, seed=1)
    layers: dict[str, Any] = {"scorch": (blob(SIZE, 520, 470, 70), BURNT)}
    burnt = draw_pot(size=SIZE, clay=CLAY, layers=layers, seed=1)
    changed = np.abs(plain.rgb.astype(int) - burnt.rgb.astype(int)).max(axis=2) > 20
    assert 0.3 * np.pi * 70**2 < changed.sum() < 4 * np.pi * 70**2
