"""What the maker says on the bench, carried from the page to the record.

The page acts at once and sends what was said as a growing list of numbered acts. Each is carried
out once, in order, whatever is sent twice or late. To take back is to go down the list of what
was said in this window; a whole sheet that was passed at once is taken back at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, cast

from grader.errors import GraderError, UsageError
from grader.findings import FaultName, Zone
from grader.record import decisions
from grader.record.saying import Outcome
from grader.record.studio import Studio
from grader.verdict import Grade

_MOST_STEPS = 500
"""Steps that can be taken back in one sitting; what is older can be taken back piece by piece."""

_ZONES_BY_VIEW: Mapping[str, Zone] = {"inside": "inside", "top": "inside", "foot": "foot"}
_PAINT_FAULTS = frozenset({"flake", "streak"})


@dataclass(frozen=True, slots=True)
class Notice:
    """Something to tell the maker.

    Attributes
    ----------
    number : int
        Rises with each notice.
    code : str
        The piece that it is about, or empty.
    text : str
    insist : mapping or None
        The act that would carry the word through all the same.
    """

    number: int
    code: str
    text: str
    insist: Mapping[str, Any] | None = None


@dataclass(slots=True)
class Sitting:
    """What one browser window has said so far.

    Attributes
    ----------
    window : str
        Name of the window, for the history.
    done : dict of str to int
        From the page's own name of its load to its last act that was carried out.
    steps : list of tuple of (code, event id)
        What can be taken back; one step may hold many pieces.
    links : dict of (code, state) to state
        From the state that an act had seen to the state after it, where nobody else spoke in
        between: what this window said itself it has seen.
    notices : list of Notice
    jump : tuple of (int, str)
        Piece to go to, with a number that rises each time.
    """

    window: str
    done: dict[str, int] = field(default_factory=dict)
    steps: list[tuple[tuple[str, int], ...]] = field(default_factory=list)
    links: dict[tuple[str, int], int] = field(default_factory=dict)
    notices: list[Notice] = field(default_factory=list)
    jump: tuple[int, str] = (0, "")

    def tell(self, code: str, text: str, insist: Mapping[str, Any] | None = None) -> None:
        """Add a notice; only the last few are kept."""
        number = self.notices[-1].number + 1 if self.notices else 1
        self.notices = [*self.notices[-4:], Notice(number, code, text, insist)]

    def go_to(self, code: str) -> None:
        """Have the page show a piece."""
        self.jump = (self.jump[0] + 1, code)

    def keep(self, step: Iterable[tuple[str, int]]) -> None:
        """Remember what was said, to take it back."""
        self.steps = [*self.steps[-_MOST_STEPS:], tuple(step)]

    def link(self, code: str, outcome: Outcome) -> None:
        """Remember that what this window just said, it has seen, unless somebody else spoke."""
        before = outcome.event.seen_id
        if not outcome.since and outcome.state_id != before:
            self.links[code, before] = outcome.state_id
        while len(self.links) > _MOST_STEPS:
            del self.links[next(iter(self.links))]

    def seen(self, code: str, state_id: int | None) -> int | None:
        """Return the latest state that this window knows, from the one that the page had."""
        if state_id is None:
            return None
        while (code, state_id) in self.links:
            state_id = self.links[code, state_id]
        return state_id


def carry_out(studio: Studio, sitting: Sitting, said: Mapping[str, Any] | None) -> list[str]:
    """Carry out what the page sent.

    Parameters
    ----------
    studio : Studio
    sitting : Sitting
    said : mapping
        ``load`` (the page's name of its load) and ``acts``, each with ``number``, ``do``,
        ``code`` and what the act needs.

    Returns
    -------
    list of str
        Codes of the pieces that were spoken of.
    """
    if not said:
        return []
    load = str(said.get("load", ""))
    touched = []
    for act in said.get("acts", ()):
        number = int(act["number"])
        if number <= sitting.done.get(load, 0):
            continue
        # Marked first: an act that fails is told, not tried again with every key.
        sitting.done[load] = number
        code = str(act.get("code", ""))
        try:
            _ACTS[str(act["do"])](studio, sitting, code, act)
        except GraderError as error:
            sitting.tell(code, str(error))
        touched.append(code)
    return touched


def pass_sheet(studio: Studio, sitting: Sitting, seen: Mapping[str, int]) -> tuple[int, list[str]]:
    """Accept the proposed grade of many pieces after a look at their contact sheet.

    Returns
    -------
    tuple of (int, list of str)
        How many were passed, and the codes of those that somebody spoke of meanwhile.
    """
    outcomes = decisions.accept_proposed(studio, seen, window=sitting.window)
    passed = [
        (code, outcome.event.id) for code, outcome in outcomes.items() if not outcome.event.held
    ]
    if passed:
        sitting.keep(passed)
    return len(passed), [code for code in seen if code not in dict(passed)]


def take_back(studio: Studio, sitting: Sitting, code: str = "") -> list[str]:
    """Take back the last step of this window, else what was last said of a piece.

    Parameters
    ----------
    code : str
        The piece on the bench, for when this window has said nothing yet.

    Returns
    -------
    list of str
        Codes of the pieces concerned.
    """
    if sitting.steps:
        step = sitting.steps.pop()
        for each, event_id in reversed(step):
            # Any later word of this window was taken back before: the step is the last one.
            outcome = decisions.undo(studio, each, event_id=event_id, window=sitting.window)
            sitting.link(each, outcome)
        codes = [each for each, _ in step]
    elif code:
        sitting.link(code, decisions.undo(studio, code, window=sitting.window))
        codes = [code]
    else:
        raise UsageError("there is nothing to take back in this window")
    return codes


# --- the acts -------------------------------------------------------------------------------


def _grade(studio: Studio, sitting: Sitting, code: str, act: Mapping[str, Any]) -> None:
    grade = cast(Grade, act["grade"])
    outcome = decisions.decide_grade(
        studio, code, grade, reason=str(act.get("reason", "")),
        seen=sitting.seen(code, act.get("seen")), window=sitting.window,
    )  # fmt: skip
    _settle(sitting, code, act, outcome)


def _judge(studio: Studio, sitting: Sitting, code: str, act: Mapping[str, Any]) -> None:
    step = []
    for place in act["places"]:
        outcome = decisions.judge_finding(
            studio, code, int(place), str(act["word"]),
            seen=sitting.seen(code, act.get("seen")), window=sitting.window,
        )  # fmt: skip
        if outcome.event.held:
            _contradicted(sitting, code, {**act, "places": [place]}, outcome)
        else:
            sitting.link(code, outcome)
            step.append((code, outcome.event.id))
    if step:
        sitting.keep(step)


def _missed(studio: Studio, sitting: Sitting, code: str, act: Mapping[str, Any]) -> None:
    fault = cast(FaultName, act["fault"])
    outcome = decisions.add_missed(
        studio, code, photo_id=int(act["photo"]), fault=fault,
        outline_px=[(round(x), round(y)) for x, y in act["outline_px"]],
        zone=zone_of(str(act.get("view", "")), fault),
        seen=sitting.seen(code, act.get("seen")), window=sitting.window,
    )  # fmt: skip
    _settle(sitting, code, act, outcome)


def _pattern(studio: Studio, sitting: Sitting, code: str, act: Mapping[str, Any]) -> None:
    outcome = decisions.say_reference(
        studio, code, bool(act["yes"]), seen=sitting.seen(code, act.get("seen")),
        window=sitting.window,
    )  # fmt: skip
    _settle(sitting, code, act, outcome)


def _note(studio: Studio, sitting: Sitting, code: str, act: Mapping[str, Any]) -> None:
    outcome = decisions.say_note(studio, code, str(act["text"])[:500], window=sitting.window)
    _settle(sitting, code, act, outcome)


def _undo(studio: Studio, sitting: Sitting, code: str, act: Mapping[str, Any]) -> None:
    codes = take_back(studio, sitting, code)
    if len(codes) == 1:
        sitting.tell(codes[0], f"{codes[0]}: taken back.")
    else:
        sitting.tell("", f"Taken back for {len(codes)} pieces.")
    sitting.go_to(codes[0])


_ACTS: Mapping[str, Callable[[Studio, Sitting, str, Mapping[str, Any]], None]] = {
    "grade": _grade,
    "judge": _judge,
    "missed": _missed,
    "pattern": _pattern,
    "note": _note,
    "undo": _undo,
}


def zone_of(view: str, fault: str) -> Zone:
    """Return the zone of a place drawn by hand, from the view and what the fault needs.

    Flakes and streaks are faults of paint; what the inside or foot view shows lies there.
    """
    if view in _ZONES_BY_VIEW:
        return _ZONES_BY_VIEW[view]
    return "painted" if fault in _PAINT_FAULTS else "clay"


def _settle(sitting: Sitting, code: str, act: Mapping[str, Any], outcome: Outcome) -> None:
    if outcome.event.held:
        _contradicted(sitting, code, act, outcome)
    else:
        sitting.keep([(code, outcome.event.id)])
        sitting.link(code, outcome)


def _contradicted(sitting: Sitting, code: str, act: Mapping[str, Any], outcome: Outcome) -> None:
    others = ", ".join(
        f"{each.window or 'the rules'}: {each.value or each.kind}" for each in outcome.conflicts
    )
    insist = {name: value for name, value in act.items() if name not in ("number", "seen")}
    sitting.tell(
        code,
        f"{code}: meanwhile it was said otherwise ({others}). Your word is kept, but not in force.",
        {**insist, "seen": outcome.state_id},
    )
