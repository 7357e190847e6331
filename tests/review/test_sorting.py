"""Photos are put right, and put back."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from grader.errors import GraderError, UsageError
from grader.record.bench import aside_photos, piece_view
from grader.record.studio import Studio, init_studio
from grader.review.sorting import Placed, placed, put_back, sort_photos
from tests.record.kit import a_batch, add, three_pieces


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    made = init_studio(tmp_path / "studio")
    add(made, a_batch(tmp_path / "batch", three_pieces()))
    return made


def ids_of(studio: Studio, code: str) -> list[int]:
    return [photo.id for photo in piece_view(studio, code).photos]


def test_photos_go_to_a_new_piece_and_back(studio: Studio) -> None:
    ids = ids_of(studio, "K01")
    before = sort_photos(studio, {"do": "move", "photos": ids[:2], "code": "N4"})
    assert ids_of(studio, "N4") == ids[:2]
    assert ids_of(studio, "K01") == ids[2:]
    put_back(studio, before)
    assert ids_of(studio, "K01") == ids


def test_photo_set_aside_comes_back_with_its_view(studio: Studio) -> None:
    ids = ids_of(studio, "K01")
    before = sort_photos(studio, {"do": "aside", "photos": ids[:1]})
    assert [photo.id for photo in aside_photos(studio)] == ids[:1]
    put_back(studio, before)
    assert piece_view(studio, "K01").photos[0].view == "front"


def test_turning_four_times_is_none(studio: Studio) -> None:
    photo = ids_of(studio, "K02")[0]
    for turn_deg in (90, 180, 270, 0):
        sort_photos(studio, {"do": "turn", "photos": [photo]})
        assert placed(studio, [photo])[0].turn_deg == turn_deg


def test_no_photo_chosen_or_unknown_act_is_refused(studio: Studio) -> None:
    with pytest.raises(UsageError, match="no photo is chosen"):
        sort_photos(studio, {"do": "move", "photos": [], "code": "K02"})
    with pytest.raises(UsageError):
        sort_photos(studio, {"do": "burn", "photos": ids_of(studio, "K01")})
    with pytest.raises(GraderError, match="not in the record"):
        sort_photos(studio, {"do": "aside", "photos": [999]})


_ACTS = st.lists(
    st.tuples(
        st.sampled_from(["move K02", "move new", "aside", "view foot", "view back", "turn"]),
        st.sets(st.integers(0, 11), min_size=1, max_size=4),
    ),
    min_size=1,
    max_size=5,
)


@settings(
    max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
@given(acts=_ACTS)
def test_whatever_was_sorted_can_be_put_back(
    studio: Studio, acts: list[tuple[str, set[int]]]
) -> None:
    with studio.reading() as db:
        ids = [row[0] for row in db.execute("SELECT id FROM photos ORDER BY id")]
    start = placed(studio, ids)
    steps: list[tuple[Placed, ...]] = []
    for words, chosen in acts:
        what, _, value = words.partition(" ")
        photos = [ids[index] for index in sorted(chosen)]
        steps.append(
            sort_photos(studio, {"do": what, "photos": photos, "code": value, "view": value})
        )
    for step in reversed(steps):
        put_back(studio, step)
    assert placed(studio, ids) == start
