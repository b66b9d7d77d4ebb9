"""What has to be done: the plan compared with the ledger and the files on disk."""

from __future__ import annotations

import functools
from dataclasses import dataclass, field, replace
from importlib.util import find_spec
from typing import TYPE_CHECKING, Literal

from pipeline.deliver.cost import decoding_cost, encoding_cost
from pipeline.ledger.book import file_digest
from pipeline.ledger.keys import Known, key
from pipeline.plan.files import identity, made_from

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from pipeline.frames.header import Header
    from pipeline.ledger.book import ContentStamp
    from pipeline.ledger.made import Made
    from pipeline.plan.facts import Policy
    from pipeline.plan.rendition import Output, Plan, PlannedFrame, Rendition

# Raise the first when our own steps change pixels, the second when our own writers change metadata.
PIXEL_VERSION, METADATA_VERSION = 5, 3
PIXEL_PACKAGES = ("pyvips-binary", "pillow", "rawpy")

_PIXEL_KEYS = Known()

Work = Literal["keep", "metadata", "pixels"]


@dataclass(frozen=True, slots=True)
class FileTask:
    """One file to be made or rewritten. `work` "metadata" leaves the picture data as it is.

    `known_sha256` is the digest of what we wrote at this place before, None where we never did. `policy` is what its
    metadata states. `known` is what the ledger says of the file at this place.
    """

    output: Output
    identity: str
    pixel_key: str
    metadata_key: str
    work: Work
    outside_gamut: float | None
    average: str | None
    known_sha256: str | None = None
    policy: Policy = "public"
    known: Made | None = None


@dataclass(frozen=True, slots=True)
class RenditionTask:
    """The files of one rendition that need work."""

    rendition: Rendition
    files: tuple[FileTask, ...]


@dataclass(frozen=True, slots=True)
class FrameTask:
    """One frame's share of the work: what a worker is handed. `file` is the frame's name as the job writes it.

    `stamps` are those of the frame's file, and of others that it needs, when their content was digested.
    """

    header: Header
    file: str
    out: Path
    renditions: tuple[RenditionTask, ...]
    stamps: Mapping[Path, ContentStamp] = field(default_factory=dict)

    @property
    def headers(self) -> dict[Path, Header]:
        """Return the headers of all frames that it decodes, by the place of the file."""
        seconds = (one.rendition.beside.header for one in self.renditions if one.rendition.beside)
        return {header.path: header for header in (self.header, *seconds)}

    @property
    def renders(self) -> bool:
        """Return whether any file of it needs pixels."""
        return any(file.work == "pixels" for one in self.renditions for file in one.files)

    @property
    def weight(self) -> int:
        """Return roughly how long it takes: decoded once, then each file of it made; little where none needs pixels."""
        made = sum(encoding_cost(one.rendition, one.files) for one in self.renditions)
        return decoding_cost(self.header) + made if made else 1


def engine_versions() -> tuple[str, ...]:
    """Return the versions of everything that decides pixels."""
    return (f"steps {PIXEL_VERSION}", *_package_versions(), *_compiled())


@functools.cache
def _package_versions() -> tuple[str, ...]:
    """Return name and version of each package that decides pixels; finding them takes a millisecond each."""
    from importlib.metadata import PackageNotFoundError, version  # noqa: PLC0415 (slow, and not for every way)

    found = []
    for package in PIXEL_PACKAGES:
        try:
            found.append(f"{package} {version(package)}")
        except PackageNotFoundError:
            found.append(f"{package} of the system")
    return tuple(found)


@functools.cache
def _compiled() -> tuple[str, ...]:
    """Return what tells pictures of the compiled sweep from those made step by step: some codes differ by one."""
    return ("compiled",) if find_spec("pipeline.render.picturework") else ()


def file_tasks(
    frame: PlannedFrame,
    rendition: Rendition,
    contents: Mapping[str, str],
    made: Mapping[str, Made],
    out: Path,
    *,
    previews_only: bool = False,
) -> RenditionTask:
    """Return what each file of a rendition needs, its JPEGs for the contact sheet included.

    `contents` are the digests of the frames' files by slug, this frame's and that of a second one among them.
    """
    engine = engine_versions()
    outputs: Iterable[Output] = (*rendition.outputs, *rendition.sheet_outputs)
    if previews_only:
        outputs = (one for one in rendition.sheet_outputs if one is not rendition.full)
    files = [_file_task(frame, rendition, output, contents, made, out, engine) for output in outputs]
    return RenditionTask(rendition, tuple(files))


def sheet_policy(policy: Policy) -> Policy:
    """Return what a picture on a contact sheet states: it is looked at by more people than a final is given to."""
    return "public" if policy == "full" else policy


def _file_task(
    frame: PlannedFrame,
    rendition: Rendition,
    output: Output,
    contents: Mapping[str, str],
    made: Mapping[str, Made],
    out: Path,
    engine: tuple[str, ...],
) -> FileTask:
    preview = output in rendition.sheet_outputs
    policy = sheet_policy(rendition.policy) if preview else rendition.policy
    name = f"{'preview of ' if preview else ''}{rendition.outlet}/{rendition.target}"
    source = made_from(frame, rendition)
    header = frame.header
    pixel_key = pixel_key_of(frame, rendition, output, contents, engine)
    known = made.get(output.path)
    task = FileTask(
        output=output,
        identity=identity(f"{source} | {rendition.frame}" if preview else source, name, output.size, output.format),
        pixel_key=pixel_key,
        metadata_key=metadata_key(header, rendition, policy, output),
        work="pixels",
        outside_gamut=known.outside_gamut if known else None,
        average=known.average if known else None,
        known_sha256=known.sha256 if known else None,
        policy=policy,
        known=known,
    )
    if known is None or known.pixel_key != pixel_key or not untouched(out / output.path, known):
        return task
    work: Work = "keep" if known.metadata_key == task.metadata_key and known.identity == task.identity else "metadata"
    return replace(task, work=work)


def metadata_key(header: Header, rendition: Rendition, policy: Policy, output: Output) -> str:
    """Return the digest over everything that decides the metadata of a file."""
    camera = header.camera if policy == "full" and rendition.beside is None else None
    return key(rendition.facts, policy, camera, output.ppi, METADATA_VERSION)


def reworded_task(header: Header, rendition: Rendition, output: Output, known: Made) -> FileTask:
    """Return what is to be done where nothing but the facts of a rendition is new since a file of it was made."""
    policy = sheet_policy(rendition.policy) if output in rendition.sheet_outputs else rendition.policy
    return FileTask(
        output=output,
        identity=known.identity,
        pixel_key=known.pixel_key,
        metadata_key=metadata_key(header, rendition, policy, output),
        work="metadata",
        outside_gamut=known.outside_gamut,
        average=known.average,
        known_sha256=known.sha256,
        policy=policy,
        known=known,
    )


def pixel_key_of(
    frame: PlannedFrame, rendition: Rendition, output: Output, contents: Mapping[str, str], engine: tuple[str, ...]
) -> str:
    """Return the digest over everything that decides the pixels of a file; asked for three times in a run."""
    preview = output in rendition.sheet_outputs
    crop, settings, two = rendition.crop, rendition.settings, rendition.beside
    sources = (contents[frame.slug], contents[two.frame] if two else None)

    def work() -> str:
        cut: list[object] = [sources[0], crop.turn_deg, crop.box, frame.header.orientation]
        if two:
            cut += [sources[1], two.crop.turn_deg, two.crop.box, two.header.orientation]
            cut += [two.layout, two.gap_px, two.whole]
        return key(cut, output.size, output.format, settings, preview, engine)

    names = (*sources, *engine, frame.header.orientation, preview)
    return _PIXEL_KEYS.text(names, (crop, output, settings, two), work)


def can_be_read(frame: PlannedFrame, rendition: Rendition, contents: Mapping[str, str]) -> bool:
    """Return whether every frame that a rendition is made from could be read."""
    return frame.slug in contents and (rendition.beside is None or rendition.beside.frame in contents)


def made_as_planned(plan: Plan, contents: Mapping[str, str], made: Mapping[str, Made]) -> dict[str, Made]:
    """Return the files of a plan that were made with the very pixels that it asks for, by path.

    `contents` are the digests of the frames' files by slug.
    """
    engine = engine_versions()
    found: dict[str, Made] = {}
    for frame in plan.frames:
        for rendition in (frame.whole, *frame.renditions):
            if not can_be_read(frame, rendition, contents):
                continue
            for output in (*rendition.outputs, *rendition.sheet_outputs):
                row = made.get(output.path)
                if row and row.pixel_key == pixel_key_of(frame, rendition, output, contents, engine):
                    found[output.path] = row
    return found


def untouched(path: Path, known: Made) -> bool:
    """Return whether a file is still the one that was made: by size and time, else by digest."""
    try:
        facts = path.stat()
        if facts.st_size != known.size_bytes:
            return False
        return facts.st_mtime_ns == known.mtime_ns or file_digest(path) == known.sha256
    except OSError:
        return False
