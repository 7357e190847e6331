"""Flakes on made walls: islands and bites, beside what a brush draws."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from grader.faults import flake
from grader.faults.spots import outlined
from tests.faults import made


def _field(picture: made.Picture, paint: tuple[float, float, float] = made.COBALT) -> made.Picture:
    """A painted leaf, 26 mm by 20 mm, in the middle of a wall."""
    return made.lay(picture, made.ellipse((24, 30), 26, 20), paint)


def _bare(picture: made.Picture, at_mm: tuple[float, float], size_mm: float) -> made.Picture:
    return made.lay(picture, made.island(at_mm, size_mm, seed=3), made.BUFF)


@pytest.mark.parametrize(
    ("at_mm", "how"),
    [((22, 32), "An island"), ((24, 39.4), "A bite"), ((24, 20.6), "A bite")],
)
@pytest.mark.parametrize("size_mm", [1.6, 2.4])
def test_bare_clay_in_the_paint_is_found(
    at_mm: tuple[float, float], how: str, size_mm: float
) -> None:
    front = _bare(_field(made.wall()), at_mm, size_mm)
    walls = [_field(made.wall(seed=seed)) for seed in (1, 2, 3)]
    found = flake.find(made.seen(front, *walls, decorated=True))
    assert [each.fault for each in found] == ["flake"]
    assert found[0].why.startswith(how)
    assert np.hypot(*np.subtract(made.place_mm(found[0]), at_mm)) < 1.2


def test_a_whole_field_has_none() -> None:
    walls = [_field(made.wall(seed=seed)) for seed in range(4)]
    assert flake.find(made.seen(*walls, decorated=True)) == []


def test_what_every_side_has_is_uncertain() -> None:
    """Notches that the drawing has on each of its sides are toes, not flakes."""
    bays = [(17, 38.0), (24, 39.4), (31, 38.0)]
    walls = []
    for seed in range(4):
        picture = _field(made.wall(seed=seed))
        for at in bays:
            picture = _bare(picture, at, 1.8)
        walls.append(picture)
    everywhere = flake.find(made.seen(*walls, decorated=True))
    once = flake.find(made.seen(walls[0], *[_field(made.wall(seed=s)) for s in (1, 2, 3)]))
    assert everywhere
    assert max(each.certainty for each in everywhere) < 0.5
    assert min(each.certainty for each in once) > 0.5


def test_clay_of_a_strong_hue_shows_between_black_and_white() -> None:
    """Black and white blend to greys, which red clay is not; where they meet it may lie bare."""
    clay = (0.42, 0.22, 0.11)
    walls = []
    for seed in range(4):
        picture = made.lay(made.wall(clay, seed=seed), made.ellipse((24, 30), 26, 20), made.BLACK)
        walls.append(made.lay(picture, made.line([(14, 30), (34, 30)], 3.0), (0.8, 0.8, 0.8)))
    front = made.lay(walls[0], made.island((24, 31.5), 1.6, seed=3), clay)
    found = flake.find(made.seen(front, *walls[1:], decorated=True))
    assert [each.fault for each in found] == ["flake"]
    assert np.hypot(*np.subtract(made.place_mm(found[0]), (24, 31.5))) < 1.2


def test_a_blunt_bite_is_believed_beside_a_sure_loss_alone() -> None:
    """Where a hand wavered the outline turns in, but at no sharp corner."""
    band = np.array([(6, 20), (22.7, 20), (23.4, 21.3), (24.6, 21.3), (25.3, 20), (42, 20)])
    cover = made.blank()
    outline = np.vstack([band, [(42, 40), (6, 40)]])
    cv2.fillPoly(cover, [np.round(outline * made.PX_PER_MM * 4).astype(np.int32)], 1.0)
    walls = [made.lay(made.wall(seed=seed), cover, made.COBALT) for seed in range(4)]
    plain = made.lay(made.wall(seed=1), made.box(6, 20, 42, 40), made.COBALT)
    alone = flake.find(made.seen(walls[0], plain, plain, plain, decorated=True))
    beside = flake.find(made.seen(_bare(walls[0], (32, 31), 1.8), plain, plain, plain))
    assert alone == []
    assert sorted(each.why[:7] for each in beside) == ["A bite ", "An isla"]


@pytest.mark.parametrize(("other", "is_flake"), [(made.COBALT, True), (made.BROWN, False)])
def test_where_two_paints_meet_the_outline_turns_in(
    other: tuple[float, float, float], is_flake: bool
) -> None:
    """A leaf and the stem that it touches leave a nook between them."""
    walls = []
    for seed in range(4):
        leaf = made.lay(made.wall(seed=seed), made.box(6, 20, 24, 40), made.COBALT)
        walls.append(made.lay(leaf, made.box(24, 20, 42, 40), other))
    front = _bare(walls[0], (24, 20.6), 1.8)
    found = flake.find(made.seen(front, *walls[1:], decorated=True))
    assert [each.why[:6] for each in found] == ["A bite"] * is_flake


def test_a_bite_opens_on_whole_clay() -> None:
    """What is not quite of its colour is less sure: a crease at the root of a handle."""
    walls = [_field(made.wall(seed=seed)) for seed in range(4)]
    sure = []
    for clay in (1.0, 0.9, 0.6):
        colour = np.array(made.COBALT) ** (1 - clay) * np.array(made.BUFF) ** clay
        front = made.lay(walls[0], made.island((24, 39.4), 1.2, seed=3), tuple(colour))
        found = flake.find(made.seen(front, *walls[1:], decorated=True))
        sure.append(sum(each.certainty for each in found))
    assert sure[0] > 0.8
    assert 0.4 < sure[1] < sure[0] - 0.05
    assert sure[2] == 0.0


def test_clay_that_gives_little_blue_is_told_through_the_blue_of_the_paint() -> None:
    """A fiftieth of the light of blue paint, blurred in, makes a third more blue of red clay."""
    clay, blue = (0.36, 0.11, 0.035), (0.07, 0.09, 0.34)
    walls = [_field(made.wall(clay, seed=seed), blue) for seed in range(4)]
    front = made.lay(walls[0], made.island((24, 31.5), 1.5, seed=3), clay)
    found = flake.find(made.seen(front, *walls[1:], decorated=True, blur_px=1.9))
    assert [each.fault for each in found] == ["flake"]


@pytest.mark.parametrize(("scrap_mm", "is_flake"), [(0.7, True), (0.0, False)])
def test_scraps_of_paint_left_in_a_flake_tint_it(scrap_mm: float, is_flake: bool) -> None:
    """The same tint all over a whole disc, with nothing in it to let paint in, is another paint."""
    tinted = 0.82 * np.array(made.BUFF) + 0.18 * np.array(made.COBALT)
    walls = [_field(made.wall(seed=seed)) for seed in range(4)]
    front = made.lay(walls[0], made.ellipse((24, 31), 2.2, 2.2), tinted)
    if scrap_mm:
        front = made.lay(front, made.ellipse((24, 31), scrap_mm, scrap_mm), made.COBALT)
    found = flake.find(made.seen(front, *walls[1:], decorated=True))
    assert bool(found) == is_flake


def test_a_slit_between_two_strokes_that_touch_is_no_flake() -> None:
    """A flake of the same area is: it breaks off about as broad as long."""

    def found(wide_mm: float, long_mm: float) -> int:
        walls = [_field(made.wall(seed=seed)) for seed in range(4)]
        gap = made.ellipse((24, 31), wide_mm, long_mm)
        return len(flake.find(made.seen(made.lay(walls[0], gap, made.BUFF), *walls[1:])))

    assert found(0.38, 1.6) == 0
    assert found(0.78, 0.78) == 1


def test_red_clay_in_pink_paint_is_seen() -> None:
    """A careful eye sees the darker spot, though both are warm: some 6 dE00."""
    clay, pink = (0.45, 0.17, 0.07), (0.55, 0.22, 0.125)
    walls = [_field(made.wall(clay, seed=seed), pink) for seed in range(4)]
    front = made.lay(walls[0], made.island((24, 31.5), 1.6, seed=3), clay)
    found = flake.find(made.seen(front, *walls[1:], decorated=True))
    assert [each.fault for each in found] == ["flake"]
    assert 4.5 < (found[0].shift_de00 or 0) < 7
    assert flake.find(made.seen(*walls, decorated=True)) == []


@pytest.mark.parametrize(("colour", "count"), [((0.77, 0.745, 0.69), 0), ((0.70, 0.655, 0.57), 3)])
def test_white_dots_on_a_light_clay_are_whiter_and_lighter_than_it(
    colour: tuple[float, float, float], count: int
) -> None:
    """Spots of a brush are as ragged as flakes, and one lies at the outline."""
    front, *plain = (
        _field(made.wall((0.70, 0.655, 0.57), seed=seed), made.BROWN) for seed in range(4)
    )
    for number, at in enumerate([(18, 31), (26, 29), (24, 39.4)]):
        front = made.lay(front, made.island(at, 2.3, seed=number), colour)
    assert len(flake.find(made.seen(front, *plain, decorated=True))) == count


@pytest.mark.parametrize("paint", [made.OCHRE, made.COBALT])
def test_a_flake_of_few_pixels_has_the_rim_that_the_lens_leaves(
    paint: tuple[float, float, float],
) -> None:
    """Brush mottling as pale and as small is softer than the bell that a lens makes of a point."""
    whole = _field(made.wall(), paint)
    flaked = made.lay(whole, made.island((24, 31), 0.9, seed=3), made.BUFF)
    assert len(flake.find(made.seen(flaked, decorated=True, fewer=2))) == 1
    soft = cv2.GaussianBlur(flaked - whole, (0, 0), 0.9 * whole.shape[1] / made.WIDE_MM)
    mottled = whole + soft * (np.abs(flaked - whole).max() / np.abs(soft).max())
    assert flake.find(made.seen(mottled, decorated=True, fewer=2)) == []


def test_gaps_in_one_line_are_the_slit_between_two_strokes() -> None:
    """Two strokes that touch here and there; flakes of that form do not line up."""

    def found(*places: tuple[float, float]) -> int:
        front, *others = (_field(made.wall(seed=seed)) for seed in range(4))
        for at in places:
            front = made.lay(front, made.ellipse(at, 0.8, 1.9), made.BUFF)
        return len(flake.find(made.seen(front, *others, decorated=True)))

    assert found((24, 26), (24.1, 30), (23.9, 35)) == 0
    assert found((19, 26), (24, 30), (28, 35)) == 3


def test_clay_beside_white_paint_is_no_blend_of_it_where_it_has_a_body() -> None:
    """In colour clay may lie between brown and white; a blend by the lens is but a rim."""
    clay, white = (0.30, 0.22, 0.14), (0.8, 0.79, 0.76)
    walls = [_field(made.wall(clay, seed=seed), made.BROWN) for seed in range(4)]
    walls[0] = made.lay(walls[0], made.island((22, 31), 2.0, seed=3), clay)
    for at in [(24.4, 31), (18, 27)]:
        walls = [made.lay(each, made.ellipse(at, 2.5, 4), white) for each in walls]
    found = flake.find(made.seen(*walls, decorated=True))
    assert len(found) == 1
    assert np.hypot(*np.subtract(made.place_mm(found[0]), (22, 31))) < 1.2


@pytest.mark.parametrize(("waver", "glitters"), [(0.05, False), (0.7, True)])
def test_a_highlight_on_a_rough_glaze_is_no_paint_round_a_bite(
    waver: float, glitters: bool
) -> None:
    """Each bump of the glaze mirrors the lamp or does not: one hue, but many lights."""
    view = made.seen(_field(made.wall()), decorated=True).views[0]
    tone = view.surface.tone
    bumps = cv2.GaussianBlur(np.random.default_rng(0).standard_normal(tone.shape), (0, 0), 2.0)
    rough = tone + (waver * bumps / bumps.std()).astype(np.float32)
    shown = replace(view, surface=replace(view.surface, tone=rough))
    spot = outlined(np.ones_like(tone), np.ones((8, 8), bool), (0, 0))
    middle = tuple(np.argwhere(view.zones.paint).mean(0).astype(int).tolist())
    assert flake._glitters(shown, spot, (middle[0], middle[1])) == glitters


@pytest.mark.parametrize("chip_mm", [0.0, 1.4, 1.8])
def test_a_flake_across_the_ring_of_an_eye_is_an_island_of_the_colour_of_clay(
    chip_mm: float,
) -> None:
    """White lies beyond clay on the way from black, and would be one mark with the flake."""
    picture = _field(made.wall(), made.BLACK)
    picture = made.lay(picture, made.ellipse((24, 30), 7, 7), (0.80, 0.79, 0.77))
    picture = made.lay(picture, made.ellipse((24, 30), 3, 3), made.BLACK)
    if chip_mm:
        picture = _bare(picture, (27.3, 28.8), chip_mm)
    found = flake.find(made.seen(picture, decorated=True))
    assert len(found) == (chip_mm > 0)
    for each in found:
        assert np.hypot(*np.subtract(made.place_mm(each), (27.3, 28.8))) < 1.2


@pytest.mark.parametrize("angle_deg", [0, 35, 90])
def test_the_end_of_a_white_stroke_on_red_paint_is_no_flake(angle_deg: float) -> None:
    picture = _field(made.wall(), (0.36, 0.13, 0.10))
    way = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    ends = np.array([[24.0, 30.0]]) + np.outer([-4, 4], way)
    picture = made.lay(picture, made.line(ends, 0.9), (0.80, 0.79, 0.77))
    assert flake.find(made.seen(picture, decorated=True)) == []


def test_a_flake_across_two_paints_at_the_outline_of_one_is_counted_once() -> None:
    """It is an island in both together, and may be a bite of the one."""
    picture = _field(made.wall(), (0.36, 0.13, 0.10))
    stroke = made.line(np.array([[18.0, 30.0], [30.0, 30.0]]), 1.2)
    picture = made.lay(picture, stroke, (0.80, 0.79, 0.77))
    picture = _bare(picture, (24, 30.6), 2.0)
    walls = [_field(made.wall(seed=seed), (0.36, 0.13, 0.10)) for seed in (1, 2, 3)]
    (found,) = flake.find(made.seen(picture, *walls, decorated=True))
    assert np.hypot(*np.subtract(made.place_mm(found), (24, 30.6))) < 1.2


@pytest.mark.parametrize(("wide_mm", "pitch_mm", "gap_mm"), [(1.5, 4.0, 4.0), (2.0, 5.0, 3.0)])
def test_the_clay_between_stripes_and_a_burnt_out_lamp_is_no_flake(
    wide_mm: float, pitch_mm: float, gap_mm: float
) -> None:
    """Clay that mirrors the lamp looks like white paint; a flake in burnt-out white stays one."""
    right, down = made.places_mm()
    stripes = ((right % pitch_mm < wide_mm) & (down > 22)).astype(np.float32)
    lamp = np.zeros_like(down)
    for top, bottom in ((19, 24), (24 + gap_mm, 28 + gap_mm)):
        lamp += 1 / (1 + np.exp(-(down - top) / 0.15)) / (1 + np.exp((down - bottom) / 0.15))
    drawn = made.lay(made.wall(), stripes, made.BLACK)
    assert flake.find(made.seen(drawn + 1.2 * lamp[..., None], decorated=True)) == []
    chipped = _bare(_field(made.wall(), (0.84, 0.82, 0.78)), (22, 32), 2.4)
    bright = made.seen(chipped, decorated=True, light=(1.2, 1.15, 1.1))
    assert bright.views[0].surface.clipped.any()
    assert [each.fault for each in flake.find(bright)] == ["flake"]


@pytest.mark.parametrize(("light", "found"), [(1.0, 1), (0.75, 1), (0.35, 0)])
@pytest.mark.parametrize("size_mm", [1.6, 2.2])
def test_what_shows_less_clay_than_the_lens_would_leave_is_no_flake(
    size_mm: float, light: float, found: int
) -> None:
    """A place of the hue of clay, but on half of the way from black to it however wide it is."""
    colour = light * np.array(made.BUFF)
    black = [_field(made.wall(seed=seed), made.BLACK) for seed in range(4)]
    spot = made.lay(black[0], made.island((22, 32), size_mm, seed=3), colour)
    assert len(flake.find(made.seen(spot, *black[1:], decorated=True))) == found


def _squares(wide_mm: float, high_mm: float) -> made.Picture:
    """A painted band of squares, three rows high, above a painted stripe."""
    picture = made.lay(made.wall(), made.box(4, 44, 44, 50), made.COBALT)
    for row in range(3):
        for col in range(row % 2, int(40 / wide_mm), 2):
            left, top = 4 + col * wide_mm, 20 + row * high_mm
            square = made.box(left, top, left + wide_mm, top + high_mm)
            picture = made.lay(picture, square, made.COBALT)
    return picture


def test_the_squares_that_a_drawing_leaves_bare_are_no_flakes() -> None:
    picture = _squares(4.0, 1.8)
    assert flake.find(made.seen(picture, picture, decorated=True)) == []
    hurt = made.lay(picture, made.island((20, 47), 1.6, seed=3), made.BUFF)
    (found,) = flake.find(made.seen(picture, hurt, decorated=True))
    assert made.place_mm(found) == pytest.approx((20, 47), abs=1)
    assert found.certainty > 0.6


def test_long_flakes_among_shorter_ones_are_flakes() -> None:
    """Where paint peels, most of what has come off is small."""
    picture = made.lay(made.wall(), made.box(4, 6, 44, 30), made.COBALT)
    for number in range(5):
        for down, size_mm in ((10, 2.8), (18, 1.5), (25, 1.4)):
            flaked = made.island((8 + 7 * number, down), size_mm, seed=number + down)
            picture = made.lay(picture, flaked, made.BUFF)
    found = flake.find(made.seen(picture, picture, decorated=True))
    assert sum((each.diameter_mm or 0) > 3.0 for each in found) >= 5
    assert len(found) > 20


@pytest.mark.parametrize(("light", "sizes_mm"), [(2.0, [2.0]), (0.6, [1.4, 1.4, 1.4])])
def test_in_a_dip_whose_light_no_clay_tells_the_hue_does(
    light: float, sizes_mm: list[float]
) -> None:
    """Toward the foot a pale table shines, or the lamp falls off: all clay is far above it. Where
    less of it seems to show, a long flake is still no slit."""
    _, down_mm = made.places_mm()
    fall = np.clip((down_mm - 36.0) / 20.0, 0.0, 1.0)
    lit = np.exp(np.log(light) * fall)[..., None]
    walls = made.dipped(made.BUFF, made.BROWN)
    for number, size_mm in enumerate(sizes_mm):
        bare = made.island((20 + number, 55), size_mm, seed=3)
        walls[0] = made.lay(walls[0], bare, made.BUFF)
    found = flake.find(made.seen(*[wall * lit for wall in walls], decorated=True))
    assert [each.view for each in found] == ["front"]
    assert np.hypot(*np.subtract(made.place_mm(found[0]), (21, 55))) < 2.0


@pytest.mark.parametrize(("paint", "found"), [(made.COBALT, True), (None, False)])
def test_a_bay_in_the_shadow_of_a_handle_is_no_bite(
    paint: tuple[float, float, float] | None, found: bool
) -> None:
    """Lit clay between the bluish shadows of rings; but paint comes off in a shadow, too."""
    shadow = (0.28 * made.BUFF[0], 0.3 * made.BUFF[1], 0.32 * made.BUFF[2])
    front = _bare(_field(made.wall(), paint or shadow), (24, 20.6), 2.4)
    walls = [_field(made.wall(seed=seed), paint or shadow) for seed in (1, 2, 3)]
    evidence = made.seen(front, *walls, decorated=True)
    views = tuple(replace(each, shade=np.ones_like(each.shade)) for each in evidence.views)
    assert bool(flake.find(replace(evidence, views=views))) is found
    # The same dark field in full light is paint.
    assert flake.find(evidence)


def test_a_flake_that_touches_an_eye_is_one() -> None:
    """With the white of the eye it makes a mark that is longer than any flake."""
    walls = [
        made.lay(field, made.ellipse((28, 31), 5, 5), (0.8, 0.79, 0.76))
        for field in (_field(made.wall(seed=seed), made.BLACK) for seed in range(4))
    ]
    front = made.lay(walls[0], made.island((24.8, 31), 1.8, seed=3), made.BUFF)
    found = flake.find(made.seen(front, *walls[1:], decorated=True))
    assert [each.view for each in found] == ["front"]
    assert np.hypot(*np.subtract(made.place_mm(found[0]), (24.6, 31))) < 1.2


def test_clay_has_the_hue_that_it_has_near_by() -> None:
    """A table of wood shines back on the part of a drawing that lies above it, and on the clay."""
    right_mm, down_mm = made.places_mm()
    near = np.exp(-((np.hypot(right_mm - 24, down_mm - 30) / 16) ** 2))[..., None]
    warm = np.exp(0.3 * near * np.array((1.0, 0.0, -1.0)))
    pink = (0.62, 0.27, 0.22)
    walls = [
        made.lay(made.wall(seed=seed), made.ellipse((24, 30), 13, 10), pink) for seed in range(4)
    ]
    front = made.lay(walls[0], made.island((23, 31), 2.2, seed=3), made.BUFF)
    found = flake.find(made.seen(*[each * warm for each in (front, *walls[1:])], decorated=True))
    assert [each.view for each in found] == ["front"]
    assert np.hypot(*np.subtract(made.place_mm(found[0]), (23, 31))) < 1.2


def test_paint_that_the_zone_leaves_out_encloses_a_flake() -> None:
    """White on dark clay that shines in the lamp is left out of the zone of paint."""
    white = (0.8, 0.78, 0.74)
    walls = [_field(made.wall(made.BROWN, seed=seed), white) for seed in range(4)]
    front = made.lay(walls[0], made.island((24, 30), 2.0, seed=3), made.BROWN)
    evidence = made.seen(front, *walls[1:], decorated=True)
    view = evidence.views[0]
    rows, cols = view.surface.mask.shape
    hole = np.zeros((rows, cols), bool)
    hole[rows // 2 - 12 : rows // 2 + 12, cols // 2 : cols // 2 + 30] = True
    zones = replace(view.zones, paint=view.zones.paint & ~hole)
    seen = (replace(view, zones=zones), *evidence.views[1:])
    for views in (evidence.views, seen):
        assert [each.view for each in flake.find(replace(evidence, views=views))] == ["front"]


@pytest.mark.parametrize(("high_mm", "is_flake"), [(2.0, True), (9.0, False)])
def test_what_goes_on_as_bare_clay_across_two_paints_is_no_flake(
    high_mm: float, is_flake: bool
) -> None:
    """Clay in odd light ends where that does; another flake beside it is an island, too."""
    red = (0.36, 0.13, 0.10)
    stroke = made.line(np.array([[18.0, 30.0], [30.0, 30.0]]), 1.2)
    picture = made.lay(_field(made.wall(), red), stroke, (0.80, 0.79, 0.77))
    walls = [_field(made.wall(seed=seed), red) for seed in (1, 2, 3)]
    evidence = made.seen(_bare(picture, (24, 30.6), 2.0), *walls, decorated=True)
    view = evidence.views[0]
    mask = view.surface.mask
    top, left = int(mask.any(1).argmax()), int(mask.any(0).argmax())
    rows, cols = (
        slice(round(begin + low * made.PX_PER_MM), round(begin + high * made.PX_PER_MM))
        for begin, low, high in ((top, 31.0, 31.0 + high_mm), (left, 22.0, 26.0))
    )
    paint = view.zones.paint.copy()
    paint[rows, cols] = False
    front = replace(view, zones=replace(view.zones, paint=paint))
    found = flake.find(replace(evidence, views=(front, *evidence.views[1:])))
    assert bool(found) is is_flake
