"""Odd frames made of any bytes: pictures nobody would take, Exif nobody would write, files broken anywhere."""

from __future__ import annotations

import io
import math
import struct
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import pyvips
from PIL import Image

from pipeline.faults import FrameUnreadable
from pipeline.frames.header import CameraFacts, Header
from pipeline.frames.inspection.inspect import inspect_frame
from pipeline.frames.inspection.sameness import compare
from pipeline.frames.inspection.told import Told
from pipeline.frames.pixels import Pixels, decode
from pipeline.frames.read_header import read_header
from pipeline.ledger.inspected import from_json, to_json
from pipeline.light.box import Point, Region, Size
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, ROMM, SRGB
from pipeline.light.thresholds import house_thresholds

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pipeline.frames.inspection.told import View
    from pipeline.frames.inspection.values import Inspection

HOUSE = house_thresholds()
VIEWS: tuple[View | None, ...] = (None, "overhead", "three-quarter", "straight-on")
NUMBERS = (None, *(Fraction(one) for one in ("1/60", "1/3", "2.8", "50", "1e9", "1e-12", "1e300", "30", "0.1")))
LARGEST, LARGE = 48, 220
FORMATS = ("jpeg", "png", "tiff", "webp")
Choice = TypeVar("Choice")


class Bytes:
    """Bytes that decisions are taken from, one after the other; noughts once they are spent."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def whole(self, most: int) -> int:
        """Return a number from 0 to `most`, below 65536."""
        part = self.data[self.at : self.at + 2].ljust(2, b"\0")
        self.at += 2
        return int(struct.unpack("<H", part)[0]) % (most + 1)

    def share(self) -> float:
        """Return a number from 0 to 1."""
        return self.whole(1000) / 1000

    def one_of(self, choices: Sequence[Choice]) -> Choice:
        """Return one of several."""
        return choices[self.whole(len(choices) - 1)]

    def rest(self) -> bytes:
        """Return what is left."""
        return self.data[self.at :] or b"\0"


def inspected(data: bytes) -> Inspection:
    """Look at the frame that the bytes stand for."""
    source = Bytes(data)
    camera = CameraFacts(
        exposure_s=source.one_of(NUMBERS),
        f_number=source.one_of(NUMBERS),
        iso=source.one_of((None, 1, 100, 800, 4_000_000_000)),
        focal_mm=source.one_of(NUMBERS),
        focal_35_mm=source.one_of((None, 1, 50, 4_000_000_000)),
        distance_m=source.one_of(NUMBERS),
    )
    keep = _region(source) if source.whole(1) else None
    subject = Point(source.share(), source.share()) if source.whole(1) else None
    told = Told(source.one_of(VIEWS), subject, keep, bool(source.whole(1)), bool(source.whole(1)))
    pixels = _pixels(source)
    size = Size(pixels.image.width, pixels.image.height)
    bits = 16 if pixels.image.format == "ushort" else 8
    header = Header(Path("odd.png"), "png", size, 1, pixels.image.bands, bits, False, None, camera)  # noqa: FBT003
    return inspect_frame(header, pixels, told, HOUSE)


def _region(source: Bytes) -> Region:
    left, right = sorted((source.whole(999), source.whole(1000)))
    top, bottom = sorted((source.whole(999), source.whole(1000)))
    return Region(left / 1000, top / 1000, max(right, left + 1) / 1000, max(bottom, top + 1) / 1000)


def _pixels(source: Bytes) -> Pixels:
    """Return a picture: noise, one colour, two values, a ramp or squares, or the bytes themselves; of any shape."""
    most = LARGE if source.whole(9) == 0 else LARGEST
    height, width = 1 + source.whole(most - 1), 1 + source.whole(most - 1)
    wide = bool(source.whole(1))
    top = 65535 if wide else 255
    how, level, step = source.whole(5), source.whole(top), 1 + source.whole(40)
    shape = (height, width, 3)
    random = np.random.default_rng(level)
    codes: NDArray[np.number]
    if how == 0:
        codes = random.integers(0, top + 1, shape)
    elif how == 1:
        codes = np.full(shape, level)
    elif how == 2:
        codes = (random.random(shape) < level / top) * top
    elif how == 3:
        codes = np.broadcast_to(np.linspace(0, level, width)[None, :, None], shape)
    elif how == 4:
        codes = (np.add.outer(np.arange(height), np.arange(width)) // step % 2 * level)[..., None] * np.ones(3)
    else:
        codes = np.resize(np.frombuffer(source.rest(), np.uint8), shape).astype(np.int64) * (top // 255)
    profile = write_matrix_profile(source.one_of((SRGB, ADOBE_RGB, ROMM)))
    return Pixels(_image(codes.astype(np.uint16 if wide else np.uint8)), profile, ())


def _image(codes: NDArray[np.unsignedinteger]) -> pyvips.Image:
    height, width, bands = codes.shape
    wide = codes.dtype == np.uint16
    image = pyvips.Image.new_from_memory(
        np.ascontiguousarray(codes).tobytes(), width, height, bands, "ushort" if wide else "uchar"
    )
    return image.copy(interpretation="rgb16" if wide else "srgb")


@cache
def _file(kind: str) -> bytes:
    """Return a small whole file of a format, with some Exif."""
    ramp = np.add.outer(np.arange(60), np.arange(90)).astype(np.uint8)
    picture = Image.merge("RGB", [Image.fromarray(part) for part in (ramp, 255 - ramp, ramp // 2)])
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "Maker"
    stream = io.BytesIO()
    picture.save(stream, kind.upper(), exif=exif.tobytes())
    return stream.getvalue()


def inspected_file(data: bytes, folder: Path) -> Inspection | None:
    """Look at a file that the bytes say how to break; None where it is refused, as it may be."""
    source = Bytes(data)
    whole = bytearray(_file(source.one_of(FORMATS)))
    if source.whole(2) == 0:
        del whole[source.whole(len(whole)) :]
    for _ in range(source.whole(6)):
        at = source.whole(max(len(whole) - 1, 0))
        whole[at : at + 1 + source.whole(3)] = struct.pack("<H", source.whole(65535))[: 1 + source.whole(1)]
    path = folder / "broken"
    path.write_bytes(whole)
    try:
        header = read_header(path, name="broken", pixel_limit=1_000_000)
        return inspect_frame(header, decode(header, name="broken"), Told(), HOUSE)
    except FrameUnreadable:
        return None


def check(seen: Inspection) -> None:
    """See that all of it is finite, says no number that is none, and can be kept and compared."""
    numbers = [value for _, value in seen.measures]
    numbers += [one for found in seen.findings for one in (found.number, found.threshold) if one is not None]
    if not all(isinstance(value, int | float) and math.isfinite(value) for value in numbers):
        raise AssertionError(f"not finite: {seen.measures} {seen.findings}")
    words = " ".join(f"{one.says} {one.advice} " for one in seen.findings)
    if " nan " in words or " inf " in words or "-inf" in words:
        raise AssertionError(words)
    if from_json(to_json(seen)) != seen:
        raise AssertionError("it is kept otherwise than it was found")
    if seen.likeness is None or compare(seen.likeness, seen.likeness, HOUSE).moved is not None:
        raise AssertionError("it is not like itself")
