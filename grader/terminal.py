"""What the command line says, as lines of text."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from grader.output import PAGE_NAME
from grader.verdict import Grade, GradedBatch, GradedPiece

if TYPE_CHECKING:  # the image libraries take over a second to load, and one line needs none
    from grader.checkup import BatchCheck
    from grader.noise import NoiseFloor

# In the order in which the maker acts, as on the page.
_ORDER: tuple[Grade, ...] = ("ungraded", "refire", "second", "first")


def graded_lines(batch: GradedBatch) -> Iterator[str]:
    """How many of each grade, and why for each piece that is not first."""
    counts = {grade: len(batch.of_grade(grade)) for grade in _ORDER}
    said = ", ".join(f"{counts[grade]} {grade}" for grade in reversed(_ORDER))
    yield f"{_pieces(len(batch.pieces))}: {said}"
    width = max((len(piece.verdict.piece) for piece in batch.pieces), default=0)
    for grade in _ORDER:
        for piece in batch.of_grade(grade):
            if grade != "first":
                reason = piece.verdict.reasons[0].text
                yield f"  {piece.verdict.piece:<{width}}  {_grade_word(piece):<8}  {reason}"
    doubtful = [
        piece.verdict.piece
        for piece in batch.of_grade("first")
        if any(weighed.weight == "look" for weighed in piece.verdict.weighed)
    ]
    if doubtful:
        yield f"  Firsts with something uncertain to look at: {', '.join(doubtful)}"


def where_lines(json_file: Path | None, out: Path | None) -> Iterator[str]:
    """Where the results are."""
    if out is not None:
        yield f"Page to look at and print: {out / PAGE_NAME}"
        yield f"Lists: {out / 'seconds.csv'}, {out / 'refire.csv'}, {out / 'firsts.csv'}"
    if json_file is not None:
        yield f"Result: {json_file}"
    if out is None and json_file is None:
        yield "Add --out DIR for a page with pictures and the lists."


def problem_lines(batch: GradedBatch) -> Iterator[str]:
    """What could not be used or graded."""
    for note in batch.notes:
        yield f"note: {note}"
    for piece in batch.pieces:
        for photo in piece.survey.photos:
            if not photo.usable:
                why = " ".join(problem.text for problem in photo.problems) or "not usable"
                yield f"{photo.photo}: cannot be used: {why.removeprefix(photo.photo + ': ')}"
        if piece.verdict.grade == "ungraded":
            yield f"{piece.verdict.piece}: not graded: {piece.verdict.reasons[0].text}"


def check_lines(checked: BatchCheck) -> Iterator[str]:
    """What to photograph again, and what could be better."""
    total = len(checked.pieces)
    again = sum(not piece.ready for piece in checked.pieces)
    yield f"{_pieces(total)}: {total - again} can be graded, {again} to photograph again"
    for problem in checked.problems:
        yield f"  {problem.text}"
    missing: dict[str, list[str]] = {}
    for piece in checked.pieces:
        for problem in piece.problems:
            missing.setdefault(problem.text, []).append(piece.piece)
    for text, codes in missing.items():
        # The same is often missing everywhere: it is said once.
        who = "all pieces" if len(codes) == total > 1 else ", ".join(codes)
        yield f"  {who}: {text}"
    for piece in checked.pieces:
        for photo in piece.photos:
            for problem in photo.problems:
                yield f"  {photo.photo}: {problem.text.removeprefix(photo.photo + ': ')}"


def noise_lines(floor: NoiseFloor) -> Iterator[str]:
    """What the camera's own noise is, and how to tell the rules."""
    yield f"{floor.shots} shots compared."
    yield (
        f"Colour of a 3 mm patch within a photo: {floor.noise_de00:.2f} dE00, of a speck: "
        f"{floor.speck_de00:.2f}, of the whole piece between photos: {floor.between_de00:.2f}"
    )
    if floor.size_mm is not None and floor.extent_mm is not None:
        yield f"Height of {floor.extent_mm:.1f} mm: {floor.size_mm:.2f} mm from shot to shot"
    for note in floor.notes:
        yield f"  {note}"
    yield "For your own rules file:"
    yield "  [colour]"
    yield f"  noise_de00 = {floor.noise_de00:.2f}"


def _pieces(number: int) -> str:
    return f"{number} {'piece' if number == 1 else 'pieces'}"


def _grade_word(piece: GradedPiece) -> str:
    return "discard" if piece.verdict.discard else piece.verdict.grade
