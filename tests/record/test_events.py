"""What holds when all is said: undo, undoing the undo, words that are held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from grader.record.events import Event, Kind, in_force, standing

ROUND = 1

WORDS: tuple[tuple[Kind, str, str], ...] = (
    ("accept", "grade", "first"),
    ("overrule", "grade", "second"),
    ("overrule", "grade", "refire"),
    ("wrong", "place:5", "wrong"),
    ("right", "place:5", "right"),
    ("drawing", "place:6", "drawing"),
    ("missed", "hand:9", "crack"),
    ("price", "price", "24.00"),
    ("sold", "fate", "sold"),
    ("kept", "fate", "kept"),
    ("note", "", "a word"),
)


def an_event(number: int, word: tuple[Kind, str, str], **changes: object) -> Event:
    """One event; its finding is named by its subject."""
    kind, subject, value = word
    finding = int(subject.split(":")[1]) if ":" in subject else None
    event = Event(
        number, 1, ROUND, kind, subject, value, "", finding, None, None, number - 1, False, "", ""
    )
    return replace(event, **changes)  # type: ignore[arg-type]


def an_undo(number: int, of: Event) -> Event:
    """An event that takes another one back."""
    return an_event(number, ("undo", of.subject, of.value), undoes=of.id)


@st.composite
def histories(draw: Any) -> list[Event]:
    """Any sequence of words, held words, and undos of anything earlier."""
    events: list[Event] = []
    for number in range(1, draw(st.integers(0, 14)) + 1):
        if events and draw(st.booleans()):
            events.append(an_undo(number, draw(st.sampled_from(events))))
        else:
            held = draw(st.integers(0, 5)) == 0
            events.append(an_event(number, draw(st.sampled_from(WORDS)), held=held))
    return events


@given(histories())
def test_the_last_word_on_a_subject_holds(events: list[Event]) -> None:
    said = standing(events, ROUND)
    counting = [each for each in in_force(events) if each.kind != "undo"]
    grades = [each.value for each in counting if each.subject == "grade"]
    assert said.grade == (grades[-1] if grades else None)
    fates = [each.kind for each in counting if each.subject == "fate"]
    assert said.fate == ("sold" if fates and fates[-1] == "sold" else "")
    assert len(said.notes) == sum(each.kind == "note" for each in counting)


@given(histories())
def test_undo_takes_back_exactly_the_last_word(events: list[Event]) -> None:
    counting = [each for each in in_force(events) if each.kind != "undo"]
    if not counting:
        return
    last = counting[-1]
    undone = [*events, an_undo(99, last)]
    without = [each for each in counting if each.id != last.id]
    assert _said(undone) == _said(without)
    again = [*undone, an_undo(100, undone[-1])]
    assert _said(again) == _said(events)


@given(histories())
def test_taking_everything_back_leaves_nothing(events: list[Event]) -> None:
    all_events = list(events)
    number = 100
    while open_ := [e for e in in_force(all_events) if e.kind != "undo"]:
        all_events.append(an_undo(number, open_[-1]))
        number += 1
    assert standing(all_events, ROUND) == standing([], ROUND)


@given(histories())
def test_held_words_have_no_force(events: list[Event]) -> None:
    free = [e for e in events if not e.held and not _of_held(e, events)]
    assert _said(events) == _said(free)


@given(histories(), st.randoms(use_true_random=False))
def test_the_order_in_which_rows_are_read_does_not_matter(
    events: list[Event], chance: object
) -> None:
    shuffled = list(events)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert _said(shuffled) == _said(events)


def test_grades_belong_to_a_firing_and_prices_to_the_piece() -> None:
    events = [an_event(1, WORDS[0]), an_event(2, WORDS[7])]
    assert standing(events, ROUND + 1).grade is None
    assert standing(events, ROUND + 1).price == 24.0
    late = [*events, an_event(3, WORDS[1], round_id=ROUND + 1), an_event(4, WORDS[2])]
    assert standing(late, ROUND + 1).grade == "second"
    assert standing(late, ROUND).grade == "refire"


def test_a_drawn_place_that_is_judged_wrong_stays_known() -> None:
    events = [
        an_event(1, ("missed", "hand:9", "crack")),
        an_event(2, ("wrong", "place:9", "wrong")),
    ]
    said = standing(events, ROUND)
    assert (said.by_hand, said.judged) == ((9,), {9: "wrong"})


def _said(events: Sequence[Event]) -> object:
    said = standing(events, ROUND)
    return replace(said, grade_event=None)


def _of_held(event: Event, events: list[Event]) -> bool:
    """An undo of a held word, or of an undo of one, changes nothing either."""
    by_id = {each.id: each for each in events}
    while event.undoes is not None:
        event = by_id[event.undoes]
    return event.held
