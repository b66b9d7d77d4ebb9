"""One frame's work, done in a worker: decode once, make every file of it, say what came of each."""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pipeline.deliver.verify.readers import picture_digest
from pipeline.deliver.write import inside, set_aside, write_whole
from pipeline.faults import Fault, FrameUnreadable
from pipeline.ledger.made import Made

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.deliver.tasks import FileTask, FrameTask, RenditionTask, Work
    from pipeline.frames.header import Header
    from pipeline.frames.pixels import Pixels
    from pipeline.light.box import Size
    from pipeline.plan.rendition import OutputFormat, Rendition
    from pipeline.render.picture import Picture


@dataclass(frozen=True, slots=True)
class FrameDone:
    """What came of one frame: the files made, what failed on the way, what the decoder noted."""

    file: str
    made: tuple[Made, ...]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]
    rendered: int
    rewritten: int


@dataclass(slots=True)
class _Came:
    """What has come of a frame so far."""

    made: list[Made] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    counts: Counter[Work] = field(default_factory=Counter)


def work_on_frame(task: FrameTask) -> FrameDone:
    """Make or rewrite every file of one frame. A file that fails is reported, the others are still made."""
    came = _Came()
    for one in task.renditions:
        for file in one.files:
            if file.work == "metadata":
                _attempt(task, one.rendition, file, None, came)
    wanted = [one for one in task.renditions if any(file.work == "pixels" for file in one.files)]
    if wanted:
        import pyvips  # noqa: PLC0415 (loads the image library; not every run needs it)

        from pipeline.frames.pixels import decode  # noqa: PLC0415 (as above)

        # One codec thread: frames side by side use the cores better than codecs inside them, and an AVIF
        # encoder that may use more cuts the picture into other tiles, so its bytes would depend on the machine.
        pyvips.concurrency_set(1)
        try:
            pixels = decode(task.header, name=task.file)
        except FrameUnreadable as error:
            came.faults.append(error.fault)
        else:
            came.notes.extend(pixels.notes)
            for one in wanted:
                for picture, files in _pictures(pixels, one, came.faults):
                    for file in files:
                        _attempt(task, one.rendition, file, picture, came)
    counts = came.counts
    return FrameDone(
        task.file, tuple(came.made), tuple(came.faults), tuple(came.notes), counts["pixels"], counts["metadata"]
    )


def _pictures(pixels: Pixels, one: RenditionTask, faults: list[Fault]) -> Iterator[tuple[Picture, list[FileTask]]]:
    """Yield the finished pixels of each size once, with the files to be encoded from them."""
    import pyvips  # noqa: PLC0415 (as in work_on_frame)

    from pipeline.render.picture import make_picture  # noqa: PLC0415 (as above)

    by_size: dict[Size, list[FileTask]] = {}
    for file in one.files:
        if file.work == "pixels":
            by_size.setdefault(file.output.size, []).append(file)
    for size, files in by_size.items():
        try:
            picture = make_picture(pixels, one.rendition.crop.box, size, one.rendition.settings)
        except pyvips.Error as error:
            reason = " ".join(str(error).split())
            faults.append(Fault(one.rendition.name, f"its pixels could not be made ({reason})", "check the frame"))
            continue
        yield picture, files


def _attempt(task: FrameTask, rendition: Rendition, file: FileTask, picture: Picture | None, came: _Came) -> None:
    """Write one file, and note either the row for the ledger or the fault."""
    try:
        path = inside(task.out, file.output.path)
        bare = path.read_bytes() if picture is None else _encoded(picture, rendition, file.output.format)
        data = with_metadata(bare, task.header, rendition, file)
        digest = picture_digest(data)  # by the readers of `verify`: what they cannot read back is not delivered
        if picture is not None and (aside := set_aside(task.out, file.output.path, data, file.known_sha256)):
            came.notes.append(f"{file.output.path} was not as plateline left it; that version is now {aside}")
        write_whole(path, data)
        stamp = path.stat()
    except OSError as error:
        reason = error.strerror or str(error)
        came.faults.append(
            Fault(file.output.path, f"it could not be written ({reason})", "free some space or mend the folder")
        )
        return
    except ValueError as error:
        came.faults.append(
            Fault(file.output.path, f"its metadata could not be written ({error})", "shorten or mend the words")
        )
        return
    came.counts[file.work] += 1
    came.made.append(
        Made(
            path=file.output.path,
            identity=file.identity,
            pixel_key=file.pixel_key,
            metadata_key=file.metadata_key,
            sha256=hashlib.sha256(data).hexdigest(),
            size_bytes=len(data),
            mtime_ns=stamp.st_mtime_ns,
            outside_gamut=picture.outside_gamut if picture else file.outside_gamut,
            average=picture.average if picture else file.average,
            picture_sha256=digest,
        )
    )


def _encoded(picture: Picture, rendition: Rendition, output_format: OutputFormat) -> bytes:
    from pipeline.render.encode import encode  # noqa: PLC0415 (as in work_on_frame)

    return encode(picture, output_format, dict(rendition.settings.quality).get(output_format, 100))


def with_metadata(bare: bytes, header: Header, rendition: Rendition, file: FileTask) -> bytes:
    """Return an encoded file with its metadata written anew; the picture data stays byte for byte."""
    from pipeline.render.containers.embed import Embedded, embed  # noqa: PLC0415 (loads lxml and piexif)
    from pipeline.render.exif import exif_block  # noqa: PLC0415 (as above)
    from pipeline.render.iim import iim_block  # noqa: PLC0415 (as above)
    from pipeline.render.xmp import xmp_packet  # noqa: PLC0415 (as above)

    output = file.output
    srgb = rendition.settings.colour == "srgb"
    camera = header.camera if rendition.policy == "full" else None
    facts, policy = rendition.facts, rendition.policy
    exif = exif_block(facts, policy, camera, output.size, output.ppi, srgb=srgb)
    embedded = Embedded(exif, xmp_packet(facts, policy), iim_block(facts, policy), output.ppi)
    return embed(bare, output.format, embedded)
