"""A frame's work where frames or output folder lie in storage: the worker brings and sends them itself."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.deliver.done import FrameDone
from pipeline.deliver.work import work_on_frame
from pipeline.deliver.workers import at_work
from pipeline.faults import Fault, RequestRefused
from pipeline.job.kept_names import SET_ASIDE
from pipeline.job.url import parted, place_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.deliver.storage.store import Store
    from pipeline.deliver.tasks import FrameTask, RenditionTask
    from pipeline.frames.header import Header


@dataclass(frozen=True, slots=True)
class Away:
    """What of an export lies in storage: the address of each copy (absolute) that a frame is read from, and of `out`.

    `set_aside` are the names that were set aside there before; they stay taken.
    """

    origins: Mapping[str, str] = field(default_factory=dict)
    out: str | None = None
    set_aside: tuple[str, ...] = ()


def work_away(task: FrameTask, away: Away) -> FrameDone:
    """Make every file of one frame, and send it where it belongs. What storage refuses is in what came of it."""
    try:
        task = _with_frames_brought(task, away.origins)
        return at_work(task) if away.out is None else _sent(task, away)
    except RequestRefused as refused:
        faults = refused.faults
    except OSError as error:
        found = f"it could not be fetched or sent by a worker ({error.strerror or error})"
        faults = (Fault(task.file, found, "run export again"),)
    return FrameDone(task.file, (), faults, (), 0, 0)


def _with_frames_brought(task: FrameTask, origins: Mapping[str, str]) -> FrameTask:
    renditions = tuple(_with_beside_brought(one, origins) for one in task.renditions)
    return replace(task, header=_brought(task.header, origins), renditions=renditions)


def _with_beside_brought(one: RenditionTask, origins: Mapping[str, str]) -> RenditionTask:
    beside = one.rendition.beside
    if beside is None:
        return one
    beside = replace(beside, header=_brought(beside.header, origins))
    return replace(one, rendition=replace(one.rendition, beside=beside))


def _brought(header: Header, origins: Mapping[str, str]) -> Header:
    from pipeline.deliver.storage.sources import bring_from  # noqa: PLC0415 (of an extra)

    url = origins.get(str(header.path))
    if url is None:
        return header
    folder, name = parted(url)
    bring_from(folder, [name])
    return replace(header, path=place_of(Path(), url))


def _sent(task: FrameTask, away: Away) -> FrameDone:
    """Work in a folder of this task alone, beside what stands in its places in storage; send what is new there."""
    from pipeline.deliver.storage.store import open_store  # noqa: PLC0415 (of an extra)

    store = open_store(away.out or "")
    with tempfile.TemporaryDirectory(prefix="plateline-") as name:
        out = Path(name)
        _laid_out(store, task, out, away.set_aside)
        done = work_on_frame(replace(task, out=out))
        moved = {path.relative_to(out).as_posix() for path in (out / SET_ASIDE).rglob("*") if path.is_file()}
        for place in (*sorted(moved - set(away.set_aside)), *(made.path for made in done.made)):
            store.put(out / place, place)
    return done


def _laid_out(store: Store, task: FrameTask, out: Path, taken: tuple[str, ...]) -> None:
    """Bring what the task writes over, and take the names that are taken."""
    for file in (file for one in task.renditions for file in one.files):
        if store.version(file.output.path):
            store.get(file.output.path, out / file.output.path)
    for place in taken:
        (out / place).parent.mkdir(parents=True, exist_ok=True)
        (out / place).touch()
