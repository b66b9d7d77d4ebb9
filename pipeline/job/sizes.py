"""Numbers of bytes as she writes them: "200 kB", "1.5 MB", "1.2 GB"."""

from __future__ import annotations

import math
from fractions import Fraction

# SI, as shops and sites that set a limit count (IEC 80000-13).
UNITS = {"kB": 10**3, "MB": 10**6, "GB": 10**9}


def byte_count(text: str) -> int:
    """Return the whole bytes of "200 kB" or "1.5 MB"; ValueError for other words."""
    number, unit = text[:-2].strip(), text[-2:]
    return int(Fraction(number) * UNITS[unit])


def byte_words(count: int) -> str:
    """Return the size of a file in kB or MB, never fewer bytes than there are: "61.4 kB", "1.5 MB"."""
    return _words(count, "MB" if count >= UNITS["MB"] else "kB")


def memory_words(count: int) -> str:
    """Return a size of memory in MB or GB likewise: "800 MB", "1.2 GB"."""
    return _words(count, "GB" if count >= UNITS["GB"] else "MB")


def _words(count: int, unit: str) -> str:
    return f"{math.ceil(10 * count / UNITS[unit]) / 10:g} {unit}"
