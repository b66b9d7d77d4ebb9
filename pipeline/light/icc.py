"""Matrix-and-curve ICC profiles as values: read from a frame, written for a target.

Only what linear light needs is read here: the three colorants and the three curves, or the one curve of grey. A
profile with a device-to-PCS table (`A2B0`), or one of other channels, has no such short form; `read_matrix_profile`
then returns None, and `pipeline.light.icc_tables` reads it stage by stage. Source: [ICC1] ICC.1:2022 clauses 7.2
(header), 9.2 (tags), 10.31 (XYZType).
"""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.icc_tags import HEADER_BYTES, fixed, read_curve, read_tags
from pipeline.light.spaces import PCS_WHITE, Matrix, RGBSpace, adaptation, rgb_to_pcs, white_xyz

if TYPE_CHECKING:
    from pipeline.light.transfer import Curve, Parametric

BLACK = np.zeros(1)
COPYRIGHT = "No copyright, use freely"


@dataclass(frozen=True, slots=True)
class MatrixProfile:
    """RGB by curves and a matrix: `curves` take encoded to linear (0..1); `to_pcs` linear RGB to XYZ D50.

    Grey is three channels that are always alike and share white between them.
    """

    to_pcs: Matrix
    curves: tuple[Curve, Curve, Curve]


def _curve(data: bytes) -> Curve | None:
    """Return the curve of a `curv` or `para` tag; None where it is malformed or does not begin at 0."""
    read = read_curve(data)
    return read.curve if read and read.curve.to_linear(BLACK)[0] == 0 else None


def read_matrix_profile(profile: bytes) -> MatrixProfile | None:
    """Return colorants and curves of an RGB matrix or a grey profile, v2 or v4; None for every other kind.

    Malformed profiles give None too, and those whose black is not 0 and so needs black-point compensation.
    """
    kind, tags = profile[16:24], read_tags(profile)
    if kind not in (b"RGB XYZ ", b"GRAYXYZ ") or b"A2B0" in tags or b"A2B1" in tags:
        return None
    if kind == b"GRAYXYZ ":
        grey = _curve(tags.get(b"kTRC", b""))
        return MatrixProfile(np.array([PCS_WHITE] * 3).T / 3, (grey, grey, grey)) if grey else None
    columns, curves = [], []
    for channel in (b"r", b"g", b"b"):
        colorant, curve = tags.get(channel + b"XYZ", b""), _curve(tags.get(channel + b"TRC", b""))
        if colorant[:4] != b"XYZ " or len(colorant) < 20 or curve is None:
            return None
        columns.append(fixed(colorant, 3, 8))
        curves.append(curve)
    red, green, blue = curves
    return MatrixProfile(np.array(columns).T, (red, green, blue))


def _s15(values: tuple[float, ...]) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(value * 65536) for value in values))


def _text(words: str) -> bytes:
    """Return a multiLocalizedUnicodeType with one record, en-US."""
    encoded = words.encode("utf-16-be")
    return b"mluc" + struct.pack(">IIIHHII", 0, 1, 12, 0x656E, 0x5553, len(encoded), 28) + encoded


def _xyz(values: tuple[float, float, float]) -> bytes:
    return b"XYZ \0\0\0\0" + _s15(values)


def _para(curve: Parametric) -> bytes:
    """Return the curve as function type 0 or 3 (the two that our spaces need)."""
    numbers = (curve.gamma, curve.a, curve.b, curve.c, curve.d)
    kind = 3 if curve.c else 0
    return b"para" + struct.pack(">IHH", 0, kind, 0) + _s15(numbers if kind else numbers[:1])


def write_matrix_profile(space: RGBSpace) -> bytes:
    """Return a v4 display profile of an RGB space; the same bytes each time (fixed date, MD5 profile id).

    Colorants are adapted to D50 with the Bradford matrix and rounded so that white (1, 1, 1) is exactly
    the PCS white: greys stay neutral to the last bit.
    """
    return _written(space)


@lru_cache(maxsize=16)
def _written(space: RGBSpace) -> bytes:
    matrix = np.round(rgb_to_pcs(space) * 65536) / 65536
    matrix[:, 1] += np.array(PCS_WHITE) - matrix.sum(axis=1)
    red, green, blue = ((float(x), float(y), float(z)) for x, y, z in matrix.T)
    chad = adaptation(white_xyz(space.white), np.array(PCS_WHITE))
    curve = _para(space.curve)
    tags = {
        b"desc": _text(space.name),
        b"cprt": _text(COPYRIGHT),
        b"wtpt": _xyz(PCS_WHITE),
        b"chad": b"sf32\0\0\0\0" + _s15(tuple(float(value) for value in chad.ravel())),
        b"rXYZ": _xyz(red),
        b"gXYZ": _xyz(green),
        b"bXYZ": _xyz(blue),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    return _assembled(tags, b"RGB ")


def write_grey_profile(name: str, curve: Parametric) -> bytes:
    """Return a v4 grey profile of one curve, under the white of the connection space; the same bytes each time."""
    tags = {b"desc": _text(name), b"cprt": _text(COPYRIGHT), b"wtpt": _xyz(PCS_WHITE), b"kTRC": _para(curve)}
    return _assembled(tags, b"GRAY")


def _assembled(tags: dict[bytes, bytes], channels: bytes) -> bytes:
    """Return the profile of class display with these tags; equal ones are stored once."""
    at = HEADER_BYTES + 4 + 12 * len(tags)
    table, body, places = struct.pack(">I", len(tags)), b"", dict[bytes, int]()
    for signature, data in tags.items():
        if data not in places:
            places[data] = at + len(body)
            body += data + b"\0" * (-len(data) % 4)
        table += struct.pack(">4sII", signature, places[data], len(data))
    header = struct.pack(
        ">I4sI4s4s4s6H4s4sI4s4sQI",
        at + len(body), b"\0" * 4, 0x04400000, b"mntr", channels, b"XYZ ",
        2026, 1, 1, 0, 0, 0, b"acsp", b"\0" * 4, 0, b"\0" * 4, b"\0" * 4, 0, 1,
    ) + _s15(PCS_WHITE) + b"\0" * 48  # fmt: skip
    # ICC.1 7.2.18: the id is the MD5 of the profile with flags, intent and id itself set to zero.
    unnamed = header[:64] + b"\0" * 4 + header[68:] + table + body
    return header[:84] + hashlib.md5(unnamed, usedforsecurity=False).digest() + header[100:] + table + body
