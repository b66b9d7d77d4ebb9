"""The quality that is found, over the sample shoot: bytes saved at a floor, limits kept, and the measure judged.

`python -m tests.quality.encoding` measures everything that docs/encoding.md shows and prints it; with `--write` it puts
it there. It takes about ten minutes.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.render.budget import BudgetTooSmall, encoded, measure
from pipeline.render.encode import encode
from pipeline.render.fidelity import score
from tests.quality.figure import Figure, at_least, at_most, line
from tests.quality.shoot import LOSSY, finished_pictures
from tests.render.reference_scores import cases

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.plan.rendition import OutputFormat
    from tests.quality.shoot import Finished

FIXED_QUALITY = 85
LEAST_SAVED = 15.0
LIMIT = 40_000
TOOL = "the reference tool's own scores, tests/data"
DOCS = Path(__file__).parents[2] / "docs" / "encoding.md"
BEGIN, END = "<!-- {} -->\n", "<!-- end of {} -->\n"


@dataclass(frozen=True, slots=True)
class Floor:
    """One format over the shoot: files at a fixed quality, their lowest fidelity, and the files found at that floor."""

    output_format: OutputFormat
    files: int
    floor: float
    fixed_bytes: int
    found_bytes: int
    lowest: float
    qualities: tuple[int, int]
    tried: int

    @property
    def saved(self) -> float:
        """Return how much smaller the files are in sum, in per cent."""
        return 100 * (1 - self.found_bytes / self.fixed_bytes)


def floors(pictures: Sequence[Finished]) -> Iterator[Floor]:
    """Encode every lossy file of the pictures twice: at the fixed quality, and at the floor that it comes to."""
    for output_format in LOSSY:
        made = [one for one in pictures if output_format in one.formats]
        if made:
            yield _floor(output_format, made)


def _floor(output_format: OutputFormat, pictures: Sequence[Finished]) -> Floor:
    fixed = [
        encode(one.picture, output_format, FIXED_QUALITY, progressive=one.settings.progressive) for one in pictures
    ]
    floor = min(measure(one.picture, data) or 0.0 for one, data in zip(pictures, fixed, strict=True))
    tried = Counter[str]()

    def counting(data: bytes) -> bytes:
        tried["files"] += 1
        return data

    found = [
        encoded(one.picture, output_format, replace(one.settings, bytes_max=None, fidelity=floor), counting)
        for one in pictures
    ]
    qualities = sorted(file.quality or 0 for file in found)
    lowest = min(measure(one.picture, file.data) or 0.0 for one, file in zip(pictures, found, strict=True))
    return Floor(
        output_format=output_format,
        files=len(pictures),
        floor=floor,
        fixed_bytes=sum(map(len, fixed)),
        found_bytes=sum(len(file.data) for file in found),
        lowest=lowest,
        qualities=(qualities[0], qualities[-1]),
        tried=tried["files"],
    )


def floor_figures(found: Sequence[Floor]) -> Iterator[Figure]:
    """Yield what a floor saves in each format and in sum, and how far above it the lowest file lies."""
    fixed, floored = sum(one.fixed_bytes for one in found), sum(one.found_bytes for one in found)
    oracle = "our own measure, judged below"
    for one in found:
        yield Figure(
            "encoding", f"{one.files} {one.output_format.upper()} files with the lowest fidelity of quality "
            f"{FIXED_QUALITY}: lowest above it by", one.lowest - one.floor, at_least(0), "house promise", oracle,
            f"the floor is {one.floor:.2f}",
        )  # fmt: skip
    yield Figure(
        "encoding", f"the same {sum(one.files for one in found)} files: smaller in sum by", 100 * (1 - floored / fixed),
        at_least(LEAST_SAVED, "%"), "house promise", "bytes",
        ", ".join(f"{one.output_format.upper()} {one.saved:.1f} %" for one in found),
    )  # fmt: skip


def limit_figures(pictures: Sequence[Finished]) -> Iterator[Figure]:
    """Yield how far above their limit of bytes any files are."""
    over, made = 0, 0
    for one in pictures:
        for output_format in one.formats:
            settings = replace(one.settings, bytes_max=LIMIT, fidelity=None)
            try:
                file = encoded(one.picture, output_format, settings, lambda data: data)
            except BudgetTooSmall:
                continue
            made += 1
            over = max(over, len(file.data) - LIMIT)
    yield Figure(
        "encoding", f"{made} files limited to {LIMIT // 1000} kB: the largest is above it by", over,
        at_most(0, "bytes"), "house promise", "bytes",
    )  # fmt: skip


def agreement_figures(*, full: bool) -> Iterator[Figure]:
    """Yield how far our scores are from the reference tool's, by how high these are."""
    apart = [
        (expected, score(case.original, case.delivered, case.space) - expected)
        for case, expected in cases()
        if full or case.photograph == "coffee"
    ]
    for least, most, bound in ((-100.0, 80.0, 0.25), (80.0, 88.0, 0.4), (88.0, 100.0, 0.75)):
        here = [difference for expected, difference in apart if least < expected <= most]
        words = f"up to {most:g}" if least < 0 else f"{least:g} to {most:g}"
        yield Figure(
            "encoding", f"{len(here)} pictures that the tool gives {words}: fidelity differs by at most",
            max(map(abs, here)), at_most(bound), "measured: the tool's own rounding", TOOL,
            f"ours is {min(here):+.2f} to {max(here):+.2f}",
        )  # fmt: skip


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure the search and the measure that it relies on."""
    pictures = finished_pictures(full=full)
    yield from floor_figures(list(floors(pictures)))
    yield from limit_figures(finished_pictures(full=False))
    yield from agreement_figures(full=full)


def floor_table(found: Sequence[Floor]) -> Iterator[str]:
    """Yield the table of docs/encoding.md."""
    yield line(("files of the sample shoot", f"quality {FIXED_QUALITY}", "lowest fidelity of these", "found", "lowest",
                "qualities found", "files tried for one", "smaller by"))  # fmt: skip
    yield line("---" for _ in range(8))
    for one in found:
        yield line((
            f"{one.files} {one.output_format.upper()}", _kilobytes(one.fixed_bytes), f"{one.floor:.2f}",
            _kilobytes(one.found_bytes), f"{one.lowest:.2f}", f"{one.qualities[0]} to {one.qualities[1]}",
            f"{one.tried / one.files:.1f}", f"{one.saved:.1f} %",
        ))  # fmt: skip
    fixed, floored = sum(one.fixed_bytes for one in found), sum(one.found_bytes for one in found)
    yield line((f"{sum(one.files for one in found)} in all", _kilobytes(fixed), "", _kilobytes(floored), "", "", "",
                f"**{100 * (1 - floored / fixed):.1f} %**"))  # fmt: skip


def _kilobytes(count: int) -> str:
    return f"{count / 1000:,.0f} kB"


def replaced(text: str, name: str, table: str) -> str:
    """Return a page with another table between its marks. ValueError where the page has no such marks."""
    begin, end = BEGIN.format(name), END.format(name)
    before, _, rest = text.partition(begin)
    _, found, after = rest.partition(end)
    if not found:
        raise ValueError(f"there is no table '{name}' on the page")
    return f"{before}{begin}\n{table}\n\n{end}{after}"


def main() -> None:
    """Print every table of the page, or put them there."""
    from tests.quality.encoders import TABLES  # noqa: PLC0415 (it stands on this module's pictures)

    parser = argparse.ArgumentParser(prog="python -m tests.quality.encoding", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="TABLE", help=f"only these of floors, {', '.join(TABLES)}")
    parser.add_argument("--write", action="store_true", help=f"put them into {DOCS.parent.name}/{DOCS.name}")
    asked = parser.parse_args()
    tables = {"floors": lambda: floor_table(list(floors(finished_pictures(full=True)))), **TABLES}
    for name in asked.names or tables:
        table = "\n".join(tables[name]())
        print(f"{name}\n\n{table}\n", flush=True)
        if asked.write:
            page = DOCS.read_text(encoding="utf-8")
            DOCS.write_text(replaced(page, name, table), encoding="utf-8")


if __name__ == "__main__":
    main()
