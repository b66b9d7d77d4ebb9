"""Perceptual hash: 64 bits that hardly change where a picture is reduced, coded again or made a little brighter.

The signs of the 8 x 8 lowest terms of a discrete cosine transform of 32 x 32 grey values, against their median.
Source: [Zauner] Implementation and Benchmarking of Perceptual Image Hash Functions, 2010, 3.2.1 (from memory); the
test compares with a library.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pipeline.light.smooth import Picture

SIDE, KEPT = 32, 8


def fingerprint(grey: Picture) -> str:
    """Return the hash of a picture (height x width, any size, encoded or lightness) as 16 hexadecimal digits."""
    return hash_of_grid(grid_of_means(grey, SIDE, SIDE))


def hash_of_grid(grid: Picture) -> str:
    """Return the hash of 32 x 32 values."""
    frequency, place = np.arange(KEPT)[:, None], np.arange(SIDE)[None]
    cosines = np.cos(np.pi * frequency * (2 * place + 1) / (2 * SIDE))
    low = cosines @ grid @ cosines.T
    bits = (low > np.median(low)).ravel()
    return f"{int(''.join('1' if bit else '0' for bit in bits), 2):016x}"


def bits_apart(one: str, other: str) -> int:
    """Return in how many bits two hashes differ."""
    return (int(one, 16) ^ int(other, 16)).bit_count()


def grid_of_means(values: Picture, rows: int, columns: int) -> Picture:
    """Return the means of rows x columns parts of a picture, as even as whole pixels allow; of less, its pixels."""
    height, width = values.shape
    for axis, length, count in ((0, height, rows), (1, width, columns)):
        starts = np.arange(count) * length // count
        sizes = np.maximum(np.diff(starts, append=length), 1)
        shape = (-1, 1) if axis == 0 else (1, -1)
        values = np.add.reduceat(values, starts, axis) / sizes.reshape(shape)
    return values
