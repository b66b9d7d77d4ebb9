"""Levelling and reduction in one resampling: each output pixel from the unturned source, through the same kernels.

Two passes along lines. What comes to lie in output column a and row b (from the centre, in source pixels) is at

    x = a cos + b sin        y = b cos - a sin        so that        y = b / cos - x tan

The first pass goes down each source column x, to every output row b; the second across each such row, to every output
column a. In a pass the places are as far apart on every line and only shifted from line to line, so that all lines
go through products of a few matrices: whole pixels of the shift are taken by slicing, parts of one by a polynomial
through the weights at a few of them (Chebyshev's). Source of the two passes: [Catmull].

In frequency (u, v) the passes weigh by k(v + u tan) k(u) where a direct sum has k(v) k(u). From `STEEP` on that lets
diagonal detail fold back: rows are then made twice as fine as needed, and reduced afterwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pyvips

from pipeline.render.kernel import SHARP, SOFT, Band, Places, band, bands, one_thread
from pipeline.render.resize import STRIP, image_of
from pipeline.render.rings import without_dark_rings

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from pipeline.light.box import Box, Size
    from pipeline.light.turn import Turn
    from pipeline.render.kernel import Floats, Kernel, Weights
    from pipeline.render.resize import Light

    Index = NDArray[np.intp]

KERNELS = SHARP, SOFT
STEEP = 0.035  # as a tangent: 2 degrees
FINER = 2
COARSE = 1.5  # below this reduction finer rows would be finer than the source's
TILE_LEAST, TILE = 16, 512  # source columns worked out together; the fewer, the further apart they are shifted
PHASES = 8  # of a pixel, on the way down


def source_box(turn: Turn, box: Box, size: Size) -> Box:
    """Return the part of the unturned frame that a box of the turned frame at `size` is made from."""
    widest = max(box.width / size.width, box.height / size.height, 1.0)
    return turn.covered(box, 2 * SHARP.reach * widest + 2)


def level(turn: Turn, box: Box, size: Size, brightest: float | None) -> Callable[[Any], Any]:
    """Return a step that brings a box of the turned frame to `size` (never larger), in memory.

    It is given the light (a float image) of `source_box`. Rings are bounded as in `resize.reduce`.
    """
    grid = _grid(turn, box, source_box(turn, box, size), size)

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        with one_thread():
            sharp, soft = _turned(image.cast("float"), grid)
        return image_of(without_dark_rings(sharp, soft, brightest))

    return step


@dataclass(frozen=True, slots=True)
class _Grid:
    """Output columns a and rows b from the centre, and where that centre (x, y) is in the source; all in its pixels."""

    across: Places
    down: Places
    x: float
    y: float
    cosine: float
    sine: float

    @property
    def tangent(self) -> float:
        return self.sine / self.cosine


def _grid(turn: Turn, box: Box, part: Box, size: Size) -> _Grid:
    turned, frame = turn.size, turn.frame
    across, down = Places.over(box.width, size.width), Places.over(box.height, size.height)
    return _Grid(
        across=replace(across, first=across.first + 0.5 + box.left - turned.width / 2),
        down=replace(down, first=down.first + 0.5 + box.top - turned.height / 2),
        x=frame.width / 2 - 0.5 - part.left,
        y=frame.height / 2 - 0.5 - part.top,
        cosine=turn.cosine,
        sine=turn.sine,
    )


def _turned(image: Any, grid: _Grid) -> list[Light]:  # noqa: ANN401 (libvips images have no types to name)
    """Return the light (h, w, bands) of the grid through the sharp and the soft kernel."""
    if abs(grid.tangent) <= STEEP or grid.down.step < COARSE:
        return _passes(image, grid)
    down, beyond = grid.down, FINER * math.ceil(SHARP.reach)
    fine = down.step / FINER
    first = down.first + (fine - down.step) / 2 - beyond * fine
    rows = Places(first, fine, FINER * down.count + 2 * beyond)
    passed = _passes(image, replace(grid, down=rows))
    places = Places(beyond + (FINER - 1) / 2, FINER, down.count)
    return [_coarser(kernel, light, places) for kernel, light in zip(KERNELS, passed, strict=True)]


def _coarser(kernel: Kernel, light: Light, places: Places) -> Light:
    found = np.empty((places.count, *light.shape[1:]), np.float32)
    for top, part in places.runs(STRIP):
        one = band(kernel, part, len(light))
        found[top : top + part.count] = np.tensordot(one.weights, light[one.start : one.stop], 1)
    return found


def _passes(image: Any, grid: _Grid) -> list[Light]:  # noqa: ANN401 (as above)
    """Return both passes, strip by strip of output rows."""
    found = [np.empty((grid.down.count, grid.across.count, image.bands), np.float32) for _ in KERNELS]
    columns = (grid.x - np.arange(image.width)) * grid.tangent
    first, step = grid.across.first * grid.cosine + grid.x, grid.across.step * grid.cosine
    across = Places(first, step, grid.across.count)
    nodes = _nodes(4 if step >= 2.5 else 5 if step >= 1.5 else 8, 0.5)  # all shifts within 5e-4 of the sharp weights
    blocks = [[(start, bands(kernel, part, nodes)) for start, part in across.runs(STRIP)] for kernel in KERNELS]
    region = pyvips.Region.new(image)
    for top, rows in grid.down.runs(STRIP):
        down = Places(rows.first / grid.cosine + grid.y, rows.step / grid.cosine, rows.count)
        strips = _down(region, image, down, columns)
        for light, strip, weights in zip(found, strips, blocks, strict=True):
            _across(strip, weights, rows.all * grid.sine, nodes, light[top : top + rows.count])
    return found


def _nodes(count: int, reach: float) -> Floats:
    """Return the Chebyshev nodes in -reach..reach, through which a polynomial follows a smooth curve best."""
    return np.asarray(reach * np.cos((2 * np.arange(count) + 1) * np.pi / (2 * count)), dtype=np.float64)


def _shares(nodes: Floats, at: Floats) -> Weights:
    """Return how much each node has in the polynomial's value at some places: (nodes, places)."""
    shares = np.ones((len(nodes), len(at)))
    for number, node in enumerate(nodes):
        for other in np.delete(nodes, number):
            shares[number] *= (at - other) / (node - other)
    return shares.astype(np.float32)


def _down(region: Any, image: Any, places: Places, shifts: Floats) -> list[Light]:  # noqa: ANN401 (as above)
    """Return for each kernel (rows, bands, width): the places in every source column, each shifted by its own."""
    steps = np.rint(shifts * PHASES).astype(np.intp)
    nodes = _nodes(2, 0.5 / PHASES)
    shares = _shares(nodes, shifts - steps / PHASES)
    weights = _phases(places, nodes)
    found = np.empty((len(KERNELS), places.count, image.bands, image.width), np.float32)
    slope = abs(int(steps[-1] - steps[0])) / PHASES / image.width
    tile = int(np.clip(weights.length / (2 * slope + 1e-9), TILE_LEAST, TILE))
    for left in range(0, image.width, tile):
        here = np.s_[left : left + tile]
        whole, phase = np.divmod(steps[here], PHASES)
        first, last = weights.start + int(whole.min()), weights.stop + int(whole.max())
        source = _source(region, image, (left, len(whole)), (first, last))
        _down_tile(source, weights.start + whole - first, phase, weights.weights, shares[:, here], found[..., here])
    return list(found)


def _phases(places: Places, nodes: Floats) -> Band:
    """Return weights (phases, 3, places, pixels): the sharp kernel's at both nodes of a phase, then the soft one's.

    Between the nodes the sharp weights are a straight line. What the soft kernel says is only a bound: the
    nearest phase does.
    """
    phases = np.arange(PHASES) / PHASES
    sharp, soft = bands(SHARP, places, (phases[:, None] + nodes).ravel()), bands(SOFT, places, phases)
    found = np.zeros((PHASES, 3, places.count, sharp.length), np.float32)
    found[:, :2] = sharp.weights.reshape(PHASES, 2, places.count, -1)
    found[:, 2, :, soft.start - sharp.start : soft.stop - sharp.start] = soft.weights
    return Band(sharp.start, found)


def _source(
    region: Any,  # noqa: ANN401 (libvips has no types to name)
    image: Any,  # noqa: ANN401 (as above)
    columns: tuple[int, int],
    rows: tuple[int, int],
) -> Light:
    """Return the light (rows, columns, bands) of columns (first, count); beyond the picture its edge rows again."""
    wanted = np.clip(np.arange(*rows), 0, image.height - 1)
    low, high = int(wanted[0]), int(wanted[-1]) + 1
    held = np.frombuffer(region.fetch(columns[0], low, columns[1], high - low), np.float32)
    light = held.reshape(high - low, columns[1], image.bands)
    return light if len(light) == len(wanted) else light[wanted - low]


def _down_tile(source: Light, tops: Index, phase: Index, weights: Weights, shares: Weights, found: Light) -> None:
    """Write into `found` (kernels, rows, bands, columns) what the weights of each column's phase make of it.

    The weights of a column lie over `source` from its row of `tops` on.
    """
    _, nodes, rows, length = weights.shape
    ends = [*(np.flatnonzero(np.diff(tops * PHASES + phase)) + 1).tolist(), len(tops)]
    runs = [(start, stop, int(tops[start]), int(phase[start])) for start, stop in pairwise([0, *ends])]
    for one in {run[3] for run in runs}:
        same = [run[:3] for run in runs if run[3] == one]
        lines = np.concatenate([np.arange(start, stop) for start, stop, _ in same])
        light = [source[top : top + length, start:stop].reshape(length, -1) for start, stop, top in same]
        made = weights[one].reshape(-1, length) @ np.concatenate(light, axis=1)
        made = made.reshape(nodes, rows, len(lines), -1)
        made[0] *= shares[0, lines, None]
        made[1] *= shares[1, lines, None]
        made[0] += made[1]
        found[:, :, :, lines] = made[::2].swapaxes(2, 3)


def _across(strip: Light, blocks: list[tuple[int, Band]], shifts: Floats, nodes: Floats, found: Light) -> None:
    """Write into `found` (rows, columns, bands) the blocks' places in every row of a strip, each shifted by its own."""
    rows, channels, _ = strip.shape
    whole = np.rint(shifts).astype(np.intp)
    light = _shifted(strip, whole, blocks[0][1].start, blocks[-1][1].stop).reshape(rows * channels, -1)
    made = np.empty((rows, channels, len(nodes), found.shape[1]), np.float32)
    for start, one in blocks:
        low, count = one.start - blocks[0][1].start, one.weights.shape[1]
        block = light[:, low : low + one.length] @ one.weights.reshape(-1, one.length).T
        made[..., start : start + count] = block.reshape(rows, channels, len(nodes), count)
    made *= _shares(nodes, shifts - whole).T[:, None, :, None]
    found[:] = made.sum(axis=2).swapaxes(1, 2)


def _shifted(strip: Light, by: Index, first: int, last: int) -> Light:
    """Return the pixels `first` to `last` of each row, counted from its own shift on; its edge beyond the picture."""
    found = np.empty((*strip.shape[:2], last - first), np.float32)
    for row, shift in enumerate(by.tolist()):
        if first + shift >= 0 and last + shift <= strip.shape[2]:
            found[row] = strip[row, :, first + shift : last + shift]
        else:
            np.take(strip[row], np.arange(first + shift, last + shift), axis=1, mode="clip", out=found[row])
    return found
