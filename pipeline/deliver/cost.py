"""About how long files take to be made: so that what takes longest is begun first, and progress is told rightly.

Processor time of one pixel in about 10 ns, measured at 24 megapixels (DEVELOPERS.md).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pipeline.deliver.tasks import FileTask
    from pipeline.frames.header import Header
    from pipeline.plan.rendition import OutputFormat, Rendition

PICTURE = 1  # a picture up to its codes
ENCODED: dict[OutputFormat, int] = {"jpeg": 30, "webp": 25, "avif": 130, "png": 10, "tiff": 5}
STANDARD_JPEG = 1  # with the tables of its standard, as on the contact sheet
FILES_TRIED = 4  # about so many, where the quality of a file is found
DECODED, DECODED_SLOWLY = 1, 8
SOON_DECODED = ("jpeg", "tiff")


def decoding_cost(header: Header) -> int:
    """Return about how long a frame takes to be decoded."""
    return header.size.pixels * (DECODED if header.format in SOON_DECODED else DECODED_SLOWLY)


def encoding_cost(rendition: Rendition, files: Iterable[FileTask]) -> int:
    """Return about how long some files of a rendition take, those of them that need pixels: made, and encoded."""
    made = [file for file in files if file.work == "pixels"]
    sizes = {file.output.size for file in made}
    return PICTURE * sum(size.pixels for size in sizes) + sum(
        file.output.size.pixels * _encoded(rendition, file) for file in made
    )


def _encoded(rendition: Rendition, file: FileTask) -> int:
    settings, on_sheet = rendition.settings, file.output in rendition.sheet_outputs
    if file.output.format == "jpeg" and (on_sheet or settings.jpeg_tables == "standard"):
        once = STANDARD_JPEG
    else:
        once = ENCODED[file.output.format]
    return once * (FILES_TRIED if settings.finds_quality and not on_sheet else 1)
