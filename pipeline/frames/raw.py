"""Camera raw: its header, and its development into 16-bit ROMM RGB, through LibRaw.

Tones: y = x. Light is reproduced in proportion, from the black level at 0 to the white level at 1, then encoded by the
ROMM curve: no automatic brightening, no added contrast, so that what was twice as bright is twice as bright and all
frames of a shoot are developed alike. Colour: the camera's own values are divided by its as-shot neutral, scaled so
that the smallest gain is 1; a colour that is full on the sensor is then at white or above, where all are cut off alike,
and so a blown window turns white, not pink. The camera's matrix, its rows taken for a white of 1, leads to ROMM RGB.
LibRaw also turns the frame upright.

A raw is never opened as its thumbnail: the developed size must be the size that the header gave. LibRaw can report
success on a file that was cut short, so the file's own structure is asked first.
"""

from __future__ import annotations

import io
import struct
from typing import TYPE_CHECKING, BinaryIO

from pipeline.frames import boxes, camera_facts, refusal
from pipeline.frames.complete import RAF_PLACES, RAF_START, is_cut_short, states_its_length
from pipeline.frames.header import CameraFacts, Header
from pipeline.frames.tiff import open_tiff
from pipeline.light.box import Size

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    import pyvips
    import rawpy
    from numpy.typing import NDArray

PREVIEW_HEAD_BYTES = 1 << 17
# Where CR3 keeps its directories, each a TIFF structure of its own (from memory).
CR3_UUID = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
CR3_DIRECTORIES = (b"CMT1", b"CMT2", b"CMT4")
TURNED = 4  # this bit of LibRaw's flip means that rows become columns

UNKNOWN_KIND = "is a camera raw of a kind that cannot be developed here"
EXPORT_TIFF = "export it as 16-bit TIFF from the camera maker's program"


def raw_header(path: Path, *, name: str, pixel_limit: int) -> Header:
    """Return the header of a raw as it will be developed: upright, three bands, 16 bits, ROMM RGB.

    Raises FrameUnreadable, also for a size above `pixel_limit`, before any sensor data are unpacked.
    """
    with _open(path, name) as raw:
        size = _upright(raw.sizes)
        stored = Size(raw.sizes.raw_width, raw.sizes.raw_height)
    for claimed in (size, stored):
        if claimed.pixels > pixel_limit:
            raise refusal.too_many_pixels(name, claimed.width, claimed.height, pixel_limit)
    from pipeline.light.icc import write_matrix_profile  # noqa: PLC0415 (heavy; only raws load it)
    from pipeline.light.spaces import ROMM  # noqa: PLC0415 (as above)

    with path.open("rb") as stream:
        facts = raw_facts(stream)
    return Header(
        path=path,
        format="raw",
        size=size,
        orientation=1,
        bands=3,
        bits=16,
        alpha=False,
        icc_profile=write_matrix_profile(ROMM),
        camera=facts,
    )


def develop(header: Header, *, name: str) -> tuple[pyvips.Image, tuple[str, ...]]:
    """Return the developed frame in memory, ushort (0..65535) with three bands in encoded ROMM RGB, and notes.

    LibRaw gives linear light, the white level at 65535; the ROMM curve is applied here, because LibRaw's own
    `gamma` joins toe and power smoothly and so is not the curve of ISO 22028-2.
    Raises FrameUnreadable where the file is cut short, cannot be developed or has changed since.
    """
    import pyvips  # noqa: PLC0415 (heavy)
    import rawpy  # noqa: PLC0415 (heavy)

    with header.path.open("rb") as stream:
        if is_cut_short(stream, "raw"):
            raise refusal.unreadable(name, refusal.CUT_SHORT)
        tail_must_tell = not states_its_length(stream)
    with _open(header.path, name) as raw:
        if _upright(raw.sizes) != header.size:
            raise refusal.unreadable(name, "has changed since its header was read", "run again")
        try:
            raw.unpack()
            if tail_must_tell and _has_empty_tail(raw):
                raise refusal.unreadable(name, refusal.CUT_SHORT)
            linear = raw.postprocess(
                rawpy.Params(
                    use_camera_wb=True,
                    no_auto_bright=True,
                    adjust_maximum_thr=0.75 if _clips_early(raw) else 0.0,
                    output_color=rawpy.ColorSpace.ProPhoto,
                    output_bps=16,
                    gamma=(1, 1),
                )
            )
        except (rawpy.LibRawError, rawpy.NotSupportedError) as error:
            raise refusal.unreadable(name, f"is damaged, or {UNKNOWN_KIND}", EXPORT_TIFF) from error
        no_balance = not raw.camera_whitebalance[0] > 0
    height, width, bands = linear.shape
    if (width, height) != (header.size.width, header.size.height):
        raise refusal.unreadable(
            name,
            f"was developed to {width} x {height} pixels where its header says "
            f"{header.size.width} x {header.size.height}",
            EXPORT_TIFF,
        )
    if not linear.any():
        raise refusal.unreadable(name, "was developed to nothing but black: it is damaged, or no raw", EXPORT_TIFF)
    image = pyvips.Image.new_from_memory(linear, width, height, bands, "ushort")
    if bands == 1:
        image = image.bandjoin([image, image])
    image = image.maplut(_curve()).copy(interpretation="rgb16")
    notes = ("no as-shot white balance: developed for daylight",) if no_balance else ()
    return image, notes


def raw_facts(stream: BinaryIO) -> CameraFacts:
    """Return the camera facts of a raw; fewer where its maker keeps them elsewhere. Never raises on content."""
    if tiff := open_tiff(stream):
        return camera_facts.tiff_facts(tiff)
    stream.seek(0)
    head = stream.read(RAF_PLACES + 4)
    if head.startswith(RAF_START) and len(head) == RAF_PLACES + 4:
        (preview,) = struct.unpack_from(">I", head, RAF_PLACES)
        stream.seek(preview)
        return camera_facts.camera_facts(_exif_of_jpeg(stream.read(PREVIEW_HEAD_BYTES)))
    return _facts_of_boxes(stream) if head[4:8] == b"ftyp" else CameraFacts()


def _open(path: Path, name: str) -> rawpy.RawPy:
    import rawpy  # noqa: PLC0415 (heavy; only raws load it)

    try:
        return rawpy.imread(str(path))
    except (rawpy.LibRawError, rawpy.NotSupportedError) as error:
        raise refusal.unreadable(name, UNKNOWN_KIND, EXPORT_TIFF) from error


def _upright(sizes: rawpy.ImageSizes) -> Size:
    """Return the size after LibRaw has made pixels square and turned the frame."""
    width, height, aspect = sizes.iwidth, sizes.iheight, sizes.pixel_aspect
    if aspect < 1:
        height = int(height / aspect + 0.5)
    elif aspect > 1:
        width = int(width * aspect + 0.5)
    return Size(height, width) if sizes.flip & TURNED else Size(width, height)


def _curve() -> pyvips.Image:
    """Return the ROMM curve as a table from linear to encoded, both 0..65535."""
    import numpy as np  # noqa: PLC0415 (heavy)
    import pyvips  # noqa: PLC0415 (heavy)

    from pipeline.light.spaces import ROMM  # noqa: PLC0415 (heavy)

    encoded = np.rint(ROMM.curve.to_encoded(np.arange(65536) / 65535) * 65535).astype(np.uint16)
    return pyvips.Image.new_from_memory(encoded.tobytes(), 65536, 1, 1, "ushort")


def _clips_early(raw: rawpy.RawPy) -> bool:
    """Return whether all colours pile up at one level below the white level: a sensor that is full early.

    Only then may LibRaw take the frame's own maximum as white, or a blown window turns pink; otherwise the
    frames of one shoot must be developed alike, whatever is in them. The shares are house choices.
    """
    import rawpy  # noqa: PLC0415 (heavy)

    if raw.raw_type != rawpy.RawType.Flat:
        return False
    levels: NDArray[np.uint16] = raw.raw_image_visible
    full = int(levels.max())
    if full >= raw.white_level:
        return False
    piled = levels >= 0.99 * full
    colours = raw.raw_colors_visible
    return all(piled[colours == colour].mean() > 1e-4 for colour in range(raw.num_colors))


def _has_empty_tail(raw: rawpy.RawPy) -> bool:
    """Return whether the last rows of the sensor data hold one and the same value, as no sensor gives."""
    levels: NDArray[np.uint16] = raw.raw_image
    tail = levels[-max(2, len(levels) // 32) :]
    return bool((tail == tail.flat[0]).all())


def _exif_of_jpeg(data: bytes) -> bytes | None:
    """Return the Exif block of a JPEG's first segments; None where there is none."""
    at = 2
    while data[at : at + 1] == b"\xff" and at + 4 <= len(data):
        marker, length = data[at + 1], struct.unpack_from(">H", data, at + 2)[0]
        body = data[at + 4 : at + 2 + max(2, length)]
        if marker == 0xE1 and body.startswith(b"Exif\0\0"):
            return body
        at += 2 + max(2, length)
    return None


def _facts_of_boxes(stream: BinaryIO) -> CameraFacts:
    """Return the facts of CR3: CMT1 is the first directory, CMT2 the Exif one, CMT4 the GPS one."""
    length = boxes.file_length(stream)
    movie = boxes.find(stream, 0, length, b"moov")
    found: dict[bytes, camera_facts.Source] = {}
    for box in boxes.boxes(stream, movie.start, min(movie.end, length)) if movie else ():
        if box.kind != b"uuid" or boxes.payload(stream, box, 16) != CR3_UUID:
            continue
        for part in boxes.boxes(stream, box.start + 16, min(box.end, length)):
            tiff = open_tiff(io.BytesIO(boxes.payload(stream, part))) if part.kind in CR3_DIRECTORIES else None
            if tiff and (directory := tiff.directory(tiff.first)):
                found[part.kind] = (tiff, directory)
    main = [found[kind] for kind in (b"CMT2", b"CMT1") if kind in found]
    return camera_facts.facts_of(main, position=b"CMT4" in found and camera_facts.has_position(*found[b"CMT4"]))
