"""Labels find room: within the picture, on no other label, and on no place where that can be."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from grader.labels import room_for_labels

SIZE = (720.0, 700.0)
HALF = 20.0
places = st.lists(
    st.tuples(st.floats(0, 700), st.floats(0, 680), st.floats(1, 40), st.floats(1, 40)),
    min_size=1,
    max_size=4,
).map(lambda boxes: [(x, y, x + w, y + h) for x, y, w, h in boxes])


@given(places)
def test_labels_stay_within_the_picture_and_off_each_other(
    outlined: list[tuple[float, float, float, float]],
) -> None:
    spots = room_for_labels(outlined, range(len(outlined)), SIZE, HALF)
    for number, (x, y) in enumerate(spots):
        assert 1.4 * HALF <= x <= SIZE[0] - 1.4 * HALF
        assert HALF <= y <= SIZE[1] - HALF
        for other_x, other_y in spots[:number]:
            assert abs(x - other_x) > 2.8 * HALF or abs(y - other_y) > 2 * HALF


def test_a_label_stands_beside_its_place_and_not_on_it() -> None:
    place = (300.0, 300.0, 420.0, 380.0)
    ((x, y),) = room_for_labels([place], [0], SIZE, HALF)
    assert not (place[0] < x < place[2] and place[1] < y < place[3])
    assert abs(x - 360) < 160 and abs(y - 340) < 160
