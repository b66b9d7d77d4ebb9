"""What part of an export goes into what stands beside the pictures: previews, the contact sheet, metadata, the kit."""

from __future__ import annotations

import pstats
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from tests.bench.shoot import JOB, lay_out
from tests.bench.speed import export_command
from tests.bench.spent import spent
from tests.bench.table import Row

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    Times = Mapping[tuple[str, int, str], tuple[int, int, float, float, object]]

FRAMES = 2
PARTS = {
    "metadata of every file": ("work.py", "with_metadata"),
    "pages of the contact sheet": ("write.py", "_write_page"),
    "the code for the post": ("kit.py", "web_kit"),
    "the manifest": ("manifest.py", "manifest_json"),
}


def rows() -> Iterator[Row]:
    """Yield each part as a share of the export's time, one process, two frames."""
    with tempfile.TemporaryDirectory(prefix="plateline-bench-") as folder:
        place = Path(folder)
        job = lay_out(JOB, place / "shoot", FRAMES).job
        sheet = [sys.executable, "-m", "pipeline", "sheet", str(job), "--out", str(place / "sheet"), "--workers", "1"]
        export, sheet_only = spent(export_command(job, place / "out", 1)), spent([*sheet, "--quiet"])
        what = "previews and contact sheet made alone (the frames decoded for them), of the export's processor time"
        beside = f"{sheet_only.cpu_s:.1f} s by {export.cpu_s:.1f} s, {FRAMES} frames, one process"
        yield Row(what, sheet_only.cpu_s / export.cpu_s, beside=beside)
        profile = place / "profile"
        command = export_command(job, place / "profiled", 1)
        spent([command[0], "-m", "cProfile", "-o", str(profile), *command[1:]])
        times = pstats.Stats(str(profile)).stats  # type: ignore[attr-defined] # every profiler's table
        for what, function in PARTS.items():
            yield Row(f"{what}, of the export's time", share(times, function), beside="profiled, one process")


def share(times: Times, function: tuple[str, str]) -> float:
    """Return what part of all the time a function (file and name) took with all that it called; NaN where it is not.

    A row of NaN misses its bound: a part that was renamed is not passed over.
    """
    total = sum(each[2] for each in times.values())
    taken = [each[3] for (file, _, name), each in times.items() if (Path(file).name, name) == function]
    return sum(taken) / total if taken else float("nan")
