"""Painted and faulty surfaces keep their promises in square millimetres."""

from __future__ import annotations

import numpy as np
import pytest

from grader.render import canvas as layers
from grader.render.clays import draw_surface
from grader.render.faults import KINDS, FaultSpec
from grader.render.forms import INSIDE, RING, make_form
from grader.render.paintings import Element, Painting
from grader.render.piece import MadePiece, PiecePlan, make_piece
from grader.render.tones import linear_to_lab

_BAND = Painting("band", (Element("band", ("cobalt blue",), 0.5, 24.0),))
# A little coarser than the ten texels a millimetre of the sample pictures, for speed; a pit of half
# a millimetre still is four texels across.
_DENSITY = 8.0


def _make(
    spec: FaultSpec | None, *, finish: str = "glazed", form: str = "beaker", seed: int = 1
) -> MadePiece:
    rng = np.random.default_rng(9)
    painting = _BAND if finish == "glazed" else None
    plan = PiecePlan(
        "X",
        make_form(form, rng, 62.0, 0.8),
        draw_surface("white" if finish == "glazed" else "buff", finish, rng),
        painting,
        (spec,) if spec else (),
        seed,
    )
    return make_piece(plan, _DENSITY)


def _area(piece: MadePiece, label: int) -> float:
    body = piece.canvases[0]
    return float((body.skin.texel_area_mm2() * (body.labels() == label)).sum())


def test_a_sound_piece_has_no_fault_label() -> None:
    piece = _make(None)
    assert piece.marks == ()
    assert set(np.unique(piece.canvases[0].labels())) == {layers.CLAY, layers.PAINTED, layers.FOOT}


@pytest.mark.parametrize("severity", ["minor", "major"])
def test_flakes_have_their_size_and_lie_in_paint(severity: str) -> None:
    piece = _make(FaultSpec("flake", severity))
    body = piece.canvases[0]
    flakes = body.labels() == layers.FLAKE
    assert body.painted[flakes].all()
    for mark in piece.marks:
        assert mark.area_mm2 == pytest.approx(np.pi * mark.size_mm**2 / 4, rel=0.2)
    assert _area(piece, layers.FLAKE) == pytest.approx(
        sum(m.area_mm2 for m in piece.marks), rel=0.05
    )
    # The clay shows: lighter by far than cobalt.
    flat = linear_to_lab(body.albedo()[flakes]).mean(axis=0)
    whole = linear_to_lab(body.albedo()[body.painted & ~flakes]).mean(axis=0)
    assert flat[0] - whole[0] > 20


def test_pits_have_their_size_and_are_dark() -> None:
    piece = _make(FaultSpec("pit", "major"))
    body = piece.canvases[0]
    small = [m for m in piece.marks if m.size_mm <= 1.0]
    assert small
    for mark in small:
        assert mark.area_mm2 == pytest.approx(np.pi * mark.size_mm**2 / 4, rel=0.25)
    pits = body.labels() == layers.PIT
    assert body.albedo()[pits].mean() < 0.6 * body.albedo()[~pits & ~body.painted].mean()


def test_a_pit_inside_lies_inside() -> None:
    piece = _make(FaultSpec("pit", "minor", part="inside"), form="deep bowl")
    body = piece.canvases[0]
    rows = np.flatnonzero((body.labels() == layers.PIT).any(axis=1))
    assert (body.skin.part[rows] == INSIDE).all()
    assert all(mark.inside for mark in piece.marks)


@pytest.mark.parametrize(("severity", "low", "high"), [("minor", 3, 8), ("major", 8, 25)])
def test_scorch_darkens_and_warms_by_its_grade(severity: str, low: float, high: float) -> None:
    sound = _make(None, finish="raw").canvases[0]
    burnt = _make(FaultSpec("scorch", severity), finish="raw")
    body = burnt.canvases[0]
    shift = linear_to_lab(body.albedo()) - linear_to_lab(sound.albedo())
    at = body.labels() == layers.SCORCH
    strongest = np.percentile(np.linalg.norm(shift[at], axis=-1), 99.5)
    assert low < strongest < high
    core = at & (np.linalg.norm(shift, axis=-1) > 0.6 * strongest)
    light, red, yellow = shift[core].mean(axis=0)
    assert light < 0 < red and yellow > 0
    # Outside the label nothing that matters is left.
    assert np.percentile(np.linalg.norm(shift[~at], axis=-1), 99.9) < 3.0


def test_browning_faces_one_side() -> None:
    piece = _make(FaultSpec("browning", "major", azimuth_rad=0.0), finish="raw")
    body = piece.canvases[0]
    share = (body.labels() == layers.BROWNING).mean(axis=0)
    front, back = share[body.skin.column_at(0.0)], share[body.skin.column_at(np.pi)]
    assert front > 0.1
    assert back == 0


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("severity", ["minor", "major"])
def test_every_fault_can_be_made_and_follows_its_seed(kind: str, severity: str) -> None:
    finish = "raw" if kind in ("scorch", "browning") else "glazed"
    one, two = (_make(FaultSpec(kind, severity), finish=finish, seed=4) for _ in range(2))
    assert one.marks and one.marks == two.marks
    assert np.array_equal(one.canvases[0].labels(), two.canvases[0].labels())
    assert np.array_equal(one.canvases[0].albedo(), two.canvases[0].albedo())
    label = next(k for k, name in layers.LABEL_NAMES.items() if name == kind)
    assert _area(one, label) > 0.1


def test_crack_from_the_rim_crosses_the_lip_and_is_as_long_as_said() -> None:
    piece = _make(FaultSpec("crack", "major", azimuth_rad=0.4, variant="rim"))
    body, (mark,) = piece.canvases[0], piece.marks
    rows = np.flatnonzero((body.labels() == layers.CRACK).any(axis=1))
    reach = float(np.ptp(body.skin.along_mm[rows]))
    assert 0.75 * mark.size_mm < reach < 1.05 * mark.size_mm
    assert len(np.unique(body.skin.part[rows])) >= 3


def test_flakes_need_paint() -> None:
    assert _make(FaultSpec("flake", "major"), finish="raw").marks == ()


def test_the_foot_stays_bare() -> None:
    body = _make(None).canvases[0]
    assert (body.glaze[body.skin.part == RING] == 0).all()
    assert (body.labels()[body.skin.part == RING] == layers.FOOT).all()


def test_another_seed_is_another_pot() -> None:
    one, two = (_make(FaultSpec("pit", "major"), seed=s) for s in (4, 5))
    assert one.marks != two.marks
    assert not np.array_equal(one.canvases[0].albedo(), two.canvases[0].albedo())
