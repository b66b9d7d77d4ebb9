"""How soon each verb answers, as a multiple of `python -c "import pydantic"`: a run whose work is done does no work.

What is measured is not pixels, so the frames are small. Each figure is the least processor time of several runs of
whole processes, child processes included, taken in turn with what it is held against, so that both meet the same
machine; our modules and the packages are compiled before, as an installed program's are.
"""

from __future__ import annotations

import itertools
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import piexif
from PIL import Image

from tests.bench.table import Row
from tests.quality.figure import Bound, at_most, told

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

CHECKOUT = Path(__file__).resolve().parent.parent.parent
TIMES = 7
RATIOS = ("4:5", "1:1", "3:2", "2:3", "16:9")
IMPORT = ("-c", "import pydantic")
WORDS = "The bowl from above, number 7"


def rows(*, frames: int = 120) -> list[Row]:
    """Return the figures of start-up; `frames` is how many the large job has, each for ten targets."""
    with tempfile.TemporaryDirectory(prefix="plateline-start-up-") as name:
        return list(_rows(Path(name), frames))


def _rows(folder: Path, frames: int) -> Iterator[Row]:
    bench = _Bench(folder / "cache")
    bench.seconds(["--help"])
    ten, large = write_shoot(folder / "ten", 10), write_shoot(folder / "large", frames)
    for verb in ("--help", "targets", "schema"):
        yield bench.row(verb, [verb], None, told("x"))
    for shoot, job in (("the sample shoot", CHECKOUT / "sample_shoot" / "job.toml"), ("ten JPEG frames", ten)):
        for verb in ("check", "plan"):
            words = [verb, str(job), "--out", str(folder / "none")]
            yield bench.row(f"{verb}, {shoot}: the first time", words, bench.forget, told("x"), times=3)
            yield bench.row(f"{verb}, {shoot}: from then on", words, None, at_most(2, "x"))
    words = ["export", str(large), "--quiet"]
    bench.seconds(words)
    renditions = f"{frames} frames, {frames * 10} renditions"
    yield bench.row(f"export, {renditions}: nothing changed", words, None, at_most(3, "x"))
    yield bench.row(f"export, {renditions}: nothing changed, nothing remembered", words, bench.forget, told("x"), 2)
    yield bench.row(f"export, {renditions}: one caption changed", words, _captions(large), at_most(6, "x"), 3)


class _Bench:
    """Runs of the command, and of what they are held against."""

    def __init__(self, cache: Path) -> None:
        self._cache = cache
        self._environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), "XDG_CACHE_HOME": str(cache)}
        self._environment.pop("PYTHONDONTWRITEBYTECODE", None)

    def forget(self) -> None:
        """Take away what was kept between runs."""
        for path in (self._cache / "plateline").glob("*"):
            path.unlink()

    def seconds(self, words: Sequence[str]) -> float:
        """Return the processor time of one run of the command."""
        return self._spent([sys.executable, "-m", "pipeline", *words])

    def row(
        self, what: str, words: Sequence[str], before: Callable[[], None] | None, bound: Bound, times: int = TIMES
    ) -> Row:
        """Return the least time of the command over the least of the import, taken in turn."""
        ours, theirs = [], []
        self.seconds(words)
        for _ in range(times):
            if before:
                before()
            ours.append(self.seconds(words))
            theirs.append(self._spent([sys.executable, *IMPORT]))
        beside = f"{min(ours):.3f} s; {min(theirs):.3f} s; least of {times}"
        return Row(what, min(ours) / min(theirs), bound, beside)

    def _spent(self, command: Sequence[str]) -> float:
        before = _children()
        subprocess.run(command, env=self._environment, cwd=CHECKOUT, capture_output=True, check=True)
        return _children() - before


def _children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _captions(job: Path) -> Callable[[], None]:
    """Return what gives one frame of a job another caption each time."""
    text, numbers = job.read_text(encoding="utf-8"), itertools.count(1)

    def change() -> None:
        job.write_text(text.replace(f'{WORDS}"', f'{WORDS}, in words of day {next(numbers)}"'), encoding="utf-8")

    return change


def write_shoot(folder: Path, count: int) -> Path:
    """Write a job of small JPEG frames, each with its own subject and words, for ten targets; return the job file."""
    folder.mkdir(parents=True)
    ramp = Image.linear_gradient("L").resize((600, 400))
    for number in range(count):
        tint = ramp.point([value * (number % 100 + 60) // 160 for value in range(256)])
        exif = {
            "0th": {piexif.ImageIFD.Make: b"Halden Optik", piexif.ImageIFD.Model: b"HO-7"},
            "Exif": {
                piexif.ExifIFD.DateTimeOriginal: b"2026:09:12 10:24:31",
                piexif.ExifIFD.OffsetTimeOriginal: b"+02:00",
                piexif.ExifIFD.ExposureTime: (1, 60 + number),
            },
        }
        picture = Image.merge("RGB", (ramp, tint, ramp.rotate(180)))
        picture.save(folder / f"frame-{number:03}.jpg", quality=90, subsampling=0, exif=piexif.dump(exif))
    job = folder / "job.toml"
    job.write_text("\n".join(_job(count)), encoding="utf-8")
    return job


def _job(count: int) -> Iterator[str]:
    names = ", ".join(f'"blog/small-{number}"' for number in range(10))
    yield 'profiles = ["blog"]\n[shoot]\ntitle = "Soup for a crowd"\ndate = 2026-09-12\nkeywords = ["soup", "tomato"]'
    yield f'targets = [{names}]\n[credit]\ncreator = "Ines Falkenrath"\ncopyright = "© 2026 Ines Falkenrath"'
    yield 'licence_url = "https://larder-and-light.example/licence"'
    for number in range(10):
        yield f'[targets."blog/small-{number}"]\nabout = "Small picture {number}"\nratio = "{RATIOS[number % 5]}"'
        yield f'widths = [{100 + 10 * number}]\nformats = ["jpeg"]\ntoo_small = "shrink"\nkeep_miss = "caution"'
        yield 'metadata = "public"\nsharpen = { medium = "screen" }'
    for number in range(count):
        yield f'[[frames]]\nfile = "frame-{number:03}.jpg"\nsubject = [{0.3 + number % 40 / 100:.2f}, 0.5]'
        yield f'alt = "A bowl of red soup, number {number}"\ncaption = "{WORDS[:-1]}{number}"'
