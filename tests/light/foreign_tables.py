"""Profiles of tables as others write them: a real press's tables in every type, and invented printers.

Source: ICC.1:2001-04 (lut8Type, lut16Type), ICC.1:2022 10.12 and 10.13 (lutAToBType, lutBToAType). Shares no code with
`pipeline.light`.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import numpy as np
import pyvips

from tests.light.colour_science import PCS_WHITE, Floats, colour, pcs_matrix
from tests.light.foreign_profiles import assembled, table_curve

if TYPE_CHECKING:
    from collections.abc import Sequence

# A CMYK profile of a web press that libvips ships, made by its authors' own means: version 2, Lab, 16-bit tables.
PRESS = bytes(pyvips.Image.profile_load("cmyk"))
OFFSET = np.array([0, 128, 128])  # where a and b have their nought
KINDS = ("mft1", "mft2", "elements")
STRAIGHT = np.array([0.0, 1.0])
UNIT = (65536, 0, 0, 0, 65536, 0, 0, 0, 65536)


def lut(kind: str, first: Sequence[Floats], grid: Floats, last: Sequence[Floats]) -> bytes:
    """Return a table as lut8Type or lut16Type. `grid` is (points, ..., outputs), 0..1; curves are samples, 0..1."""
    inputs, outputs, points = grid.ndim - 1, grid.shape[-1], grid.shape[0]
    head = struct.pack(">4B9i", inputs, outputs, points, 0, *UNIT)
    if kind == "mft1":
        first, last = ([_spread(curve, 256) for curve in curves] for curves in (first, last))
        numbers = np.concatenate([*first, grid.ravel(), *last])
        return b"mft1\0\0\0\0" + head + _packed(numbers, "B", 255)
    numbers = np.concatenate([*first, grid.ravel(), *last])
    sizes = struct.pack(">2H", len(first[0]), len(last[0]))
    return b"mft2\0\0\0\0" + head + sizes + _packed(numbers, ">u2", 65535)


def _packed(numbers: Floats, kind: str, top: int) -> bytes:
    return bytes(np.rint(np.clip(numbers, 0, 1) * top).astype(kind).tobytes())


def _spread(curve: Floats, count: int) -> Floats:
    return np.interp(np.linspace(0, 1, count), np.linspace(0, 1, len(curve)), curve)


def elements(device: Sequence[bytes], grid: Floats, pcs: Sequence[bytes], *, to_pcs: bool, width: int = 2) -> bytes:
    """Return a table as lutAToBType or lutBToAType: curves as tags have them, a grid of 1 or 2 bytes, a unit matrix."""
    body, places = b"", {}
    packed = _packed(grid, f">u{width}", 256**width - 1)
    parts = {
        "b": b"".join(curve + bytes(-len(curve) % 4) for curve in pcs),
        "matrix": struct.pack(">12i", *UNIT, 0, 0, 0),
        "m": b"".join(3 * [table_curve([0.0, 1.0]) + bytes(0)]),
        "grid": bytes(grid.shape[:-1]).ljust(16, b"\0") + bytes([width, 0, 0, 0]) + packed + bytes(-len(packed) % 4),
        "a": b"".join(curve + bytes(-len(curve) % 4) for curve in device),
    }
    for name, data in parts.items():
        places[name] = 32 + len(body)
        body += data
    head = struct.pack(">4B", grid.ndim - 1, grid.shape[-1], 0, 0)
    return (b"mAB " if to_pcs else b"mBA ") + bytes(4) + head + struct.pack(">5I", *places.values()) + body


def press_tables() -> tuple[Floats, Floats]:
    """Return the press's grids, its curves left out: Lab over CMYK (9, 9, 9, 9, 3), CMYK over Lab (17, 17, 17, 4).

    They are then those of another press; what counts is that both are of a real one's size and shape.
    """
    tags = _tags(PRESS)
    there, back = _grid_of(tags[b"A2B1"]), _grid_of(tags[b"B2A1"])
    return there * 65535 / np.array([652.8, 256, 256]) - OFFSET, back


def press_profile(kind: str) -> bytes:
    """Return a CMYK profile of a press with these tables, as one of KINDS: version 2 for luts, 4 for elements."""
    lab, ink = press_tables()
    if kind == "elements":
        straight = table_curve([0.0, 1.0])
        there = elements([straight] * 4, (lab + OFFSET) / [100, 255, 255], [straight] * 3, to_pcs=True)
        # The grid's nodes lie where 16-bit Lab of version 2 has them: L 100 and a 128 are not at its end.
        stretch = np.linspace(0, 1, 256)
        pcs = [table_curve(np.clip(stretch * part, 0, 1).tolist()) for part in (65280 / 65535,) * 3]
        back = elements([straight] * 4, ink, pcs, to_pcs=False)
        tags = {b"A2B0": there, b"A2B1": there, b"B2A0": back, b"B2A1": back}
        return assembled(tags, channels=b"CMYK", pcs=b"Lab ", device=b"prtr", version=4)
    encoded = (lab + OFFSET) * np.array([652.8, 256, 256]) / 65535
    if kind == "mft1":
        encoded = (lab + OFFSET) / [100, 255, 255]
    there = lut(kind, [STRAIGHT] * 4, encoded, [STRAIGHT] * 3)
    back = lut(kind, [STRAIGHT] * 3, ink, [STRAIGHT] * 4)
    tags = {b"A2B0": there, b"A2B1": there, b"B2A0": back, b"B2A1": back}
    return assembled(tags, channels=b"CMYK", pcs=b"Lab ", device=b"prtr")


def printer_profile(pcs: bytes = b"Lab ", *, version: int = 2, black: float = 0.008, bend: float = 1.6) -> bytes:
    """Return an invented RGB printer of tables: paper white, a black that still reflects, the colours of a small sRGB.

    Device values go through a curve of power `bend` to light; light is laid between black and paper. What it cannot
    print is clipped in its light.
    """
    matrix = pcs_matrix("sRGB") * 0.98 + 0.02 * np.outer(PCS_WHITE, np.ones(3)) / 3
    axis = np.linspace(0, 1, 17)
    nodes = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1)
    light = black + (1 - black) * nodes**bend
    there = _pcs_encoded(light @ matrix.T, pcs)
    steps = np.linspace(0, 1, 33)
    asked = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), -1)
    light = (_pcs_decoded(asked, pcs) @ np.linalg.inv(matrix).T - black) / (1 - black)
    back = np.clip(light, 0, 1) ** (1 / bend)
    tags = {
        b"A2B0": lut("mft2", [STRAIGHT] * 3, there, [STRAIGHT] * 3),
        b"B2A0": lut("mft2", [STRAIGHT] * 3, back, [STRAIGHT] * 3),
    }
    return assembled(tags | {b"A2B1": tags[b"A2B0"], b"B2A1": tags[b"B2A0"]}, pcs=pcs, device=b"prtr", version=version)


def _pcs_encoded(xyz: Floats, pcs: bytes) -> Floats:
    if pcs == b"XYZ ":
        return xyz * 32768 / 65535
    lab = colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(PCS_WHITE))
    return np.asarray((lab + OFFSET) * np.array([652.8, 256, 256]) / 65535, dtype=np.float64)


def _pcs_decoded(encoded: Floats, pcs: bytes) -> Floats:
    if pcs == b"XYZ ":
        return encoded * 65535 / 32768
    lab = encoded * 65535 / np.array([652.8, 256, 256]) - OFFSET
    return np.asarray(colour.Lab_to_XYZ(lab, colour.XYZ_to_xy(PCS_WHITE)), dtype=np.float64)


def _tags(profile: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">I", profile, 128)
    rows = [struct.unpack_from(">4sII", profile, 132 + 12 * row) for row in range(count)]
    return {name: profile[at : at + size] for name, at, size in rows}


def _grid_of(data: bytes) -> Floats:
    inputs, outputs, points = data[8:11]
    (before,) = struct.unpack_from(">H", data, 48)
    count = points**inputs * outputs
    numbers = np.frombuffer(data, ">u2", count, 52 + 2 * inputs * before) / 65535
    return np.asarray(numbers.reshape(*[points] * inputs, outputs), dtype=np.float64)
