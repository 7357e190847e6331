"""The command that opens the review, added to the program's command line."""

from __future__ import annotations

import argparse
from pathlib import Path

from grader.record.cli import add_studio

_PORT = 8741  # as in `serve`, whose libraries take a second to load

_Subparsers = argparse._SubParsersAction  # the only name argparse has for it


def add_commands(subparsers: _Subparsers[argparse.ArgumentParser]) -> None:
    """Add ``grader review``.

    Parameters
    ----------
    subparsers : argparse._SubParsersAction
        The command sets ``command`` to a function that takes the parsed arguments and returns
        the exit code.
    """
    review = subparsers.add_parser(
        "review",
        help="look through the pieces in the browser and have the last word",
        description=(
            "Opens the pages in the browser of this machine. No other machine is answered, and "
            "nothing is sent anywhere, unless --share is given."
        ),
    )
    add_studio(review)
    # As it was before `--studio`; what people have written down goes on working.
    review.add_argument("folder", nargs="?", type=Path, metavar="DIR", help="the same as --studio")
    review.add_argument(
        "--port",
        type=_port,
        default=_PORT,
        metavar="N",
        help=f"where on this machine (default: {_PORT}; 0 takes any that is free)",
    )
    review.add_argument("--no-browser", action="store_true", help="print the address only")
    review.add_argument(
        "--share",
        action="store_true",
        help="let phones of this network in, with a one-time code, to take photos and review",
    )
    review.add_argument(
        "--address",
        metavar="IP",
        help="with --share: the address of this machine, where it is in several networks",
    )
    review.set_defaults(command=_review)


def _review(values: argparse.Namespace) -> int:
    from grader.errors import UsageError
    from grader.review.serve import review

    if values.address is not None and not values.share:
        raise UsageError("--address goes with --share", remedy="Add --share, or leave it out")
    if values.folder is not None and values.studio is not None:
        raise UsageError(
            "two studio folders are named", remedy="Leave out the one without --studio"
        )
    review(
        values.studio if values.studio is not None else values.folder,
        port=values.port,
        share=values.share,
        address=values.address,
        browser=not values.no_browser,
    )
    return 0


def _port(text: str) -> int:
    if not text.isdecimal() or int(text) > 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port from 1 to 65535")
    return int(text)
