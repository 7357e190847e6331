"""What each command of the record does: words in, the package's functions, words out."""

from __future__ import annotations

import argparse
from collections.abc import Iterable

from grader.console import DONE, INCOMPLETE, bar, note, out
from grader.errors import UsageError
from grader.record import decisions, facts, lines
from grader.record.bench import piece_view
from grader.record.errors import RecordError
from grader.record.explain import explain as work_out
from grader.record.explain import verdict_of
from grader.record.now import set_marker_mm
from grader.record.pieces import sort_key
from grader.record.queries import batches as all_batches
from grader.record.queries import piece_list, references
from grader.record.saying import Outcome
from grader.record.studio import Studio, has_record, init_studio, open_studio
from grader.record.timeline import timeline

_WINDOW = "command line"


def init(values: argparse.Namespace) -> int:
    """Make a studio folder."""
    there = has_record(values.folder)
    studio = init_studio(values.folder, name=values.name)
    if values.marker_mm is not None:
        set_marker_mm(studio, values.marker_mm)
    out(f"The studio folder is {studio.folder}{' (it was there already)' if there else ''}")
    out("Next: grader add PHOTOS")
    return DONE


def add(values: argparse.Namespace) -> int:
    """Take a batch in, or look at what waits."""
    # The image libraries take over a second to load: only the commands that need them do.
    from grader.batch import find_batch
    from grader.record.add import add_batch
    from grader.record.looking import Looked, look_at_waiting

    studio = open_studio(values.studio)
    if (values.photos is None) != values.waiting:
        raise UsageError(
            "name a folder of photos, or --waiting, not both", remedy="See: grader add --help"
        )
    looked: tuple[Looked, ...]
    notes: list[str] = []
    with bar("looking at pieces") as progress:
        if values.waiting:
            looked = look_at_waiting(studio, workers=values.jobs, progress=progress)
            if not looked:
                out("Nothing waits to be looked at.")
        else:
            added = add_batch(
                studio,
                find_batch(values.photos),
                refire=values.refire,
                workers=values.jobs,
                progress=progress,
            )
            looked = added.looked
            notes = [*added.problems, *(text for piece in added.pieces for text in piece.notes)]
            _all(lines.added_lines(added))
    looked = tuple(sorted(looked, key=lambda one: sort_key(one.code)))
    _all(lines.looked_lines(looked))
    for text in notes:
        note(text)
    troubled = [one.code for one in looked if one.grade in (None, "ungraded")]
    if looked:
        out("Next: grader review, or grader pieces --undecided")
    if troubled:
        note(f"not graded: {lines.some(troubled)}")
    return INCOMPLETE if troubled or notes else DONE


def pieces(values: argparse.Namespace) -> int:
    """List pieces."""
    studio = open_studio(values.studio)
    rows = piece_list(
        studio,
        batch_id=values.batch,
        firing=values.firing,
        grade=values.grade,
        undecided=values.undecided,
        in_studio=not values.all,
        order="review" if values.undecided else "code",
    )
    _all(lines.list_lines(rows))
    _waiting_note(studio)
    return DONE


def batches(values: argparse.Namespace) -> int:
    """List batches."""
    rows = all_batches(open_studio(values.studio))
    _all(lines.batch_lines(rows) if rows else ["No batch yet: grader add PHOTOS"])
    return DONE


def set_facts(values: argparse.Namespace) -> int:
    """Say facts, or carry them as CSV."""
    studio = open_studio(values.studio)
    words = dict(word.split("=", 1) for word in values.words if "=" in word)
    codes = [word for word in values.words if "=" not in word]
    if values.to is not None:
        from grader.output import write_files

        write_files({values.to: facts.table_of_facts(studio, codes or None)})
        out(f"Written: {values.to}")
        return DONE
    if values.table is not None:
        changed, unknown = facts.take_table(studio, values.table)
    elif words and codes:
        changed, unknown = facts.set_facts(studio, codes, words), ()
    else:
        raise UsageError(
            "name pieces and facts, or a table",
            remedy="For instance: grader set K07 K08 clay=white, or grader set --from facts.csv",
        )
    for code, names in changed.items():
        if names:
            out(f"{code}: {', '.join(names)}")
    out(f"{sum(map(bool, changed.values()))} of {lines.pieces_word(len(changed))} changed")
    if unknown:
        note(f"not in the record: {lines.some(unknown)}")
    _waiting_note(studio)
    return INCOMPLETE if unknown else DONE


def firing(values: argparse.Namespace) -> int:
    """Say or list what is known of firings."""
    studio = open_studio(values.studio)
    if values.code is None:
        found = facts.firings(studio)
    elif values.words:
        wrong = [word for word in values.words if "=" not in word]
        if wrong:
            raise UsageError(f"{wrong[0]!r} is no NAME=VALUE", remedy="Write for instance cone=6")
        words = dict(word.split("=", 1) for word in values.words)
        found = (facts.set_firing(studio, values.code, words),)
    else:
        found = tuple(each for each in facts.firings(studio) if each.code == values.code)
    if not found:
        out("No such firing; name those of the pieces first: grader set PIECE firing=NAME")
    for each in found:
        said = ", ".join(f"{name} {value}" for name, value in each.words.items())
        out(f"{each.code}: {lines.pieces_word(each.pieces)}{'; ' if said else ''}{said}")
    return DONE


def decide(values: argparse.Namespace) -> int:
    """Give a grade."""
    studio = open_studio(values.studio)
    grade = values.grade
    if grade == "accept":
        view = piece_view(studio, values.piece)
        if view.verdict is None:
            raise RecordError(
                "nothing is proposed for it yet",
                where=values.piece,
                remedy="Look first: grader add --waiting",
            )
        grade = view.verdict.verdict.grade
    outcome = decisions.decide_grade(
        studio, values.piece, grade, reason=values.because, window=_WINDOW
    )
    return _told(values.piece, outcome)


def judge(values: argparse.Namespace) -> int:
    """Judge a finding."""
    outcome = decisions.judge_finding(
        open_studio(values.studio),
        values.piece,
        values.finding,
        values.word,
        reason=values.because,
        window=_WINDOW,
    )
    return _told(values.piece, outcome)


def say(values: argparse.Namespace) -> int:
    """Say what became of a piece."""
    studio, piece, word = open_studio(values.studio), values.piece, values.word
    if word == "note":
        outcome = decisions.say_note(studio, piece, values.value, window=_WINDOW)
    elif word == "price":
        outcome = decisions.say_price(studio, piece, _price(values.value), window=_WINDOW)
    else:
        price = _price(values.value) if values.value else None
        outcome = decisions.say_fate(studio, piece, word, price=price, window=_WINDOW)
    return _told(piece, outcome, f"{word} {values.value}".strip())


def reference(values: argparse.Namespace) -> int:
    """Name the good examples of a design, or list them."""
    studio = open_studio(values.studio)
    if not values.pieces:
        if values.no:
            raise UsageError("name the piece", remedy="For instance: grader reference K07 --not")
        rows = references(studio, values.design)
        for row in rows:
            out(f"{row.design}: {row.code} ({row.grade or 'not graded'})")
        if not rows:
            out("No piece is named as an example: grader reference PIECE")
        return DONE
    codes = []
    for code in values.pieces:
        outcome = decisions.say_reference(studio, code, not values.no, window=_WINDOW)
        now = "no longer an example" if values.no else "now an example"
        codes.append(_told(code, outcome, f"{now} of its design"))
    return max(codes)


def undo(values: argparse.Namespace) -> int:
    """Take back what was said last."""
    studio = open_studio(values.studio)
    if values.piece is None:
        if values.event is not None:
            raise UsageError("--event needs the piece", remedy="grader undo PIECE --event N")
        code, outcome = decisions.undo_last(studio)
    else:
        code = values.piece
        outcome = decisions.undo(studio, code, event_id=values.event, window=_WINDOW)
    back = f"{outcome.event.subject or 'note'} {outcome.event.value}"
    return _told(code, outcome, f"taken back: {back}")


def history(values: argparse.Namespace) -> int:
    """Tell all that is known of a piece."""
    studio = open_studio(values.studio)
    _all(lines.piece_lines(piece_view(studio, values.piece), every=values.all))
    out("")
    _all(lines.history_lines(timeline(studio, values.piece)))
    return DONE


def explain(values: argparse.Namespace) -> int:
    """Tell what a verdict rests on."""
    studio = open_studio(values.studio)
    verdict_id = verdict_of(studio, values.piece, values.verdict)
    _all(lines.explained_lines(work_out(studio, verdict_id)))
    return DONE


def _all(said: Iterable[str]) -> None:
    for line in said:
        out(line)


def _told(code: str, outcome: Outcome, done: str = "") -> int:
    if outcome.event.held:
        for each in outcome.conflicts:
            note(f"meanwhile {each.window or 'another window'} said: {each.kind} {each.value}")
        note(f"{code}: your word was kept but is not in force; say it again to insist")
        return INCOMPLETE
    grade = f"{outcome.grade or 'not graded'} (proposed: {outcome.proposed or 'nothing'})"
    out(f"{code}: {done}; {grade}" if done else f"{code}: {grade}")
    return DONE


def _waiting_note(studio: Studio) -> None:
    from grader.record.looking import waiting

    codes = waiting(studio)
    if codes:
        verb = "waits" if len(codes) == 1 else "wait"
        note(f"{lines.pieces_word(len(codes))} {verb} to be looked at: grader add --waiting")


def _price(text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise UsageError(
            f"{text!r} is no price", remedy="Write a plain number, for instance 24.50"
        ) from None
