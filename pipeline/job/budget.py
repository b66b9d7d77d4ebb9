"""How large a target's files may be and how good they must stay: `bytes_max = "200 kB"`, `fidelity = 85`."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated

from pydantic import AfterValidator, Field

from pipeline.job.sizes import UNITS, byte_count

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.job.target import Target

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
