"""`python -m tests.quality [--full] [STEP ...]` measures the picture quality of every step and prints the table.

Exit code 1 where a figure misses its bound. What was left out for want of an outside judge is named below the table.
"""

from __future__ import annotations

import argparse
import sys
import time

import pytest

from tests.quality.figure import heading, row
from tests.quality.steps import STEPS, figures_of


def main() -> int:
    """Print the table row by row as it is measured; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.quality", description=__doc__)
    parser.add_argument("steps", nargs="*", metavar="STEP", help=f"only these of {', '.join(STEPS)}")
    parser.add_argument("--full", action="store_true", help="every photograph, size and example: far longer")
    asked = parser.parse_args()
    if unknown := set(asked.steps) - set(STEPS):
        parser.error(f"no step {', '.join(sorted(unknown))}; there are {', '.join(STEPS)}")
    began, rows, missed, left_out = time.monotonic(), 0, 0, []
    print(heading())
    for step in asked.steps or STEPS:
        try:
            for figure in figures_of(step, full=asked.full):
                print(row(figure), flush=True)
                rows, missed = rows + 1, missed + (not figure.holds)
        except pytest.skip.Exception as reason:
            left_out.append(f"{step}: {reason}")
    print(f"\n{rows} figures, {missed} miss their bound; {time.monotonic() - began:.0f} s")
    for sentence in left_out:
        print(f"left out, {sentence}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
