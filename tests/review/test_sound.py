"""Sound surface is looked for in the background, from the photo itself."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from grader.record.bench import piece_view
from grader.record.studio import Studio
from grader.review.sound import SoundPlaces, SoundTask, place_box, sound_places
from tests.review.bench_kit import Spot, seen_studio

SPOTS: tuple[Spot, ...] = (
    ("front", "pit", 300, 200, 2.0, 0.9),
    ("front", "flake", 380, 260, 1.5, 0.9),
)
SIZE = (640, 480)


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    return seen_studio(tmp_path, {"K01": SPOTS}, size=SIZE)


def a_task(studio: Studio) -> SoundTask:
    view = piece_view(studio, "K01")
    photo = view.photos[0]
    findings = tuple((each.stored.id, each.stored.finding) for each in view.findings)
    return SoundTask(
        photo.id, photo.file, photo.turn_deg, view.reports[photo.id].piece_bbox_px, findings
    )


def test_sound_surface_shows_no_finding_and_lies_on_the_piece(studio: Studio) -> None:
    task = a_task(studio)
    found = sound_places(studio, task)
    assert set(found) == {number for number, _ in task.findings}
    assert task.piece_bbox_px is not None
    left, top, width, height = task.piece_bbox_px
    for number, finding in task.findings:
        box = found[number]
        assert box is not None
        x, y, side, _ = box
        assert left <= x and x + side <= left + width
        assert top <= y and y + side <= top + height
        for _, other in task.findings:
            ox, oy, ow, oh = other.bbox_px
            assert ox >= x + side or ox + ow <= x or oy >= y + side or oy + oh <= y
        assert side <= place_box(finding, SIZE)[2]


def test_it_is_known_a_moment_after_it_was_asked_for(studio: Studio) -> None:
    places, task = SoundPlaces(studio), a_task(studio)
    number = task.findings[0][0]
    assert places.known(number) == (False, None)
    places.ask([task])
    ends = time.monotonic() + 30
    while not places.known(number)[0] and time.monotonic() < ends:
        time.sleep(0.02)
    is_known, box = places.known(number)
    assert is_known
    assert box == sound_places(studio, task)[number]


def test_photo_that_is_gone_leaves_no_thread_waiting(studio: Studio) -> None:
    task = a_task(studio)
    (studio.folder / task.file).unlink()
    places = SoundPlaces(studio)
    places.ask([task])
    ends = time.monotonic() + 30
    while not places.known(task.findings[0][0])[0] and time.monotonic() < ends:
        time.sleep(0.02)
    assert places.known(task.findings[0][0]) == (True, None)


def test_loupe_shows_the_place_with_room_about_it() -> None:
    from grader.findings import Finding

    finding = Finding(
        "pit", "K01/front.jpg", "front", (1990, 1490, 20, 20), ((0, 0), (1, 0), (1, 1)), "clay",
        2.0, 3.0, 0.01, 5.0, 0.9, "",
    )  # fmt: skip
    x, y, side, same = place_box(finding, (2000, 1500))
    assert side == same
    assert x + side <= 2000 and y + side <= 1500
    assert x <= 1990 and side >= 20
