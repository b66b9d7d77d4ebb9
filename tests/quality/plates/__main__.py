"""`python -m tests.quality.plates FOLDER [NAME ...]` makes the plates of `docs/quality.md`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from tests.quality.plates.plates import PLATES
from tests.quality.plates.sheet import save


def main() -> int:
    """Make the plates asked for, or all; say how large each file is."""
    parser = argparse.ArgumentParser(prog="python -m tests.quality.plates", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"only these of {', '.join(PLATES)}")
    asked = parser.parse_args()
    if unknown := set(asked.names) - set(PLATES):
        parser.error(f"no plate {', '.join(sorted(unknown))}; there are {', '.join(PLATES)}")
    asked.folder.mkdir(parents=True, exist_ok=True)
    for name in asked.names or PLATES:
        path = asked.folder / f"{name}.jpg"
        save(PLATES[name](), path)
        print(f"{path} {path.stat().st_size / 1000:.0f} kB", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
