"""A code works once, for a short time, and not after a few wrong tries."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.review.codes import CODE_S, DIGITS, SESSION_S, TRIES, Codes


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


def other_than(code: str) -> str:
    return f"{(int(code) + 1) % 10**DIGITS:0{DIGITS}d}"


def test_a_code_opens_once(clock: Clock) -> None:
    said: list[str] = []
    codes = Codes(clock=clock, used=said.append)
    code = codes.issue()
    assert len(code) == DIGITS and code.isdecimal()
    answer, token = codes.enter(code)
    assert answer == "right" and codes.knows(token)
    assert len(said) == 1 and said[0] != code  # the next one, for a second phone
    assert codes.enter(code) == ("wrong", "")
    assert codes.enter(said[0])[0] == "right"


def test_it_may_be_typed_with_spaces(clock: Clock) -> None:
    codes = Codes(clock=clock)
    code = codes.issue()
    assert codes.enter(f" {code[:3]} {code[3:]}\n")[0] == "right"


def test_it_runs_out(clock: Clock) -> None:
    codes = Codes(clock=clock)
    code = codes.issue()
    clock.now += CODE_S
    assert codes.enter(code) == ("too late", "")
    assert codes.enter(other_than(code)) == ("too late", "")  # nor is it told from a wrong one
    assert codes.enter(codes.issue())[0] == "right"


def test_after_a_few_wrong_tries_it_is_void(clock: Clock) -> None:
    codes = Codes(clock=clock)
    code = codes.issue()
    for _ in range(TRIES - 1):
        assert codes.enter(other_than(code)) == ("wrong", "")
    assert codes.enter(other_than(code)) == ("too many", "")
    assert codes.enter(code) == ("too many", "")
    clock.now += 10 * CODE_S
    assert codes.enter(code) == ("too many", "")  # waiting does not help
    assert codes.enter(codes.issue())[0] == "right"


def test_one_wrong_try_does_not_hinder(clock: Clock) -> None:
    codes = Codes(clock=clock)
    code = codes.issue()
    assert codes.enter(other_than(code))[0] == "wrong"
    assert codes.enter(code)[0] == "right"


def test_before_a_code_was_issued_none_opens(clock: Clock) -> None:
    codes = Codes(clock=clock)
    for said in ("", "0" * DIGITS):
        assert codes.enter(said)[0] != "right"


def test_the_key_of_this_machine_opens_once_and_in_time(clock: Clock) -> None:
    codes = Codes(clock=clock)
    code, key = codes.issue(), codes.issue_key()
    assert codes.enter(key)[0] == "right"
    assert codes.enter(key)[0] == "wrong"
    late = codes.issue_key()
    clock.now += CODE_S
    assert codes.enter(late)[0] != "right"
    assert code != key


def test_a_session_ends(clock: Clock) -> None:
    codes = Codes(clock=clock)
    _, token = codes.enter(codes.issue())
    clock.now += SESSION_S - 1
    assert codes.knows(token)
    clock.now += 1
    assert not codes.knows(token)


def test_sessions_do_not_pile_up(clock: Clock) -> None:
    codes = Codes(clock=clock)
    tokens = [codes.enter(codes.issue())[1] for _ in range(40)]
    assert codes.knows(tokens[-1])
    assert sum(map(codes.knows, tokens)) == 16


@given(said=st.text(max_size=40))
def test_nothing_else_opens(said: str) -> None:
    codes = Codes()
    code = codes.issue()
    answer, token = codes.enter(said)
    assert (answer == "right") == ("".join(said.split()) == code)
    assert codes.knows(token) == (answer == "right")
    assert not codes.knows(said)
