"""What each command of the record does: words in, the package's functions, words out."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence

from grader.errors import UsageError
from grader.record import decisions, facts
from grader.record.bench import PieceView, piece_view
from grader.record.clock import local_words
from grader.record.console import DONE, INCOMPLETE, bar, note, out
from grader.record.errors import RecordError
from grader.record.queries import PieceRow, piece_list
from grader.record.saying import Outcome
from grader.record.studio import Studio, init_studio, open_studio

_WINDOW = "command line"


def init(values: argparse.Namespace) -> int:
    """Make a studio folder."""
    studio = init_studio(values.folder, name=values.name)
    out(f"The studio folder is {studio.folder}")
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
    said: list[str] = []
    with bar("looking at pieces") as progress:
        if values.waiting:
            looked = look_at_waiting(studio, workers=values.jobs, progress=progress)
        else:
            added = add_batch(
                studio,
                find_batch(values.photos),
                refire=values.refire,
                workers=values.jobs,
                progress=progress,
            )
            looked = added.looked
            said = [*added.problems, *(text for piece in added.pieces for text in piece.notes)]
            for step in ("new", "more photos", "refire", "known", "left out"):
                codes = [piece.code for piece in added.pieces if piece.step == step]
                if codes:
                    out(f"{step}: {len(codes)} ({_some(codes)})")
    for one in looked:
        out(f"  {one.code}  {one.grade or 'not graded'}")
    for text in said:
        note(text)
    troubled = [one for one in looked if one.grade in (None, "ungraded")]
    for one in troubled:
        note(f"{one.code}: {one.trouble or 'ungraded, see grader history ' + one.code}")
    return INCOMPLETE if troubled or said else DONE


def pieces(values: argparse.Namespace) -> int:
    """List pieces."""
    rows = piece_list(
        open_studio(values.studio),
        grade=values.grade,
        undecided=values.undecided,
        in_studio=not values.all,
        order="review" if values.undecided else "code",
    )
    width = max((len(row.code) for row in rows), default=0)
    for row in rows:
        out(f"{row.code:<{width}}  {_grade_words(row):<19}  {row.reason}")
    out(f"{len(rows)} {'piece' if len(rows) == 1 else 'pieces'}")
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
    out(f"{sum(map(bool, changed.values()))} of {len(changed)} pieces changed")
    if unknown:
        note(f"not in the record: {_some(unknown)}")
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
    for each in found:
        said = ", ".join(f"{name} {value}" for name, value in each.words.items())
        out(f"{each.code}: {each.pieces} pieces{'; ' if said else ''}{said}")
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
    elif word in ("reference", "ordinary"):
        yes = word == "reference"
        outcome = decisions.say_reference(studio, piece, yes, window=_WINDOW)
    else:
        price = _price(values.value) if values.value else None
        outcome = decisions.say_fate(studio, piece, word, price=price, window=_WINDOW)
    return _told(piece, outcome)


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
    out(f"{code}: taken back: {outcome.event.subject or 'note'} {outcome.event.value}")
    return _told(code, outcome)


def history(values: argparse.Namespace) -> int:
    """Tell all that is known of a piece, or explain one of its verdicts."""
    from grader.record.timeline import timeline

    studio = open_studio(values.studio)
    if values.explain is not None:
        return _explain(studio, values.explain)
    view = piece_view(studio, values.piece)
    for line in _piece_lines(view):
        out(line)
    out("")
    for each in timeline(studio, values.piece):
        mark = "" if each.in_force else "  (not in force)"
        number = f"[{each.number}]" if each.number is not None else ""
        out(f"{local_words(each.at)}  {number:>6}  {each.text}{mark}")
    return DONE


# --- words ----------------------------------------------------------------------------------


def _explain(studio: Studio, verdict_id: int) -> int:
    from grader.record.explain import explain

    found = explain(studio, verdict_id)
    stored = found.stored
    out(
        f"Verdict {stored.id}, {stored.verdict.piece}: {stored.verdict.grade}, "
        f"{local_words(stored.made_at)}"
    )
    out(f"  rules {stored.rules_title}; analysis {stored.analysis}; program {stored.grader}")
    out(f"  refires before: {stored.refires_done}")
    for each in stored.verdict.weighed:
        size = f"{each.finding.diameter_mm:.1f} mm" if each.finding.diameter_mm else "no scale"
        out(
            f"  {each.finding.fault.replace('_', ' ')}, {size}, {each.finding.view}: "
            f"{each.severity}, {each.weight} ({each.rule})"
        )
    for reason in stored.verdict.reasons:
        out(f"  {reason.text} ({reason.rule})")
    if found.same:
        out("Worked out again from the same findings, facts and rules: the same.")
    else:
        out(f"Worked out again: {' '.join(found.differences)}")
    return DONE


def _piece_lines(view: PieceView) -> Iterator[str]:
    grade = view.said.grade or (view.verdict.verdict.grade if view.verdict else "not looked at yet")
    by = "you decided" if view.said.grade else "proposed"
    yield f"{view.code}: {grade} ({by}), refires: {view.round.number}"
    yield "  " + ", ".join(f"{name} {value}" for name, value in view.words.items())
    for each in view.findings:
        finding = each.stored.finding
        size = f"{finding.diameter_mm:.1f} mm" if finding.diameter_mm else "no scale"
        state = each.judged or ("by hand" if each.stored.by_hand else each.weight)
        yield (
            f"  finding {each.stored.place_id}: {finding.fault.replace('_', ' ')}, {size}, "
            f"{finding.view} ({state})"
        )
    if view.verdict:
        for reason in view.verdict.verdict.reasons:
            yield f"  {reason.text}"
    yield from (f"  {figure}" for figure in view.own_figures)


def _told(code: str, outcome: Outcome) -> int:
    if outcome.event.held:
        for each in outcome.conflicts:
            note(f"meanwhile {each.window or 'another window'} said: {each.kind} {each.value}")
        note(f"{code}: your word was kept but is not in force; say it again to insist")
        return INCOMPLETE
    out(f"{code}: {outcome.grade or 'not graded'} (proposed: {outcome.proposed or 'nothing'})")
    return DONE


def _waiting_note(studio: Studio) -> None:
    from grader.record.looking import waiting

    codes = waiting(studio)
    if codes:
        note(f"{len(codes)} pieces wait to be looked at: grader add --waiting")


def _grade_words(row: PieceRow) -> str:
    if row.fate:
        return f"{row.grade or 'ungraded'}, {row.fate}"
    if row.decided:
        return f"{row.decided}, decided"
    return f"{row.proposed}, proposed" if row.proposed else "waits"


def _price(text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise UsageError(
            f"{text!r} is no price", remedy="Write a plain number, for instance 24.50"
        ) from None


def _some(codes: Sequence[str], most: int = 6) -> str:
    more = f" and {len(codes) - most} more" if len(codes) > most else ""
    return ", ".join(codes[:most]) + more
