"""The command line: words in, the same functions as the pages, words out.

Exit codes: 0 all pieces graded, 1 failed with nothing half-written, 2 wrong use, 3 done, but some
photos could not be used or some pieces not graded (named on stderr).
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TypeVar

from tqdm import tqdm

import grader
from grader.errors import BatchError, GraderError, UsageError
from grader.facts import read_facts
from grader.output import PAGE_NAME, prepare_folder, refuse_originals, write_files
from grader.rules import Rules, default_rules_text, load_rules
from grader.terminal import (
    check_lines,
    graded_lines,
    noise_lines,
    plain,
    problem_lines,
    where_lines,
)
from grader.verdict import GradedBatch

_DONE = 0
_FAILED = 1
_INCOMPLETE = 3
_STOPPED = 130  # what a shell gives to a program ended by Ctrl-C

_DEMO_OUT = Path("demo-out")
_SLIPS = Path("slips.html")

T = TypeVar("T", int, float)


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
        _complain(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        _complain("stopped before it was done.")
        return _STOPPED
    except BrokenPipeError:
        # Whoever read our output has enough of it. Python would complain once more while it
        # closes stdout, so that goes nowhere.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return _FAILED


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="grader",
        description="Grade a kiln load of pots from photographs: first, refire or second.",
        epilog="Everything is done on this machine; no photo leaves it.",
    )
    parser.add_argument("--version", action="version", version=f"grader {grader.__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

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
        help=f"folder for the page and the lists (default: {_DEMO_OUT})",
    )
    _shared_options(demo)
    demo.set_defaults(command=_demo)

    check = commands.add_parser(
        "check", help="only look whether the photos are good enough, before the pieces are put away"
    )
    check.add_argument("photos", type=Path, metavar="PHOTOS", help="folder as for grade")
    _shared_options(check)
    check.set_defaults(command=_check)

    noise = commands.add_parser(
        "noise", help="measure your camera's own noise from repeated shots of one side of a piece"
    )
    noise.add_argument(
        "photos", type=Path, metavar="PHOTOS", help="folder with three shots or more"
    )
    _marker_option(noise)
    noise.set_defaults(command=_noise)

    slips = commands.add_parser(
        "slips", help="make the page to print: slips with codes, marker cards, how to photograph"
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
    _marker_option(slips)
    slips.set_defaults(command=_slips)

    rules = commands.add_parser(
        "rules", help="print the shipped rules, to start a file of your own from"
    )
    rules.set_defaults(command=_print_rules)
    return parser


def _shared_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--rules", type=Path, metavar="FILE", help="your own rules, laid over the shipped ones"
    )
    _marker_option(parser)
    parser.add_argument(
        "--jobs",
        type=_count,
        metavar="N",
        help="pieces to look at side by side (default: as many as this machine can)",
    )


def _marker_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--marker-mm",
        type=_length,
        default=20.0,
        metavar="MM",
        help="side of the printed marker (default: 20)",
    )


def _length(text: str) -> float:
    # A marker smaller than 1 mm cannot be printed, one larger than 1 m not be stood by a pot.
    return _within(text, float, 1, 1000, "a length from 1 to 1000 mm")


def _count(text: str) -> int:
    return _within(text, int, 1, 256, "a whole number from 1 to 256")


def _within(text: str, kind: Callable[[str], T], low: int, high: int, what: str) -> T:
    try:
        value = kind(text)
    except ValueError:
        value = None
    if value is None or not low <= value <= high:
        raise argparse.ArgumentTypeError(f"{text!r} is not {what}")
    return value


# --- commands -------------------------------------------------------------------------------


def _grade(values: argparse.Namespace) -> int:
    return _grade_into(values, values.photos, values.json, values.out)


def _demo(values: argparse.Namespace) -> int:
    return _grade_into(values, _sample_batch(), None, values.out)


def _check(values: argparse.Namespace) -> int:
    from grader.checkup import run_check

    rules = load_rules(values.rules)
    with _progress("looking at photos") as step:
        checked = run_check(
            values.photos,
            required=rules.required,
            advised=rules.advised,
            marker_mm=values.marker_mm,
            workers=values.jobs,
            progress=step,
        )
    _say(check_lines(checked))
    return _DONE if all(piece.ready for piece in checked.pieces) else _INCOMPLETE


def _noise(values: argparse.Namespace) -> int:
    from grader.noise import measure_noise

    _say(noise_lines(measure_noise(values.photos, marker_mm=values.marker_mm)))
    return _DONE


def _slips(values: argparse.Namespace) -> int:
    from grader.slips import parse_codes, write_slips

    pieces = parse_codes(values.codes)
    if values.list is not None:
        listed = {piece.piece for piece in pieces}
        pieces += [piece for code, piece in read_facts(values.list).items() if code not in listed]
    number = write_slips(values.out, pieces, marker_mm=values.marker_mm)
    print(f"{number} {'slip' if number == 1 else 'slips'} and the cards: {values.out}")
    print("Print at full size (100 %), and hold the printed ruler against a real one.")
    return _DONE


def _print_rules(values: argparse.Namespace) -> int:
    print(default_rules_text(), end="")
    return _DONE


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
    with _progress("looking at pieces") as step:
        batch = grade_batch(
            found,
            rules,
            marker_mm=values.marker_mm,
            workers=values.jobs,
            progress=step,
        )
    _write(batch, rules, json_file, out)
    _say([*graded_lines(batch), *where_lines(json_file, out)])
    for line in problem_lines(batch):
        _complain(line)
    return _DONE if batch.complete else _INCOMPLETE


def _write(batch: GradedBatch, rules: Rules, json_file: Path | None, out: Path | None) -> None:
    from grader.lists import lists_of
    from grader.page import batch_page
    from grader.result import result_json

    contents: dict[Path, bytes] = {}
    if json_file is not None:
        contents[json_file] = result_json(batch)
    if out is not None:
        with _progress("making the page") as step:
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


def _complain(text: str) -> None:
    print(f"grader: {plain(text)}", file=sys.stderr)


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        print(plain(line))


@contextmanager
def _progress(what: str) -> Iterator[Callable[..., None]]:
    """A progress bar on stderr, where that is a terminal; call with (done, total, ...)."""
    with tqdm(desc=what, unit="piece", leave=False, disable=None) as bar:

        def step(done: int, total: int, *_: object) -> None:
            bar.total = total
            bar.update(done - bar.n)

        yield step
