"""How large a target's files may be and how good they must stay: `bytes_max = "200 kB"`, `fidelity = 85`."""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import TYPE_CHECKING, Annotated

from pydantic import AfterValidator, Field

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.job.target import Target

# SI, as shops and sites that set such a limit count (IEC 80000-13).
UNITS = {"kB": 1000, "MB": 1_000_000}
LEAST_BYTES, MOST_BYTES = 5 * UNITS["kB"], 1000 * UNITS["MB"]
WANTED = 'write a number with its unit, kB (1000 bytes) or MB, such as "200 kB"'
LOSSLESS = ("png", "tiff")


def _byte_text(text: str) -> str:
    """Refuse what is no number of bytes, or far from any picture's."""
    if re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,3})? ?(kB|MB)", text) is None:
        raise ValueError(WANTED)
    if not LEAST_BYTES <= byte_count(text) <= MOST_BYTES:
        raise ValueError("a picture's limit lies between 5 kB and 1000 MB")
    return text


ByteText = Annotated[str, AfterValidator(_byte_text), Field(examples=["200 kB"])]


def byte_count(text: str) -> int:
    """Return the whole bytes of "200 kB" or "1.5 MB"; ValueError for other words."""
    number, unit = text[:-2].strip(), text[-2:]
    return int(Fraction(number) * UNITS[unit])


def byte_words(count: int) -> str:
    """Return a number of bytes in the same units, never fewer than there are: "61.4 kB", "1.5 MB"."""
    unit = "MB" if count >= UNITS["MB"] else "kB"
    return f"{math.ceil(10 * count / UNITS[unit]) / 10:g} {unit}"


def budget_contradictions(target: Target) -> Iterator[str]:
    """Yield, as "found; wanted", what else in a target a limit of bytes or a floor of fidelity does not go with."""
    limits = [name for name in ("bytes_max", "fidelity") if getattr(target, name) is not None]
    if limits and "quality" in target.model_fields_set:
        yield f"there is a quality beside {' and '.join(limits)}, which finds it; leave quality out"
    lossless = [name for name in target.formats if name in LOSSLESS]
    if target.bytes_max is not None and lossless:
        found = f"there is a bytes_max, and formats has {' and '.join(lossless)}, where every pixel is kept"
        yield f"{found}; leave bytes_max out, or give the others a target of their own"
    if target.fidelity is not None and len(lossless) == len(target.formats):
        found = f"there is a fidelity, and formats has only {' and '.join(lossless)}, where every pixel is kept"
        yield f"{found}; leave fidelity out"
