"""The commands of the record, added to the program's command line."""

from __future__ import annotations

import argparse
from pathlib import Path

from grader.options import add_jobs, add_marker
from grader.record import commands, commands_out
from grader.record.events import FATES
from grader.record.studio import PLACE_VARIABLE
from grader.verdict import GRADES

_Subparsers = argparse._SubParsersAction  # the only name argparse has for it


def add_commands(subparsers: _Subparsers[argparse.ArgumentParser]) -> None:
    """Add the commands of the record.

    Parameters
    ----------
    subparsers : argparse._SubParsersAction
        Each command sets ``command`` to a function that takes the parsed arguments and returns
        the exit code.
    """
    _keeping(subparsers)
    _facts(subparsers)
    _deciding(subparsers)
    _rules(subparsers)
    _out(subparsers)


def _keeping(subparsers: _Subparsers[argparse.ArgumentParser]) -> None:
    init = subparsers.add_parser("init", help="make a studio folder that keeps a record")
    init.add_argument(
        "folder", nargs="?", type=Path, metavar="DIR", help="a new folder (default: your own place)"
    )
    init.add_argument("--name", default="", help="name of the studio, for its lists")
    add_marker(init, default=None)
    init.set_defaults(command=commands.init)

    add = subparsers.add_parser(
        "add", help="take the photos of a batch into the record, and grade them"
    )
    add.add_argument(
        "photos", nargs="?", type=Path, metavar="PHOTOS", help="folder, as for grader grade"
    )
    add.add_argument(
        "--waiting", action="store_true", help="no new photos: look at what was left waiting"
    )
    add.add_argument(
        "--refire", action="store_true", help="photos of known pieces show them after a refire"
    )
    add_jobs(add)
    add_studio(add)
    add.set_defaults(command=commands.add)

    pieces = subparsers.add_parser("pieces", help="list the pieces of the record")
    _which(pieces)
    pieces.add_argument("--grade", choices=GRADES, help="only those of this grade")
    pieces.add_argument("--undecided", action="store_true", help="only what waits for your word")
    pieces.add_argument("--all", action="store_true", help="with what was sold, given or broken")
    add_studio(pieces)
    pieces.set_defaults(command=commands.pieces)

    batches = subparsers.add_parser("batches", help="list the batches of the record")
    add_studio(batches)
    batches.set_defaults(command=commands.batches)

    sound = subparsers.add_parser("sound", help="see that the record and its photos are whole")
    sound.add_argument("--read-all", action="store_true", help="read every photo as well")
    add_studio(sound)
    sound.set_defaults(command=commands_out.sound)


def _facts(subparsers: _Subparsers[argparse.ArgumentParser]) -> None:
    facts = subparsers.add_parser(
        "set",
        help="say facts of one or many pieces: clay=white shelf=2 ...",
        description="Say facts of many pieces at once, for instance: "
        "grader set K07 K08 clay=white shelf=2 ring=outer. An empty value takes a fact back.",
    )
    facts.add_argument("words", nargs="*", metavar="PIECE or NAME=VALUE")
    facts.add_argument("--from", dest="table", type=Path, metavar="CSV", help="read a table")
    facts.add_argument("--to", type=Path, metavar="CSV", help="write what is known as a table")
    add_studio(facts)
    facts.set_defaults(command=commands.set_facts)

    firing = subparsers.add_parser(
        "firing",
        help="say what is known of a firing, or list the firings",
        description="For instance: grader firing F12 date=2026-11-20 cone=6 "
        'programme="slow glaze" kiln="shared electric" changed="ten minutes of soak".',
    )
    firing.add_argument("code", nargs="?", metavar="FIRING")
    firing.add_argument("words", nargs="*", metavar="NAME=VALUE")
    add_studio(firing)
    firing.set_defaults(command=commands.firing)


def _deciding(subparsers: _Subparsers[argparse.ArgumentParser]) -> None:
    decide = subparsers.add_parser("decide", help="give a piece its grade")
    decide.add_argument("piece", metavar="PIECE")
    decide.add_argument("grade", choices=("accept", *GRADES), help="accept: as it is proposed")
    decide.add_argument("--because", default="", metavar="TEXT", help="why you see it otherwise")
    add_studio(decide)
    decide.set_defaults(command=commands.decide)

    judge = subparsers.add_parser(
        "judge", help="say that a finding is right, wrong, or part of the drawing"
    )
    judge.add_argument("piece", metavar="PIECE")
    judge.add_argument("finding", type=int, metavar="NUMBER", help="as grader history numbers it")
    judge.add_argument("word", choices=("right", "wrong", "drawing"))
    judge.add_argument("--because", default="", metavar="TEXT")
    add_studio(judge)
    judge.set_defaults(command=commands.judge)

    say = subparsers.add_parser("say", help="say what became of a piece, what it costs, or a note")
    say.add_argument("piece", metavar="PIECE")
    say.add_argument("word", choices=(*FATES, "price", "note"))
    say.add_argument("value", nargs="?", default="", metavar="PRICE or TEXT")
    add_studio(say)
    say.set_defaults(command=commands.say)

    reference = subparsers.add_parser(
        "reference",
        help="name the good example of a design, or list those that there are",
        description="Say that a piece shows what a good one of its design looks like; it is "
        "kept for later batches of the design. Without a piece, list the examples.",
    )
    reference.add_argument("pieces", nargs="*", metavar="PIECE")
    reference.add_argument("--not", dest="no", action="store_true", help="it no longer is one")
    reference.add_argument("--design", metavar="NAME", help="list only those of this design")
    add_studio(reference)
    reference.set_defaults(command=commands.reference)

    undo = subparsers.add_parser("undo", help="take back what was said last")
    undo.add_argument("piece", nargs="?", metavar="PIECE", help="of this piece (default: of any)")
    undo.add_argument("--event", type=int, metavar="N", help="this one, as history numbers it")
    add_studio(undo)
    undo.set_defaults(command=commands.undo)

    history = subparsers.add_parser(
        "history", help="tell all that is known and was said of a piece"
    )
    history.add_argument("piece", metavar="PIECE")
    history.add_argument("--all", action="store_true", help="every finding, however many")
    add_studio(history)
    history.set_defaults(command=commands.history)

    explain = subparsers.add_parser(
        "explain",
        help="tell what a verdict rests on, and work it out again",
        description="Tell the findings, facts and rules that a verdict rests on, and work it out "
        "again from them, to see that it comes out the same.",
    )
    explain.add_argument("piece", metavar="PIECE")
    explain.add_argument(
        "verdict", nargs="?", type=int, metavar="N", help="as grader history numbers it"
    )
    add_studio(explain)
    explain.set_defaults(command=commands.explain)


def _rules(subparsers: _Subparsers[argparse.ArgumentParser]) -> None:
    regrade = subparsers.add_parser("regrade", help="show what other rules would change")
    regrade.add_argument("--rules", type=Path, metavar="FILE", help="default: those of the studio")
    regrade.add_argument("--keep", action="store_true", help="write the new proposals down")
    regrade.add_argument(
        "--look-again",
        action="store_true",
        help="first look at the photos again, where this version may see more",
    )
    add_jobs(regrade)
    add_studio(regrade)
    regrade.set_defaults(command=commands_out.regrade)

    compare = subparsers.add_parser(
        "compare", help="tell what a refire did to a piece, place by place"
    )
    compare.add_argument("piece", metavar="PIECE")
    add_studio(compare)
    compare.set_defaults(command=commands_out.compare)

    mended = subparsers.add_parser("mended", help="tell what refiring has mended in this studio")
    add_studio(mended)
    mended.set_defaults(command=commands_out.mended)


def _out(subparsers: _Subparsers[argparse.ArgumentParser]) -> None:
    lists = subparsers.add_parser("lists", help="write the page and the lists from the record")
    lists.add_argument("out", type=Path, metavar="DIR")
    _which(lists)
    lists.add_argument("--all", action="store_true", help="with what was sold, given or broken")
    add_studio(lists)
    lists.set_defaults(command=commands_out.lists)

    export = subparsers.add_parser("export", help="write everything out: CSV, JSON and photos")
    export.add_argument("out", type=Path, metavar="DIR", help="a new folder")
    export.add_argument("--no-photos", action="store_true")
    add_studio(export)
    export.set_defaults(command=commands_out.export)


def _which(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--batch", type=int, metavar="N", help="only this batch, as grader batches numbers it"
    )
    parser.add_argument("--firing", metavar="NAME", help="only this firing")


def add_studio(parser: argparse.ArgumentParser) -> None:
    """Add ``--studio``."""
    parser.add_argument(
        "--studio",
        type=Path,
        metavar="DIR",
        help=f"studio folder (default: {PLACE_VARIABLE} if it is set, else your own place)",
    )
