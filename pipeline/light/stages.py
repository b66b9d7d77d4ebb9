"""The stages that an ICC profile is made of, as values, and what they do to arrays of colours.

A stage takes and gives planes, float of shape (channels, count), 0..1 wherever a curve or a grid takes them; both hold
what lies outside to that range. float32 in gives float32 out (for pictures), float64 likewise (for checks). Source:
[ICC1] clauses 10.10 to 10.13.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.light.transfer import Parametric, Sampled

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray

    from pipeline.light.transfer import Curve, Values

    DType = np.dtype[np.floating[Any]]
    Index = NDArray[np.int32]
    Planes = NDArray[Any]
    Step = Callable[[Planes], Planes]

CHUNK = 32768  # colours worked on at a time: they stay in the processor's cache
STRAIGHT = (Parametric(1.0), Sampled((0.0, 1.0)))  # curves that change nothing


@dataclass(frozen=True, slots=True, eq=False)
class Affine:
    """A matrix (m, n) and what is added after it (m): n channels in, m out. Holds to no range."""

    matrix: Values
    offset: Values

    def ready(self, kind: DType) -> Step:
        """Return the stage as a step on planes of this kind."""
        matrix, offset = self.matrix.astype(kind), self.offset.astype(kind)[:, None]
        return lambda planes: matrix @ planes + offset


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """One curve for each channel."""

    curves: tuple[Curve, ...]

    def ready(self, kind: DType) -> Step:
        """Return the stage as a step on planes of this kind."""
        each = [_ready_curve(curve, kind) for curve in self.curves]
        return lambda planes: np.stack([step(plane) for step, plane in zip(each, held(planes), strict=True)])


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """A table over a grid of n channels: shape (points of the first channel, ..., points of the last, m).

    How to interpolate the standard leaves open. As most programs do, device values are interpolated in tetrahedra of
    the last three channels (with four, straight between two such results along the first), which keeps greys grey
    on the diagonal; with `cubes`, for Lab, in cubes, whose greys lie along an edge.
    """

    table: Values
    cubes: bool = False

    @property
    def points(self) -> tuple[int, ...]:
        """Return the number of points along each channel."""
        return self.table.shape[:-1]

    def ready(self, kind: DType) -> Step:
        """Return the stage as a step on planes of this kind."""
        entries = np.ascontiguousarray(self.table.reshape(-1, self.table.shape[-1]).T, dtype=kind)

        def step(planes: Planes) -> Planes:
            found = np.zeros((len(entries), planes.shape[1]), kind)
            for index, weight in self._corners(held(planes)):
                for output, entry in enumerate(entries):
                    found[output] += entry.take(index) * weight
            return found

        return step

    def _corners(self, planes: Planes) -> Iterator[tuple[Index, Planes]]:
        """Yield the entries that each colour lies between, by flat index, and how much each counts."""
        strides = _strides(self.points)
        low, part = [], []
        for plane, points in zip(planes, self.points, strict=True):
            scaled = plane * (points - 1)
            floor = np.minimum(scaled.astype(np.int32), points - 2)
            low.append(floor)
            part.append(scaled - floor.astype(scaled.dtype))
        straight = len(low) if self.cubes else max(len(low) - 3, 0)
        for steps in product((0, 1), repeat=straight):
            index = sum(np.int32(stride) * one for stride, one in zip(strides, low, strict=True))
            weight = np.ones_like(part[0])
            for step, stride, share in zip(steps, strides, part, strict=False):
                index = index + np.int32(step * stride)
                weight = weight * (share if step else 1 - share)
            for corner, share in _simplex(np.asarray(index, np.int32), part[straight:], strides[straight:]):
                yield corner, share * weight


Stage = Affine | Curves | Grid


def evaluate(stages: Sequence[Stage], values: Planes) -> Planes:
    """Return values, shape (..., channels), after each stage in turn."""
    step = in_turn(stages, values.dtype)
    planes = np.ascontiguousarray(values.reshape(-1, values.shape[-1]).T)
    starts = range(0, max(planes.shape[1], 1), CHUNK)
    found = np.concatenate([step(planes[:, start : start + CHUNK]) for start in starts], axis=1)
    return found.T.reshape(*values.shape[:-1], len(found))


def in_turn(stages: Sequence[Stage], kind: DType) -> Step:
    """Return all stages as one step on planes of this kind."""
    steps = [stage.ready(kind) for stage in stages]

    def step(planes: Planes) -> Planes:
        for one in steps:
            planes = one(planes)
        return planes

    return step


def held(planes: Planes) -> Planes:
    """Return values held to 0..1."""
    return np.asarray(np.clip(planes, 0.0, 1.0), dtype=planes.dtype)


def _ready_curve(curve: Curve, kind: DType) -> Step:
    """Return a curve as a step on one plane of values 0..1."""
    if curve in STRAIGHT:
        return lambda plane: plane
    if isinstance(curve, Parametric):
        return lambda plane: np.asarray(curve.to_linear(plane), dtype=kind)
    samples = np.array(curve.samples, dtype=kind)
    rises = np.append(np.diff(samples), 0.0).astype(kind)

    def step(plane: Planes) -> Planes:
        scaled = plane * (len(samples) - 1)
        low = scaled.astype(np.int32)
        return np.asarray(samples.take(low) + rises.take(low) * (scaled - low.astype(kind)))

    return step


def _strides(points: tuple[int, ...]) -> tuple[int, ...]:
    """Return how many entries lie between neighbours along each channel."""
    steps = [1]
    for count in reversed(points[1:]):
        steps.insert(0, steps[0] * count)
    return tuple(steps)


def _simplex(index: Index, part: list[Planes], strides: tuple[int, ...]) -> Iterator[tuple[Index, Planes | float]]:
    """Yield the corners of the simplex that holds each colour, along the largest part first, and their shares.

    Where two parts are equal either order will do: the corner in question then has no share.
    """
    first: Index
    last: Index
    if not part:
        yield index, 1.0
    elif len(part) == 1:
        yield index, 1 - part[0]
        yield index + np.int32(strides[0]), part[0]
    else:
        x, y, z = part
        sx, sy, sz = np.array(strides, dtype=np.int32)
        most, least = np.maximum(np.maximum(x, y), z), np.minimum(np.minimum(x, y), z)
        middle = x + y + z - most - least
        first = np.where((x >= y) & (x >= z), sx, np.where(y >= z, sy, sz))
        last = np.where((x < y) & (x < z), sx, np.where(y < z, sy, sz))
        yield index, 1 - most
        yield index + first, most - middle
        yield index + (sx + sy + sz - last), middle - least
        yield index + (sx + sy + sz), least
