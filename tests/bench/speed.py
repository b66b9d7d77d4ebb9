"""How long the bench's jobs take, by the least that they can cost, and beside straight scripts with other tools.

Every way makes the same pictures of the same frames with the same encoders' options, two processes side by side, whole
processes by the clock; they are taken in turn, several rounds, and the least of each counts.
"""

from __future__ import annotations

import json
import sys
import tempfile
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from tests.bench.alike import colour_differences, wrong_pictures
from tests.bench.shoot import JOB, PROCESSES, TIFF_JOB, lay_out
from tests.bench.spent import in_turn, spent
from tests.bench.straight import TOOLS, command, job_file
from tests.bench.table import Row
from tests.quality.figure import at_most, exactly, told

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from tests.bench.shoot import Shoot
    from tests.bench.spent import Spent
    from tests.bench.straight import Wanted

OURS, FLOOR = "ours", "floor"
OFTEN = 3  # in a round: the least of many is nearer to what it costs where nothing else is at work
NO_SLOWER_THAN = {"JPEG": 2.2, "TIFF": 2.5}  # times the floor
# CIEDE2000, seen eight times smaller, where sharpening averages out. Ours: what the house allows WebP's chroma (Figures
# in DEVELOPERS.md). Others: they average codes, not light, which is theirs to do; a frame's profile left out is more.
CLOSE, CLOSE_OTHERS = 1.0, 2.0
ENDINGS = {".jpg": "jpeg", ".webp": "webp"}


@dataclass(frozen=True, slots=True)
class Bench:
    """One of the bench's jobs, and the folder where everybody's pictures of it go."""

    kind: str
    shoot: Shoot
    folder: Path

    def wanted(self, name: str) -> Mapping[Path, tuple[Wanted, ...]]:
        """Return what is wanted of each frame, in the place where one way puts it."""
        return self.shoot.wanted(self.folder / name)


def rows(rounds: int, frames: int | None = None) -> Iterator[Row]:
    """Yield the rows of both jobs; `frames` takes fewer of them, to try."""
    with tempfile.TemporaryDirectory(prefix="plateline-bench-") as folder:
        for kind, job in (("JPEG", JOB), ("TIFF", TIFF_JOB)):
            place = Path(folder) / kind
            bench = Bench(kind, lay_out(job, place / "shoot", frames), place)
            yield from _rows_of(bench, rounds)


def export_command(job: Path, out: Path, workers: int = PROCESSES) -> list[str]:
    """Return how everything of a job is made by us."""
    return [
        sys.executable, "-m", "pipeline", "export", str(job), "--out", str(out), "--workers", str(workers), "--quiet"
    ]  # fmt: skip


def _rows_of(bench: Bench, rounds: int) -> Iterator[Row]:
    ours = _Ours(bench)
    ways: dict[str, Callable[[], Spent]] = {OURS: ours, FLOOR: partial(_floor, bench)}
    ways |= {tool: partial(_straight, bench, tool) for tool in TOOLS}
    took = in_turn(ways, rounds, {OURS: OFTEN, FLOOR: OFTEN})
    counted = f"{len(bench.wanted(OURS))} {bench.kind} frames of 24 MP, ten renditions each"
    floor = took[FLOOR]
    for name in (OURS, *TOOLS):
        one = took[name]
        bound = at_most(NO_SLOWER_THAN[bench.kind]) if name == OURS else told()
        times = rounds * (OFTEN if name == OURS else 1)
        beside = f"{one.wall_s:.1f} s by {floor.wall_s:.1f} s, the least of {times}"
        yield Row(f"{counted}: {name}, on the clock, by the floor", one.wall_s / floor.wall_s, bound, beside)
        beside = f"{one.cpu_s:.1f} s by {floor.cpu_s:.1f} s"
        yield Row(f"the same: {name}, processor time", one.cpu_s / floor.cpu_s, told(), beside)
    for name in (OURS, *TOOLS):
        yield from _judged(bench, name)


def _judged(bench: Bench, name: str) -> Iterator[Row]:
    """Yield whether one way made what was asked for."""
    wanted = bench.wanted(name)
    wrong = wrong_pictures(wanted)
    what = f"{bench.kind}: {name}, pictures that are missing or of another size or format"
    yield Row(what, len(wrong), exactly(0), ", ".join(wrong[:3]))
    differences = {} if wrong else colour_differences(wanted)
    worst = max(differences, key=lambda each: differences[each], default="")
    what = f"{bench.kind}: {name}, mean difference from the reference, seen eight times smaller"
    beside = f"{worst}, the worst of {len(differences)}"
    yield Row(what, differences.get(worst, np.nan), at_most(CLOSE if name == OURS else CLOSE_OTHERS, "ΔE00"), beside)


class _Ours:
    """Our export, each time into an empty folder; the last one stays, to be judged."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._times = 0

    def __call__(self) -> Spent:
        out = self._bench.folder / f"ours-{self._times}"
        taken = spent(export_command(self._bench.shoot.job, out))
        self._times += 1
        kept = self._bench.folder / OURS
        if kept.is_symlink():
            kept.unlink()
        kept.symlink_to(out, target_is_directory=True)
        return taken


def _straight(bench: Bench, tool: str) -> Spent:
    """Take one tool's script, each process with its share of the frames."""
    wanted = bench.wanted(tool)
    for each in wanted.values():
        for one in each:
            one.out.parent.mkdir(parents=True, exist_ok=True)
    frames = list(wanted.items())
    lists = [
        job_file(bench.folder / f"{tool}-{share}.json", dict(frames[share::PROCESSES])) for share in range(PROCESSES)
    ]
    return spent(*([*command(tool), str(each)] for each in lists))


def _floor(bench: Bench) -> Spent:
    """Take the codecs alone, over the pixels that the files of our export show; it has been taken before."""
    listed = bench.folder / "floor.json"
    if not listed.exists():
        listed.write_text(json.dumps(_ready(bench)), encoding="utf-8")
    script = str(Path(__file__).with_name("floor.py"))
    shares = range(PROCESSES)
    return spent(*([sys.executable, script, str(listed), str(share), str(PROCESSES)] for share in shares))


def _ready(bench: Bench) -> list[dict[str, object]]:
    """Lay finished pixels ready in files; return the list that the floor's script reads."""
    entries: list[dict[str, object]] = []
    for file, wanted in bench.wanted(OURS).items():
        pictures = []
        for one in wanted:
            pixels = bench.folder / "ready" / f"{one.out.name}.npy"
            pixels.parent.mkdir(exist_ok=True)
            with Image.open(one.out) as opened:
                np.save(pixels, np.asarray(opened.convert("RGB")))
            pictures.append({"ready": str(pixels), "format": ENDINGS[one.out.suffix], "quality": one.quality})
        entries.append({"file": str(file), "pictures": pictures})
    return entries
