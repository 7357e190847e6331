"""What is written beside the pictures: labels, faults, expected grades, facts."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from .canvas import LABEL_NAMES
from .faults import FaultMark, FaultSpec
from .piece import MadePiece

# Columns of pieces.csv that a maker would know; none gives a fault away.
CSV_COLUMNS = (
    "piece", "design", "form", "clay", "finish", "decorated", "painted_on", "glaze", "use",
    "height_mm", "shelf", "place", "firing", "price",
)  # fmt: skip


def label_counts(labels: npt.NDArray[np.uint8]) -> dict[str, int]:
    """Count pixels of each label in a view, by name; absent labels are left out."""
    counts = np.bincount(labels.ravel(), minlength=max(LABEL_NAMES) + 1)
    return {name: int(counts[k]) for k, name in LABEL_NAMES.items() if counts[k]}


def expected_grades(
    specs: tuple[FaultSpec, ...], marks: tuple[FaultMark, ...], use: str
) -> tuple[str, list[str]]:
    """Grade that a careful potter gives, and every grade that one could defend.

    Common practice, no source: a refire can help flakes that are firm and few and crawling; nothing
    helps scorch, browning, streaks or cracks; a slight pool tint or one or two pits outside pass.

    Parameters
    ----------
    specs : tuple of FaultSpec
    marks : tuple of FaultMark
    use : str
        "food", "plant" or "decor".

    Returns
    -------
    grade : str
        "first", "refire" or "second".
    grades_ok : list of str
        All defensible ones, `grade` first.
    """
    verdicts: list[tuple[str, list[str]]] = []
    number = Counter(mark.kind for mark in marks)
    for spec in specs:
        inside = spec.part == "inside"
        major = spec.severity == "major"
        if spec.kind == "flake":
            few = number["flake"] <= 6
            verdicts.append(
                ("second", ["second"])
                if inside or not few
                else ("refire", ["refire"] if major else ["refire", "first"])
            )
        elif spec.kind == "pit":
            few = number["pit"] <= 2 and not inside
            verdicts.append(("first", ["first"]) if few else ("second", ["second"]))
        elif spec.kind == "pool":
            verdicts.append(("second", ["second"]) if major else ("first", ["first"]))
        elif spec.kind == "browning":
            verdicts.append(
                ("second", ["second", "first"]) if major else ("first", ["first", "second"])
            )
        elif spec.kind == "scorch":
            verdicts.append(("second", ["second"]) if major else ("second", ["second", "first"]))
        elif spec.kind == "streak":
            verdicts.append(
                ("second", ["second", "refire"])
                if major
                else ("second", ["second", "first", "refire"])
            )
        elif spec.kind == "crack":
            verdicts.append(("second", ["second"]))
        elif spec.kind == "crawl":
            verdicts.append(("refire", ["refire", "second"]))
    if not verdicts:
        return "first", ["first"]
    order = {"first": 0, "refire": 1, "second": 2}
    grade = max((v[0] for v in verdicts), key=order.__getitem__)
    # A fault that no fire mends settles it; otherwise the union of what each fault allows.
    floor = min(order[g] for g in max(verdicts, key=lambda v: min(order[g] for g in v[1]))[1])
    allowed = {g for v in verdicts for g in v[1] if order[g] >= floor}
    if any(v[1] == ["second"] for v in verdicts):
        allowed = {"second"}
    rest = sorted(allowed - {grade}, key=order.__getitem__)
    return grade, [grade, *rest]


def piece_truth(
    piece: MadePiece, views: list[dict[str, Any]], extra: dict[str, Any]
) -> dict[str, Any]:
    """Everything known about one piece, ready for JSON."""
    plan = piece.plan
    use = plan.facts.get("use", "food")
    made = {mark.kind for mark in piece.marks}
    specs = tuple(s for s in plan.faults if s.kind in made)
    grade, grades_ok = expected_grades(specs, piece.marks, use)
    return {
        "piece": plan.code,
        "form": plan.form.name,
        "height_mm": round(plan.form.height_mm, 1),
        "finish": plan.surface.finish,
        "clay": plan.surface.clay,
        "painted": plan.painting is not None,
        "faults": [{"kind": s.kind, "severity": s.severity, "part": s.part} for s in specs],
        "grade": grade,
        "grades_ok": grades_ok,
        "discard_caution": "crack" in made and use == "food",
        "fault_spots": [
            {
                "kind": m.kind,
                "severity": m.severity,
                "on": m.skin,
                "azimuth_deg": m.azimuth_deg,
                "height_mm": m.height_mm,
                "size_mm": m.size_mm,
                "area_mm2": m.area_mm2,
                "shift_de76": m.shift_de,
                "inside": m.inside,
            }
            for m in piece.marks
        ],
        **extra,
        "views": views,
    }


def write_text(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8")
    part.replace(path)


def write_truth(folder: Path, records: list[dict[str, Any]]) -> None:
    """Write truth.json."""
    write_text(folder / "truth.json", json.dumps(records, indent=1) + "\n")


def write_facts(folder: Path, rows: list[dict[str, str]]) -> None:
    """Write pieces.csv with the columns that the grader reads."""
    out = io.StringIO()
    writer = csv.DictWriter(out, CSV_COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    write_text(folder / "pieces.csv", out.getvalue())
