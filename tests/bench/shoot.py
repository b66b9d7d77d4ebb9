"""The bench's shoot: frames of 24 megapixels, made once and kept in a temporary folder, and its job beside them.

`tests/bench/job.toml` names twelve JPEG frames, `job-tiff.toml` three TIFF frames of 16 bits; `outlets/bench.toml` says
what is made of each.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
import tomllib
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, cast

from pipeline.deliver.survey import survey
from tests.bench.frames import CAMERA, PHOTOGRAPHS, frame_light, write_frame
from tests.bench.straight import Wanted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.light.box import Size
    from tests.bench.frames import Kind, Tag

HERE = Path(__file__).parent
JOB, TIFF_JOB, OUTLETS = HERE / "job.toml", HERE / "job-tiff.toml", HERE / "outlets"
PROCESSES = 2
ENTRY = re.compile(r"(?=^\[\[frames\]\]$)", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Shoot:
    """A job laid out in a folder of its own, its frames beside it."""

    job: Path

    def wanted(self, out: Path) -> dict[Path, tuple[Wanted, ...]]:
        """Return what the job asks for, as the straight scripts read it: each file in its place below `out`."""
        made: dict[Path, tuple[Wanted, ...]] = {}
        for frame in survey(self.job).plan({}).frames:
            made[frame.path] = tuple(
                Wanted(
                    one.crop.box, output.size, out / output.path, dict(one.settings.quality)[output.format], alike=True
                )
                for one in frame.renditions
                for output in one.outputs
            )
        return made


def frames_folder(size: Size = CAMERA) -> Path:
    """Return where frames of a size are kept from one run to the next."""
    return Path(tempfile.gettempdir()) / f"plateline-bench-{os.getuid()}" / f"{size.width}x{size.height}"


def make_frames(files: tuple[str, ...], size: Size = CAMERA) -> Path:
    """Make the frames that are not there yet, two photographs at a time; return their folder."""
    folder = frames_folder(size)
    folder.mkdir(parents=True, exist_ok=True)
    missing: dict[str, list[str]] = {}
    for file in files:
        if not (folder / file).exists():
            missing.setdefault(_photograph(file), []).append(file)
    if missing:
        with ProcessPoolExecutor(PROCESSES, mp_context=get_context("spawn")) as workers:
            list(workers.map(_make, missing, missing.values(), [folder] * len(missing), [size] * len(missing)))
    return folder


def _make(photograph: str, files: list[str], folder: Path, size: Size) -> None:
    light = frame_light(photograph, size)
    for file in files:
        kind: Kind = "jpeg" if file.endswith(".jpg") else "tiff"
        unfinished = folder / f"{os.getpid()}-{file}"
        write_frame(unfinished, light, kind, cast("Tag", Path(file).stem.removeprefix(f"{photograph}-")))
        unfinished.rename(folder / file)


def _photograph(file: str) -> str:
    return next(name for name in PHOTOGRAPHS if file.startswith(f"{name}-"))


def lay_out(
    job: Path, folder: Path, frames: int | None = None, size: Size = CAMERA, targets: Sequence[str] = ()
) -> Shoot:
    """Put a job of the bench, its outlet and its frames into a folder.

    `frames` is how many there are to be, repeated under other names; `targets` are those of the outlet that each frame
    gets, all where none is given. Frames are hard links where the folder lies on the same file system, else copies.
    """
    text, links = repeated(job.read_text(encoding="utf-8"), frames)
    if targets:
        text = text.replace('["bench/*"]', json.dumps([f"bench/{target}" for target in targets]))
    kept = make_frames(tuple(dict.fromkeys(links.values())), size)
    folder.mkdir(parents=True)
    shutil.copytree(OUTLETS, folder / OUTLETS.name)
    for name, file in links.items():
        _link(kept / file, folder / name)
    laid_out = folder / "job.toml"
    laid_out.write_text(text, encoding="utf-8")
    return Shoot(laid_out)


def repeated(text: str, frames: int | None) -> tuple[str, Mapping[str, str]]:
    """Return a job with its frames taken in turn until there are so many, and the file that each name stands for.

    Without a number it stays as it is.
    """
    head, *entries = ENTRY.split(text)
    files = [tomllib.loads(entry)["frames"][0]["file"] for entry in entries]
    if frames is None:
        return text, dict(zip(files, files, strict=True))
    made, links = [head], {}
    for number in range(frames):
        at, turn = number % len(entries), number // len(entries)
        prefix = f"{turn + 1:03d}-"
        links[prefix + files[at]] = files[at]
        made.append(re.sub(r'^(file|slug) = "', rf"\g<0>{prefix}", entries[at], flags=re.MULTILINE))
    return "".join(made), links


def _link(file: Path, to: Path) -> None:
    try:
        to.hardlink_to(file)
    except OSError:
        shutil.copy(file, to)
