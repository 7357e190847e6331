"""What the commands of the record say, as lines of text."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from grader.findings import Finding
from grader.record.bench import PieceView, ShownFinding
from grader.record.clock import local_words
from grader.record.explain import Explanation
from grader.record.figures import MendedFigure
from grader.record.queries import BatchRow, PieceRow
from grader.record.timeline import Line
from grader.record.words import words_of
from grader.verdict import GRADES, WeighedFinding

if TYPE_CHECKING:  # they need the image libraries, which take over a second to load
    from grader.record.add import Added
    from grader.record.looking import Looked

_MOST_OF_A_FAULT = 8
"""Findings of one fault that are told one by one; a sprayed-on field of flakes may have eighty."""

_MOST_CODES = 12

_STEPS = {
    "new": "new",
    "more photos": "with more photos",
    "refire": "back from a refire",
    "known": "known, with nothing new",
    "left out": "left out",
}

_WEIGHTS = {
    "counts": "counts",
    "look": "too uncertain to count",
    "remark": "too small to count",
    "normal": "normal on this ware",
    "": "not counted",
}


def pieces_word(number: int) -> str:
    """Return ``1 piece`` or ``3 pieces``."""
    return f"{number} {'piece' if number == 1 else 'pieces'}"


def added_lines(added: Added) -> Iterator[str]:
    """What was taken in."""
    for step, words in _STEPS.items():
        codes = [piece.code for piece in added.pieces if piece.step == step]
        if codes:
            yield f"{pieces_word(len(codes))} {words}: {some(codes)}"


def looked_lines(looked: Sequence[Looked]) -> Iterator[str]:
    """What was proposed, and why."""
    if not looked:
        return
    counts = ", ".join(f"{sum(one.grade == grade for one in looked)} {grade}" for grade in GRADES)
    yield f"{pieces_word(len(looked))} looked at: {counts}"
    width = max(len(one.code) for one in looked)
    for one in looked:
        if one.grade != "first":
            yield f"  {one.code:<{width}}  {one.grade or 'failed':<8}  {one.trouble or one.why}"


def list_lines(rows: Sequence[PieceRow]) -> Iterator[str]:
    """A list of pieces."""
    width = max((len(row.code) for row in rows), default=0)
    for row in rows:
        yield f"{row.code:<{width}}  {_grade_words(row):<19}  {row.reason}".rstrip()
    yield pieces_word(len(rows))


def batch_lines(rows: Sequence[BatchRow]) -> Iterator[str]:
    """The batches at a glance."""
    for row in rows:
        grades = ", ".join(f"{number} {grade}" for grade, number in row.grades.items())
        open_ = "" if row.complete else "; not taken in completely"
        yield f"{row.id}  {local_words(row.opened_at)}  {row.label}: {pieces_word(row.pieces)}"
        yield f"   {grades}; {row.undecided} wait for your word{open_}"


def piece_lines(view: PieceView, *, every: bool) -> Iterator[str]:
    """All that is known of a piece now; the largest findings of each fault, or all."""
    grade = view.said.grade or (view.verdict.verdict.grade if view.verdict else "not looked at yet")
    by = " (you decided)" if view.said.grade else " (proposed)" if view.verdict else ""
    yield f"{view.code}: {grade}{by}, {_refires(view.round.refires)}"
    if view.words:
        yield "  " + _facts(view.words.items())
    yield from _finding_lines(view, every=every)
    if view.verdict:
        for reason in view.verdict.verdict.reasons:
            yield f"  {reason.text}"
    yield from (f"  {figure}" for figure in view.own_figures)


def _finding_lines(view: PieceView, *, every: bool) -> Iterator[str]:
    of_fault: dict[str, list[ShownFinding]] = defaultdict(list)
    for each in view.findings:
        of_fault[each.stored.finding.fault].append(each)
    for fault, found in of_fault.items():
        # Judged ones first, as the maker looks for what he said; then the largest.
        found.sort(key=lambda one: (not one.judged, -(one.stored.finding.diameter_mm or 0)))
        for each in found if every else found[:_MOST_OF_A_FAULT]:
            state = each.judged or ("by hand" if each.stored.by_hand else _WEIGHTS[each.weight])
            finding = each.stored.finding
            yield (
                f"  finding {each.stored.place_id}: {_fault(fault)}, {_size(finding)}, "
                f"{finding.view} ({state})"
            )
        left = len(found) - _MOST_OF_A_FAULT
        if left > 0 and not every:
            yield f"  and {left} smaller of the kind: grader history {view.code} --all"


def history_lines(lines: Iterable[Line]) -> Iterator[str]:
    """All that happened to a piece."""
    for each in lines:
        mark = "" if each.in_force else "  (not in force)"
        number = f"[{each.number}]" if each.number is not None else ""
        yield f"{local_words(each.at)}  {number:>6}  {each.text}{mark}"


def explained_lines(found: Explanation) -> Iterator[str]:
    """What a verdict rests on."""
    stored = found.stored
    verdict = stored.verdict
    yield f"{verdict.piece}: verdict {stored.id} of {local_words(stored.made_at)}: {verdict.grade}"
    for reason in verdict.reasons:
        yield f"  {reason.text} ({reason.rule})"
    yield "It rests on"
    yield f"  rules: {stored.rules_title}; analysis {stored.analysis}, program {stored.grader}"
    yield f"  facts: {_facts(words_of(stored.facts).items()) or 'none'}"
    yield f"  {_refires(stored.refires_done)} before"
    alike: dict[tuple[str, str, str, str, str], list[WeighedFinding]] = defaultdict(list)
    for each in verdict.weighed:
        kind = (each.finding.fault, each.finding.view, each.severity, each.weight, each.rule)
        alike[kind].append(each)
    for (fault, view, severity, weight, rule), group in alike.items():
        sizes = [one.finding.diameter_mm for one in group if one.finding.diameter_mm is not None]
        size = _span(sizes, "mm", 1) if sizes else "no scale"
        sure = _span([one.finding.certainty for one in group], "", 2)
        count = f"{len(group)} × " if len(group) > 1 else ""
        yield (
            f"  {count}{_fault(fault)}, {view}, {size}, certainty {sure}: "
            f"{severity}, {_WEIGHTS[weight]} ({rule})"
        )
    if found.same:
        yield "Worked out again from the same findings, facts and rules: the same."
    else:
        yield f"Worked out again: {' '.join(found.differences)}"


def mended_lines(figures: Sequence[MendedFigure], new: tuple[int, int]) -> Iterator[str]:
    """What refiring has mended."""
    hit, trials = new
    if not trials:
        yield "No piece has been refired and photographed again yet."
        return
    for each in figures:
        yield f"{_fault(each.fault)}, {each.remedy}: {pieces_word(each.pieces)}"
        yield (
            f"  {each.healed} healed, {each.better} better, {each.unchanged} unchanged, "
            f"{each.worse} worse"
        )
        yield f"  {each.text}"
    yield f"A new fault came with the refire on {hit} of {pieces_word(trials)}."


def some(codes: Sequence[str]) -> str:
    """Return codes as a list that is not too long."""
    more = f" and {len(codes) - _MOST_CODES} more" if len(codes) > _MOST_CODES else ""
    return ", ".join(codes[:_MOST_CODES]) + more


def _grade_words(row: PieceRow) -> str:
    if row.fate:
        return f"{row.grade or 'ungraded'}, {row.fate}"
    if row.decided:
        return f"{row.decided}, decided"
    if row.trouble:
        return "failed"
    return f"{row.proposed}, proposed" if row.proposed else "not looked at yet"


def _fault(fault: str) -> str:
    return fault.replace("_", " ")


def _facts(words: Iterable[tuple[str, str]]) -> str:
    return ", ".join(
        f"{name.removesuffix('_mm')} {value} mm"
        if name.endswith("_mm")
        else f"{name.replace('_', ' ')} {value}"
        for name, value in words
    )


def _size(finding: Finding) -> str:
    return "no scale" if finding.diameter_mm is None else f"{finding.diameter_mm:.1f} mm"


def _span(values: Sequence[float], unit: str, digits: int) -> str:
    low, high = f"{min(values):.{digits}f}", f"{max(values):.{digits}f}"
    return f"{low if low == high else f'{low} to {high}'} {unit}".rstrip()


def _refires(number: int) -> str:
    return {0: "no refire", 1: "1 refire"}.get(number, f"{number} refires")
