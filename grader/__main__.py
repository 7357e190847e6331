"""``python -m grader``."""

import sys

from grader.cli import main

if __name__ == "__main__":  # worker processes import this module again
    sys.exit(main())
