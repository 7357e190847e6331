"""Command line of the picture generator."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ..errors import GraderError
from .batch import run_jobs
from .trial import trial_jobs


def _size(text: str) -> tuple[int, int]:
    width, _, height = text.partition("x")
    if not (width.isdigit() and height.isdigit() and int(width) >= 64 and int(height) >= 64):
        raise argparse.ArgumentTypeError(f"{text!r} is not a size such as 1600x1200")
    if int(width) % 2 or int(height) % 2:
        raise argparse.ArgumentTypeError(f"{text!r}: both sides must be even")
    return int(width), int(height)


def main(argv: list[str] | None = None) -> int:
    """Run ``python -m grader.render``; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m grader.render", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    samples = commands.add_parser("samples", help="make the sample batch, always the same")
    samples.add_argument("--out", type=Path, default=Path("sample_images"))
    samples.add_argument("--only", nargs="*", default=None, metavar="PIECE", help="make only these")
    trial = commands.add_parser("trial", help="make a random batch with the same kind of truth")
    trial.add_argument("--seed", type=int, required=True)
    trial.add_argument("--pieces", type=int, default=12)
    trial.add_argument("--out", type=Path, required=True)
    trial.add_argument("--size", type=_size, default=(1600, 1200), metavar="WxH")
    for command in (samples, trial):
        command.add_argument(
            "--spp", type=int, default=12, help="paths for each 2 x 2 pixels of the piece"
        )
    given = parser.parse_args(argv)
    # The background needs fewer paths: its light is even and far from the camera's interest.
    spp = (max(2, given.spp // 4), given.spp)
    try:
        if given.command == "trial":
            run_jobs(trial_jobs(given.seed, given.pieces, given.size), given.out, spp)
        else:
            from .samples import sample_jobs

            run_jobs(sample_jobs(given.only), given.out, spp)
    except GraderError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
