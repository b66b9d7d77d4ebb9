"""ICC profiles read stage by stage: device values to the connection space, and back where they have tables for it.

Tables of every kind are read: lut8Type and lut16Type (`mft1`, `mft2`), lutAToBType and lutBToAType (`mAB `, `mBA `),
versions 2 and 4, for one, three and four channels; what has no table is read by its colorants and curves. What is
malformed gives None. Tables of multi-process elements (`D2B0`) are passed over: the standard asks for an `A2B0` beside
them. Source: [ICC1] clauses 10.10 to 10.13, Annex A (encodings of the connection space).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from math import prod
from typing import TYPE_CHECKING, Literal

import numpy as np

from pipeline.light.cielab import lab_to_xyz, xyz_to_lab
from pipeline.light.icc_tags import CHANNELS, HEADER_BYTES, fixed, read_curve, read_tags
from pipeline.light.spaces import PCS_WHITE
from pipeline.light.stages import Affine, Curves, Grid, evaluate, held
from pipeline.light.transfer import Sampled

if TYPE_CHECKING:
    from pipeline.light.stages import Planes, Stage
    from pipeline.light.transfer import Curve, Values

Intent = Literal["relative", "perceptual"]
Pcs = Literal["lab", "xyz"]
Into = Literal["device", "lab", "xyz"]  # what a table takes in

# Which table an intent is read from, best first; the last resort is the one table that every such profile has.
TAGS: dict[Intent, tuple[bytes, ...]] = {"relative": (b"1", b"0"), "perceptual": (b"0", b"1")}
SPACES: dict[bytes, Pcs] = {b"Lab ": "lab", b"XYZ ": "xyz"}
ENTRY_LIMIT = 1 << 24
XYZ_RANGE = 1 + 32767 / 32768
LEGACY_WHITE = 65280 / 65535  # where lut16Type has L 100


@dataclass(frozen=True, slots=True, eq=False)
class Conversion:
    """Stages between device values (0..1) and the connection space in its own units: Lab, or XYZ with Y of white 1."""

    stages: tuple[Stage, ...]
    pcs: Pcs
    channels: int

    def to_xyz(self, device: Planes) -> Planes:
        """Return XYZ of device values, shape (..., channels): of a conversion towards the connection space."""
        found = evaluate(self.stages, device)
        return found if self.pcs == "xyz" else lab_to_xyz(found)

    def to_lab(self, device: Planes) -> Planes:
        """Return Lab of device values likewise."""
        found = evaluate(self.stages, device)
        return found if self.pcs == "lab" else xyz_to_lab(found)

    def from_xyz(self, xyz: Planes) -> Planes:
        """Return device values (0..1) of XYZ, shape (..., 3): of a conversion away from the connection space."""
        return held(evaluate(self.stages, xyz if self.pcs == "xyz" else xyz_to_lab(xyz)))

    def from_lab(self, lab: Planes) -> Planes:
        """Return device values (0..1) of Lab likewise."""
        return held(evaluate(self.stages, lab if self.pcs == "lab" else lab_to_xyz(lab)))


def to_connection_space(profile: bytes, intent: Intent) -> Conversion | None:
    """Return how device values become the connection space; None for what is malformed or of other channels."""
    kind = _kind(profile)
    if kind is None:
        return None
    channels, pcs = kind
    tags = read_tags(profile)
    tag = next((tags[b"A2B" + number] for number in TAGS[intent] if b"A2B" + number in tags), None)
    try:
        if tag is None:
            stages = _by_curves(tags, channels, pcs)
        elif tag[:4] == b"mAB ":
            stages = (*_elements(tag, (channels, 3), into="device"), _decoded(pcs, legacy=False))
        else:
            stages = (*_lut(tag, (channels, 3), into="device"), _decoded(pcs, legacy=tag[:4] == b"mft2"))
    except (struct.error, ValueError):
        return None
    return Conversion(stages, pcs, channels)


def from_connection_space(profile: bytes, intent: Intent) -> Conversion | None:
    """Return how the connection space becomes device values; None where the profile has no table for it."""
    kind = _kind(profile)
    if kind is None:
        return None
    channels, pcs = kind
    tags = read_tags(profile)
    tag = next((tags[b"B2A" + number] for number in TAGS[intent] if b"B2A" + number in tags), None)
    if tag is None:
        return None
    try:
        if tag[:4] == b"mBA ":
            stages = (_encoded(pcs, legacy=False), *_elements(tag, (3, channels), into=pcs))
        else:
            stages = (_encoded(pcs, legacy=tag[:4] == b"mft2"), *_lut(tag, (3, channels), into=pcs))
    except (struct.error, ValueError):
        return None
    return Conversion(stages, pcs, channels)


def _kind(profile: bytes) -> tuple[int, Pcs] | None:
    if len(profile) < HEADER_BYTES or profile[36:40] != b"acsp":
        return None
    channels, pcs = CHANNELS.get(profile[16:20]), SPACES.get(profile[20:24])
    return (channels, pcs) if channels and pcs else None


def _decoded(pcs: Pcs, *, legacy: bool) -> Affine:
    """Return the stage from the encoded connection space (0..1) to its units."""
    if pcs == "xyz":
        return Affine(np.eye(3) * XYZ_RANGE, np.zeros(3))
    scale = np.array([100.0, 255.0, 255.0]) / (LEGACY_WHITE if legacy else 1.0)
    return Affine(np.diag(scale), np.array([0.0, -128.0, -128.0]))


def _encoded(pcs: Pcs, *, legacy: bool) -> Affine:
    there = _decoded(pcs, legacy=legacy)
    back = np.asarray(np.linalg.inv(there.matrix), dtype=np.float64)
    return Affine(back, -back @ there.offset)


def _by_curves(tags: dict[bytes, bytes], channels: int, pcs: Pcs) -> tuple[Stage, ...]:
    """Return curves and colorants, or the one curve of grey. Raises ValueError where they are not there."""
    if channels == 1:
        white = np.array([[100.0], [0.0], [0.0]]) if pcs == "lab" else np.array([PCS_WHITE]).T
        return Curves((_curve(tags.get(b"kTRC", b"")),)), Affine(white, np.zeros(3))
    if channels != 3 or pcs != "xyz":
        raise ValueError("neither tables nor colorants")
    colorants = [tags.get(channel + b"XYZ", b"") for channel in (b"r", b"g", b"b")]
    if any(colorant[:4] != b"XYZ " for colorant in colorants):
        raise ValueError("no colorants")
    matrix = np.array([fixed(colorant, 3, 8) for colorant in colorants]).T
    curves = tuple(_curve(tags.get(channel + b"TRC", b"")) for channel in (b"r", b"g", b"b"))
    return Curves(curves), Affine(matrix, np.zeros(3))


def _curve(data: bytes, at: int = 0) -> Curve:
    read = read_curve(data, at)
    if read is None:
        raise ValueError("no curve")
    return read.curve


def _lut(tag: bytes, channels: tuple[int, int], *, into: Into) -> tuple[Stage, ...]:
    """Return the stages of `mft1` or `mft2`. The matrix counts only where XYZ goes in (10.10)."""
    if tag[:4] not in (b"mft1", b"mft2") or tuple(tag[8:10]) != channels:
        raise ValueError("a table of another kind")
    points, wide = tag[10], tag[:4] == b"mft2"
    number, top = (">u2", 65535) if wide else (">u1", 255)
    (steps, last_steps), at = (struct.unpack_from(">2H", tag, 48), 52) if wide else ((256, 256), 48)
    sizes = (steps * channels[0], points ** channels[0] * channels[1], last_steps * channels[1])
    if min(steps, last_steps, points) < 2 or sum(sizes) > ENTRY_LIMIT:
        raise ValueError("a table of no size")
    values = np.frombuffer(tag, number, sum(sizes), at) / top
    first, grid, last = np.split(values, np.cumsum(sizes[:2]))
    stages: tuple[Stage, ...] = (
        Curves(_samples(first.reshape(channels[0], steps))),
        Grid(grid.reshape(*[points] * channels[0], channels[1]), cubes=into == "lab"),
        Curves(_samples(last.reshape(channels[1], last_steps))),
    )
    matrix = np.array(fixed(tag, 9, 12)).reshape(3, 3)
    return (Affine(matrix, np.zeros(3)), *stages) if into == "xyz" else stages


def _samples(rows: Values) -> tuple[Curve, ...]:
    return tuple(Sampled(tuple(row.tolist())) for row in rows)


def _elements(tag: bytes, channels: tuple[int, int], *, into: Into) -> tuple[Stage, ...]:
    """Return the stages of `mAB ` (curves A, grid, curves M, matrix, curves B) or, in the other order, of `mBA `."""
    if tuple(tag[8:10]) != channels:
        raise ValueError("a table of other channels")
    device = channels[0 if into == "device" else 1]
    b, matrix, m, grid, a = struct.unpack_from(">5I", tag, 12)
    if not b or bool(grid) != bool(a) or (device != 3 and not grid):
        raise ValueError("elements missing")
    stages: list[Stage] = []
    if a:
        stages.append(_curves(tag, a, device))
        stages.append(_grid(tag, grid, channels, cubes=into == "lab"))
    if m:
        stages.append(_curves(tag, m, 3))
    if matrix:
        numbers = np.array(fixed(tag, 12, matrix))
        stages.append(Affine(numbers[:9].reshape(3, 3), numbers[9:]))
    stages.append(_curves(tag, b, 3))
    if into != "device":
        stages = [*reversed(stages[2:]), stages[1], stages[0]] if a else stages[::-1]
    return tuple(stages)


def _curves(tag: bytes, at: int, count: int) -> Curves:
    """Return curves that stand one after the other, each at a multiple of four bytes."""
    curves: list[Curve] = []
    for _ in range(count):
        read = read_curve(tag, at)
        if read is None:
            raise ValueError("no curve")
        curves.append(read.curve)
        at += -(-read.size // 4) * 4
    return Curves(tuple(curves))


def _grid(tag: bytes, at: int, channels: tuple[int, int], *, cubes: bool) -> Grid:
    points = tuple(tag[at : at + channels[0]])
    (width,) = struct.unpack_from(">B", tag, at + 16)
    size = prod(points) * channels[1]
    if len(points) < channels[0] or min(points) < 2 or size > ENTRY_LIMIT or width not in (1, 2):
        raise ValueError("a grid of no size")
    values = np.frombuffer(tag, f">u{width}", size, at + 20) / (256**width - 1)
    return Grid(values.reshape(*points, channels[1]), cubes)
