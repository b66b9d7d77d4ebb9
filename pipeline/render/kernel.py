"""The kernels that light is resampled with, as weights over source pixels. Float64 arithmetic, float32 results.

A kernel is scaled to the reduction, so that its support grows with the factor and detail above the new Nyquist
frequency is gone before sampling. Every row of weights sums to 1: a constant stays constant. Beyond a picture's edge
its last pixel is repeated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

Floats = NDArray[np.float64]
Weights = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Kernel:
    """A kernel by its weight at `x` output pixels from the middle; nothing at `reach` and beyond."""

    reach: float
    shape: Callable[[Floats], Floats]


# Three lobes of a windowed sinc. Source: [Duchon]. Sharp, with room in its stop band; its rings are bounded in `rings`.
SHARP = Kernel(3.0, lambda x: np.sinc(x) * np.sinc(x / 3.0))
# A raised cosine, 0.75 px wide at half height: never negative, so nothing rings; about what one output pixel sees.
SOFT = Kernel(0.75, lambda x: 0.5 + 0.5 * np.cos(np.pi * x / 0.75))


@dataclass(frozen=True, slots=True)
class Places:
    """Evenly spaced places along one axis, in source pixels (0 is the middle of the first one)."""

    first: float
    step: float
    count: int

    @classmethod
    def over(cls, source: int, target: int) -> Places:
        """Return the middles of `target` pixels laid over `source` pixels."""
        step = source / target
        return cls((step - 1) / 2, step, target)

    @property
    def all(self) -> Floats:
        """Return every place."""
        return np.asarray(self.first + np.arange(self.count) * self.step, dtype=np.float64)

    def runs(self, length: int) -> Iterator[tuple[int, Places]]:
        """Yield the places in runs of at most `length`, each with the number of its first."""
        for start in range(0, self.count, length):
            yield start, Places(self.first + start * self.step, self.step, min(length, self.count - start))


class Band(NamedTuple):
    """Weights (..., places, pixels) over the source pixels from `start` on, which may lie outside the picture."""

    start: int
    weights: Weights

    @property
    def length(self) -> int:
        """Return how many source pixels there are weights for."""
        return int(self.weights.shape[-1])

    @property
    def stop(self) -> int:
        """Return the first source pixel after the band."""
        return self.start + self.length


def bands(kernel: Kernel, places: Places, moves: Floats) -> Band:
    """Return the weights (moves, places, pixels) of places moved on by each of some distances in source pixels.

    A kernel is never narrower than at the scale of the source.
    """
    scale = max(places.step, 1.0)
    middles = places.all + moves[:, None]
    start = int(np.floor(middles.min() - kernel.reach * scale))
    stop = int(np.ceil(middles.max() + kernel.reach * scale)) + 1
    weights = _weighed(kernel, (np.arange(start, stop) - middles[..., None]) / scale)
    return Band(start, weights.astype(np.float32))


def _weighed(kernel: Kernel, x: Floats) -> Floats:
    """Return the weights at `x` output pixels from each middle, each row of them with sum 1."""
    weights = np.where(np.abs(x) < kernel.reach, kernel.shape(x), 0.0)
    return np.asarray(weights / weights.sum(axis=-1, keepdims=True), dtype=np.float64)


def band(kernel: Kernel, places: Places, side: int) -> Band:
    """Return the weights (places, pixels) in a picture of `side` pixels: what lies outside is its nearest pixel's."""
    free = bands(kernel, places, np.zeros(1))
    at = np.clip(np.arange(free.start, free.stop), 0, side - 1)
    held = np.zeros((int(at[-1] - at[0]) + 1, places.count), np.float32)
    np.add.at(held, at - at[0], free.weights[0].T)
    return Band(int(at[0]), np.ascontiguousarray(held.T))


class Windows(NamedTuple):
    """For each place the first source pixel that counts (int32) and the weights (places, pixels) from there on."""

    first: NDArray[np.int32]
    weights: Weights


@lru_cache(maxsize=128)  # four for each picture of a frame
def windows(kernel: Kernel, places: Places, side: int) -> Windows:
    """Return the weights of places in a picture of `side` pixels, all inside it: as `band`, each place by itself."""
    scale = max(places.step, 1.0)
    middles = places.all
    lowest = np.floor(middles - kernel.reach * scale).astype(np.intp)
    reached = lowest[:, None] + np.arange(2 * math.ceil(kernel.reach * scale) + 2)
    return _held_inside(reached, _weighed(kernel, (reached - middles[:, None]) / scale), side)


def _held_inside(reached: NDArray[np.intp], weights: Floats, side: int) -> Windows:
    """Return weights (places, pixels) of source pixels `reached` with all that lies outside given to the nearest pixel.

    Pixels without a weight are left out at both ends, as far as every place can spare them.
    """
    places = np.arange(len(reached))
    held = np.clip(reached, 0, side - 1)
    counts = weights != 0
    begins = held[places, counts.argmax(axis=1)]
    ends = held[places, -1 - counts[:, ::-1].argmax(axis=1)]
    taps = int((ends - begins).max()) + 1
    first = np.minimum(begins, side - taps)
    found = np.zeros((len(places), taps))
    rows, columns = np.nonzero(counts)
    np.add.at(found, (rows, held[rows, columns] - first[rows]), weights[rows, columns])
    return Windows(first.astype(np.int32), found.astype(np.float32))


@cache
def _linear_algebra() -> Any:  # noqa: ANN401 (threadpoolctl has no types)
    import threadpoolctl  # noqa: PLC0415 (it looks through the loaded libraries: only where pixels are made)

    return threadpoolctl.ThreadpoolController()


def one_thread() -> AbstractContextManager[Any]:
    """Return a context in which products of matrices take one thread, as the codecs do: workers share the cores."""
    context: AbstractContextManager[Any] = _linear_algebra().limit(limits=1, user_api="blas")
    return context
