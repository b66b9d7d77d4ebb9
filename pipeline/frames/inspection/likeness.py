"""What of a frame is kept to compare it with others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.light.smooth import Picture

NINTHS = 3  # of a side: a frame has nine


@dataclass(frozen=True, slots=True)
class Likeness:
    """What of a frame is kept to compare it with others, small enough to be recorded.

    `fingerprint` is a perceptual hash; `levels` a small copy, one byte of lightness (square root of luminance) a pixel,
    `width` x `height`; `blur` the blur of the sharpest edges (share of the longer side) in each ninth of the frame, row
    by row, None where there is none, and last in all of it.
    """

    fingerprint: str
    width: int
    height: int
    levels: bytes
    blur: tuple[float | None, ...]

    def lightness(self) -> Picture:
        """Return the small copy as height x width, 0..1."""
        import numpy as np  # noqa: PLC0415 (who only reads what is recorded needs no arrays)

        return np.frombuffer(self.levels, np.uint8).reshape(self.height, self.width) / 255.0
