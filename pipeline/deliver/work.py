"""One frame's work, done in a worker: decode once, make every file of it, say what came of each."""

from __future__ import annotations

import contextlib
import hashlib
import threading
from collections import Counter
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING

from pipeline.deliver.cores import CORES
from pipeline.deliver.cost import encoding_cost
from pipeline.deliver.done import FrameDone
from pipeline.deliver.memory import MOST_PIXELS
from pipeline.deliver.unchanged import see_unchanged
from pipeline.deliver.verify.readers import picture_digest
from pipeline.deliver.write import inside, set_aside, write_whole
from pipeline.faults import Fault, FrameUnreadable
from pipeline.ledger.made import Made

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from pipeline.deliver.tasks import FileTask, FrameTask, RenditionTask, Work
    from pipeline.frames.header import Header
    from pipeline.light.box import Size
    from pipeline.plan.facts import PictureFacts, Policy
    from pipeline.plan.rendition import Beside, OutputFormat, PixelSettings, Rendition
    from pipeline.render.picture import Picture, Spec
    from pipeline.render.source import Source

    # Sends a file to the disk; what comes back waits for it, and returns its time or raises OSError.
    Write = Callable[[Path, bytes], Callable[[], int]]
    _Alike = tuple[int, OutputFormat, tuple[tuple[OutputFormat, int], ...], PictureFacts, Policy, bool, float]


@dataclass(frozen=True, slots=True)
class _Whole:
    """A whole file: its bytes, its quality and what was measured of it, the digest of its picture, and its pixels."""

    data: bytes
    quality: int | None
    fidelity: float | None
    digest: str
    picture: Picture | None


@dataclass(slots=True)
class _Came:
    """What has come of a frame so far.

    `previews` are the files of the contact sheet by what they are made of. `under_way` are files on their way to the
    disk: each with its row but for the time, and what waits for it. `write` sends one there.
    """

    write: Write
    under_way: list[tuple[FileTask, Made, Callable[[], int]]] = field(default_factory=list)
    made: list[Made] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    counts: Counter[Work] = field(default_factory=Counter)
    previews: dict[_Alike, _Whole] = field(default_factory=dict)

    def part(self) -> _Came:
        """Return what will have come of some of its files, which may be made beside others."""
        return _Came(self.write, previews=self.previews)

    def add(self, part: _Came) -> None:
        """Note what came of some of its files."""
        self.under_way += part.under_way
        self.faults += part.faults
        self.notes += part.notes


class _NotMade(Exception):  # noqa: N818 (it is what happened)
    """A file that cannot be made as it is asked for."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault


def work_on_frame(task: FrameTask) -> FrameDone:
    """Make or rewrite every file of one frame. A file that fails is reported, the others are still made."""
    task = replace(task, renditions=tuple(_with_room(task, one) for one in task.renditions))
    wanted = [one for one in task.renditions if any(file.work == "pixels" for file in one.files)]
    with contextlib.ExitStack() as stack:
        came = _Came(stack.enter_context(_writing_beside()) if wanted else _at_once)
        _work_on(task, wanted, came)
        _settle(came)
    counts = came.counts
    return FrameDone(
        task.file, tuple(came.made), tuple(came.faults), tuple(came.notes), counts["pixels"], counts["metadata"]
    )


@contextlib.contextmanager
def _writing_beside() -> Iterator[Write]:
    """Yield what writes files while others are made: a disk takes as long to have one for sure as an encoder."""
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415 (only runs that make pixels load it)

    with ThreadPoolExecutor(max_workers=1) as hand:
        yield lambda path, data: hand.submit(_put, path, data).result


def _at_once(path: Path, data: bytes) -> Callable[[], int]:
    time = _put(path, data)
    return lambda: time


def _put(path: Path, data: bytes) -> int:
    """Write a whole file; return when it was written, by its own stamp. Raises OSError."""
    write_whole(path, data)
    return path.stat().st_mtime_ns


def _settle(came: _Came) -> None:
    """Wait until every file is on the disk, and note the rows of those that are."""
    for file, row, written in came.under_way:
        try:
            came.made.append(replace(row, mtime_ns=written()))
        except OSError as error:
            came.faults.append(_unwritten(file, error))
        else:
            came.counts[file.work] += 1


def _unwritten(file: FileTask, error: OSError) -> Fault:
    found = f"it could not be written ({error.strerror or error})"
    return Fault(file.output.path, found, "free some space or mend the folder")


def _work_on(task: FrameTask, wanted: Sequence[RenditionTask], came: _Came) -> None:
    for one in task.renditions:
        for file in one.files:
            if file.work == "metadata":
                _attempt(task, one.rendition, file, None, came)
    if wanted:
        import pyvips  # noqa: PLC0415 (loads the image library; not every run needs it)

        from pipeline.frames.pixels import decode  # noqa: PLC0415 (as above)
        from pipeline.render.source import source_of  # noqa: PLC0415 (as above)

        # One codec thread: frames side by side use the cores better than codecs inside them, and an AVIF
        # encoder that may use more cuts the picture into other tiles, so its bytes would depend on the machine.
        pyvips.concurrency_set(1)
        try:
            pixels = decode(task.header, name=task.file)
            see_unchanged(task.header.path, task.file, task.stamps)
        except FrameUnreadable as error:
            came.faults.append(error.fault)
        else:
            came.notes.extend(pixels.notes)
            sources = _Sources(task, source_of(pixels))
            del pixels  # the source holds them; a second copy would count in memory
            for batch in _batches(wanted):
                _make(sources, batch, came)
            came.faults.extend(sources.faults)


def _with_room(task: FrameTask, one: RenditionTask) -> RenditionTask:
    """Return the work with new pictures where new words leave another room for them within a limit of bytes."""
    if one.rendition.settings.bytes_max is None:
        return one
    files = (replace(file, work="pixels") if _room_changes(task, one.rendition, file) else file for file in one.files)
    return replace(one, files=tuple(files))


def _room_changes(task: FrameTask, rendition: Rendition, file: FileTask) -> bool:
    from pipeline.render.counted import counted_bytes  # noqa: PLC0415 (loads lxml and piexif)

    if file.work != "metadata" or file.output in rendition.sheet_outputs:
        return False
    try:
        before = inside(task.out, file.output.path).read_bytes()
        after = with_metadata(before, task.header, rendition, file)
        return counted_bytes(before, file.output.format) != counted_bytes(after, file.output.format)
    except (OSError, ValueError):
        return False  # told where it is written


@dataclass(slots=True)
class _Sources:
    """The frame at work, decoded, and what was decoded beside it for pictures of two frames, or could not be."""

    task: FrameTask
    first: Source
    seconds: dict[str, Source | None] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def second(self, beside: Beside) -> Source | None:
        """Return the second frame of a picture of two, None where it cannot be decoded; that is told once."""
        with self.lock:
            if beside.frame not in self.seconds:
                self.seconds[beside.frame] = self._decoded(beside)
            return self.seconds[beside.frame]

    def _decoded(self, beside: Beside) -> Source | None:
        from pipeline.frames.pixels import decode  # noqa: PLC0415 (as in work_on_frame)
        from pipeline.render.source import source_of  # noqa: PLC0415 (as above)

        try:
            pixels = decode(beside.header, name=beside.file)
            see_unchanged(beside.header.path, beside.file, self.task.stamps)
            return source_of(pixels)
        except FrameUnreadable as error:
            self.faults.append(error.fault)
            return None


@dataclass(frozen=True, slots=True)
class _Asked:
    """The finished pixels of a rendition at one size, and the files to be encoded from them."""

    rendition: Rendition
    size: Size
    files: tuple[FileTask, ...]


def _asked(tasks: Iterable[RenditionTask]) -> Iterator[_Asked]:
    for one in tasks:
        by_size: dict[Size, list[FileTask]] = {}
        for file in one.files:
            if file.work == "pixels":
                by_size.setdefault(file.output.size, []).append(file)
        for size, files in by_size.items():
            yield _Asked(one.rendition, size, tuple(files))


def _batches(tasks: Iterable[RenditionTask]) -> Iterator[list[_Asked]]:
    """Yield what is asked for in turn, as much at once as memory should hold."""
    batch: list[_Asked] = []
    for one in _asked(tasks):
        if batch and sum(other.size.pixels for other in (*batch, one)) > MOST_PIXELS:
            yield batch
            batch = []
        batch.append(one)
    if batch:
        yield batch


def _make(sources: _Sources, batch: Sequence[_Asked], came: _Came) -> None:
    """Make what is asked for, by as many threads as there are cores for: what takes longest is begun first.

    What came of it is noted in its own order.
    """
    made = _made_at_once(sources, batch)
    order = sorted(range(len(batch)), key=lambda place: -encoding_cost(batch[place].rendition, batch[place].files))

    def part(place: int) -> tuple[int, _Came]:
        of_one = came.part()
        _make_files(sources, batch[place], made.pop(place, None), of_one)
        return place, of_one

    parts = dict(CORES.each(part, order))
    for place in range(len(batch)):
        came.add(parts[place])


def _make_files(sources: _Sources, asked: _Asked, made: Picture | None, came: _Came) -> None:
    """Make the files of a rendition of one size, from its finished pixels where they are made."""
    import pyvips  # noqa: PLC0415 (as in work_on_frame)

    try:
        picture = made or _made(sources, asked.rendition, asked.size)
    except pyvips.Error as error:
        reason = " ".join(str(error).split())
        came.faults.append(Fault(asked.rendition.name, f"its pixels could not be made ({reason})", "check the frame"))
        return
    if picture:
        for file in asked.files:
            _attempt(sources.task, asked.rendition, file, picture, came)


def _made_at_once(sources: _Sources, batch: Sequence[_Asked]) -> dict[int, Picture]:
    """Return the pictures of a batch that one sweep over the frame gives, by their place in it."""
    from pipeline.render.picture import ends_in_sweep, make_pictures  # noqa: PLC0415 (as in work_on_frame)

    specs = {number: _spec(sources.first, one) for number, one in enumerate(batch) if one.rendition.beside is None}
    swept = {number: spec for number, spec in specs.items() if ends_in_sweep(spec)}
    return dict(zip(swept, make_pictures(sources.first, list(swept.values()), CORES.each), strict=True))


def _spec(source: Source, one: _Asked) -> Spec:
    from pipeline.render.picture import spec_of  # noqa: PLC0415 (as in work_on_frame)

    crop, settings = one.rendition.crop, one.rendition.settings
    return spec_of(source, crop.box, one.size, settings, crop.turn_deg, preview=_is_preview(one))


def _is_preview(one: _Asked) -> bool:
    """Return whether nothing but pictures of the contact sheet are made from these pixels."""
    return all(file.output in one.rendition.sheet_outputs for file in one.files)


def _made(sources: _Sources, rendition: Rendition, size: Size) -> Picture | None:
    """Return the finished pixels of a rendition at one size; None where its second frame cannot be decoded."""
    from pipeline.render.picture import make_picture  # noqa: PLC0415 (as in work_on_frame)
    from pipeline.render.two_up import make_two_up  # noqa: PLC0415 (as above)

    crop, beside, settings = rendition.crop, rendition.beside, rendition.settings
    if beside is None:
        return make_picture(sources.first, crop.box, size, settings, crop.turn_deg)
    second = sources.second(beside)
    return make_two_up(sources.first, second, crop, beside, size, settings) if second else None


def _attempt(task: FrameTask, rendition: Rendition, file: FileTask, picture: Picture | None, came: _Came) -> None:
    """Make one file and send it to the disk, or note the fault."""
    try:
        path = inside(task.out, file.output.path)
        finish = partial(with_metadata, header=task.header, rendition=rendition, file=file)
        whole = _rewritten(path, file, finish) if picture is None else _encoded(picture, rendition, file, finish, came)
        data = whole.data
        if picture is not None and (aside := set_aside(task.out, file.output.path, data, file.known_sha256)):
            came.notes.append(f"{file.output.path} was not as plateline left it; that version is now {aside}")
        written = came.write(path, data)
    except OSError as error:
        came.faults.append(_unwritten(file, error))
        return
    except _NotMade as error:
        came.faults.append(error.fault)
        return
    except ValueError as error:
        came.faults.append(
            Fault(file.output.path, f"its metadata could not be written ({error})", "shorten or mend the words")
        )
        return
    row = Made(
        path=file.output.path,
        identity=file.identity,
        pixel_key=file.pixel_key,
        metadata_key=file.metadata_key,
        sha256=hashlib.sha256(data).hexdigest(),
        size_bytes=len(data),
        mtime_ns=0,  # known when it is written
        outside_gamut=picture.outside_gamut if picture else file.outside_gamut,
        average=picture.average if picture else file.average,
        picture_sha256=whole.digest,
        quality=whole.quality,
        fidelity=whole.fidelity,
        **_ink(picture, file.known),
    )
    came.under_way.append((file, row, written))


def _ink(picture: Picture | None, known: Made | None) -> dict[str, float | None]:
    """Return what was measured of the ink: of this picture, or, where metadata alone is written anew, before."""
    if picture is None:
        names = ("total_ink", "heavy_ink", "ink_over")
        return {name: getattr(known, name) for name in names} if known else {}
    ink = picture.ink
    return {"total_ink": ink.most, "heavy_ink": ink.nearly_most, "ink_over": ink.over} if ink else {}


def _rewritten(path: Path, file: FileTask, finish: Callable[[bytes], bytes]) -> _Whole:
    """Return a file that is there with its metadata written anew. Raises OSError and ValueError."""
    quality, fidelity = (file.known.quality, file.known.fidelity) if file.known else (None, None)
    data = finish(path.read_bytes())
    return _Whole(data, quality, fidelity, picture_digest(data), None)


def _encoded(
    picture: Picture, rendition: Rendition, file: FileTask, finish: Callable[[bytes], bytes], came: _Came
) -> _Whole:
    """Return a whole file, read back by the readers of `verify`: what they cannot read is not delivered.

    Files of the contact sheet that are alike are made once. Raises `_NotMade` and ValueError.
    """
    if file.output not in rendition.sheet_outputs:
        return _made_of(picture, picture, file, rendition.settings, finish)
    alike = (
        id(picture),
        file.output.format,
        rendition.settings.quality,
        rendition.facts,
        file.policy,
        rendition.beside is None,
        file.output.ppi,
    )
    if alike not in came.previews:
        from pipeline.render.picture import on_screen  # noqa: PLC0415 (as in work_on_frame)

        settings = replace(rendition.settings, bytes_max=None, fidelity=None, progressive=False, jpeg_tables="standard")
        shown = on_screen(picture) if _on_sheet(rendition, file) else picture
        came.previews[alike] = _made_of(picture, shown, file, settings, finish)
    return came.previews[alike]


def _made_of(
    picture: Picture, shown: Picture, file: FileTask, settings: PixelSettings, finish: Callable[[bytes], bytes]
) -> _Whole:
    import pyvips  # noqa: PLC0415 (as in work_on_frame)

    from pipeline.render.budget import BudgetTooSmall, encoded  # noqa: PLC0415 (as in work_on_frame)

    try:
        made = encoded(shown, file.output.format, settings, finish)
    except BudgetTooSmall as error:
        shorter = "shorten its words (alt text, caption, keywords, terms), or allow more bytes"
        wanted = shorter if error.by_words else "allow more bytes, or ask for a smaller size"
        raise _NotMade(Fault(file.output.path, str(error), wanted)) from error
    except pyvips.Error as error:
        found = f"it could not be written as {file.output.format} ({' '.join(str(error.detail).split())})"
        raise _NotMade(Fault(file.output.path, found, "ask for another format, or for a smaller size")) from error
    return _Whole(made.data, made.quality, made.fidelity, picture_digest(made.data), picture)


def _on_sheet(rendition: Rendition, file: FileTask) -> bool:
    """Return whether a file is for the contact sheet and its rendition is none that a browser could show as it is."""
    return file.output in rendition.sheet_outputs and not rendition.settings.shows_on_screens


def with_metadata(bare: bytes, header: Header, rendition: Rendition, file: FileTask) -> bytes:
    """Return an encoded file with its metadata written anew; the picture data stays byte for byte."""
    from pipeline.render.containers.embed import Embedded, embed  # noqa: PLC0415 (loads lxml and piexif)
    from pipeline.render.exif import exif_block  # noqa: PLC0415 (as above)
    from pipeline.render.iim import iim_block  # noqa: PLC0415 (as above)
    from pipeline.render.xmp import xmp_packet  # noqa: PLC0415 (as above)

    output = file.output
    srgb = rendition.settings.colour == "srgb" or _on_sheet(rendition, file)
    facts, policy = rendition.facts, file.policy
    camera = header.camera if policy == "full" and rendition.beside is None else None
    exif = exif_block(facts, policy, camera, output.size, output.ppi, srgb=srgb)
    embedded = Embedded(exif, xmp_packet(facts, policy), iim_block(facts, policy), output.ppi)
    return embed(bare, output.format, embedded)
