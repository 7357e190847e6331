"""Render a batch piece by piece; each piece's folder appears only when it is whole."""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from .camera import develop
from .noise import FloatArray
from .piece import PiecePlan, make_piece
from .scene import Studio
from .shots import SIDES, Session, plan_shot, sensor_for
from .targets import marker_side_mm
from .truth import label_counts, piece_truth, write_facts, write_truth

# EXIF tag numbers (Exif 2.32): capture time, its fraction, its offset from UTC; focal length.
_DATE_TIME_ORIGINAL, _SUB_SEC, _OFFSET, _EXIF_IFD = 0x9003, 0x9291, 0x9011, 0x8769
_FOCAL_35MM = 0xA405


@dataclass(frozen=True, slots=True)
class Job:
    """One piece to photograph: its plan, its session, its views and when the first was taken."""

    plan: PiecePlan
    session: Session
    views: tuple[str, ...]
    taken: datetime


def run_jobs(
    jobs: Iterable[Job], folder: Path, spp: tuple[int, int], texels_per_mm: float = 10.0
) -> None:
    """Render all pieces into `folder`, refreshing pieces.csv and truth.json after each.

    Parameters
    ----------
    jobs : iterable of Job
    folder : pathlib.Path
        Made if missing; pieces that are already there are made again.
    spp : tuple of int
        Samples a pixel for the frame, and more of them on the piece.
    texels_per_mm : float
        Density of the surfaces.
    """
    folder.mkdir(parents=True, exist_ok=True)
    records: list[dict[str, Any]] = []
    rows: list[dict[str, str]] = []
    for job in jobs:
        start = time.perf_counter()
        record, row = render_piece(job, folder, spp, texels_per_mm)
        records.append(record)
        rows.append(row)
        write_truth(folder, records)
        write_facts(folder, rows)
        seconds = (time.perf_counter() - start) / len(job.views)
        print(f"{job.plan.code}: {len(job.views)} views, {seconds:.0f} s each", file=sys.stderr)


def render_piece(
    job: Job, folder: Path, spp: tuple[int, int], texels_per_mm: float = 10.0
) -> tuple[dict[str, Any], dict[str, str]]:
    """Render one piece into ``folder/<code>``.

    Returns
    -------
    truth : dict
        Its record for truth.json.
    facts : dict
        Its row for pieces.csv.
    """
    plan, session = job.plan, job.session
    piece = make_piece(plan, texels_per_mm)
    rng = np.random.default_rng(np.random.SeedSequence([plan.seed, 77]))
    work = folder / f".{plan.code}.part"
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir()
    views: list[dict[str, Any]] = []
    sensor = None
    base: FloatArray | None = None
    try:
        with Studio(piece, session.setting) as studio:
            for k, name in enumerate(job.views):
                shot = plan_shot(piece, session, name, rng)
                seed = plan.seed % 100_000 * 16 + 2 * k
                hidden = ("lid",) if name in ("inside", "foot") else ()
                same = base if name in SIDES else None
                picture = studio.render(
                    shot.view, shot.pose, list(shot.cards), spp, seed, hidden, same
                )
                if name in SIDES and plan.form.is_round:
                    base = picture.light if base is None else base
                metered = sensor_for(session, picture.light, picture.labels > 0)
                if sensor is None:
                    sensor = metered
                # The stand is metered once for the sides; inside and foot are metered anew.
                used = sensor if name in SIDES else replace(sensor, exposure=metered.exposure)
                rgb = develop(picture.light, used, rng)
                taken = job.taken + timedelta(seconds=11 * k + float(rng.uniform(0, 3)))
                _save_photo(work / f"{name}.jpg", rgb, used.quality, taken, shot.view.focal_35mm)
                _save_labels(work / f"{name}_truth.png", picture.labels)
                views.append(
                    {
                        "view": name,
                        "px": label_counts(picture.labels),
                        "px_per_mm": round(shot.px_per_mm, 3),
                        "marker_px_per_mm": round(shot.marker_px_per_mm, 3),
                    }
                )
        final = folder / plan.code
        if final.exists():
            shutil.rmtree(final)
        work.replace(final)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    setting = session.setting
    extra = {
        "painting": plan.painting.name if plan.painting else None,
        "marker_mm": round(marker_side_mm(), 3),
        "chart": session.chart,
        "table": f"{setting.table.look} L*{setting.table.lab[0]:.0f}",
        "lights_k": [round(lamp.temperature_k) for lamp in setting.lamps],
        "elevation_deg": round(session.elevation_deg, 1),
        "clay_lab": [round(v, 1) for v in plan.surface.lab],
    }
    facts = {
        "piece": plan.code,
        "form": plan.form.name,
        "clay": plan.surface.clay,
        "finish": plan.surface.finish,
        "decorated": "yes" if plan.painting else "no",
        "height_mm": f"{plan.form.height_mm:.1f}",
        **plan.facts,
    }
    return piece_truth(piece, views, extra), facts


def _save_photo(
    path: Path, rgb: np.ndarray, quality: int, taken: datetime, focal_35mm: float
) -> None:
    exif = Image.Exif()
    details = exif.get_ifd(_EXIF_IFD)
    details[_DATE_TIME_ORIGINAL] = taken.strftime("%Y:%m:%d %H:%M:%S")
    details[_SUB_SEC] = f"{taken.microsecond // 1000:03d}"
    details[_OFFSET] = "+00:00"
    details[_FOCAL_35MM] = round(focal_35mm)
    Image.fromarray(rgb).save(path, quality=quality, subsampling=2, optimize=True, exif=exif)


def _save_labels(path: Path, labels: np.ndarray) -> None:
    Image.fromarray(labels).save(path, optimize=True)
