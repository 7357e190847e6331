"""The stages of one piece joined: what only all of its photos can tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from grader import survey
from grader.batch import PieceEntry, Shot
from grader.facts import PieceFacts
from grader.faults import doubt_lost
from grader.findings import FaultName, Finding
from grader.piece import Silhouette, cut_out, cut_out_again
from tests.drawn import draw_pot

SIDES = ("front", "right", "back", "left")
PLAIN = {"clay": (0.62, 0.45, 0.30), "table": (0.42, 0.43, 0.45)}


def _entry(folder: Path, sides: Sequence[str]) -> PieceEntry:
    shots = []
    for number, side in enumerate(sides):
        picture = draw_pot(**PLAIN, seed=number + 1).rgb  # type: ignore[arg-type]
        path = folder / f"{side}.png"
        Image.fromarray(picture).save(path)
        shots.append(Shot(f"V01/{side}.png", path, side))  # type: ignore[arg-type]
    return PieceEntry("V01", PieceFacts("V01", height_mm=90.0, finish="raw"), tuple(shots))


@pytest.mark.parametrize(("count", "mended"), [(4, True), (3, False)])
def test_an_outline_that_one_side_has_alone_is_found_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, count: int, mended: bool
) -> None:
    """With three sides a handle might be seen from one only: each outline then stands."""
    again: list[int] = []

    def misled(
        rgb: NDArray[np.uint8], cards: Sequence[NDArray[np.float64]], **how: Any
    ) -> Silhouette | None:
        found = cut_out(rgb, cards, **how)
        assert found is not None
        if misled_on.pop(0):
            x, y, wide, high = found.bbox_px
            patch = np.zeros(found.mask.shape, np.uint8)
            middle = (x + wide, y + round(0.85 * high))
            cv2.ellipse(patch, middle, (wide // 4, high // 9), 0, 0, 360, 1, -1)
            return replace(found, mask=found.mask | (patch > 0))
        return found

    def counted(*how: object) -> Silhouette | None:
        again.append(1)
        return cut_out_again(*how)  # type: ignore[arg-type]

    misled_on = [True] + [False] * (count - 1)
    monkeypatch.setattr(survey, "cut_out", misled)
    monkeypatch.setattr(survey, "cut_out_again", counted)
    gathered = survey.gather(_entry(tmp_path, SIDES[:count]))
    assert [report.usable for report in gathered.photos] == [True] * count
    front, right = gathered.evidence.views[:2]
    wide = [int(view.surface.mask.any(0).sum()) for view in (front, right)]
    assert (abs(wide[0] - wide[1]) < 0.02 * wide[1]) == mended
    assert len(again) == (1 if mended else 0)


def test_a_soft_fault_or_a_faint_line_is_trusted_less_where_the_outline_is_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unsure(
        rgb: NDArray[np.uint8], cards: Sequence[NDArray[np.float64]], **how: Any
    ) -> Silhouette | None:
        found = cut_out(rgb, cards, **how)
        assert found is not None
        return replace(found, certainty=chances.pop(0))

    chances = [0.9, 0.05, 0.2]
    monkeypatch.setattr(survey, "cut_out", unsure)
    gathered = survey.gather(_entry(tmp_path, SIDES[:3]))
    assert gathered.evidence.lost == {"V01/right.png"}
    kinds: tuple[tuple[FaultName, float], ...]
    kinds = (("pool_tint", 1.0), ("crack", 1.0), ("crack", 0.4), ("pool_tint", 0.4), ("pit", 0.3))
    found = [
        Finding(fault, photo, "right", (0, 0, 9, 9), (), "clay", 9.0, 60.0, 0.5, 6.0, sure, "")
        for photo in ("V01/right.png", "V01/back.png")
        for fault, sure in kinds
    ]
    doubted = doubt_lost(found, gathered.evidence.lost)
    left = [(each.fault, each.certainty) for each in doubted]
    assert left == [("pool_tint", 0.4), ("crack", 1.0), ("pit", 0.3), *kinds]
