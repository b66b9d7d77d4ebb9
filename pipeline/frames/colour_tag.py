"""What a frame says of its colour other than by an ICC profile.

PNG: cICP comes before iCCP, then the sRGB chunk; gAMA and cHRM are not used. AVIF and HEIC: an ICC profile comes
before the `nclx` code points. Exif: index R03 means the optional colour space of DCF 2.0, which is what
cameras set to Adobe RGB (1998) write instead of a profile. Sources: [PNG3] 4.3 and 11.3.2, ITU-T H.273
tables 2 and 3 (1 BT.709 primaries, 12 Display P3 primaries, 13 sRGB curve, 16 PQ, 18 HLG; from memory).
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, BinaryIO

from pipeline.frames.boxes import Nclx, still_facts
from pipeline.frames.camera_facts import interoperability

if TYPE_CHECKING:
    from pipeline.frames.header import FrameFormat

MAX_CHUNKS = 1000
BY_CODE = {Nclx(1, 13): "srgb", Nclx(12, 13): "display-p3"}
HDR_TRANSFERS = {16, 18}


def code_points(stream: BinaryIO, frame_format: FrameFormat) -> Nclx | None:
    """Return the H.273 code points of a PNG (cICP), AVIF or HEIC (nclx); None where there are none."""
    if frame_format in ("avif", "heic"):
        return still_facts(stream).nclx
    data = _png_chunks(stream).get(b"cICP", b"") if frame_format == "png" else b""
    return Nclx(data[0], data[1]) if len(data) == 4 else None


def tagged_profile(
    stream: BinaryIO, frame_format: FrameFormat, embedded: bytes | None, exif: bytes | None
) -> bytes | None:
    """Return the ICC profile that the frame carries, or a written one for the space it names; None for untagged."""
    named = BY_CODE.get(code) if (code := code_points(stream, frame_format)) else None
    if named and (frame_format == "png" or not embedded):
        return _written(named)
    if embedded:
        return embedded
    if frame_format == "png" and b"sRGB" in _png_chunks(stream):
        return _written("srgb")
    return _written("adobe-rgb") if interoperability(exif) == "R03" else None


def _written(colour: str) -> bytes:
    """Return a profile of ours for a space that a frame names by a number."""
    from pipeline.light.icc import write_matrix_profile  # noqa: PLC0415 (numpy; most frames carry a profile, or none)
    from pipeline.light.spaces import RGB_TARGETS  # noqa: PLC0415 (as above)

    return write_matrix_profile(RGB_TARGETS[colour])


def _png_chunks(stream: BinaryIO) -> dict[bytes, bytes]:
    """Return the colour chunks before the picture data, by kind."""
    at, found = 8, dict[bytes, bytes]()
    for _ in range(MAX_CHUNKS):
        stream.seek(at)
        head = stream.read(8)
        if len(head) < 8 or head[4:] == b"IDAT":
            break
        length, kind = struct.unpack(">I4s", head)
        if kind in (b"cICP", b"sRGB"):
            found[kind] = stream.read(min(length, 4))
        at += 12 + length
    return found
