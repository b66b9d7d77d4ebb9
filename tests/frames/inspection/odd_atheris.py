"""`python -m tests.frames.inspection.odd_atheris RUNS SEED`: atheris chooses the bytes, led by the code they reach."""

from __future__ import annotations

import resource
import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["pipeline"]):
    from tests.frames.inspection.odd import check, inspected, inspected_file

FILES = 0x60  # of 256 first bytes, so many stand for a file that is broken
MOST_MB = 2048  # of memory that looking at them may take


def main() -> None:
    """Look at as many frames as are asked for; a crash or an odd number ends it."""
    runs, seed = sys.argv[1:]
    with tempfile.TemporaryDirectory() as folder:

        def one(data: bytes) -> None:
            of_file = data[:1] < bytes([FILES])
            seen = inspected_file(data[1:], Path(folder)) if of_file else inspected(data[1:])
            if seen is not None:
                check(seen)

        # The most that a process ever held begins, on Linux, with what the process held that started it.
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        limits = ["-max_len=400", "-len_control=0", f"-rss_limit_mb={before + MOST_MB}"]
        options = [f"-runs={runs}", f"-seed={seed}", *limits, f"-artifact_prefix={folder}/"]
        atheris.Setup(["odd", *options], one)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
