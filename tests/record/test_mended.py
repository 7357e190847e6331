"""Which old fault is which new one, and what became of it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.findings import Finding, PhotoReport
from grader.record.alignment import Alignment
from grader.record.mended import Mark, mark_places
from tests.pieces import a_finding, a_photo, blocked, four_sides

SIDES = four_sides()
# The piece's box on these photos: x 600 to 1400, y 200 to 1200.
MIDDLE, RADIUS = 1000, 400


def at(azimuth_deg: float, height: float, **changes: Any) -> Finding:
    """A pit of 1 mm (10 px) on the side view that faces a place of a round pot best."""
    views = ("front", "right", "back", "left")
    index = round(azimuth_deg / 90) % 4
    from_middle = math.radians((azimuth_deg - 90 * index + 180) % 360 - 180)
    x = MIDDLE + RADIUS * math.sin(from_middle) - 5
    y = 200 + 1000 * height - 5
    fault = changes.pop("fault", "pit")
    return a_finding(fault, views[index], at=(round(x), round(y)), **changes)


def marks(before: list[Finding], after: list[Finding], **more: Any) -> tuple[Mark, ...]:
    """Mark with four good photos before and after."""
    photos = more.pop("photos", SIDES)
    return mark_places(before, SIDES, after, photos, **more)


def states(found: tuple[Mark, ...]) -> list[str]:
    """What became of each place."""
    return [mark.state for mark in found]


def test_gone_still_there_worse_and_new() -> None:
    before = [at(0, 0.2), at(0, 0.4), at(0, 0.6)]
    after = [at(0, 0.41), at(1, 0.6, mm=2.0), at(90, 0.5)]
    found = marks(before, after)
    assert states(found) == ["healed", "unchanged", "worse", "new"]
    assert [(mark.before, mark.after) for mark in found] == [(0, None), (1, 0), (2, 1), (None, 2)]
    assert "4.0 times as large" in found[2].text


def test_a_stronger_colour_is_worse() -> None:
    before = [at(0, 0.5, fault="scorch", mm=20.0, de00=5.0)]
    seen = at(0, 0.5, fault="scorch", mm=20.0, de00=6.7)
    assert states(marks(before, [seen])) == ["unchanged"]
    assert states(marks(before, [replace(seen, shift_de00=6.9)])) == ["worse"]


def test_nothing_before_and_nothing_after() -> None:
    assert marks([], []) == ()
    assert states(marks([], [at(0, 0.5)])) == ["new"]


def test_no_photo_no_healing() -> None:
    before = [at(180, 0.5)]
    without_back = tuple(photo for photo in SIDES if photo.view != "back")
    assert states(marks(before, [], photos=without_back)) == ["not seen"]
    spoilt = (*without_back, blocked("back"))
    assert states(marks(before, [], photos=spoilt)) == ["not seen"]
    assert states(marks(before, [])) == ["healed"]


def test_too_coarse_a_photo_cannot_show_healing() -> None:
    coarse = tuple(replace(photo, smallest_judged_mm=2.0) for photo in SIDES)
    assert states(marks([at(0, 0.5)], [], photos=coarse)) == ["not seen"]
    assert states(marks([at(0, 0.5, mm=3.0)], [], photos=coarse)) == ["healed"]


def test_a_place_at_the_edge_is_followed_to_the_next_view() -> None:
    # Seen at the right edge of the front, and after a turn by 20 degrees on the right side.
    before = [at(40, 0.5)]
    after = [at(60, 0.5)]
    assert (before[0].view, after[0].view) == ("front", "right")
    found = marks(before, after, alignment=Alignment(20.0, True))
    assert states(found) == ["unchanged"]
    assert states(marks(before, after, alignment=Alignment(-20.0, True))) == ["healed", "new"]


def test_a_known_turn_parts_neighbours_that_a_guess_cannot() -> None:
    before = [at(0, 0.5)]
    after = [at(20, 0.5)]
    assert states(marks(before, after)) == ["unchanged"]  # it may have been put back so
    assert states(marks(before, after, alignment=Alignment(known=True))) == ["healed", "new"]


def test_one_place_seen_on_two_photos_meets_itself_on_each() -> None:
    front = at(44, 0.5)
    side = replace(at(46, 0.5))
    assert (front.view, side.view) == ("front", "right")
    found = marks([front, side], [side, front])
    assert [(mark.before, mark.after) for mark in found] == [(0, 1), (1, 0)]


def test_other_faults_do_not_meet_except_kin() -> None:
    assert states(marks([at(0, 0.5)], [at(0, 0.5, fault="scorch")])) == ["healed", "new"]
    assert states(marks([at(0, 0.5, fault="flake")], [at(0, 0.5)])) == ["unchanged"]


def test_inside_and_foot_meet_by_their_distance_from_the_middle() -> None:
    foot = a_photo("foot")
    photos = (*SIDES, foot)
    turned = [
        a_finding("pit", "foot", at=(MIDDLE - 5, 200 + 100)),
        a_finding("pit", "foot", at=(MIDDLE - 5 + 320, 700 - 5)),
    ]
    found = mark_places([turned[0]], photos, [turned[1]], photos)
    assert states(found) == ["unchanged"]
    assert states(mark_places([turned[0]], photos, [], SIDES)) == ["not seen"]


def test_photos_of_unknown_views_meet_by_height() -> None:
    photos = (a_photo("view 1"), a_photo("view 2"))
    before = [a_finding("pit", "view 1", at=(700, 400))]
    after = [a_finding("pit", "view 2", at=(1200, 420))]
    assert states(mark_places(before, photos, after, photos)) == ["unchanged"]


def test_no_scale_is_no_obstacle() -> None:
    before = [at(0, 0.5, mm=None)]
    assert states(marks(before, [at(0, 0.5, mm=None)])) == ["unchanged"]
    grown = replace(at(0, 0.5, mm=None), height_share=0.08)
    assert states(marks(before, [grown])) == ["worse"]
    assert states(marks(before, [])) == ["healed"]


_PLACES = st.lists(
    st.tuples(st.integers(0, 71), st.integers(2, 18)), min_size=0, max_size=12, unique=True
)


@given(_PLACES, st.integers(-30, 30))
def test_the_same_places_turned_are_all_found_again(
    places: list[tuple[int, int]], turn: int
) -> None:
    # 5 degrees and 5 % of the height apart at least.
    before = [at(5.0 * a, 0.05 * h) for a, h in places]
    after = [at(5.0 * a + turn, 0.05 * h) for a, h in places]
    found = marks(before, after, alignment=Alignment(float(turn), True))
    assert states(found) == ["unchanged"] * len(places)


@given(_PLACES, _PLACES)
def test_every_place_is_marked_once(
    one: list[tuple[int, int]], other: list[tuple[int, int]]
) -> None:
    before = [at(5.0 * a, 0.05 * h) for a, h in one]
    after = [at(5.0 * a, 0.05 * h) for a, h in other]
    found = marks(before, after)
    assert [mark.before for mark in found if mark.before is not None] == list(range(len(before)))
    known = [mark.after for mark in found if mark.after is not None]
    assert sorted(known) == list(range(len(after)))


def test_a_finding_on_an_unknown_photo_is_never_called_healed() -> None:
    lost = replace(at(0, 0.5), photo="gone.jpg", view="view 9")
    assert states(marks([lost], [])) == ["not seen"]


@pytest.mark.parametrize("report", [a_photo("front", piece_bbox_px=None)])
def test_a_photo_without_a_piece_breaks_nothing(report: PhotoReport) -> None:
    found = mark_places([at(0, 0.5)], (report,), [at(0, 0.5)], SIDES)
    assert len(found) >= 1


def test_a_camera_that_looked_down_more_steeply_is_allowed_for() -> None:
    # On the later photos the top shows more of the inside: heights are squeezed towards the foot,
    # and level lines sag by a tenth of the height.
    camera = Alignment(0.0, True, 0.6, sag_before=0.0, sag_after=0.1, stretch=0.75, shift=0.1)
    places = [(0, 0.25), (0, 0.45), (30, 0.65)]
    before = [at(azimuth, height) for azimuth, height in places]
    after = []
    for azimuth, height in places:
        level = camera.expected_level(height, azimuth)
        after.append(at(azimuth, level - 0.1 * (1 - math.cos(math.radians(azimuth)))))
    assert states(marks(before, after, alignment=camera)) == ["unchanged"] * 3
    assert "new" in states(marks(before, after, alignment=Alignment(known=True)))
