"""Build the wheel, install it in a clean environment outside the checkout, and make the sample shoot from there.

Shows what no test in the checkout can: that the wheel holds all that it needs (outlet profiles, templates), and that
a second run has nothing to do. Run by tests/run with the Python of .venv-tests, which holds the build tools; it names a
folder in which the shoot is left for the tests to look at (tests/test_sample_shoot.py).
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import venv
from pathlib import Path
from typing import Any

CHECKOUT = Path(__file__).resolve().parent.parent
RUNTIME = CHECKOUT / "constraints" / "runtime.txt"


def main(left_in: Path | None = None) -> int:
    """Return 0 where the wheel alone makes every planned picture of the sample shoot, once."""
    with tempfile.TemporaryDirectory(prefix="plate line ") as folder:
        away = Path(folder).resolve()
        plateline = install(wheel(away / "dist"), away / "clean")
        shoot = (left_in or away).resolve() / "sample shoot"
        shutil.copytree(CHECKOUT / "sample_shoot", shoot, ignore=shutil.ignore_patterns("out", "replies"))
        job, out = shoot / "job.toml", shoot / "out"

        plan = json.loads(run(plateline, "plan", job, "--json", cwd=away))
        run(plateline, "export", job, cwd=away)
        faults = delivery_faults(planned(plan), out)
        first = moments(out)
        run(plateline, "export", job, cwd=away)
        faults += [f"{name}: written again, though nothing had changed" for name in changed(first, moments(out))]

    print("\n".join(faults) or f"{len(first)} pictures, manifest and sheet; a second run wrote no picture")
    return 1 if faults else 0


def wheel(dist: Path) -> Path:
    """Build the source package and, from that, the wheel."""
    run(sys.executable, "-m", "build", "--no-isolation", "--outdir", dist, CHECKOUT, cwd=CHECKOUT)
    return next(dist.glob("*.whl"))


def install(built: Path, folder: Path) -> Path:
    """Install the wheel with the pinned runtime in a new environment; return its `plateline`."""
    venv.create(folder)
    python, quietly = folder / "bin" / "python", ("--disable-pip-version-check", "--quiet", "--no-compile")
    pip = (sys.executable, "-m", "pip", "--python", python, "install", *quietly, "--constraint", RUNTIME)
    run(*pip, "setuptools", cwd=folder)
    run(*pip, "--no-build-isolation", built, cwd=folder, env=os.environ | {"PKG_CONFIG": "false"})
    return folder / "bin" / "plateline"


def run(*command: str | Path, cwd: Path, env: dict[str, str] | None = None) -> str:
    """Return what a command printed; where it fails, show all that it said and stop."""
    words = [str(part) for part in command]
    done = subprocess.run(words, cwd=cwd, env=env, text=True, capture_output=True, check=False)
    if done.returncode:
        sys.exit(f"{done.stdout}{done.stderr}\nexit code {done.returncode}: {' '.join(words)}")
    return done.stdout


def planned(plan: dict[str, Any]) -> set[str]:
    """Return the paths of all pictures of the plan but the refused ones, and those that wait for approval."""
    renditions = [rendition for frame in plan["frames"] for rendition in frame["renditions"]]
    made = [one for one in renditions if not one["refused"] and (one["approvals"] or not one["needs_approval"])]
    return {file["path"] for rendition in made for file in rendition["files"]}


def delivered(out: Path) -> dict[str, str]:
    """Return the digest of each picture, by path, as the manifest has it."""
    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    return {file["path"]: file["sha256"] for rendition in manifest["renditions"] for file in rendition["files"]}


def delivery_faults(wanted: set[str], out: Path) -> list[str]:
    """Compare the plan, the manifest and what lies in the output folder."""
    sheet = out / "sheet" / "index.html"
    digests = delivered(out)
    faults = [] if sheet.is_file() else ["no sheet/index.html"]
    faults += [] if wanted else ["the plan holds no picture"]
    faults += [f"{name}: in the plan or in the manifest only" for name in sorted(wanted ^ digests.keys())]
    for name, digest in digests.items():
        if not (out / name).is_file():
            faults.append(f"{name}: in the manifest, but not there")
        elif hashlib.sha256((out / name).read_bytes()).hexdigest() != digest:
            faults.append(f"{name}: not the content that the manifest names")
    return faults


def moments(out: Path) -> dict[str, tuple[int, int]]:
    """Return, for each picture of the manifest, which file it is and when it was last written."""
    stats = {name: (out / name).stat() for name in delivered(out) if (out / name).exists()}
    return {name: (stat.st_ino, stat.st_mtime_ns) for name, stat in stats.items()}


def changed(first: dict[str, tuple[int, int]], second: dict[str, tuple[int, int]]) -> list[str]:
    """Return the pictures that came, went or were written anew."""
    return sorted(name for name in first.keys() | second.keys() if first.get(name) != second.get(name))


if __name__ == "__main__":
    sys.exit(main(*map(Path, sys.argv[1:])))
