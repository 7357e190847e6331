"""The result of a batch as JSON: what other programs read.

Coordinates are pixels of the upright, full-size photo, x right, y down, origin top left.
"""

from __future__ import annotations

import json
import math
from typing import Any

from grader.findings import PhotoReport
from grader.verdict import GradedBatch, GradedPiece, WeighedFinding

RESULT_VERSION = 1


def result_of(batch: GradedBatch) -> dict[str, Any]:
    """The result of a batch as plain values, ready for JSON.

    Parameters
    ----------
    batch : GradedBatch

    Returns
    -------
    dict
        ``{"version": 1, "pieces": [...]}``. What could not be measured is None. A finding that
        the finish does by itself (weight ``normal``) is left out.
    """
    return {"version": RESULT_VERSION, "pieces": [_piece(piece) for piece in batch.pieces]}


def result_json(batch: GradedBatch) -> bytes:
    """The result of a batch as a JSON file's content, UTF-8, one piece after the other."""
    text = json.dumps(result_of(batch), ensure_ascii=False, allow_nan=False, indent=1)
    return (text + "\n").encode()


def _piece(piece: GradedPiece) -> dict[str, Any]:
    verdict = piece.verdict
    return {
        "piece": verdict.piece,
        "grade": verdict.grade,
        "reasons": [
            {"fault": reason.fault, "rule": reason.rule, "text": reason.text}
            for reason in verdict.reasons
        ],
        "cautions": list(verdict.cautions),
        "findings": [_finding(one) for one in verdict.weighed if one.weight != "normal"],
        "photos": [_photo(photo) for photo in piece.survey.photos],
    }


def _finding(weighed: WeighedFinding) -> dict[str, Any]:
    finding = weighed.finding
    return {
        "fault": finding.fault,
        "photo": finding.photo,
        "bbox_px": [int(value) for value in finding.bbox_px],
        "outline_px": [[int(x), int(y)] for x, y in finding.outline_px],
        "zone": finding.zone,
        "diameter_mm": _rounded(finding.diameter_mm, 2),
        "area_mm2": _rounded(finding.area_mm2, 3),
        "shift_de00": _rounded(finding.shift_de00, 2),
        "severity": weighed.severity,
        "certainty": _rounded(finding.certainty, 3),
    }


def _photo(photo: PhotoReport) -> dict[str, Any]:
    return {
        "photo": photo.photo,
        "usable": photo.usable,
        "problems": [problem.text for problem in photo.problems],
        "px_per_mm": _rounded(photo.px_per_mm, 3),
        "scale_from": photo.scale_from,
        "colour_from": photo.colour_from,
        "chart_de00": _rounded(photo.chart_de00, 2),
    }


def _rounded(value: float | None, digits: int) -> float | None:
    # JSON knows no infinity and no "not a number": what is neither was not measured.
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits)
