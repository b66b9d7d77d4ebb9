"""An ICC profile's own tables, read in float64: the judge of conversions that shares no engine with anybody.

Written from the standard's text alone (ICC.1:2022 10.10 to 10.13, 10.6, 10.18, Annex A; from memory), in another way
than `pipeline.light.icc_tables`: one colour at a time, tetrahedra written out case by case. It is itself held against
LittleCMS, both ways, in `tests/light/test_black_point.py`.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from tests.light.colour_science import PCS_WHITE, Floats, colour

if TYPE_CHECKING:
    from numpy.typing import NDArray

Table = dict[bytes, bytes]
LEGACY = np.array([652.8, 256, 256])  # 16-bit codes in a unit of L, a and b as version 2 has them
OFFSET = np.array([0, 128, 128])  # where a and b have their nought
WHITE_XY = colour.XYZ_to_xy(PCS_WHITE)


@dataclass(frozen=True)
class Judge:
    """One profile. Device values are 0..1, Lab in its own units; arrays are (n, channels)."""

    profile: bytes

    @property
    def tags(self) -> Table:
        (count,) = struct.unpack_from(">I", self.profile, 128)
        rows = [struct.unpack_from(">4sII", self.profile, 132 + 12 * row) for row in range(count)]
        return {name: self.profile[at : at + size] for name, at, size in rows}

    @property
    def pcs(self) -> bytes:
        return self.profile[20:24]

    def to_lab(self, device: Floats, tag: bytes = b"A2B1") -> Floats:
        """Return Lab of device values by a table."""
        data = self.tags[tag]
        return self._decoded(_applied(data, device, from_lab=False, from_xyz=False), data[:4])

    def to_device(self, lab: Floats, tag: bytes = b"B2A1") -> Floats:
        """Return device values of Lab by a table."""
        data = self.tags[tag]
        from_lab = self.pcs == b"Lab "
        return np.clip(_applied(data, self._encoded(lab, data[:4]), from_lab=from_lab, from_xyz=not from_lab), 0, 1)

    def _decoded(self, encoded: Floats, kind: bytes) -> Floats:
        if self.pcs == b"XYZ ":
            return lab_of(encoded * 65535 / 32768)
        if kind == b"mft2":  # 16 bits of version 2: L 100 is FF00, a and b in steps of 1/256
            return np.asarray(encoded * 65535 / LEGACY - OFFSET, dtype=np.float64)
        return np.asarray(encoded * [100, 255, 255] - OFFSET, dtype=np.float64)

    def _encoded(self, lab: Floats, kind: bytes) -> Floats:
        if self.pcs == b"XYZ ":
            return xyz_of(lab) * 32768 / 65535
        if kind == b"mft2":
            return np.asarray((lab + OFFSET) * LEGACY / 65535, dtype=np.float64)
        return np.asarray((lab + OFFSET) / [100, 255, 255], dtype=np.float64)


def lab_of(xyz: Floats) -> Floats:
    """Return Lab of XYZ under D50, as colour-science has it."""
    return np.asarray(colour.XYZ_to_Lab(xyz, WHITE_XY), dtype=np.float64)


def xyz_of(lab: Floats) -> Floats:
    return np.asarray(colour.Lab_to_XYZ(lab, WHITE_XY), dtype=np.float64)


def without_black(lab: Floats, black: float) -> Floats:
    """Return Lab with the black of lightness `black` laid on nothing: ISO 18619, XYZ scaled about white."""
    shade = xyz_of(np.array([black, 0.0, 0.0]))
    return lab_of((xyz_of(lab) - shade) / (1 - shade[1]))


def with_black(lab: Floats, black: float) -> Floats:
    """Return Lab with nothing laid on the black of lightness `black`."""
    shade = xyz_of(np.array([black, 0.0, 0.0]))
    return lab_of(xyz_of(lab) * (1 - shade[1]) + shade)


def _applied(data: bytes, values: Floats, *, from_lab: bool, from_xyz: bool) -> Floats:
    if data[:4] in (b"mft1", b"mft2"):
        return _by_lut(data, values, from_lab=from_lab, from_xyz=from_xyz)
    assert data[:4] in (b"mAB ", b"mBA ")
    return _by_elements(data, values, from_lab=from_lab)


def _by_lut(data: bytes, values: Floats, *, from_lab: bool, from_xyz: bool) -> Floats:
    inputs, outputs, points = data[8:11]
    matrix = np.array(struct.unpack_from(">9i", data, 12)).reshape(3, 3) / 65536
    if data[:4] == b"mft1":
        before, after, kind, at, top = 256, 256, "B", 48, 255
    else:
        (before, after), kind, at, top = struct.unpack_from(">2H", data, 48), "H", 52, 65535
    count = inputs * before + points**inputs * outputs + outputs * after
    numbers = np.array(struct.unpack_from(f">{count}{kind}", data, at)) / top
    first = numbers[: inputs * before].reshape(inputs, before)
    grid = numbers[inputs * before : count - outputs * after].reshape(*[points] * inputs, outputs)
    last = numbers[count - outputs * after :].reshape(outputs, after)
    if from_xyz:
        values = values @ matrix.T
    through = np.stack([_sampled(first[i], values[:, i]) for i in range(inputs)], axis=1)
    found = interpolated(grid, through, multilinear=from_lab)
    return np.stack([_sampled(last[i], found[:, i]) for i in range(outputs)], axis=1)


def _by_elements(data: bytes, values: Floats, *, from_lab: bool) -> Floats:
    inputs, outputs = data[8:10]
    at_b, at_matrix, at_m, at_grid, at_a = struct.unpack_from(">5I", data, 12)

    def curves(at: int, values: Floats) -> Floats:
        done = []
        for channel in range(values.shape[1]):
            curved, size = _curve(data[at:], values[:, channel])
            done.append(curved)
            at += (size + 3) // 4 * 4
        return np.stack(done, axis=1)

    def grid(values: Floats) -> Floats:
        points = tuple(data[at_grid : at_grid + inputs])
        width = data[at_grid + 16]
        count = int(np.prod(points)) * outputs
        numbers = np.array(struct.unpack_from(f">{count}{'xBH'[width]}", data, at_grid + 20)) / (256**width - 1)
        return interpolated(numbers.reshape(*points, outputs), values, multilinear=from_lab)

    def matrix(values: Floats) -> Floats:
        numbers = np.array(struct.unpack_from(">12i", data, at_matrix)) / 65536
        return values @ numbers[:9].reshape(3, 3).T + numbers[9:]

    steps = [
        (at_a, lambda values: curves(at_a, values)),
        (at_grid, grid),
        (at_m, lambda values: curves(at_m, values)),
        (at_matrix, matrix),
        (at_b, lambda values: curves(at_b, values)),
    ]
    for there, step in steps if data[:4] == b"mAB " else reversed(steps):
        values = step(values) if there else values
    return values


def _curve(data: bytes, values: Floats) -> tuple[Floats, int]:
    """Return values through the curve at the beginning of some bytes, and how many bytes it takes."""
    held = np.clip(values, 0, 1)
    if data[:4] == b"curv":
        (count,) = struct.unpack_from(">I", data, 8)
        numbers = np.array(struct.unpack_from(f">{count}H", data, 12))
        if count == 0:
            return held, 12
        return (held ** (numbers[0] / 256) if count == 1 else _sampled(numbers / 65535, held)), 12 + 2 * count
    (function,) = struct.unpack_from(">H", data, 8)
    count = (1, 3, 4, 5, 7)[function]
    g, a, b, c, d, e, f = [*(number / 65536 for number in struct.unpack_from(f">{count}i", data, 12)), *[0.0] * 7][:7]
    power = np.maximum(a * held + b, 0) ** g if function else held**g
    if function == 1:
        power = np.where(held >= -b / a, power, 0)
    elif function == 2:
        power = np.where(held >= -b / a, power, 0) + c
    elif function == 3:
        power = np.where(held >= d, power, c * held)
    elif function == 4:
        power = np.where(held >= d, power + e, c * held + f)
    return np.clip(power, 0, 1), 12 + 4 * count


def _sampled(samples: Floats, values: Floats) -> Floats:
    at = np.clip(values, 0, 1) * (len(samples) - 1)
    low = np.minimum(np.floor(at).astype(int), len(samples) - 2)
    return np.asarray(samples[low] + (samples[low + 1] - samples[low]) * (at - low), dtype=np.float64)


def interpolated(grid: Floats, values: Floats, *, multilinear: bool) -> Floats:
    """Return a grid's entries between its points: in cubes for Lab, in tetrahedra for three device values.

    Of four device values the first is interpolated straight between two tetrahedral results.
    """
    one = _in_cube if multilinear else _in_tetrahedron
    return np.stack([one(grid, value) for value in np.clip(values, 0, 1)])


def _cell(grid: Floats, value: Floats) -> tuple[NDArray[np.int_], Floats]:
    last = np.array(grid.shape[:-1]) - 1
    low = np.minimum(np.floor(value * last).astype(int), last - 1)
    return low, value * last - low


def _in_cube(grid: Floats, value: Floats) -> Floats:
    low, part = _cell(grid, value)
    total = np.zeros(grid.shape[-1])
    for corner in product((0, 1), repeat=len(value)):
        total += np.prod(np.where(corner, part, 1 - part)) * grid[tuple(low + corner)]
    return total


def _in_tetrahedron(grid: Floats, value: Floats) -> Floats:
    if len(value) == 4:
        low, part = _cell(grid, value)
        below, above = (_in_tetrahedron(grid[low[0] + step], value[1:]) for step in (0, 1))
        return np.asarray(below + (above - below) * part[0], dtype=np.float64)
    if len(value) == 1:
        return _in_cube(grid, value)
    (i, j, k), (x, y, z) = _cell(grid, value)

    def at(*step: int) -> Floats:
        return np.asarray(grid[i + step[0], j + step[1], k + step[2]], dtype=np.float64)

    # Six tetrahedra about the diagonal of the cube. Source: Kasson et al., J. Electron. Imaging 4(3), 1995.
    if x >= y >= z:
        corners = at(1, 0, 0), at(1, 1, 0)
        parts = x, y, z
    elif x >= z > y:
        corners = at(1, 0, 0), at(1, 0, 1)
        parts = x, z, y
    elif z > x >= y:
        corners = at(0, 0, 1), at(1, 0, 1)
        parts = z, x, y
    elif y > x >= z:
        corners = at(0, 1, 0), at(1, 1, 0)
        parts = y, x, z
    elif y >= z > x:
        corners = at(0, 1, 0), at(0, 1, 1)
        parts = y, z, x
    else:
        corners = at(0, 0, 1), at(0, 1, 1)
        parts = z, y, x
    most, middle, least = parts
    path = (at(0, 0, 0), *corners, at(1, 1, 1))
    shares = (1 - most, most - middle, middle - least, least)
    return np.asarray(sum(share * point for share, point in zip(shares, path, strict=True)), dtype=np.float64)
