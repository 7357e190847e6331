"""The command line: words in, the same functions as the pages, words out.

Exit codes: 0 all pieces graded, 1 failed with nothing half-written, 2 wrong use, 3 done, but some
photos could not be used or some pieces not graded (named on stderr).
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path

import grader
from grader.console import DONE, FAILED, INCOMPLETE, bar, note
from grader.console import out as say
from grader.errors import BatchError, GraderError, UsageError
from grader.facts import read_facts
from grader.options import add_jobs, add_marker
from grader.output import PAGE_NAME, prepare_folder, refuse_originals, write_files
from grader.record.cli import add_commands as add_record_commands
from grader.review.cli import add_commands as add_review_commands
from grader.rules import Rules, default_rules_text, load_rules
from grader.terminal import (
    check_lines,
    graded_lines,
    noise_lines,
    problem_lines,
    where_lines,
)
from grader.verdict import GradedBatch

_STOPPED = 130  # what a shell gives to a program ended by Ctrl-C

_DEMO_OUT = Path("demo-out")
_DEMO_RESULT = "result.json"
_SLIPS = Path("slips.html")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Those of the process by default.

    Returns
    -------
    int
        The exit code.
    """
    parser = _parser()
    try:
        values = parser.parse_args(arguments)
        command: Callable[[argparse.Namespace], int] = values.command
        code = command(values)
        sys.stdout.flush()
        return code
    except GraderError as error:
        note(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        note("stopped before it was done.")
        return _STOPPED
    except BrokenPipeError:
        # Whoever read our output has enough of it. Python would complain once more while it
        # closes stdout, so that goes nowhere.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED


_GROUPS: Mapping[str, tuple[str, ...]] = {
    "One batch": ("grade", "check", "slips", "noise", "rules", "demo"),
    "Keep a record": ("init", "add", "batches", "pieces", "set", "firing"),
    "Your word on a piece": (
        "review",
        "decide",
        "judge",
        "say",
        "reference",
        "undo",
        "history",
        "explain",
    ),
    "Refires and other rules": ("compare", "mended", "regrade"),
    "Out of the record": ("lists", "export", "sound"),
}
"""The commands as ``grader --help`` tells them, in the order of the work."""


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="grader",
        usage="grader COMMAND ...",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog="grader COMMAND --help says more of a command.\n"
        "Everything is done on this machine; no photo leaves it.",
    )
    parser.add_argument("--version", action="version", version=f"grader {grader.__version__}")
    commands = parser.add_subparsers(
        prog="grader", required=True, metavar="COMMAND", help=argparse.SUPPRESS
    )
    _add_batch_commands(commands)
    add_record_commands(commands)
    add_review_commands(commands)
    told = {each.dest: each.help or "" for each in commands._choices_actions}
    parser.description = _overview(told)
    for name, command in commands.choices.items():
        # What the overview says of a command heads its own help too.
        command.description = command.description or f"{told[name][:1].upper()}{told[name][1:]}."
    return parser


def _overview(told: Mapping[str, str]) -> str:
    """Tell all commands, a line each, under their headings."""
    lines = ["Grade a kiln load of pots from photographs: first, refire or second."]
    for heading, names in _GROUPS.items():
        lines += ["", f"{heading}:", *(f"  {name:<10} {told[name]}" for name in names)]
    return "\n".join(lines)


def _add_batch_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    grade = commands.add_parser("grade", help="grade the photos of one unloaded batch")
    grade.add_argument(
        "photos",
        type=Path,
        metavar="PHOTOS",
        help="folder with a sub-folder or a file-name prefix for each piece",
    )
    grade.add_argument("--json", type=Path, metavar="FILE", help="write the result as JSON")
    grade.add_argument(
        "--out", type=Path, metavar="DIR", help="write the page and the lists into this folder"
    )
    _shared_options(grade)
    grade.set_defaults(command=_grade)

    demo = commands.add_parser("demo", help="grade the sample batch, to see what comes out")
    demo.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        default=_DEMO_OUT,
        help=f"folder for the page, the lists and {_DEMO_RESULT} (default: {_DEMO_OUT})",
    )
    _shared_options(demo)
    demo.set_defaults(command=_demo)

    check = commands.add_parser(
        "check", help="see if the photos are good enough while the pieces stand there"
    )
    check.add_argument("photos", type=Path, metavar="PHOTOS", help="folder as for grade")
    _shared_options(check)
    check.set_defaults(command=_check)

    noise = commands.add_parser(
        "noise", help="measure your camera's own noise from shots of one side"
    )
    noise.add_argument(
        "photos", type=Path, metavar="PHOTOS", help="folder with three shots or more"
    )
    add_marker(noise)
    noise.set_defaults(command=_noise)

    slips = commands.add_parser(
        "slips", help="make the page to print: slips with codes and the marker card"
    )
    slips.add_argument(
        "codes", nargs="*", metavar="CODE", help="K07 is one slip, K01-K24 are twenty-four"
    )
    slips.add_argument(
        "--list", type=Path, metavar="FILE", help="a slip for each row of this pieces.csv"
    )
    slips.add_argument(
        "--out",
        type=Path,
        metavar="FILE",
        default=_SLIPS,
        help=f"page to write (default: {_SLIPS})",
    )
    add_marker(slips)
    slips.set_defaults(command=_slips)

    rules = commands.add_parser(
        "rules", help="print the shipped rules, to start a file of your own"
    )
    rules.set_defaults(command=_print_rules)


def _shared_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--rules", type=Path, metavar="FILE", help="your own rules, laid over the shipped ones"
    )
    add_marker(parser)
    add_jobs(parser)


# --- commands -------------------------------------------------------------------------------


def _grade(values: argparse.Namespace) -> int:
    return _grade_into(values, values.photos, values.json, values.out)


def _demo(values: argparse.Namespace) -> int:
    code = _grade_into(values, _sample_batch(), values.out / _DEMO_RESULT, values.out)
    # Photos that cannot be used are part of what the sample batch shows.
    return 0 if code == INCOMPLETE else code


def _check(values: argparse.Namespace) -> int:
    from grader.checkup import run_check

    rules = load_rules(values.rules)
    with bar("looking at photos") as step:
        checked = run_check(
            values.photos,
            required=rules.required,
            advised=rules.advised,
            marker_mm=values.marker_mm,
            workers=values.jobs,
            progress=step,
        )
    _say_all(check_lines(checked))
    return DONE if all(piece.ready for piece in checked.pieces) else INCOMPLETE


def _noise(values: argparse.Namespace) -> int:
    from grader.noise import measure_noise

    _say_all(noise_lines(measure_noise(values.photos, marker_mm=values.marker_mm)))
    return DONE


def _slips(values: argparse.Namespace) -> int:
    from grader.slips import parse_codes, write_slips

    pieces = parse_codes(values.codes)
    if values.list is not None:
        listed = {piece.piece for piece in pieces}
        pieces += [piece for code, piece in read_facts(values.list).items() if code not in listed]
    number = write_slips(values.out, pieces, marker_mm=values.marker_mm)
    print(f"{number} {'slip' if number == 1 else 'slips'} and the cards: {values.out}")
    print("Print at full size (100 %), and hold the printed ruler against a real one.")
    return DONE


def _print_rules(values: argparse.Namespace) -> int:
    print(default_rules_text(), end="")
    return DONE


def _grade_into(
    values: argparse.Namespace, photos: Path, json_file: Path | None, out: Path | None
) -> int:
    # The image libraries take over a second to load: only the commands that need them do.
    from grader.batch import find_batch
    from grader.run import grade_batch

    rules = load_rules(values.rules)
    found = find_batch(photos)
    if json_file is not None:
        refuse_originals(json_file, photos)
        prepare_folder(json_file.parent)
    if out is not None:
        if out.exists() and out.resolve() == photos.resolve():
            raise UsageError(
                "the results cannot go into the folder of photos itself",
                where=str(out),
                remedy="Name another folder after --out",
            )
        prepare_folder(out)
    with bar("looking at pieces") as step:
        batch = grade_batch(
            found,
            rules,
            marker_mm=values.marker_mm,
            workers=values.jobs,
            progress=step,
        )
    _write(batch, rules, json_file, out)
    _say_all([*graded_lines(batch), *where_lines(json_file, out)])
    for line in problem_lines(batch):
        note(line)
    return DONE if batch.complete else INCOMPLETE


def _write(batch: GradedBatch, rules: Rules, json_file: Path | None, out: Path | None) -> None:
    from grader.lists import lists_of
    from grader.page import batch_page
    from grader.result import result_json

    contents: dict[Path, bytes] = {}
    if json_file is not None:
        contents[json_file] = result_json(batch)
    if out is not None:
        with bar("making the page") as step:
            page = batch_page(
                batch,
                rules,
                today=date.today(),
                progress=step,
            )
        contents[out / PAGE_NAME] = page.encode()
        contents |= {out / name: content for name, content in lists_of(batch).items()}
    write_files(contents)


def _sample_batch() -> Path:
    source_tree = Path(grader.__file__).resolve().parent.parent
    for root in (source_tree, Path.cwd()):
        folder = root / "sample_images"
        if (folder / "pieces.csv").is_file():
            return folder
    raise BatchError(
        "the sample batch was not found",
        where="sample_images",
        remedy="Run this in the folder of the project, where sample_images is",
    )


def _say_all(lines: Iterable[str]) -> None:
    for line in lines:
        say(line)
