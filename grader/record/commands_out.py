"""The commands that change no decision: soundness, other rules, refires told, lists, export."""

from __future__ import annotations

import argparse
import sqlite3
from contextlib import closing
from datetime import date

from grader.console import DONE, bar, note, out
from grader.errors import UsageError
from grader.record.errors import RecordError, damaged
from grader.record.studio import open_studio


def sound(values: argparse.Namespace) -> int:
    """See that the record is whole."""
    from grader.record.photos import unsound_photos

    studio = open_studio(values.studio)
    with closing(sqlite3.connect(f"{studio.record.as_uri()}?mode=ro", uri=True)) as db:
        said = [row[0] for row in db.execute("PRAGMA integrity_check(5)")]
        lost = db.execute("PRAGMA foreign_key_check").fetchall()
    if said != ["ok"] or lost:
        raise damaged(studio.record, "; ".join(map(str, said if said != ["ok"] else lost[:3])))
    wrong = list(unsound_photos(studio, read_all=values.read_all))
    for file, what in wrong:
        note(f"{file}: {what}")
    if wrong:
        raise RecordError(
            f"photos that are not as they were taken in: {len(wrong)}",
            where=str(studio.photos),
            remedy="Put them back from a copy, or add the same photos once more",
        )
    out("The record is sound and every photo is there.")
    return DONE


def regrade(values: argparse.Namespace) -> int:
    """Show, and keep where asked, what other rules would change."""
    from grader.record.regrade import keep_regrade
    from grader.record.regrade import regrade as preview
    from grader.record.rulebook import rulebook, studio_rulebook

    studio = open_studio(values.studio)
    book = rulebook(values.rules) if values.rules is not None else studio_rulebook(studio)
    if values.look_again:
        from grader.record.looking import look_at_waiting

        with bar("looking at pieces") as progress:
            looked = look_at_waiting(
                studio, anew=True, book=book, workers=values.jobs, progress=progress
            )
        out(f"looked at again: {len(looked)}")
    with bar("grading") as progress:
        found = preview(studio, book, progress=progress)
    for change in found.changes:
        word = f"; you decided {change.decided}, which stays" if change.decided else ""
        out(f"{change.code}: {change.before} -> {change.after}{word}. {change.reasons[0].text}")
    out(
        f"By {found.rules_title}, the grade of {len(found.changes)} of {found.looked_at} pieces "
        f"would change; {found.waiting} wait to be looked at."
    )
    if values.keep:
        out(f"Written down: {keep_regrade(studio, book)} new verdicts. No decision was touched.")
    return DONE


def compare(values: argparse.Namespace) -> int:
    """Tell what a refire did."""
    from grader.record.refires import before_and_after

    found = before_and_after(open_studio(values.studio), values.piece)
    if found is None:
        out(f"{values.piece} was not refired, or not looked at since.")
        return DONE
    turned = (
        f"it stood turned by {found.alignment.turned_deg:.0f} degrees"
        if found.alignment.known
        else "how it stood turned could not be told"
    )
    out(f"{found.code}: refire {found.after.number}, {found.remedy}; {turned}")
    for mark in found.marks:
        out(f"  {mark.state:<9}  {mark.text}")
    return DONE


def mended(values: argparse.Namespace) -> int:
    """Tell what refiring has mended so far."""
    from grader.record.figures import mended_figures, new_after_refire
    from grader.record.lines import mended_lines

    studio = open_studio(values.studio)
    for line in mended_lines(mended_figures(studio), new_after_refire(studio)):
        out(line)
    return DONE


def lists(values: argparse.Namespace) -> int:
    """Write the page and the lists from the record."""
    from grader.lists import lists_of
    from grader.output import PAGE_NAME, prepare_folder, write_files
    from grader.page import batch_page
    from grader.record.graded import graded_batch
    from grader.record.queries import piece_list
    from grader.rules import load_rules
    from grader.terminal import where_lines

    studio = open_studio(values.studio)
    if values.out.resolve().is_relative_to(studio.photos):
        raise UsageError(
            "this folder is for the photos of the record",
            where=str(values.out),
            remedy="Name another folder",
        )
    prepare_folder(values.out)
    codes = None
    if values.firing is not None:
        codes = [row.code for row in piece_list(studio, firing=values.firing)]
    batch = graded_batch(studio, batch_id=values.batch, codes=codes, in_studio=not values.all)
    rules = load_rules(studio.rules_file if studio.rules_file.is_file() else None)
    with bar("making the page") as step:
        page = batch_page(batch, rules, today=date.today(), progress=step)
    write_files(
        {
            values.out / PAGE_NAME: page.encode(),
            **{values.out / name: content for name, content in lists_of(batch).items()},
        }
    )
    for line in where_lines(None, values.out):
        out(line)
    return DONE


def export(values: argparse.Namespace) -> int:
    """Write everything out."""
    from grader.record.export import export_record

    studio = open_studio(values.studio)
    with bar("writing pieces") as progress:
        folder = export_record(studio, values.out, photos=not values.no_photos, progress=progress)
    out(f"Everything is in {folder}; tables.md there says what it means.")
    return DONE
