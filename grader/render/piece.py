"""One piece from its description: skins, clay, painting and faults put together."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .canvas import Canvas
from .clays import Surface, clay_canvas
from .faults import FaultMark, FaultSpec, add_fault
from .forms import Form
from .paintings import Painting, paint
from .skin import piece_skins

# Faults of the bare clay are there before the brush, the others after it.
_BEFORE_PAINT: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PiecePlan:
    """All that decides how a piece looks; `seed` is the hand that made this one."""

    code: str
    form: Form
    surface: Surface
    painting: Painting | None
    faults: tuple[FaultSpec, ...]
    seed: int
    facts: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class MadePiece:
    """A finished piece: its canvases (body first) and what is wrong with it."""

    plan: PiecePlan
    canvases: tuple[Canvas, ...]
    marks: tuple[FaultMark, ...]


def make_piece(plan: PiecePlan, texels_per_mm: float = 10.0) -> MadePiece:
    """Throw, paint, glaze and spoil one piece.

    Parameters
    ----------
    plan : PiecePlan
    texels_per_mm : float
        Wished density of the surface.

    Returns
    -------
    MadePiece
    """
    seeds = np.random.SeedSequence(plan.seed).spawn(3)
    clay_rng, paint_rng, fault_rng = (np.random.default_rng(s) for s in seeds)
    canvases = [
        clay_canvas(skin, plan.surface, clay_rng) for skin in piece_skins(plan.form, texels_per_mm)
    ]
    height = plan.form.height_mm
    if plan.painting is not None:
        paint(canvases[0], plan.painting, height, paint_rng)
    marks: list[FaultMark] = []
    for spec in plan.faults:
        marks += add_fault(canvases, spec, height, fault_rng)
    return MadePiece(plan, tuple(canvases), tuple(marks))
