"""What has to be done: the plan compared with the ledger and the files on disk."""

from __future__ import annotations

from dataclasses import dataclass, replace
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Literal

from pipeline.ledger.book import file_digest
from pipeline.ledger.keys import key
from pipeline.plan.build import identity

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from pipeline.frames.header import Header
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Output, PlannedFrame, Rendition

# Raise the first when our own steps change pixels, the second when our own writers change metadata.
PIXEL_VERSION, METADATA_VERSION = 1, 2
PIXEL_PACKAGES = ("pyvips-binary", "pillow", "rawpy")

Work = Literal["keep", "metadata", "pixels"]


@dataclass(frozen=True, slots=True)
class FileTask:
    """One file to be made or rewritten. `work` "metadata" leaves the picture data as it is.

    `known_sha256` is the digest of what we wrote at this place before, None where we never did.
    """

    output: Output
    identity: str
    pixel_key: str
    metadata_key: str
    work: Work
    outside_gamut: float | None
    average: str | None
    known_sha256: str | None = None


@dataclass(frozen=True, slots=True)
class RenditionTask:
    """The files of one rendition that need work."""

    rendition: Rendition
    files: tuple[FileTask, ...]


@dataclass(frozen=True, slots=True)
class FrameTask:
    """One frame's share of the work: what a worker is handed. `file` is the frame's name as the job writes it."""

    header: Header
    file: str
    out: Path
    renditions: tuple[RenditionTask, ...]

    @property
    def renders(self) -> bool:
        """Return whether any file of it needs pixels."""
        return any(file.work == "pixels" for one in self.renditions for file in one.files)

    @property
    def weight(self) -> int:
        """Return roughly how long it takes, in pixels: decoded once, then each file of it encoded."""
        made = sum(task.output.size.pixels for one in self.renditions for task in one.files if task.work == "pixels")
        return (self.header.size.pixels + 3 * made) if made else 1


def engine_versions() -> tuple[str, ...]:
    """Return the versions of everything that decides pixels."""
    found = [f"steps {PIXEL_VERSION}"]
    for package in PIXEL_PACKAGES:
        try:
            found.append(f"{package} {version(package)}")
        except PackageNotFoundError:
            found.append(f"{package} of the system")
    return tuple(found)


def file_tasks(
    frame: PlannedFrame,
    rendition: Rendition,
    content: str,
    made: Mapping[str, Made],
    out: Path,
    *,
    previews_only: bool = False,
) -> RenditionTask:
    """Return what each file of a rendition needs, its preview for the contact sheet included."""
    engine = engine_versions()
    outputs: Iterable[Output] = () if previews_only else rendition.outputs
    files = [_file_task(frame, rendition, output, content, made, out, engine) for output in outputs]
    if rendition.preview:
        files.append(_file_task(frame, rendition, rendition.preview, content, made, out, engine))
    return RenditionTask(rendition, tuple(files))


def _file_task(
    frame: PlannedFrame,
    rendition: Rendition,
    output: Output,
    content: str,
    made: Mapping[str, Made],
    out: Path,
    engine: tuple[str, ...],
) -> FileTask:
    preview = output is rendition.preview
    name = f"{'preview of ' if preview else ''}{rendition.outlet}/{rendition.target}"
    header = frame.header
    pixel_key = key(
        content, header.orientation, rendition.crop.box, output.size, output.format, rendition.settings, preview, engine
    )
    camera = header.camera if rendition.policy == "full" else None
    metadata_key = key(rendition.facts, rendition.policy, camera, output.ppi, METADATA_VERSION)
    known = made.get(output.path)
    task = FileTask(
        output=output,
        identity=identity(f"{frame.file} | {frame.slug}" if preview else frame.file, name, output.size, output.format),
        pixel_key=pixel_key,
        metadata_key=metadata_key,
        work="pixels",
        outside_gamut=known.outside_gamut if known else None,
        average=known.average if known else None,
        known_sha256=known.sha256 if known else None,
    )
    if known is None or known.pixel_key != pixel_key or not untouched(out / output.path, known):
        return task
    work: Work = "keep" if known.metadata_key == metadata_key and known.identity == task.identity else "metadata"
    return replace(task, work=work)


def untouched(path: Path, known: Made) -> bool:
    """Return whether a file is still the one that was made: by size and time, else by digest."""
    try:
        facts = path.stat()
        if facts.st_size != known.size_bytes:
            return False
        return facts.st_mtime_ns == known.mtime_ns or file_digest(path) == known.sha256
    except OSError:
        return False
