"""What every ICC profile is made of: a header, a table of tags, numbers and curves. Bounded: nothing is trusted.

Source: [ICC1] ICC.1:2022 clauses 7.2 (header), 7.3 (tag table), 10.6 (curveType), 10.18 (parametricCurveType).
"""

from __future__ import annotations

import struct
from typing import NamedTuple

from pipeline.light.transfer import Curve, Parametric, Sampled

HEADER_BYTES = 128
TAG_LIMIT = 200
CURVE_LIMIT = 65536
PARAMETERS = (1, 3, 4, 5, 7)  # how many numbers each function type of a `para` curve has
CHANNELS = {b"GRAY": 1, b"RGB ": 3, b"CMYK": 4}


class CurveAt(NamedTuple):
    """A curve and how many bytes it takes, without padding."""

    curve: Curve
    size: int


def channel_count(profile: bytes) -> int | None:
    """Return how many channels the profile's device space has: 1, 3 or 4; None for any other or a broken one."""
    if len(profile) < HEADER_BYTES or profile[36:40] != b"acsp":
        return None
    return CHANNELS.get(profile[16:20])


def read_tags(profile: bytes) -> dict[bytes, bytes]:
    """Return the tag table as signature -> data; tags that point outside the profile are left out."""
    if len(profile) < HEADER_BYTES + 4:
        return {}
    (count,) = struct.unpack_from(">I", profile, HEADER_BYTES)
    found: dict[bytes, bytes] = {}
    for index in range(min(count, TAG_LIMIT)):
        at = HEADER_BYTES + 4 + 12 * index
        if at + 12 > len(profile):
            break
        signature, offset, size = struct.unpack_from(">4sII", profile, at)
        if offset + size <= len(profile):
            found[signature] = profile[offset : offset + size]
    return found


def fixed(data: bytes, count: int, at: int) -> tuple[float, ...]:
    """Return `count` s15Fixed16 numbers. Raises struct.error at the end of the data."""
    return tuple(value / 65536 for value in struct.unpack_from(f">{count}i", data, at))


def read_curve(data: bytes, at: int = 0) -> CurveAt | None:
    """Return the `curv` or `para` curve that begins at a byte; None where it is malformed."""
    try:
        kind = data[at : at + 4]
        if kind == b"curv":
            (count,) = struct.unpack_from(">I", data, at + 8)
            return _sampled(data, at + 12, count)
        if kind == b"para":
            (function,) = struct.unpack_from(">H", data, at + 8)
            if function >= len(PARAMETERS):
                return None
            curve = _parametric(function, fixed(data, PARAMETERS[function], at + 12))
            return CurveAt(curve, 12 + 4 * PARAMETERS[function]) if curve else None
    except struct.error:
        return None
    return None


def _sampled(data: bytes, at: int, count: int) -> CurveAt | None:
    """Return a curve of `count` numbers: none is a straight line, one a gamma of 1/256, more are samples."""
    if count == 0:
        return CurveAt(Parametric(gamma=1.0), 12)
    if count == 1:
        curve = _parametric(0, (struct.unpack_from(">H", data, at)[0] / 256,))
        return CurveAt(curve, 14) if curve else None
    if count > CURVE_LIMIT:
        return None
    samples = tuple(value / 65535 for value in struct.unpack_from(f">{count}H", data, at))
    return CurveAt(Sampled(samples), 12 + 2 * count)


def _parametric(kind: int, numbers: tuple[float, ...]) -> Parametric | None:
    """Return function type 0..4 of ICC.1 Table 68 in the one form of `Parametric`."""
    gamma, *rest = numbers
    a, b = (rest[0], rest[1]) if kind else (1.0, 0.0)
    if a <= 0.0 or gamma <= 0.0:
        return None
    if kind == 0:
        return Parametric(gamma)
    if kind == 1:
        return Parametric(gamma, a, b, d=-b / a)
    if kind == 2:
        return Parametric(gamma, a, b, d=-b / a, offset=rest[2], f=rest[2])
    if kind == 3:
        return Parametric(gamma, a, b, rest[2], rest[3])
    return Parametric(gamma, a, b, rest[2], rest[3], rest[4], rest[5])
