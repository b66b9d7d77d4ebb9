"""The mark of a proof: words laid across the picture, so that it is seen to be one and not used as a final.

Drawn in Open Sans (SIL Open Font License; Latin with all accents, Greek, Cyrillic), out of a package of its own.
"""

from __future__ import annotations

import functools
import math
import textwrap
import unicodedata
from importlib.resources import as_file, files
from typing import TYPE_CHECKING, Any

import pyvips

if TYPE_CHECKING:
    from collections.abc import Callable

    from PIL import Image, ImageFont

    from pipeline.light.box import Size

# How much of linear light the edge takes and the letters cover. Over any even ground either the letters differ from
# their edge, or the edge from the ground, by a contrast of 3:1, what [WCAG] 1.4.11 asks of a graphic.
DARK_SHARE, LIGHT_SHARE = 0.75, 0.5
WEIGHT, WIDTH = 600, 100
TURN_DEG = 24.0
LETTERS_PER_DIAGONAL = 40
SMALLEST_LETTER_PX, EDGE_PER_LETTER = 10, 1 / 14
LINE_HEIGHT = 1.4
LETTERS_PER_LINE = 36
PART = " · "  # between what the mark says: a line ends here rather than elsewhere

STAND_INS = {"\u2010": "-", "\u2011": "-", "\u2012": "-"}  # hyphens and a dash that the font has in one form only
NO_LETTER = "\U0010ffff"  # never assigned: drawn as the font's empty box
LEFTWARD = {"R", "AL"}  # Unicode bidirectional classes of scripts that run from right to left


def proof_mark(words: str | None, size: Size) -> Callable[[Any], Any]:
    """Return a step that lays `words` across linear light: light letters with a dark edge, so both grounds show them.

    The letters scale with the picture; once, in its middle, the words stand whole. The step takes any number of bands.
    `None` gives a step that changes nothing.
    """
    if words is None:
        return lambda image: image
    letters, edges = (_image(mask) for mask in _masks(words, size))

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        darker = image * (1 - edges * DARK_SHARE)
        return darker * (1 - letters * LIGHT_SHARE) + letters * LIGHT_SHARE

    return step


def lettering(words: str) -> tuple[str, ...]:
    """Return the lines drawn for `words`, of 36 characters at most; accents folded where the font lacks them."""
    whole = "".join(_stand_in(letter) for letter in " ".join(unicodedata.normalize("NFC", words).split()))
    lines: list[str] = []
    for part in filter(None, whole.split(PART)):
        if lines and len(lines[-1] + PART + part) <= LETTERS_PER_LINE:
            lines[-1] += PART + part
        else:
            lines.extend(_broken(part))
    return tuple(lines)


def _broken(part: str) -> list[str]:
    """Return a part in as few lines as hold it, of about one length."""
    even = -(-len(part) // max(1, -(-len(part) // LETTERS_PER_LINE)))
    fewest = textwrap.wrap(part, LETTERS_PER_LINE)
    widths = range(even, LETTERS_PER_LINE)
    return next((lines for width in widths if len(lines := textwrap.wrap(part, width)) == len(fewest)), fewest)


def missing_letters(words: str) -> set[str]:
    """Return the letters of `words` that the mark has no shape for, or could only set in the wrong order."""
    letters = set("".join(unicodedata.normalize("NFC", words).split()))
    return {letter for letter in letters if not all(map(_has_shape, _stand_in(letter)))}


def _stand_in(letter: str) -> str:
    """Return the letter where the font has it, else what stands for it (nothing for marks without width)."""
    if unicodedata.category(letter) in ("Cc", "Cf"):
        return ""
    if _has_shape(letter):
        return letter
    plain = unicodedata.normalize("NFKD", STAND_INS.get(letter, letter))
    return "".join(part for part in plain if unicodedata.category(part) not in ("Mn", "Me", "Cf"))


@functools.cache
def _has_shape(letter: str) -> bool:
    if unicodedata.bidirectional(letter) in LEFTWARD:
        return False
    return letter == " " or _shape(letter) != _shape(NO_LETTER)


def _shape(letter: str) -> tuple[tuple[int, int], bytes]:
    mask = _font(24).getmask(letter, mode="L")
    return mask.size, bytes(mask)


@functools.cache
def _font(size_px: int) -> ImageFont.FreeTypeFont:
    """Return the font, the same letters on every machine: laid out by Pillow alone, not by what is installed there."""
    from PIL import ImageFont  # noqa: PLC0415 (only proofs need it)

    with as_file(files("fontpkg_open_sans") / "files" / "OpenSans[wdth,wght].ttf") as path:
        font = ImageFont.truetype(str(path), size_px, layout_engine=ImageFont.Layout.BASIC)
    font.set_variation_by_axes([WEIGHT, WIDTH])
    return font


def _image(mask: Image.Image) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    return pyvips.Image.new_from_memory(mask.tobytes(), mask.width, mask.height, 1, "uchar") / 255


def _masks(words: str, size: Size) -> tuple[Image.Image, Image.Image]:
    """Return letters and edges as coverage, 8 bits, over the whole picture: the lines in rows like bricks, turned."""
    from PIL import Image, ImageChops  # noqa: PLC0415 (only proofs need it)

    lines = lettering(words) or ("Proof",)
    letter = _letter_px(lines, size)
    masks = []
    for edge in (0, max(1, round(letter * EDGE_PER_LETTER))):
        block = _block(lines, letter, edge)
        turned = block.rotate(TURN_DEG, resample=Image.Resampling.BICUBIC, expand=True)
        mask = Image.new("L", (size.width, size.height))
        for middle_x, middle_y in _places(size, _extent(lines, letter), gap=2.5 * letter):
            left, top = round(middle_x - turned.width / 2), round(middle_y - turned.height / 2)
            there = (left, top, left + turned.width, top + turned.height)
            mask.paste(ImageChops.lighter(mask.crop(there), turned), there[:2])
        masks.append(mask)
    letters, edges = masks
    return letters, edges


def _letter_px(lines: tuple[str, ...], size: Size) -> int:
    """Return the largest letter, up to a share of the diagonal, with which all lines stand in the picture once."""
    largest = max(SMALLEST_LETTER_PX, round(math.hypot(size.width, size.height) / LETTERS_PER_DIAGONAL))
    turn = math.radians(TURN_DEG)
    for letter in range(largest, SMALLEST_LETTER_PX, -1):
        across, down = _extent(lines, letter)
        wide = across * math.cos(turn) + down * math.sin(turn)
        high = across * math.sin(turn) + down * math.cos(turn)
        if wide <= size.width and high <= size.height:
            return letter
    return SMALLEST_LETTER_PX


def _extent(lines: tuple[str, ...], letter: int) -> tuple[int, int]:
    """Return the width and height of the lines in pixels, edges included."""
    font = _font(letter)
    return math.ceil(max(map(font.getlength, lines)) + letter / 2), math.ceil(len(lines) * LINE_HEIGHT * letter)


def _block(lines: tuple[str, ...], letter: int, edge: int) -> Image.Image:
    from PIL import Image, ImageDraw  # noqa: PLC0415 (only proofs need it)

    across, down = _extent(lines, letter)
    block = Image.new("L", (across, down))
    pen = ImageDraw.Draw(block)
    for row, line in enumerate(lines):
        place = (across / 2, (row + 0.5) * LINE_HEIGHT * letter)
        pen.text(place, line, fill=255, font=_font(letter), anchor="mm", stroke_width=edge)
    return block


def _places(size: Size, block: tuple[int, int], gap: float) -> list[tuple[float, float]]:
    """Return the middles of the blocks, one of them in the middle of the picture, rows shifted by half a block."""
    turn = math.radians(TURN_DEG)
    diagonal = math.hypot(size.width, size.height)
    across, down = max(block[0] + gap, diagonal / 2.5), max(block[1] + gap, diagonal / 6)
    reach = diagonal / 2
    columns, rows = math.ceil(reach / across) + 1, math.ceil(reach / down) + 1
    places = []
    for row in range(-rows, rows + 1):
        for column in range(-columns, columns + 1):
            x, y = (column + row % 2 / 2) * across, row * down
            turned_x, turned_y = x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
            places.append((size.width / 2 + turned_x, size.height / 2 + turned_y))
    return places
