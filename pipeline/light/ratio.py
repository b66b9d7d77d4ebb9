"""Exact ratios: from what a person wrote, and between whole widths and heights."""

from __future__ import annotations

import functools
import math
import re
from fractions import Fraction

_RATIO = re.compile(r"\s*(\d+(?:\.\d+)?)\s*:\s*(\d+(?:\.\d+)?)\s*")
_FINEST = 1_000_000


@functools.lru_cache(maxsize=8192)
def exact(number: float | Fraction) -> Fraction:
    """Return the simplest fraction within half a millionth of `number`.

    What a person typed (0.31) or what was divided (5/203) comes back as exactly that, so that equal
    demands compare equal; on a side of 60 000 px the error stays below 0.03 px.
    """
    return Fraction(number).limit_denominator(_FINEST)


@functools.lru_cache(maxsize=1024)
def parse_ratio(text: str) -> Fraction:
    """Return width : height of `text` ("16:9", "1.91:1") as an exact fraction.

    Raises ValueError with a sentence for the person where it is no ratio of two numbers above 0.
    """
    match = _RATIO.fullmatch(text)
    if match is None or not all(Fraction(part) for part in match.groups()):
        raise ValueError(f"'{text}' is no ratio; write width:height with both above 0, for example 16:9")
    width, height = match.groups()
    return Fraction(width) / Fraction(height)


def half_up(number: Fraction) -> int:
    """Return the nearest whole number, the upper one for a half."""
    return math.floor(number + Fraction(1, 2))


def height_at(width: int, ratio: Fraction) -> int:
    """Return the whole height of a box of `ratio` (width / height) that is `width` pixels wide; may be 0."""
    top, bottom = ratio.numerator, ratio.denominator
    return (2 * width * bottom + top) // (2 * top)


def widest_at(height: int, ratio: Fraction) -> int:
    """Return the largest width whose `height_at` is at most `height`."""
    return (ratio.numerator * (2 * height + 1) - 1) // (2 * ratio.denominator)


def narrowest_at(height: int, ratio: Fraction) -> int:
    """Return the smallest width whose `height_at` is at least `height`."""
    return -(-ratio.numerator * (2 * height - 1) // (2 * ratio.denominator))
