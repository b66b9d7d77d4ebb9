"""The finished pictures of the sample shoot, as they go into the encoder."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pyvips

from pipeline.deliver.survey import survey
from pipeline.frames.pixels import decode
from pipeline.render.picture import make_picture
from pipeline.render.source import source_of
from pipeline.render.two_up import make_two_up

if TYPE_CHECKING:
    from pipeline.frames.header import Header
    from pipeline.light.box import Size
    from pipeline.plan.rendition import OutputFormat, PixelSettings, Rendition
    from pipeline.render.picture import Picture
    from pipeline.render.source import Source

JOB = Path(__file__).parents[2] / "sample_shoot" / "job.toml"
LOSSY: tuple[OutputFormat, ...] = ("jpeg", "webp", "avif")
# A few of different kinds, for a short run: fine detail in strong colours, calm shapes, red skin.
FEW = {
    ("bowl-from-above/blog/hero", 800),
    ("bowl-from-above/feed/avatar", 400),
    ("bowl-and-flatbread/feed/two-three", 1000),
    ("bowl-and-vine/partner/proof", 1000),
    ("vine-tomatoes/blog/step", 480),
    ("vine-tomatoes/blog/step", 720),
}


@dataclass(frozen=True, slots=True)
class Finished:
    """One picture at one size: its rendition's name, its settings, the lossy formats that the job makes of it."""

    name: str
    settings: PixelSettings
    formats: tuple[OutputFormat, ...]
    picture: Picture

    @property
    def megapixels(self) -> float:
        """Return its size."""
        return float(self.picture.image.width * self.picture.image.height) / 1e6

    def __str__(self) -> str:
        """Return the frame, the target and the width."""
        return f"{self.name}, {self.picture.image.width} px"


@cache
def finished_pictures(*, full: bool) -> tuple[Finished, ...]:
    """Return the pictures of every rendition that gets lossy files; not `full`, a few."""
    pyvips.concurrency_set(1)  # as in an export: an AV1 encoder that may use more threads gives other bytes
    found: list[Finished] = []
    decoded = cache(_decoded)
    for frame in survey(JOB).plan({}).frames:
        for rendition in frame.renditions:
            for size in dict.fromkeys(output.size for output in rendition.outputs):
                formats = tuple(one.format for one in rendition.outputs if one.size == size and one.format in LOSSY)
                if formats and (full or (rendition.name, size.width) in FEW):
                    first = decoded(frame.header, frame.file)
                    second = decoded(rendition.beside.header, rendition.beside.file) if rendition.beside else None
                    picture = _picture(first, second, rendition, size)
                    found.append(Finished(rendition.name, rendition.settings, formats, picture))
    return tuple(found)


def _decoded(header: Header, name: str) -> Source:
    return source_of(decode(header, name=name))


def _picture(first: Source, second: Source | None, rendition: Rendition, size: Size) -> Picture:
    crop, beside, settings = rendition.crop, rendition.beside, rendition.settings
    if second is None or beside is None:
        return make_picture(first, crop.box, size, settings, crop.turn_deg)
    return make_two_up(first, second, crop, beside, size, settings)
