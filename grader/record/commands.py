"""What each command of the record does: words in, the package's functions, words out."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence

from grader.console import DONE, INCOMPLETE, bar, note, out
from grader.errors import UsageError
from grader.findings import Finding
from grader.record import decisions, facts
from grader.record.bench import PieceView, piece_view
from grader.record.clock import local_words
from grader.record.errors import RecordError
from grader.record.explain import explain as work_out
from grader.record.explain import verdict_of
from grader.record.now import set_marker_mm
from grader.record.queries import PieceRow, piece_list, references
from grader.record.saying import Outcome
from grader.record.studio import Studio, init_studio, open_studio
from grader.record.words import words_of

_WINDOW = "command line"


def init(values: argparse.Namespace) -> int:
    """Make a studio folder."""
    studio = init_studio(values.folder, name=values.name)
    if values.marker_mm is not None:
        set_marker_mm(studio, values.marker_mm)
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
    else:
        price = _price(values.value) if values.value else None
        outcome = decisions.say_fate(studio, piece, word, price=price, window=_WINDOW)
    return _told(piece, outcome)


def reference(values: argparse.Namespace) -> int:
    """Name the good examples of a design, or list them."""
    studio = open_studio(values.studio)
    if not values.pieces:
        if values.no:
            raise UsageError("name the piece", remedy="For instance: grader reference K07 --not")
        for row in references(studio, values.design):
            out(f"{row.design}: {row.code} ({row.grade or 'not graded'})")
        return DONE
    codes = []
    for code in values.pieces:
        outcome = decisions.say_reference(studio, code, not values.no, window=_WINDOW)
        codes.append(_told(code, outcome))
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
    out(f"{code}: taken back: {outcome.event.subject or 'note'} {outcome.event.value}")
    return _told(code, outcome)


def history(values: argparse.Namespace) -> int:
    """Tell all that is known of a piece."""
    from grader.record.timeline import timeline

    studio = open_studio(values.studio)
    for line in _piece_lines(piece_view(studio, values.piece)):
        out(line)
    out("")
    for each in timeline(studio, values.piece):
        mark = "" if each.in_force else "  (not in force)"
        number = f"[{each.number}]" if each.number is not None else ""
        out(f"{local_words(each.at)}  {number:>6}  {each.text}{mark}")
    return DONE


def explain(values: argparse.Namespace) -> int:
    """Tell what a verdict rests on."""
    studio = open_studio(values.studio)
    found = work_out(studio, verdict_of(studio, values.piece, values.verdict))
    stored = found.stored
    verdict = stored.verdict
    out(f"{verdict.piece}: verdict {stored.id} of {local_words(stored.made_at)}: {verdict.grade}")
    for reason in verdict.reasons:
        out(f"  {reason.text} ({reason.rule})")
    out("It rests on")
    out(f"  the rules {stored.rules_title}, program {stored.grader}, analysis {stored.analysis}")
    out(f"  {_refires(stored.refires_done)} before")
    facts = ", ".join(f"{name} {value}" for name, value in words_of(stored.facts).items())
    out(f"  {facts or 'no facts'}")
    for each in verdict.weighed:
        finding = each.finding
        out(
            f"  {finding.fault.replace('_', ' ')}, {_size(finding)}, {finding.view}, certainty "
            f"{finding.certainty:.2f}: {each.severity}, {_WEIGHTS[each.weight]} ({each.rule})"
        )
    if found.same:
        out("Worked out again from the same findings, facts and rules: the same.")
    else:
        out(f"Worked out again: {' '.join(found.differences)}")
    return DONE


# --- words ----------------------------------------------------------------------------------

_WEIGHTS = {
    "counts": "counts",
    "look": "too uncertain to count",
    "remark": "too small to count",
    "normal": "normal on this ware",
}


def _size(finding: Finding) -> str:
    return f"{finding.diameter_mm:.1f} mm" if finding.diameter_mm else "no scale"


def _refires(number: int) -> str:
    return {0: "no refire", 1: "1 refire"}.get(number, f"{number} refires")


def _piece_lines(view: PieceView) -> Iterator[str]:
    grade = view.said.grade or (view.verdict.verdict.grade if view.verdict else "not looked at yet")
    by = "you decided" if view.said.grade else "proposed"
    yield f"{view.code}: {grade} ({by}), {_refires(view.round.refires)}"
    if view.words:
        yield "  " + ", ".join(f"{name} {value}" for name, value in view.words.items())
    for each in view.findings:
        finding = each.stored.finding
        weight = _WEIGHTS[each.weight] if each.weight else "not weighed yet"
        state = each.judged or ("by hand" if each.stored.by_hand else weight)
        fault = finding.fault.replace("_", " ")
        yield (
            f"  finding {each.stored.place_id}: {fault}, {_size(finding)}, {finding.view} ({state})"
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
