"""The sample batch: one unload of the invented Ormsedge Pottery, always the same pictures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from ..errors import GraderError
from .batch import Job
from .clays import draw_surface
from .faults import FaultSpec
from .forms import Form, make_form
from .paintings import Element, Painting
from .piece import PiecePlan
from .settings import Lamp, Setting, material
from .shots import SIDES, Session

SIZE_PX = (1600, 1200)
# Like a phone's own: no loss that a fault could hide in.
_QUALITY = 88
_FIRING = "2026-11-18 glaze"
_QUARTER = np.pi / 2


class UnknownSampleError(GraderError):
    """A piece was asked for that the sample batch does not have."""


@dataclass(frozen=True, slots=True)
class _Design:
    """What sisters share: the shape and clay follow from `seed`."""

    name: str
    form: str
    height_mm: float
    width_ratio: float
    clay: str
    finish: str
    painting: Painting | None
    seed: int
    use: str
    price: str
    table: str
    inside: bool = False


def _round(
    kind: str, colours: tuple[str, ...], count: int, height: float, size: float
) -> list[Element]:
    return [Element(kind, colours, height, size, 2 * np.pi * k / count) for k in range(count)]


_NEWTS = Painting(
    "newts",
    (
        *_round("newt", ("cobalt blue", "ochre"), 3, 0.5, 58.0),
        Element("line", ("cobalt blue",), 0.9, 1.8),
    ),
)
_SNAILS = Painting("snails", tuple(_round("snail", ("brown", "ochre"), 4, 0.56, 36.0)))
_MOTHS = Painting("moths", tuple(_round("moth", ("black", "coral"), 4, 0.52, 46.0)))
_REEDS = Painting("reeds", tuple(_round("reeds", ("moss green", "ochre"), 5, 0.5, 84.0)))
_DIP = Painting(
    "blue foot",
    (Element("dip", ("cobalt blue",), 0.46, 10.0), Element("dots", ("cobalt blue",), 0.58, 3.6)),
)
_BAND = Painting(
    "pond band",
    (
        Element("band", ("turquoise",), 0.5, 30.0),
        Element("dots", ("white slip",), 0.5, 5.5),
        Element("line", ("black",), 0.78, 1.4),
    ),
)

_DESIGNS = {
    d.name: d
    for d in (
        _Design(
            "newt beaker",
            "beaker",
            104.0,
            0.76,
            "speckled",
            "glazed",
            _NEWTS,
            11,
            "food",
            "26.00",
            "grey",
        ),
        _Design(
            "snail bowl",
            "deep bowl",
            82.0,
            1.5,
            "white",
            "glazed",
            _SNAILS,
            12,
            "food",
            "32.00",
            "white",
            True,
        ),
        _Design(
            "moth mug",
            "mug",
            92.0,
            0.92,
            "speckled",
            "glazed",
            _MOTHS,
            13,
            "food",
            "29.00",
            "grey",
            True,
        ),
        _Design(
            "plain planter",
            "planter",
            108.0,
            1.08,
            "buff",
            "raw",
            None,
            14,
            "plant",
            "24.00",
            "oak",
        ),
        _Design(
            "reed vase", "vase", 158.0, 0.6, "buff", "glazed", _REEDS, 15, "decor", "48.00", "oak"
        ),
        _Design(
            "blue-foot jug",
            "jug",
            138.0,
            0.68,
            "white",
            "glazed",
            _DIP,
            16,
            "food",
            "44.00",
            "white",
        ),
        _Design(
            "pond beaker",
            "beaker",
            96.0,
            0.8,
            "speckled",
            "glazed",
            _BAND,
            17,
            "food",
            "24.00",
            "oak",
        ),
        _Design(
            "toasty salt pot",
            "salt pot",
            84.0,
            1.12,
            "toasty",
            "raw",
            None,
            18,
            "food",
            "30.00",
            "grey",
        ),
        _Design(
            "square pot",
            "squared pot",
            94.0,
            0.98,
            "red",
            "raw",
            None,
            19,
            "plant",
            "22.00",
            "white",
        ),
        _Design(
            "egg cup", "egg cup", 66.0, 0.84, "white", "glazed", None, 20, "food", "12.00", "grey"
        ),
        _Design(
            "porridge bowl",
            "deep bowl",
            88.0,
            1.42,
            "speckled",
            "glazed",
            None,
            21,
            "food",
            "27.00",
            "oak",
            True,
        ),
        _Design(
            "glazed planter",
            "round planter",
            102.0,
            1.18,
            "buff",
            "glazed",
            None,
            22,
            "plant",
            "28.00",
            "white",
        ),
    )
}

# Piece: design, faults, seed, shelf, place, what it was painted on.
_PIECES: tuple[tuple[str, str, tuple[FaultSpec, ...], int, str, str, str], ...] = (
    ("M01", "newt beaker", (), 101, "1", "middle", "greenware"),
    (
        "M02",
        "newt beaker",
        (FaultSpec("flake", "major", 0.15, 0.5, "outside", "few"),),
        102,
        "1",
        "edge",
        "bisque",
    ),
    ("M03", "newt beaker", (FaultSpec("pool", "minor", 1.4),), 103, "2", "middle", "greenware"),
    ("M04", "moth mug", (), 104, "2", "edge", "greenware"),
    ("M05", "moth mug", (FaultSpec("flake", "major", -1.5, 0.5),), 105, "1", "edge", "bisque"),
    (
        "M06",
        "moth mug",
        (
            FaultSpec("pool", "major", 0.0, None, "outside", "handle"),
            FaultSpec("flake", "minor", 3.0, 0.5),
        ),
        106,
        "2",
        "middle",
        "bisque",
    ),
    ("M07", "toasty salt pot", (FaultSpec("browning", "minor", 2.8),), 107, "3", "edge", ""),
    ("M08", "egg cup", (FaultSpec("pit", "minor", 0.2, 0.8),), 108, "1", "middle", ""),
    ("M09", "snail bowl", (), 109, "2", "middle", "greenware"),
    ("M10", "snail bowl", (FaultSpec("pit", "major", -0.4, 0.72),), 110, "2", "edge", "greenware"),
    ("M11", "snail bowl", (FaultSpec("crawl", "minor", 1.7, 0.78),), 111, "1", "middle", "bisque"),
    ("M12", "blue-foot jug", (FaultSpec("streak", "major", 0.0),), 112, "3", "middle", "bisque"),
    ("M13", "square pot", (), 113, "3", "edge", ""),
    (
        "M14",
        "square pot",
        (
            FaultSpec("scorch", "major", 0.5, 0.55),
            FaultSpec("crack", "minor", -1.5, None, "outside", "rim"),
        ),
        114,
        "4",
        "edge",
        "",
    ),
    (
        "M15",
        "glazed planter",
        (FaultSpec("crack", "major", 0.3, None, "outside", "foot"),),
        115,
        "4",
        "middle",
        "",
    ),
    ("M16", "plain planter", (), 116, "4", "middle", ""),
    ("M17", "plain planter", (FaultSpec("scorch", "minor", 0.25, 0.55),), 117, "4", "edge", ""),
    ("M18", "plain planter", (FaultSpec("browning", "major", -_QUARTER),), 118, "4", "edge", ""),
    ("M19", "pond beaker", (FaultSpec("streak", "minor", 0.3),), 119, "3", "middle", "bisque"),
    (
        "M20",
        "porridge bowl",
        (FaultSpec("crawl", "major", 0.4, 0.6), FaultSpec("pool", "minor", -2.0)),
        120,
        "3",
        "middle",
        "",
    ),
    ("M21", "reed vase", (), 121, "1", "edge", "greenware"),
)


def _sessions() -> dict[str, Session]:
    """Three corners of one workshop; the chart stands in two of them."""
    grey = Setting(
        table=material("grey paper", 1),
        backdrop=material("grey paper", 1),
        sweep=True,
        backdrop_mm=330.0,
        lamps=(
            Lamp(-52.0, 38.0, 1300.0, 760.0, 980.0, 6000.0, 1.0, 4),
            Lamp(60.0, 40.0, 1000.0, 500.0, 500.0, 5200.0, 0.22),
        ),
        room_power=0.42,
        room_temperature_k=5400.0,
        seed=3,
    )
    white = replace(
        grey,
        table=material("white paper", 2),
        backdrop=material("white paper", 2),
        lamps=(
            Lamp(44.0, 46.0, 800.0, 420.0, 420.0, 4600.0, 1.0),
            Lamp(-65.0, 30.0, 1200.0, 600.0, 600.0, 4600.0, 0.3),
        ),
        room_temperature_k=4700.0,
        seed=4,
    )
    oak = replace(
        grey,
        table=material("oak", 5),
        backdrop=material("natural linen", 6),
        sweep=False,
        backdrop_mm=260.0,
        lamps=(
            Lamp(-36.0, 50.0, 850.0, 360.0, 360.0, 3600.0, 1.0),
            Lamp(72.0, 32.0, 1300.0, 700.0, 900.0, 5600.0, 0.35, 4),
        ),
        room_temperature_k=4000.0,
        seed=7,
    )
    base = Session(
        setting=grey,
        elevation_deg=17.0,
        azimuth_deg=0.0,
        fov_deg=34.0,
        size_px=SIZE_PX,
        chart=True,
        chart_mm=62.0,
        marker_side=1,
        card_gap_mm=6.0,
        exposure_ev=-0.05,
        cast=(1.01, 1.0, 0.985),
        noise=0.012,
        blur_px=0.5,
        contrast=0.12,
        vignette=0.1,
        quality=_QUALITY,
        fill=0.96,
        offset=(0.0, 0.0),
        roll_deg=0.3,
    )
    return {
        "grey": base,
        "white": replace(
            base,
            setting=white,
            elevation_deg=24.0,
            chart=True,
            exposure_ev=-0.1,
            cast=(0.99, 1.0, 1.015),
            roll_deg=-0.4,
        ),
        "oak": replace(
            base,
            setting=oak,
            elevation_deg=13.0,
            fov_deg=30.0,
            chart=False,
            marker_side=-1,
            cast=(1.02, 1.0, 0.97),
        ),
    }


def sample_form(design: str, code_seed: int) -> Form:
    """Shape of one piece: that of its design, a per cent taller or shorter as hands go."""
    d = _DESIGNS[design]
    taller = 1.0 + 0.012 * float(np.random.default_rng(code_seed).standard_normal())
    form = make_form(d.form, np.random.default_rng(d.seed), d.height_mm * taller, d.width_ratio)
    return replace(form, foot_recess_mm=max(form.foot_recess_mm, 1.6))


def sample_jobs(only: Sequence[str] | None = None) -> Iterator[Job]:
    """List the sample batch in shooting order.

    Parameters
    ----------
    only : sequence of str, optional
        Codes of the pieces wished; all without it.

    Yields
    ------
    Job

    Raises
    ------
    UnknownSampleError
        A code that the batch does not have.
    """
    codes = [row[0] for row in _PIECES]
    unknown = sorted(set(only or ()) - set(codes))
    if unknown:
        raise UnknownSampleError(
            "The sample batch has no such piece",
            where=", ".join(unknown),
            remedy=f"Choose from {codes[0]} to {codes[-1]}.",
        )
    sessions = _sessions()
    start = datetime(2026, 11, 19, 9, 30, tzinfo=UTC)
    for number, (code, design, faults, seed, shelf, place, painted_on) in enumerate(_PIECES):
        if only and code not in only:
            continue
        d = _DESIGNS[design]
        form = sample_form(design, seed)
        facts = {
            "design": design,
            "painted_on": painted_on,
            "glaze": "clear dip" if d.finish == "glazed" else "",
            "use": d.use,
            "shelf": shelf,
            "place": place,
            "firing": _FIRING,
            "price": d.price,
        }
        surface = draw_surface(d.clay, d.finish, np.random.default_rng(1000 + d.seed))
        plan = PiecePlan(code, form, surface, d.painting, faults, seed, facts)
        views = (*SIDES, *(("inside",) if d.inside else ()), "foot")
        yield Job(plan, sessions[d.table], views, start + timedelta(minutes=2 * number))
