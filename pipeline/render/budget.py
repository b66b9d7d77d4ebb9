"""The quality of a file found instead of given: the best within so many bytes, the smallest above a floor of fidelity.

Fidelity and bytes rise with quality, but not in every single step; so what is delivered is always a file that was made
and measured itself. The same picture and settings give the same file, whatever else is made beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pyvips

from pipeline.job.sizes import byte_words
from pipeline.light.icc_output import TableProfile
from pipeline.render.chroma import may_be_halved
from pipeline.render.containers.embed import picture_data
from pipeline.render.counted import STEP, counted_bytes
from pipeline.render.encode import encode
from pipeline.render.fidelity import score

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from pipeline.plan.rendition import OutputFormat, PixelSettings
    from pipeline.render.encode import Chroma
    from pipeline.render.picture import Picture

LEAST_QUALITY, MOST_QUALITY = 30, 100  # at 30 fidelity is about 50 in each format, "medium"
CHROMAS: tuple[Chroma, ...] = ("4:4:4", "4:2:0")
FEW = 6  # trials guided by the typical curve, before the rest is halved

# (quality, fidelity, bits a pixel) of each format over the sample shoot. They say where to look first, and change no
# result, only the number of trials. Source: docs/encoding.md.
TYPICAL: dict[OutputFormat, tuple[tuple[float, float, float], ...]] = {
    "jpeg": (
        (30, 50.6, 0.50),
        (60, 69.3, 0.83),
        (80, 80.1, 1.27),
        (88, 84.9, 1.72),
        (95, 90.7, 2.79),
        (100, 95.2, 7.03),
    ),
    "webp": (
        (30, 51.9, 0.37),
        (60, 66.1, 0.57),
        (82, 77.3, 0.90),
        (90, 84.3, 1.33),
        (95, 87.5, 1.88),
        (100, 89.6, 2.74),
    ),
    "avif": (
        (30, 49.4, 0.21),
        (45, 67.1, 0.37),
        (62, 79.2, 0.65),
        (75, 84.8, 0.95),
        (85, 87.6, 1.25),
        (95, 92.2, 2.66),
        (100, 95.9, 7.33),
    ),
}


class BudgetTooSmall(ValueError):  # noqa: N818 (it is what was found)
    """Not even the lowest quality that is fit to be shown lies within the bytes allowed; its message says both.

    `by_words` says that the picture alone would: what breaks the limit are the words written beside it.
    """

    def __init__(self, message: str, *, by_words: bool) -> None:
        super().__init__(message)
        self.by_words = by_words


@dataclass(frozen=True, slots=True)
class Encoded:
    """A whole file, the quality it was encoded with (None: lossless), and its fidelity where that was measured."""

    data: bytes
    quality: int | None
    fidelity: float | None = None


def encoded(
    picture: Picture, output_format: OutputFormat, settings: PixelSettings, finish: Callable[[bytes], bytes]
) -> Encoded:
    """Return the file of a picture as its settings ask for it; `finish` makes a whole file of an encoded picture.

    The limit of bytes is kept whatever it costs; a floor of fidelity that cannot be reached within it, or not at all,
    is missed by as little as can be, and `fidelity` tells. Raises `BudgetTooSmall`, and what `finish` raises.
    """
    if output_format not in TYPICAL:
        return Encoded(finish(encode(picture, output_format, MOST_QUALITY)), None)
    way = partial(encode, picture, output_format, progressive=settings.progressive, tables=settings.jpeg_tables)
    if not settings.finds_quality:
        quality = dict(settings.quality).get(output_format, MOST_QUALITY)
        return Encoded(finish(way(quality)), quality)
    halved = output_format == "jpeg" and may_be_halved(picture)
    found: list[Encoded] = []
    refusals: list[BudgetTooSmall] = []
    for chroma in CHROMAS if halved else CHROMAS[:1]:
        make = partial(way, chroma=chroma)
        try:
            found.append(_within(_trials(picture, output_format, make, finish), settings.bytes_max, settings.fidelity))
        except BudgetTooSmall as error:
            refusals.append(error)
    if not found:
        raise refusals[-1]
    return min(found, key=partial(_merit, floor=settings.fidelity))


def _merit(file: Encoded, floor: float | None) -> tuple[float, int]:
    """Return what puts the better file first: above the floor the smaller, else that of the higher fidelity."""
    fidelity = -math.inf if file.fidelity is None else file.fidelity
    above = floor is not None and fidelity >= floor
    return (-math.inf if above else -fidelity, len(file.data))


def measure(picture: Picture, data: bytes) -> float | None:
    """Return the fidelity of a whole file to the finished pixels, cut to hundredths: never more than it is.

    None for colours by tables (CMYK): there it is not defined.
    """
    if isinstance(picture.space, TableProfile):
        return None
    shown = pyvips.Image.new_from_buffer(data, "").numpy()
    return math.floor(score(picture.image.numpy(), shown, picture.space) * 100) / 100


@dataclass(frozen=True, slots=True)
class Trials:
    """Files of one picture by quality, each made and measured once at most. `pixels` is how many it has."""

    output_format: OutputFormat
    pixels: int
    make: Callable[[int], bytes]
    measure: Callable[[bytes], float | None]
    files: dict[int, bytes] = field(default_factory=dict)
    scores: dict[int, float | None] = field(default_factory=dict)

    def file(self, quality: int) -> bytes:
        """Return the whole file of a quality."""
        if quality not in self.files:
            self.files[quality] = self.make(quality)
        return self.files[quality]

    def measured(self, quality: int) -> Encoded:
        """Return a quality's file with its fidelity."""
        data = self.file(quality)
        if quality not in self.scores:
            self.scores[quality] = self.measure(data)
        return Encoded(data, quality, self.scores[quality])

    def fidelity(self, quality: int) -> float:
        """Return the fidelity of a quality's file; nothing is reached where it cannot be measured."""
        found = self.measured(quality).fidelity
        return -math.inf if found is None else found

    def bytes(self, quality: int) -> int:
        """Return the bytes that a quality's file is counted with."""
        return counted_bytes(self.file(quality), self.output_format)

    def picture_bytes(self, quality: int) -> int:
        """Return the bytes of a quality's picture alone."""
        return len(picture_data(self.file(quality), self.output_format))


def _trials(
    picture: Picture, output_format: OutputFormat, make: Callable[[int], bytes], finish: Callable[[bytes], bytes]
) -> Trials:
    pixels = picture.image.width * picture.image.height
    return Trials(output_format, pixels, lambda quality: finish(make(quality)), partial(measure, picture))


def _within(trials: Trials, bytes_max: int | None, floor: float | None) -> Encoded:
    """Return the file of one way of encoding; one of the two limits is given. Raises `BudgetTooSmall`."""
    if floor is not None:
        file = _smallest_above(trials, floor)
        if bytes_max is None or counted_bytes(file.data, trials.output_format) <= bytes_max:
            return file
    return _best_below(trials, bytes_max or 0)


def _smallest_above(trials: Trials, floor: float) -> Encoded:
    """Return the smallest file whose fidelity is at least `floor`; that of the highest quality where none is."""
    curve = [(quality, fidelity) for quality, fidelity, _ in TYPICAL[trials.output_format]]
    lowest_rising(trials.fidelity, floor, curve)
    above = [trials.measured(quality) for quality in sorted(trials.scores) if trials.fidelity(quality) >= floor]
    return min(above, key=lambda file: len(file.data)) if above else trials.measured(MOST_QUALITY)


def _best_below(trials: Trials, bytes_max: int) -> Encoded:
    """Return the file of the highest quality that takes at most `bytes_max`. Raises `BudgetTooSmall`."""
    curve = [(quality, math.log(bits * trials.pixels / 8)) for quality, _, bits in TYPICAL[trials.output_format]]
    too_large = lowest_rising(lambda quality: math.log(trials.bytes(quality)), math.log(bytes_max + 0.5), curve)
    if too_large == LEAST_QUALITY:
        raise _too_small(trials, bytes_max)
    return trials.measured(too_large - 1)


def _too_small(trials: Trials, bytes_max: int) -> BudgetTooSmall:
    takes, picture = trials.bytes(LEAST_QUALITY), trials.picture_bytes(LEAST_QUALITY)
    by_words = picture + STEP <= bytes_max  # beside the picture there are always some, which are counted as one step
    words = f", {byte_words(takes - picture)} of it words and profile" if by_words else ""
    return BudgetTooSmall(
        f"at quality {LEAST_QUALITY}, the lowest that is fit to be shown, it takes {byte_words(takes)}{words}, "
        f"and bytes_max is {byte_words(bytes_max)}",
        by_words=by_words,
    )


def lowest_rising(value: Callable[[int], float], wanted: float, typical: Sequence[tuple[float, float]]) -> int:
    """Return the lowest quality whose value is at least `wanted`, one above the highest quality where none is.

    `value` rises with quality; where it does not in single steps, the answer reaches what is wanted and the quality
    below it does not. `typical` are points (quality, value) of a curve that other pictures followed: this one's is
    taken to be the same, higher or lower, until a few trials say otherwise.
    """
    steps = np.arange(LEAST_QUALITY, MOST_QUALITY + 1)
    at, values = zip(*typical, strict=True)
    curve = np.interp(steps, at, values)
    below, above = LEAST_QUALITY - 1, MOST_QUALITY + 1
    off: dict[int, float] = {}  # by quality tried: how far this picture lies from the typical one
    while above - below > 1:
        here = curve + (np.interp(steps, sorted(off), [off[one] for one in sorted(off)]) if off else 0.0)
        guess = LEAST_QUALITY + int(np.count_nonzero(here < wanted))
        if off and (below < LEAST_QUALITY or above > MOST_QUALITY):
            last = above if below < LEAST_QUALITY else below
            guess += guess - last  # twice as far: what is wanted shall lie between two trials
        quality = min(max(guess, below + 1), above - 1) if len(off) < FEW else (below + above) // 2
        found = value(quality)
        off[quality] = found - float(curve[quality - LEAST_QUALITY])
        if found >= wanted:
            above = quality
        else:
            below = quality
    return above
