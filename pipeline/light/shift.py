"""By how much one picture is shifted against another, and how alike the two are where they overlap.

Source: Kuglin and Hines, Proc. International Conference on Cybernetics and Society, 163-165, 1975: phase correlation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pipeline.light.smooth import Picture

FARTHEST = 0.15  # of each side


@dataclass(frozen=True, slots=True)
class Shift:
    """Whole pixels right and down from the place of a thing in one picture to its place in the other.

    `likeness` is the correlation (-1..1) of the two where they overlap.
    """

    right: int
    down: int
    likeness: float


def shift_between(one: Picture, other: Picture) -> Shift:
    """Return the shift between two pictures of the same size; none where phase correlation finds no better one."""
    window = np.outer(np.hanning(one.shape[0] + 2)[1:-1], np.hanning(one.shape[1] + 2)[1:-1])
    first, second = (np.fft.rfft2((picture - picture.mean()) * window) for picture in (one, other))
    cross = first.conj() * second
    strength = np.abs(cross)
    phase = np.divide(cross, strength, out=np.zeros_like(cross), where=strength > 1e-12)
    peak = np.fft.irfft2(phase, one.shape)
    reach = tuple(int(FARTHEST * length) for length in one.shape)
    rows, columns = (np.arange(-far, far + 1) for far in reach)
    near = peak[np.ix_(rows, columns)]
    row, column = np.unravel_index(int(near.argmax()), near.shape)
    found = int(columns[column]), int(rows[row])
    tries = (found, (0, 0))
    return max((Shift(*by, likeness(*overlapping(one, other, *by))) for by in tries), key=lambda shift: shift.likeness)


def overlapping(one: Picture, other: Picture, right: int, down: int) -> tuple[Picture, Picture]:
    """Return the parts of two pictures of one size that show the same, the other shifted by so much."""
    height, width = one.shape[:2]
    rows, columns = slice(max(-down, 0), height - max(down, 0)), slice(max(-right, 0), width - max(right, 0))
    there = slice(max(down, 0), height - max(-down, 0)), slice(max(right, 0), width - max(-right, 0))
    return one[rows, columns], other[there]


def likeness(one: Picture, other: Picture) -> float:
    """Return the correlation of two pictures of one size, 0 where either is flat."""
    first, second = one - one.mean(), other - other.mean()
    both = float(np.sqrt((first**2).sum() * (second**2).sum()))
    return float((first * second).sum()) / both if both > 1e-12 else 0.0
