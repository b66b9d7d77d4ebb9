"""The last frames of a run, split by their renditions, so that no worker stands idle while others are at the last ones.

Each part decodes the frame for itself and is a task of its own; what came of the parts is put together again.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING

from pipeline.deliver.tasks import FILES_TRIED
from pipeline.deliver.work import FrameDone

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from pipeline.deliver.tasks import FileTask, FrameTask, RenditionTask
    from pipeline.light.box import Size
    from pipeline.plan.rendition import OutputFormat, PixelSettings

# Processor time a pixel, in about 10 ns, measured at 24 megapixels (DEVELOPERS.md): a picture up to its codes, then
# encoded. JPEG with the tables of its standard, as on the contact sheet, takes little.
PICTURE = 1
ENCODED: dict[OutputFormat, int] = {"jpeg": 30, "webp": 25, "avif": 130, "png": 10, "tiff": 5}
STANDARD_JPEG = 1
DECODED, DECODED_SLOWLY = 1, 8
SOON_DECODED = ("jpeg", "tiff")
LEAST = 25_000_000  # a quarter of a second: to begin a process takes longer


def split_last(
    tasks: Sequence[FrameTask], workers: int, fit: Callable[[Sequence[FrameTask]], bool]
) -> list[tuple[FrameTask, ...]]:
    """Return the parts of each task, in order: most are whole, those that would leave workers idle are split.

    With `r` tasks more than rounds of all workers take, and workers enough to give each of these two or more, the last
    `r` are split among them. `fit` says whether there is memory for parts side by side.
    """
    whole: list[tuple[FrameTask, ...]] = [(task,) for task in tasks]
    left = len(tasks) % workers
    if not left or workers // left < 2:
        return whole
    last = [parts_of(task, workers // left) for task in tasks[-left:]]
    return [*whole[:-left], *last] if fit([part for parts in last for part in parts]) else whole


def parts_of(task: FrameTask, most: int) -> tuple[FrameTask, ...]:
    """Return a task in at most so many parts, each worth the decoding; the task itself where two are not worth it.

    Every rendition is in one part, in the order of the task. Renditions of one crop lie beside each other before the
    cuts are made, for they share previews and pictures.
    """
    renditions = sorted(task.renditions, key=_by_crop(task.renditions))
    costs = [_cost(one) for one in renditions]
    least = max(LEAST, task.header.size.pixels * (DECODED if task.header.format in SOON_DECODED else DECODED_SLOWLY))
    parts = min(most, sum(cost > 0 for cost in costs), sum(costs) // least)
    if parts < 2:
        return (task,)
    places = {id(one): place for place, one in enumerate(task.renditions)}
    cut = [renditions[start:end] for start, end in pairwise((0, *cuts(costs, parts), len(costs)))]
    return tuple(replace(task, renditions=tuple(sorted(part, key=lambda one: places[id(one)]))) for part in cut)


def cuts(costs: Sequence[int], parts: int) -> list[int]:
    """Return where to cut a sequence so that its parts cost as much as each other, none of them empty.

    No part costs more than its share and the largest cost besides. At least as many costs as parts.
    """
    reached = [0, *accumulate(costs)]
    found: list[int] = []
    for part in range(1, parts):
        share = reached[-1] * part  # times the number of parts: whole numbers, alike everywhere
        possible = range((found[-1] if found else 0) + 1, len(costs) - (parts - part) + 1)
        found.append(min(possible, key=lambda place: abs(reached[place] * parts - share)))
    return found


def put_together(task: FrameTask, came: Sequence[FrameDone]) -> FrameDone:
    """Return what came of a task, from what came of its parts in order; what was told twice is told once."""
    if len(came) == 1:
        return came[0]
    places = {file.output.path: place for place, file in enumerate(_files(task))}
    made = sorted((row for one in came for row in one.made), key=lambda row: places[row.path])
    return FrameDone(
        task.file,
        tuple(made),
        tuple(dict.fromkeys(fault for one in came for fault in one.faults)),
        tuple(dict.fromkeys(note for one in came for note in one.notes)),
        sum(one.rendered for one in came),
        sum(one.rewritten for one in came),
    )


def _files(task: FrameTask) -> list[FileTask]:
    return [file for one in task.renditions for file in one.files]


def _by_crop(renditions: Sequence[RenditionTask]) -> Callable[[RenditionTask], int]:
    """Return what puts those of one crop beside each other, else in their order."""
    first: dict[object, int] = {}
    for place, one in enumerate(renditions):
        first.setdefault((one.rendition.crop.box, one.rendition.crop.turn_deg, one.rendition.beside), place)
    return lambda one: first[one.rendition.crop.box, one.rendition.crop.turn_deg, one.rendition.beside]


def _cost(one: RenditionTask) -> int:
    """Return about how long the pictures of a rendition take, in 10 ns."""
    files = [file for file in one.files if file.work == "pixels"]
    sizes: set[Size] = {file.output.size for file in files}
    encoded = sum(
        file.output.size.pixels
        * _encoded(file, one.rendition.settings, on_sheet=file.output in one.rendition.sheet_outputs)
        for file in files
    )
    return PICTURE * sum(size.pixels for size in sizes) + encoded


def _encoded(file: FileTask, settings: PixelSettings, *, on_sheet: bool) -> int:
    if file.output.format == "jpeg" and (on_sheet or settings.jpeg_tables == "standard"):
        once = STANDARD_JPEG
    else:
        once = ENCODED[file.output.format]
    return once * (FILES_TRIED if settings.finds_quality and not on_sheet else 1)
