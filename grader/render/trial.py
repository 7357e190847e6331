"""Random batches with known truth, much more varied than any one studio's, for measuring."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from .batch import Job
from .clays import CLAYS, COLOURED_GLAZES, draw_surface
from .faults import FaultSpec
from .forms import FORM_NAMES, Form, make_form
from .paintings import Painting, random_painting
from .piece import PiecePlan
from .settings import random_setting
from .shots import random_session

_SHALLOW = ("dish", "oval dish", "bowl")


def trial_jobs(seed: int, pieces: int, size_px: tuple[int, int]) -> Iterator[Job]:
    """Draw pieces, faults, tables and lights.

    Parameters
    ----------
    seed : int
        The whole batch follows from it.
    pieces : int
    size_px : tuple of int
        Width and height of a landscape photo; a third of the sessions hold the phone upright.

    Yields
    ------
    Job
    """
    forms: list[str] = []
    for k in range(pieces):
        rng = np.random.default_rng(np.random.SeedSequence([seed, k]))
        if not forms:
            forms = [
                str(f) for f in np.random.default_rng([seed, 1000 + k]).permutation(FORM_NAMES)
            ]
        name = forms.pop()
        yield _trial_job(f"T{seed:02d}{k:02d}", name, k, rng, size_px)


def _trial_job(
    code: str, name: str, k: int, rng: np.random.Generator, size_px: tuple[int, int]
) -> Job:
    form = make_form(name, rng)
    finish = str(
        rng.choice(
            ["raw", "glazed", "glazed", "glazed", "coloured"], p=[0.27, 0.22, 0.22, 0.2, 0.09]
        )
    )
    clay = str(rng.choice(list(CLAYS)))
    colour = str(rng.choice(list(COLOURED_GLAZES))) if finish == "coloured" else ""
    surface = draw_surface(clay, finish, rng, colour)
    painting: Painting | None = None
    shallow = name in _SHALLOW and form.height_mm < 70
    if finish != "coloured" and rng.random() < (0.75 if finish == "glazed" else 0.2):
        painting = random_painting(
            rng, form.height_mm, form.radius_mm, clay == "dark brown", shallow
        )
    faults = _draw_faults(form, finish, painting, k, rng)
    views = ["front", "right", "back", "left"]
    if any(f.part == "inside" for f in faults) or rng.random() < 0.2:
        views.append("inside")
    if rng.random() < 0.3:
        views.append("foot")
    # Tall ware is often photographed with the phone upright, and then there is no room for a chart.
    upright = form.height_mm > 1.3 * 2 * form.radius_mm and rng.random() < 0.6
    size = (size_px[1], size_px[0]) if upright else size_px
    session = random_session(rng, random_setting(rng), size)
    if upright:
        session = replace(session, chart=False)
    taken = datetime(2026, 11, 20, 9, 0, tzinfo=UTC) + timedelta(minutes=3 * k)
    plan = PiecePlan(
        code, form, surface, painting, faults, int(rng.integers(1 << 30)), {"use": "food"}
    )
    return Job(plan, session, tuple(views), taken)


def _draw_faults(
    form: Form, finish: str, painting: Painting | None, k: int, rng: np.random.Generator
) -> tuple[FaultSpec, ...]:
    """Draw none, one or two faults that the finish can have; two pieces in five are sound."""
    if finish == "raw":
        kinds = ["scorch", "scorch", "browning", "browning", "crack"]
    elif finish == "coloured":
        kinds = ["pit", "crawl", "crack"]
    else:
        kinds = ["pit", "pool", "pool", "crawl", "crack"]
    if painting is not None:
        kinds += ["flake", "flake", "streak"] if finish != "raw" else ["flake", "streak"]
    number = int(rng.choice([0, 1, 2], p=[0.36, 0.44, 0.20]))
    chosen = list(dict.fromkeys(str(rng.choice(kinds)) for _ in range(number)))
    open_form = form.name in ("bowl", "deep bowl", "dish", "oval dish", "teacup") and not form.lid
    out = []
    for kind in chosen:
        severity = str(rng.choice(["minor", "major"]))
        part = "outside"
        if open_form and kind in ("pit", "crawl") and rng.random() < 0.5:
            part = "inside"
        if (
            painting is not None
            and painting.name.endswith("inside")
            and kind in ("flake", "streak")
        ):
            part = "inside"
        variant = ""
        if kind == "pool" and form.handles and rng.random() < 0.4:
            variant = "handle"
        if kind == "crack":
            options = ["rim", "foot", "handle"] if form.handles else ["rim", "foot"]
            variant = str(rng.choice(options))
        if kind == "flake" and severity == "major" and rng.random() < 0.4:
            variant = "few"
        out.append(FaultSpec(kind, severity, None, None, part, variant))
    return tuple(out)
