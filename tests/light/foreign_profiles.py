"""ICC profiles as others write them: built from colour-science's numbers, sharing no code with `pipeline.light.icc`.

Source: ICC.1:2001-04 (version 2: header, textDescriptionType, curveType, lut16Type) and ICC.1:2022
(parametricCurveType).
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import numpy as np

from tests.light.colour_science import colour, linear, pcs_matrix

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from tests.light.colour_science import Floats

ILLUMINANT = bytes.fromhex("0000F6D6 00010000 0000D32D")
XYZ_ONE, CURVE_ONE = 0x8000, 0xFFFF  # 1.0 as u1Fixed15, and as a table of a curve has it


def assembled(
    tags: Mapping[bytes, bytes],
    *,
    channels: bytes = b"RGB ",
    pcs: bytes = b"XYZ ",
    device: bytes = b"mntr",
    version: int = 2,
) -> bytes:
    """Return a profile of class display (or another) with these tags and those that every one needs."""
    named = {
        b"desc": b"desc\0\0\0\0" + struct.pack(">I", 8) + b"foreign\0" + bytes(78),
        b"cprt": b"text\0\0\0\0none\0",
        b"wtpt": b"XYZ \0\0\0\0" + ILLUMINANT,
        **tags,
    }
    table, body, at = struct.pack(">I", len(named)), b"", 132 + 12 * len(named)
    for signature, data in named.items():
        table += struct.pack(">4sII", signature, at + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    head = struct.pack(">I4sI4s4s4s", at + len(body), bytes(4), (version << 24) + 0x400000, device, channels, pcs)
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + ILLUMINANT
    return head.ljust(128, b"\0") + table + body


def gamma_curve(gamma: float) -> bytes:
    """Return a curve of one number (u8Fixed8)."""
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256))


def table_curve(values: Sequence[float]) -> bytes:
    """Return a sampled curve (values 0..1)."""
    return b"curv\0\0\0\0" + struct.pack(f">I{len(values)}H", len(values), *(round(v * CURVE_ONE) for v in values))


def parametric_curve(kind: int, *numbers: float) -> bytes:
    """Return function type 0..4 of ICC.1 with its numbers, in the order of the standard."""
    fixed = (round(number * 65536) for number in numbers)
    return b"para\0\0\0\0" + struct.pack(f">HH{len(numbers)}i", kind, 0, *fixed)


def curve_of(name: str, samples: int = 4096) -> bytes:
    """Return the table of a space's curve."""
    return table_curve(linear(np.linspace(0, 1, samples), name).tolist())


def matrix_profile(name: str, curve: bytes | None = None, order: tuple[int, int, int] = (0, 1, 2)) -> bytes:
    """Return a matrix profile of a space, its channels in another `order` if need be."""
    columns = pcs_matrix(name).T[list(order)]
    tags = {
        channel + b"XYZ": b"XYZ \0\0\0\0" + struct.pack(">3i", *np.rint(column * 65536).astype(int))
        for channel, column in zip((b"r", b"g", b"b"), columns, strict=True)
    }
    return assembled(tags | dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve or curve_of(name)))


def table_profile(name: str, grid: int = 2) -> bytes:
    """Return an RGB profile that has a table only (`A2B0`, lut16Type) and no matrix: curves, then a grid of XYZ.

    The curves make light linear, so straight interpolation between the grid's corners is exact.
    """
    axis = np.linspace(0, 1, grid)
    nodes = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1).reshape(-1, 3)  # the last channel runs fastest
    xyz = np.rint(nodes @ pcs_matrix(name).T * XYZ_ONE).astype(int).clip(0, CURVE_ONE)
    curve = np.rint(linear(np.linspace(0, 1, 4096), name) * CURVE_ONE).astype(int)
    unit = (65536, 0, 0, 0, 65536, 0, 0, 0, 65536)
    data = b"mft2\0\0\0\0" + struct.pack(">4B9i2H", 3, 3, grid, 0, *unit, len(curve), 2)
    data += 3 * struct.pack(f">{len(curve)}H", *curve) + struct.pack(f">{xyz.size}H", *xyz.ravel())
    return assembled({b"A2B0": data + 3 * struct.pack(">2H", 0, CURVE_ONE)})


def grey_profile(gamma: float) -> bytes:
    """Return a grey profile of plain gamma."""
    return assembled({b"kTRC": gamma_curve(gamma)}, channels=b"GRAY")


def encoded_in(name: str, srgb: Floats) -> Floats:
    """Return encoded sRGB (0..1) in another space (0..1), held to its range."""
    spaces = colour.RGB_COLOURSPACES
    light = colour.RGB_to_RGB(srgb, spaces["sRGB"], spaces[name], "Bradford", apply_cctf_decoding=True)
    return np.asarray(spaces[name].cctf_encoding(np.clip(light, 0, 1)), dtype=np.float64)
