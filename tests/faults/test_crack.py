"""Cracks: found and measured on any light clay, and not mistaken for what only looks like one."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.typing import NDArray

from grader import faults
from grader.facts import Finish
from grader.faults import Evidence, crack, crawl
from grader.findings import Finding
from tests.faults import made


def _found(*pictures: NDArray[np.float64], **how: object) -> list[Finding]:
    return crack.find(made.seen(*pictures, **how))  # type: ignore[arg-type]


def _measure(found: Finding, name: str) -> float:
    return next(value for key, value, _ in found.measures if key == name)


@pytest.mark.parametrize("clay", [made.BUFF, made.RED, made.WHITE_CLAY])
@pytest.mark.parametrize("width_mm", [0.3, 0.6, 1.0])
def test_a_crack_is_found_where_it_is_and_as_long_as_it_is(
    clay: tuple[float, float, float], width_mm: float
) -> None:
    (found,) = _found(made.crack(made.wall(clay), length_mm=20, width_mm=width_mm))
    assert found.fault == "crack"
    assert found.certainty > 0.5
    assert found.diameter_mm == pytest.approx(20 * np.mean(np.cos(np.linspace(0, 0.4))), abs=4)
    # It tapers from its full width to a seventh, and its end is too thin to be followed.
    assert 0.45 * width_mm < _measure(found, "width") < 0.9 * width_mm
    x, y = made.place_mm(found)
    assert (x, y) == pytest.approx((22, 21), abs=3)
    assert (found.shift_de00 or 0) > 5
    assert "every colour" in found.why


@pytest.mark.parametrize("seed", range(4))
def test_a_clean_wall_has_no_crack(seed: int) -> None:
    assert _found(made.wall(seed=seed)) == []


def test_a_crack_painted_out_is_gone() -> None:
    cracked = made.crack(made.wall())
    assert _found(cracked)
    mended = made.lay(cracked, made.box(15, 8, 30, 36), made.BUFF)
    assert _found(mended) == []


@pytest.mark.parametrize(
    "light", [(0.5, 0.5, 0.5), (1.25, 1.25, 1.25), (1.2, 1.0, 0.75), (0.85, 1.0, 1.2)]
)
def test_brighter_or_warmer_light_changes_nothing(light: tuple[float, float, float]) -> None:
    picture = made.crack(made.wall())
    (plain,), (lit,) = _found(picture), _found(picture, light=light)
    assert lit.certainty == pytest.approx(plain.certainty, abs=0.2)
    assert lit.diameter_mm == pytest.approx(plain.diameter_mm, abs=1.5)
    assert _measure(lit, "width") == pytest.approx(_measure(plain, "width"), abs=0.06)


def test_mirrored_it_is_the_same() -> None:
    picture = made.crack(made.wall())
    (plain,), (other,) = _found(picture), _found(made.mirrored(picture))
    assert other.diameter_mm == pytest.approx(plain.diameter_mm, abs=1.0)
    assert made.place_mm(other)[0] == pytest.approx(made.WIDE_MM - made.place_mm(plain)[0], abs=0.5)


def test_a_crack_through_paint_is_found() -> None:
    band = made.lay(made.wall(), made.box(0, 20, made.WIDE_MM, 44), made.COBALT)
    (found,) = _found(made.crack(band, start_mm=(22, 14), length_mm=26, width_mm=0.6))
    assert found.diameter_mm is not None
    assert found.diameter_mm > 18


def test_two_cracks_are_two_findings() -> None:
    picture = made.crack(made.crack(made.wall(), (14, 10)), (34, 25), seed=3)
    assert len(_found(picture)) == 2


@pytest.mark.parametrize("colour", [made.COBALT, made.OCHRE, made.BROWN, made.BLACK])
def test_painted_lines_are_no_cracks(colour: tuple[float, float, float]) -> None:
    picture = made.wall()
    for x in (10, 18, 26, 34):
        stem = [(x + 0.6 * np.sin(t / 5), t) for t in range(10, 48)]
        picture = made.lay(picture, made.line(stem, 1.3), colour)
    assert [each for each in _found(picture, decorated=True) if each.certainty > 0.3] == []


def test_a_painted_spiral_is_no_crack() -> None:
    turn = np.linspace(0.5, 5 * np.pi, 200)
    swirl = np.column_stack([np.cos(turn), np.sin(turn)]) * (0.9 * turn / np.pi * 2)[:, None]
    picture = made.lay(made.wall(), made.line(np.array([24, 30]) + swirl, 1.0), made.BROWN)
    assert _found(picture, decorated=True) == []


def test_throwing_rings_are_no_cracks() -> None:
    picture = made.wall()
    rows = np.linspace(0, made.HIGH_MM, picture.shape[0])
    picture *= (1 + 0.08 * np.sin(2 * np.pi * rows / 3.5))[:, None, None]
    assert _found(picture) == []


@pytest.mark.parametrize("seed", range(3))
def test_iron_specks_are_no_cracks(seed: int) -> None:
    assert _found(made.specks(made.wall(seed=seed), 8, seed=seed)) == []


def test_a_chain_of_specks_is_no_crack() -> None:
    picture = made.wall()
    for number in range(9):
        dot = made.ellipse((22 + 0.2 * number, 12 + 1.7 * number), 0.8, 0.8)
        picture = made.lay(picture, 0.85 * dot, (0.07, 0.04, 0.03))
    assert _found(picture) == []


def test_the_edge_between_two_paints_is_no_crack() -> None:
    picture = made.lay(made.wall(), made.box(0, 10, made.WIDE_MM, 30), made.OCHRE)
    picture = made.lay(picture, made.box(0, 30, made.WIDE_MM, 50), made.COBALT)
    assert _found(picture, decorated=True) == []


def test_a_soft_shadow_is_no_crack() -> None:
    picture = made.wall()
    cols = np.linspace(0, made.WIDE_MM, picture.shape[1])
    picture *= (1 - 0.5 * np.exp(-(((cols - 24) / 1.6) ** 2)))[None, :, None]
    assert _found(picture) == []


def test_a_seam_that_all_sides_show_at_one_place_is_no_crack() -> None:
    right = np.linspace(4, 44, 60)
    seam = made.line(np.column_stack([right, 18 + 0.6 * np.sin(right)]), 0.5)
    picture = made.lay(made.wall(), seam, made.SLOT)
    assert _found(picture, picture, picture, picture) == []
    assert len(_found(picture, made.wall(), made.wall(), made.wall())) == 1


def test_a_ruled_line_is_no_crack() -> None:
    joint = made.lay(made.wall(), made.line([(4, 18), (44, 18)], 0.5), made.SLOT)
    assert _found(joint) == []


def test_a_turned_ring_is_no_crack() -> None:
    turn = np.linspace(0.3, 2.4, 60)
    ring = np.column_stack([24 + 15 * np.cos(turn), 22 + 15 * np.sin(turn)])
    assert _found(made.lay(made.wall(), made.line(ring, 0.5), made.SLOT)) == []


def test_a_crack_keeps_apart_from_the_throwing_rings_that_it_crosses() -> None:
    picture = made.wall()
    rows = np.linspace(0, made.HIGH_MM, picture.shape[0])
    picture *= (1 + 0.25 * np.sin(2 * np.pi * rows / 3.5))[:, None, None]
    (found,) = _found(made.crack(picture, width_mm=0.6))
    assert found.diameter_mm == pytest.approx(18, abs=5)
    assert made.place_mm(found)[0] == pytest.approx(22, abs=3)


@pytest.mark.parametrize("bow_mm", [0.0, 8.0])
def test_a_hairline_is_found_among_rings_as_dark_as_itself(bow_mm: float) -> None:
    """Deep rings, seen from the side or from a little above, are dark lines that it runs into."""
    right, down = made.places_mm()
    hang = bow_mm * np.sqrt(np.clip(1 - ((right - 24) / 26) ** 2, 0, 1))
    rings = (1 + 0.45 * np.sin(2 * np.pi * (down - hang) / 2.5))[..., None]
    for seed in range(4):
        sound = made.wall(seed=seed) * rings
        assert _found(sound) == []
        (found,) = _found(made.crack(sound, (22, 24), length_mm=8, width_mm=0.2, seed=seed))
        assert found.diameter_mm == pytest.approx(8, abs=2.5)
        assert made.place_mm(found)[0] == pytest.approx(22, abs=2)


def test_a_fine_black_line_on_a_piece_painted_black_is_no_crack() -> None:
    leaf = made.lay(made.wall(), made.ellipse((24, 44), 14, 9), made.BLACK)
    bent = [(12 + 4 * np.sin(t / 9), t) for t in range(8, 34)]
    assert _found(made.lay(leaf, made.line(bent, 0.6), made.BLACK), decorated=True) == []
    assert _found(made.crack(leaf, start_mm=(36, 8), width_mm=0.5), decorated=True) != []


@pytest.mark.parametrize("from_edge_mm", [1.4, 1.6])
def test_a_crack_that_runs_beside_the_outline_is_found(from_edge_mm: float) -> None:
    (found,) = _found(made.crack(made.wall(), start_mm=(from_edge_mm, 20), seed=5))
    assert found.diameter_mm is not None
    assert found.diameter_mm > 8


@pytest.mark.parametrize("seed", range(3))
def test_a_fine_crack_is_found_though_there_is_paint_as_dark(seed: int) -> None:
    # It is nearly as deep all along, as paint is, but finer than a brush leaves a line.
    leaf = made.lay(made.wall(), made.ellipse((24, 44), 14, 9), made.BLACK)
    path = made.crack_path((24, 8), 14, seed)
    width = 0.32 + 0.08 * np.sin(np.linspace(0, 9, len(path)))
    (found,) = _found(made.lay(leaf, made.line(path, width), made.SLOT), decorated=True)
    assert found.certainty > 0.5


def test_a_fine_crack_that_runs_into_black_paint_does_not_grow_from_it() -> None:
    leaf = made.lay(made.wall(), made.ellipse((24, 44), 16, 12), made.BLACK)
    (found,) = _found(made.crack(leaf, start_mm=(24, 18), length_mm=22, width_mm=0.4))
    assert found.certainty > 0.5


def test_a_pen_line_on_a_piece_painted_black_is_no_crack() -> None:
    leaf = made.lay(made.wall(), made.ellipse((24, 44), 14, 9), made.BLACK)
    bent = [(12 + 4 * np.sin(t / 9), t) for t in range(8, 34)]
    for width in (0.4, 0.5):
        pen = made.lay(leaf, made.line(bent, width), made.BLACK)
        assert [found for found in _found(pen, decorated=True) if found.certainty > 0.3] == []


def test_a_crack_within_a_painted_leaf_is_found_though_the_leaf_ends_beside_it() -> None:
    leaf = made.lay(made.wall(), made.ellipse((22, 30), 5.5, 36), made.COBALT)
    (found,) = _found(made.crack(leaf, start_mm=(22, 20), length_mm=18, width_mm=0.5))
    assert found.certainty > 0.5


def test_scraps_at_the_same_place_of_other_sides_excuse_no_crack() -> None:
    path = made.crack_path((22, 12), 20)
    width = 0.4 * np.linspace(1.0, 0.3, len(path))
    scraps = made.wall()
    for start in (2, 16, 30):
        part = slice(start, start + 9)
        scraps = made.lay(scraps, made.line(path[part], width[part]), made.SLOT)
    found = _found(made.lay(made.wall(), made.line(path, width), made.SLOT), scraps, scraps)
    assert "front" in [each.view for each in found]


@pytest.mark.parametrize(("high_mm", "is_rim"), [(17, False), (80, True)])
def test_a_straight_crack_does_not_run_round_an_island(
    monkeypatch: pytest.MonkeyPatch, high_mm: float, is_rim: bool
) -> None:
    corners = np.array([(21, 10), (24, 10), (24, 10 + high_mm), (21, 10 + high_mm), (21, 10)])
    at = np.linspace(0, 4, 800)
    outline = np.column_stack([np.interp(at, range(5), corners[:, axis]) for axis in (0, 1)])
    # Working pixels begin two millimetres outside of the piece.
    outline = (outline + 2.0) * made.PX_PER_MM
    monkeypatch.setattr(crack, "rims", lambda view, coloured: [outline])
    found = _found(made.crack(made.wall(), start_mm=(21.5, 12), length_mm=20))
    assert (found == []) == is_rim


def test_at_the_edge_beside_a_painting_a_line_is_less_sure() -> None:
    """A painted square seen aslant is as thin as a crack; lower down there is no painting."""
    walls = [made.lay(made.wall(seed=s), made.box(10, 14, 30, 26), made.COBALT) for s in range(4)]
    x = made.WIDE_MM - 1.2

    def certainty(top: float, *, beside: bool = False) -> float:
        bends = np.array([(x + 0.15, top), (x, top + 4), (x + 0.2, top + 7), (x - 0.05, top + 11)])
        front = made.lay(walls[0], made.line(bends, 0.22), made.SLOT)
        right = walls[1]
        if beside:
            # On the next side it lies among the paint, before the camera.
            right = made.lay(right, made.line(bends - [8.0, 0.0], 0.4), made.SLOT)
        found = crack.find(made.seen(front, right, *walls[2:], decorated=True))
        return max((e.certainty for e in found if "front" in e.photo), default=0.0)

    assert certainty(40) > 0.5
    assert certainty(14.5) < 0.25
    assert certainty(14.5) < certainty(14.5, beside=True) < 0.6 * certainty(40)


def test_half_light_in_the_shade_of_a_handle_is_a_fold_and_darkness_a_crack() -> None:
    """On clay so dark that a slot in full light lacks but half."""
    clay, path = (0.10, 0.058, 0.04), made.crack_path((22, 14), 20)

    def certainty(lacking: float, *, shaded: bool) -> float:
        cover = made.line(path, 1.1) * lacking
        evidence = made.seen(made.lay(made.wall(clay), cover, made.SLOT), decorated=False)
        (view,) = evidence.views
        shade = np.full_like(view.shade, shaded)
        views = (dataclasses.replace(view, shade=shade),)
        found = crack.find(dataclasses.replace(evidence, views=views))
        return max((each.certainty for each in found), default=0.0)

    assert certainty(0.62, shaded=False) > 0.5
    assert certainty(0.62, shaded=True) < 0.3
    assert certainty(1.0, shaded=True) > 0.5


@pytest.mark.parametrize(
    ("lengths_mm", "decorated", "count"),
    [
        ((12, 12, 12), True, 0),
        ((12, 12, 12), False, 3),  # on bare clay nothing is drawn
        ((12, 12), True, 2),  # one crack, or two
        ((32, 12, 12), True, 3),  # what long crack runs round, runs on
    ],
)
def test_short_lines_round_a_decorated_piece_are_its_drawing(
    lengths_mm: tuple[float, ...], decorated: bool, count: int
) -> None:
    sides = [
        made.crack(made.wall(seed=n), start_mm=(14 + 7 * n, 8 + 5 * n), length_mm=long, seed=n)
        for n, long in enumerate(lengths_mm)
    ]
    sides += [made.wall(seed=n) for n in range(len(sides), 4)]
    assert len(_found(*sides, decorated=decorated)) == count


@pytest.mark.parametrize(("x", "is_crack"), [(24.0, True), (46.2, False)])
def test_a_dark_line_on_the_turn_of_the_wall_is_broader_than_it_looks(
    x: float, is_crack: bool
) -> None:
    """What is 0.9 mm broad from the front is a crack; seen at 68 degrees it is 2.4 mm of paint."""
    path = made.crack_path((x, 14.0), 16.0, seed=1)
    path[:, 0] = x + 0.4 * (path[:, 0] - x)
    slot = made.line(path, 0.9 * np.linspace(1.0, 0.5, len(path)))
    found = _found(made.lay(made.wall(), slot, made.SLOT))
    assert bool(found) == is_crack


def test_a_line_along_the_near_lip_is_no_crack_and_one_across_it_is() -> None:
    along = [(4 + t, 12 + 0.7 * np.sin(t / 2.5)) for t in range(40)]
    level = made.lay(made.wall(), made.line(along, 0.5), made.SLOT)
    across = made.crack(made.wall(), start_mm=(22, 10), length_mm=14)
    for picture, is_crack in ((level, False), (across, True)):
        dark = made.places_mm()[1] < 9
        evidence = made.seen(np.where(dark[..., None], 0.4, 1.0) * picture, decorated=False)
        (view,) = evidence.views
        opening = np.arange(len(view.surface.mask)) < (12 + 2) * made.PX_PER_MM
        for inside, found in ((np.zeros_like(opening), True), (opening, is_crack)):
            zones = dataclasses.replace(
                view.zones, inside=view.surface.mask & inside[:, None], wall=view.zones.wall
            )
            seen = dataclasses.replace(view, zones=zones)
            assert bool(crack.find(dataclasses.replace(evidence, views=(seen,)))) == found


@pytest.mark.parametrize(("finish", "is_crack"), [("glazed", True), ("coloured", False)])
def test_a_coloured_glaze_breaks_dark_along_its_lip(finish: Finish, is_crack: bool) -> None:
    """Further below the lip than clear glaze bends the light, and though no dark inside is seen."""
    along = [(4 + t, 12 + 0.7 * np.sin(t / 2.5)) for t in range(40)]
    picture = made.lay(made.wall(), made.line(along, 0.5), made.SLOT)
    evidence = made.seen(picture, decorated=False, finish=finish)
    (view,) = evidence.views
    opening = np.arange(len(view.surface.mask)) < (12 - 2.2 + 2) * made.PX_PER_MM
    zones = dataclasses.replace(view.zones, inside=view.surface.mask & opening[:, None])
    seen = dataclasses.replace(view, zones=zones)
    assert bool(crack.find(dataclasses.replace(evidence, views=(seen,)))) == is_crack


@pytest.mark.parametrize(("from_top_mm", "is_crack"), [(2.0, False), (6.0, True)])
@pytest.mark.parametrize("finish", ["raw", "glazed", "coloured"])
def test_a_line_along_the_lip_of_a_side_is_where_the_opening_closes(
    from_top_mm: float, is_crack: bool, finish: Finish
) -> None:
    along = [(14 + t, from_top_mm + 0.3 * np.sin(t / 2.5)) for t in range(20)]
    picture = made.lay(made.wall(), made.line(along, 0.5), made.SLOT)
    assert not made.seen(picture, finish=finish).views[0].zones.inside.any()
    assert bool(_found(picture, decorated=False, finish=finish)) == is_crack


@pytest.mark.parametrize("finish", ["raw", "glazed", "coloured"])
def test_a_crack_over_the_lip_is_found(finish: Finish) -> None:
    picture = made.crack(made.wall(), start_mm=(22, 0), length_mm=12)
    assert _found(picture, decorated=False, finish=finish)


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize(
    ("start_mm", "upside_down", "is_crack"),
    [(0.0, False, True), (0.0, True, True), (20.0, False, False)],
)
def test_a_short_crack_is_one_where_it_runs_out_over_the_edge(
    start_mm: float, upside_down: bool, is_crack: bool, seed: int
) -> None:
    """From the lip down, or from the foot up; in the middle of a wall 5 mm are little."""
    picture = made.crack(made.wall(), (22, start_mm), length_mm=4.7, width_mm=0.3, seed=seed)
    found = _found(picture[::-1].copy() if upside_down else picture)
    assert (max((each.certainty for each in found), default=0.0) > 0.5) == is_crack


def test_a_crack_in_clay_that_gives_little_blue_is_one() -> None:
    """What little light comes out of a slot is much of the blue that dark brown clay gives."""
    clay = (0.095, 0.047, 0.025)
    path = made.crack_path((22.0, 14.0), 12.0, seed=1)
    slot = made.lay(made.wall(clay), made.line(path, 0.35), (0.015, 0.015, 0.015))
    assert [each.fault for each in _found(slot)] == ["crack"]


@pytest.mark.parametrize(
    ("finish", "across", "is_crack"),
    [("glazed", False, False), ("raw", False, True), ("glazed", True, True)],
)
def test_a_dark_line_along_a_glazed_handle_lies_between_two_lights(
    finish: Finish, across: bool, is_crack: bool
) -> None:
    """One that leaves the outline behind runs across the handle."""
    path = np.array([(42 + 0.35 * np.sin(t / 1.3), 12 + t) for t in range(16)])
    if across:
        path[:, 0] += 0.6 * np.arange(16) - 9
    picture = made.lay(made.wall(), made.line(path, 0.5), made.SLOT)
    evidence = made.seen(picture, decorated=False, finish=finish)
    (view,) = evidence.views
    handle = dataclasses.replace(view.zones, body_right=np.zeros_like(view.zones.body_right))
    seen = dataclasses.replace(view, zones=handle)
    assert bool(crack.find(dataclasses.replace(evidence, views=(seen,)))) == is_crack


@pytest.mark.parametrize("fold_mm", [0.9, 1.6])
def test_a_crack_that_ends_in_the_fold_below_a_lip_is_parted_from_it(fold_mm: float) -> None:
    """The fold alone is no slot, and the two traced as one line are none either."""
    fold = made.line([(8, 13.6), (30.2, 13.9)], fold_mm)
    shade = np.array(made.WHITE_CLAY) * 0.6
    cracked = made.crack(made.wall(made.WHITE_CLAY), start_mm=(30, 14), length_mm=15, width_mm=0.5)
    assert _found(made.lay(made.wall(made.WHITE_CLAY), fold, shade)) == []
    (found,) = _found(made.lay(cracked, fold, shade))
    assert found.diameter_mm == pytest.approx(14, abs=2)
    assert made.place_mm(found) == pytest.approx((29.7, 21.3), abs=1)


def _all_inside(evidence: Evidence) -> Evidence:
    """The same wall seen through an opening, where no paint is told by its darkness."""
    (view,) = evidence.views
    zones = dataclasses.replace(
        view.zones,
        inside=view.surface.mask,
        paint=np.zeros_like(view.zones.paint),
        painted=np.zeros_like(view.zones.painted),
    )
    return dataclasses.replace(evidence, views=(dataclasses.replace(view, zones=zones),))


@pytest.mark.parametrize("leaf_mm", [0.0, 6.0])
def test_a_twig_painted_inside_a_bowl_shows_itself_by_its_leaf(leaf_mm: float) -> None:
    """A view from the side knows of no paint in there; a crack has no leaf."""
    picture = made.crack(made.wall(), start_mm=(22, 12), length_mm=18, width_mm=0.9)
    if leaf_mm:
        picture = made.lay(picture, made.ellipse((21, 9), leaf_mm, leaf_mm), made.SLOT)
    evidence = _all_inside(made.seen(picture, decorated=True))
    assert bool(crack.find(evidence)) == (leaf_mm == 0.0)


@pytest.mark.parametrize(
    ("places_mm", "decorated", "found"),
    [((22,), True, 1), ((10, 22, 34), True, 0), ((10, 22, 34), False, 3), ((10, 22, 34), None, 3)],
)
def test_lines_that_are_alike_inside_a_painted_bowl_are_its_drawing(
    places_mm: tuple[int, ...], decorated: bool | None, found: int
) -> None:
    """No paint is known in there by its darkness, as light draws dark shapes, too."""
    picture = made.wall()
    for number, x in enumerate(places_mm):
        picture = made.crack(picture, (x, 12), 18, width_mm=0.9, seed=number)
    evidence = _all_inside(made.seen(picture, decorated=decorated))
    assert len(crack.find(evidence)) == found


@pytest.mark.parametrize(("apart_mm", "found"), [(3.8, 0), (3.0, 1)])
def test_dots_in_a_row_seen_aslant_are_no_crack(apart_mm: float, found: int) -> None:
    """Two dots of which one is finer taper off as a crack does, which does not close between."""
    picture = made.lay(made.wall(), made.ellipse((36, 44), 8, 9), made.BLACK)
    along = np.linspace(-1.6, 1.6, 20)
    for number, wide_mm in enumerate((0.5, 0.85)):
        down = apart_mm * number
        path = np.column_stack([18 + 0.3 * down + 0.5 * along, 14 + down + along])
        dot = made.line(path, wide_mm * np.sqrt(1 - (along / 1.7) ** 2))
        picture = made.lay(picture, dot, made.SLOT)
    assert len(_found(picture, decorated=True)) == found


@pytest.mark.parametrize("seed", [0, 2])
def test_a_feeler_that_runs_along_the_outline_is_no_crack(seed: int) -> None:
    """It ends near the outline, but does not come from there."""
    picture = made.lay(made.wall(), made.ellipse((42, 32), 7, 10), made.SLOT)
    path = made.crack_path((44, 12), 18, seed)
    path[:, 0] = 44 - 0.3 * (path[:, 0] - 44)
    width = np.linspace(0.25, 0.8, len(path))
    assert _found(made.lay(picture, made.line(path, width), made.SLOT), decorated=True) == []


def test_a_crack_from_the_edge_into_black_paint_is_one() -> None:
    picture = made.lay(made.wall(), made.ellipse((30, 24), 9, 12), made.SLOT)
    path = made.crack_path((30, 1), 18, 2)
    width = np.linspace(0.75, 0.25, len(path))
    (found,) = _found(made.lay(picture, made.line(path, width), made.SLOT), decorated=True)
    assert found.certainty > 0.4


@pytest.mark.parametrize(("reeds", "least", "most"), [(0, 0.6, 1.0), (3, 0.35, 0.5), (9, 0.2, 0.3)])
def test_among_painted_lines_one_more_is_less_sure(reeds: int, least: float, most: float) -> None:
    """One that the mask of paint does not hold, as where a wall shines at its turn."""
    picture = made.wall()
    for k in range(reeds):
        top, long = (8, 14) if k % 2 else (26, 14)
        stem = made.line(made.crack_path((4 + 23 * k / reeds, top), long, k + 5), 0.9)
        picture = made.lay(picture, stem, made.BLACK)
    path = made.crack_path((34, 12), 20, 3)
    line = made.line(path, np.linspace(0.75, 0.3, len(path)))
    evidence = made.seen(made.lay(picture, line, made.SLOT), decorated=True)
    view = evidence.views[0]
    held = np.arange(view.zones.paint.shape[1])[None] < 28 * made.PX_PER_MM
    zones = dataclasses.replace(view.zones, paint=view.zones.paint & held)
    seen = dataclasses.replace(view, zones=zones)
    found = crack.find(dataclasses.replace(evidence, views=(seen,)))
    (one,) = [each for each in found if made.place_mm(each)[0] > 28]
    assert least < one.certainty <= most


@pytest.mark.parametrize("seed", range(4))
def test_a_fine_line_that_falls_off_from_a_dark_band_may_be_a_crack(seed: int) -> None:
    """The band may be the shadow of a lid; what a brush starts from paint keeps its depth."""
    picture = made.lay(made.wall(made.RED), made.box(4, 8, 44, 16), made.BLACK)
    path = made.crack_path((28, 15), 22, seed)
    line = made.line(path, np.linspace(0.6, 0.12, len(path)))
    assert _found(made.lay(picture, line, made.SLOT), decorated=True)


def test_a_crack_that_runs_on_from_a_painted_stripe_is_told_from_it() -> None:
    """They are traced as one line; half of it is red, and the half that is a slot is shorter."""
    stripe = made.lay(made.wall(), made.line([(22, 6), (22, 30)], 0.9), (0.36, 0.10, 0.06))
    assert _found(stripe) == []
    path = made.crack_path((22, 30), 14)
    slot = made.line(path, np.linspace(0.8, 0.6, len(path)))
    (found,) = _found(made.lay(stripe, slot, made.SLOT))
    assert found.certainty > 0.5
    assert made.place_mm(found)[1] == pytest.approx(37, abs=2)


@pytest.mark.parametrize("upside_down", [False, True])
@pytest.mark.parametrize("brushed", [False, True])
@pytest.mark.parametrize("seed", [0, 1])
def test_an_open_crack_from_the_edge_is_no_stroke_of_a_black_drawing(
    seed: int, brushed: bool, upside_down: bool
) -> None:
    """It is as broad and as black as the strokes, but none of them is near it."""
    picture = made.wall(seed=seed)
    for x in range(7, 45, 5):
        stroke = made.crack_path((x, 34), 22, x)
        picture = made.lay(picture, made.line(stroke, 1.3), made.BLACK)
    path = made.crack_path((24, 0), 26, seed)
    width = np.full(len(path), 1.3) if brushed else np.linspace(1.6, 0.4, len(path))
    colour = made.BLACK if brushed else made.SLOT
    picture = made.lay(picture, made.line(path, width), colour)
    found = _found(picture[::-1].copy() if upside_down else picture, decorated=True)
    assert bool(found) != brushed
    assert all(each.certainty > 0.5 for each in found)


@pytest.mark.parametrize(
    ("turn_deg", "finish", "at_handle", "fault"),
    [
        (230, "glazed", False, "crawl"),
        (320, "glazed", False, "crawl"),
        (230, "glazed", True, "crack"),
        (230, "raw", False, "crack"),
        (320, "raw", False, "crack"),
    ],
)
def test_a_line_that_goes_round_is_the_foot_of_a_roll_of_glaze(
    turn_deg: int, finish: Finish, at_handle: bool, fault: str
) -> None:
    """Raw clay has no glaze that could draw back, and a crack may go round the root of a handle."""
    turn = np.radians(np.linspace(0, turn_deg, 60))
    away = 2.6 + 0.35 * np.sin(3 * turn) + 0.2 * np.sin(7 * turn)
    ring = np.array([24, 30]) + np.column_stack([np.cos(turn), np.sin(turn)]) * away[:, None]
    picture = made.lay(made.wall(), made.line(ring, 0.35), made.SLOT)
    evidence = made.seen(picture, decorated=False, finish=finish)
    (view,) = evidence.views
    view = dataclasses.replace(view, relief=np.full_like(view.relief, at_handle))
    (found,) = crack.find(dataclasses.replace(evidence, views=(view,)))
    assert found.fault == fault
    assert made.place_mm(found) == pytest.approx((24, 30), abs=1.5)
    if fault == "crawl":
        assert found.diameter_mm == pytest.approx(5.2, abs=1.2)
        assert "goes round" in found.why


def test_an_island_that_shows_by_its_colour_and_by_its_roll_is_one() -> None:
    """A place within the outline of a larger island is that island; one beside it is another."""
    turn = np.linspace(0, 2 * np.pi, 60)
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    picture = made.wall()
    for middle in ((16, 30), (34, 30)):
        foot = made.line(np.array(middle) + 2.6 * ring, 0.35)
        picture = made.lay(picture, foot, made.SLOT)
    view = made.seen(picture).views[0]
    px = view.surface.px(1.0)
    left, right, bare = (
        crawl.report_roll(view, middle + size * px * ring, shift_de00=5.0, certainty=0.5)
        for middle, size in (((112, 210), 2.0), ((238, 210), 2.0), ((115, 214), 3.0))
    )
    assert faults.unexplained([left, right, bare]) == (right, bare)
    assert len(faults.unexplained([left, left])) == 2


@pytest.mark.parametrize(
    ("apart_mm", "thins_to", "is_crack"), [(0.6, 0.6, False), (6.0, 0.6, True), (0.6, 0.35, True)]
)
def test_a_line_all_but_drawn_that_ends_at_a_stem_is_its_branch(
    apart_mm: float, thins_to: float, is_crack: bool
) -> None:
    """By itself it may be a crack, and one that falls off as cracks do is one at a stem, too."""
    stem = made.line(made.crack_path((16, 8), 40, 1), 1.3)
    picture = made.lay(made.wall(), stem, made.SLOT)
    right, down = made.crack_path((0, 0), 16, 4).T
    path = np.column_stack([16 + apart_mm + 0.7 * (down - right), 18 + 0.7 * (down + right)])
    branch = made.line(path, np.linspace(0.9, 0.9 * thins_to, len(path)))
    found = _found(made.lay(picture, branch, made.SLOT), decorated=True)
    assert bool(found) == is_crack


@pytest.mark.parametrize(("x_mm", "is_crack"), [(37.5, False), (28.0, True)])
def test_seen_from_above_a_line_where_the_wall_hides_its_handle_is_no_crack(
    x_mm: float, is_crack: bool
) -> None:
    """A side that shows the root of the handle would show a crack there, too."""
    line = made.line(made.crack_path((x_mm, 25), 10, 3), np.linspace(0.6, 0.3, 21))
    evidence = made.seen(made.lay(made.wall(), line, made.SLOT), decorated=False)
    view = evidence.views[0]
    right, down = (np.arange(size) / made.PX_PER_MM for size in view.surface.mask.shape[::-1])
    left = np.nanmedian(view.zones.body_left) / made.PX_PER_MM
    handle = (right[None] < left + 38) | (np.abs(down[:, None] - np.median(down)) < 6)
    surface = dataclasses.replace(view.surface, mask=view.surface.mask & handle)
    seen = dataclasses.replace(view, surface=surface, skin=None)
    found = crack.find(dataclasses.replace(evidence, views=(seen,)))
    assert bool(found) == is_crack


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize(("start_mm", "is_crack"), [(0.0, True), (20.0, False)])
def test_a_hairline_is_one_where_it_runs_out_over_the_edge(
    start_mm: float, is_crack: bool, seed: int
) -> None:
    """It keeps back half of the light in but few places, as folds of the form do within a wall."""
    picture = made.crack(made.wall(), (22, start_mm), length_mm=7, width_mm=0.1, seed=seed)
    found = _found(picture)
    assert (max((each.certainty for each in found), default=0.0) > 0.42) == is_crack


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize(("above_mm", "is_crack"), [(2.0, True), (-1.0, True), (5.0, False)])
def test_a_hairline_is_one_where_it_comes_over_the_near_lip(
    above_mm: float, is_crack: bool, seed: int
) -> None:
    """Seen from above that edge is the opening's, less where the lamp shines on its rounding."""
    picture = made.crack(made.wall(), (22, 20), length_mm=7, width_mm=0.1, seed=seed)
    evidence = made.seen(picture)
    (view,) = evidence.views
    mask = view.surface.mask
    rim = mask.any(axis=1).argmax() + (20 - above_mm) * made.PX_PER_MM
    opening = mask & (np.arange(len(mask)) < rim)[:, None]
    zones = dataclasses.replace(view.zones, inside=opening)
    found = crack.find(
        dataclasses.replace(evidence, views=(dataclasses.replace(view, zones=zones),))
    )
    assert (max((each.certainty for each in found), default=0.0) > 0.42) == is_crack


@pytest.mark.parametrize(("at_handle", "is_told"), [(False, True), (True, False)])
def test_the_foot_of_a_roll_stands_for_an_island_of_the_colour_of_its_glaze(
    at_handle: bool, is_told: bool
) -> None:
    """Too large or too ragged for a circle, it shuts in what `crawl` takes for the glaze itself."""
    turn = np.linspace(0, 2 * np.pi, 200)
    away = 6.0 + 0.6 * np.sin(6 * turn)
    ring = np.array([24, 30]) + np.column_stack([np.cos(turn), np.sin(turn)]) * away[:, None]
    picture = made.lay(made.wall((0.45, 0.50, 0.40)), made.line(ring, 0.4), made.SLOT)
    evidence = made.seen(picture, decorated=False, finish="coloured")
    (view,) = evidence.views
    assert crawl.find(evidence) == []
    view = dataclasses.replace(view, relief=np.full_like(view.relief, at_handle))
    found = crack.find(dataclasses.replace(evidence, views=(view,)))
    assert [each.fault for each in found] == ["crawl"] * is_told
    for each in found:
        assert made.place_mm(each) == pytest.approx((24, 30), abs=1)
        assert each.diameter_mm == pytest.approx(12.6, abs=1.5)
