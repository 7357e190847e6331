"""A folder of one piece: pictures that read back, in order, and nothing left half-made."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from grader.photo import read_capture_time, read_photo
from grader.render.batch import run_jobs
from grader.render.samples import sample_jobs


def test_pictures_tell_when_and_through_which_lens(tmp_path: Path) -> None:
    pytest.importorskip("mitsuba")
    job = next(sample_jobs(["M08"]))
    session = replace(job.session, size_px=(160, 120))
    run_jobs([replace(job, session=session, views=("front", "right"))], tmp_path, (2, 2), 2.0)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["M08", "pieces.csv", "truth.json"]
    paths = [tmp_path / "M08" / f"{view}.jpg" for view in ("front", "right")]
    first, second = (read_capture_time(path) for path in paths)
    assert first is not None and second is not None and first < second
    # 34 degrees across a 4:3 frame: f = 43.27 * 0.8 / (2 tan 17 degrees) = 56.6 mm.
    assert read_photo(paths[0]).focal_35mm == 57
    (truth,) = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    assert [view["view"] for view in truth["views"]] == ["front", "right"]
