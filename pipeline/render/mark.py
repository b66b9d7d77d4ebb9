"""The mark of a proof: words laid across the picture, so that it is seen to be one and not used as a final."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pyvips

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.light.box import Size

LIGHT_SHARE, DARK_SHARE = 0.42, 0.30  # how much of the picture the letters and their edge take over
LETTERS_PER_LINE = 34
TURN_DEG = 24.0


def proof_mark(words: str | None, size: Size) -> Callable[[Any], Any]:
    """Return a step that lays `words` across linear light: light letters with a dark edge, so both grounds show them.

    The letters scale with the picture. `None` gives a step that changes nothing.
    """
    if words is None:
        return lambda image: image
    letters, edges = (_mask(data, size) for data in _drawn(words, size))

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        darker = image * (1 - edges * DARK_SHARE)
        return darker * (1 - letters * LIGHT_SHARE) + letters * LIGHT_SHARE

    return step


def _mask(data: bytes, size: Size) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    return pyvips.Image.new_from_memory(data, size.width, size.height, 1, "uchar") / 255


def _drawn(words: str, size: Size) -> tuple[bytes, bytes]:
    """Return letters and edges as coverage, one byte a pixel: lines of `words`, turned, over the whole picture."""
    from PIL import Image, ImageDraw, ImageFont  # noqa: PLC0415 (only proofs need it)

    span = int((size.width**2 + size.height**2) ** 0.5) + 2
    letter = max(12, span // LETTERS_PER_LINE)
    font = ImageFont.load_default(letter)
    line = f"{words}    ·    "
    step = 5 * letter
    sheets = []
    for stroke in (0, max(1, letter // 12)):
        sheet = Image.new("L", (span, span))
        pen = ImageDraw.Draw(sheet)
        width = max(1, int(pen.textlength(line, font=font)))
        for row, top in enumerate(range(step // 2, span, step)):
            start = -(row % 2) * width // 2
            pen.text((start, top), line * (span // width + 2), fill=255, font=font, stroke_width=stroke)
        turned = sheet.rotate(TURN_DEG, resample=Image.Resampling.BICUBIC)
        left, top = (span - size.width) // 2, (span - size.height) // 2
        sheets.append(turned.crop((left, top, left + size.width, top + size.height)).tobytes())
    letters, outlined = sheets
    return letters, outlined
