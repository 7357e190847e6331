"""Made-up likenesses: six beakers of one design, each a little different by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from grader.facts import PieceFacts
from grader.findings import FaultName
from grader.mates.likeness import Flag, Likeness, PaintLook, Side, SmallMark
from grader.skin import COLUMNS, ROWS

VIEWS = ("front", "right", "back", "left")


def a_mark(
    across: float = 0.5,
    down: float = 0.4,
    size_mm: float = 1.5,
    light: tuple[float, float, float] = (0.3, 0.3, 0.3),
) -> SmallMark:
    return SmallMark(across, down, size_mm, light)


def a_flag(
    mark: SmallMark, fault: FaultName = "pit", piece: str = "K1", view: str = "front"
) -> Flag:
    return Flag(fault, f"{piece}/{view}.jpg", (500, 400, 15, 15), mark.across, mark.down, 1.5, mark)


def a_piece(
    code: str = "K1",
    seed: int = 0,
    *,
    browner: float = 0.0,
    one_sided: float = 0.0,
    thinner: float = 0.0,
    marks: tuple[SmallMark, ...] = (),
    flags: tuple[Flag, ...] = (),
    band: tuple[float, float] = (0.3, 0.6),
    specks: int = 0,
) -> Likeness:
    """A beaker with one blue band; colours spread by 0.006, the noise of charted photos.

    `browner` and `one_sided` are log-chromaticities added to red and taken from blue, the latter
    towards the front; `thinner` is a share of clay that shows through. Marks and flags are at the
    front.
    """
    rng = np.random.default_rng(seed)
    cells = np.zeros((ROWS, COLUMNS), bool)
    top, bottom = np.round((np.array(band) + rng.normal(0, 0.01, 2)) * ROWS).astype(int)
    cells[top:bottom] = True
    tint = rng.normal(0, 0.006, 2)
    sides = []
    for number, view in enumerate(VIEWS):
        more = browner + one_sided * np.cos(np.pi / 2 * number)
        red, blue = 0.21 + tint[0] + more, -0.37 + tint[1] - more
        own = tuple(
            a_mark(x, y, size)
            for x, y, size in zip(
                rng.uniform(0, 1, specks),
                rng.uniform(0, 1, specks),
                rng.uniform(1, 2, specks),
                strict=True,
            )
        )
        front = view == "front"
        sides.append(
            Side(
                view=view,
                wide_mm=80.0,
                high_mm=100.0,
                red=float(red),
                blue=float(blue),
                tone=-1.0,
                painted=np.packbits(cells).tobytes().hex(),
                marks=(marks if front else ()) + own,
                flags=flags if front else (),
            )
        )
    full = np.array([0.12, 0.18, 0.8]) - 1
    paint = 1 + full * (1 - thinner + rng.normal(0, 0.01))
    turn = (one_sided + float(rng.normal(0, 0.003)), float(rng.normal(0, 0.003)))
    return Likeness(
        piece=code,
        sides=tuple(sides),
        paints=(PaintLook((float(paint[0]), float(paint[1]), float(paint[2])), 1.0),),
        painted_share=float(cells.mean()),
        turn=turn,
        colour_from="chart",
    )


def some_facts(*codes: str, **changes: object) -> dict[str, PieceFacts]:
    first = PieceFacts("", design="newt beaker", form="beaker", clay="speckled", finish="glazed")
    return {code: replace(first, piece=code, **changes) for code in codes}  # type: ignore[arg-type]


def six(**of_first: object) -> list[Likeness]:
    """K1 with something of its own, and five sisters."""
    first = a_piece("K1", 1, **of_first)  # type: ignore[arg-type]
    return [first, *(a_piece(f"K{number}", number) for number in range(2, 7))]
