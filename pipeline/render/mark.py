"""The mark of a proof: words laid across the picture, so that it is seen to be one and not used as a final."""

from __future__ import annotations

import functools
import unicodedata
from typing import TYPE_CHECKING, Any

import pyvips

if TYPE_CHECKING:
    from collections.abc import Callable

    from PIL import ImageFont

    from pipeline.light.box import Size

LIGHT_SHARE, DARK_SHARE = 0.42, 0.45  # how much of the picture the letters and their edge take over
LETTERS_PER_LINE = 34
SMALLEST_LETTER_PX = 12
LONGEST_LINE = 120
TURN_DEG = 24.0

# The built-in font is plain Latin: accents come off (Unicode NFKD), and these have stand-ins of their own.
STAND_INS = {
    "ß": "ss", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "đ": "d", "Đ": "D",
    "ð": "d", "Ð": "D", "ł": "l", "Ł": "L", "þ": "th", "Þ": "Th", "\u0131": "i", "\u2010": "-", "\u2011": "-",
    "\u2012": "-", "\u2013": "-", "\u2014": "-", "\u2212": "-", "\u00d7": "x", "\u20ac": "EUR",
}  # fmt: skip
NO_LETTER = "\U0010ffff"  # never assigned: drawn as the font's empty box


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


def lettering(words: str) -> str:
    """Return what is drawn for `words`: one line of at most 120 characters, accents folded as far as the font needs."""
    line = "".join(_stand_in(letter) for letter in " ".join(unicodedata.normalize("NFC", words).split()))
    return line if len(line) <= LONGEST_LINE else line[: LONGEST_LINE - 1].rstrip() + "…"


def missing_letters(words: str) -> set[str]:
    """Return the letters of `words` that the mark has no shape for and would draw as empty boxes."""
    letters = set("".join(unicodedata.normalize("NFC", words).split()))
    return {letter for letter in letters if not all(map(_has_shape, _stand_in(letter)))}


def _stand_in(letter: str) -> str:
    """Return the letter where the font has it, else what stands for it (nothing for marks without width)."""
    if _has_shape(letter):
        return letter
    plain = unicodedata.normalize("NFKD", STAND_INS.get(letter, letter))
    return "".join(part for part in plain if unicodedata.category(part) not in ("Mn", "Me", "Cf"))


@functools.cache
def _has_shape(letter: str) -> bool:
    return letter == " " or _shape(letter) != _shape(NO_LETTER)


def _shape(letter: str) -> tuple[tuple[int, int], bytes]:
    mask = _font(24).getmask(letter, mode="L")
    return mask.size, bytes(mask)


@functools.cache
def _font(size_px: int) -> ImageFont.FreeTypeFont:
    """Return the font that comes inside Pillow: the same letters on every machine."""
    from PIL import ImageFont  # noqa: PLC0415 (only proofs need it)

    font = ImageFont.load_default(size_px)
    if not isinstance(font, ImageFont.FreeTypeFont):
        raise AssertionError("Pillow was built without FreeType")  # noqa: TRY004 (its wheels never are)
    return font


def _mask(data: bytes, size: Size) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    return pyvips.Image.new_from_memory(data, size.width, size.height, 1, "uchar") / 255


def _drawn(words: str, size: Size) -> tuple[bytes, bytes]:
    """Return letters and edges as coverage, one byte a pixel: lines of `words`, turned, over the whole picture."""
    from PIL import Image, ImageDraw  # noqa: PLC0415 (only proofs need it)

    span = int((size.width**2 + size.height**2) ** 0.5) + 2
    letter = max(SMALLEST_LETTER_PX, span // LETTERS_PER_LINE)
    font = _font(letter)
    line = f"{lettering(words)}    ·    "
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
