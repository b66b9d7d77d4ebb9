"""The bytes that a whole file is counted with where a target limits them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pipeline.render.containers.embed import picture_data

if TYPE_CHECKING:
    from pipeline.plan.rendition import OutputFormat

# All but the picture is counted in steps: most corrections of a caption then leave the quality that was found as it is.
STEP = 2048


def counted_bytes(data: bytes, output_format: OutputFormat) -> int:
    """Return the bytes of a file's picture, and of all else rounded up to whole steps; never less than the file has.

    ValueError where the file cannot be read.
    """
    picture = len(picture_data(data, output_format))
    return picture + math.ceil((len(data) - picture) / STEP) * STEP
