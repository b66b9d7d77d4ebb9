"""Image resources and the IIM datasets inside them.

Sources: XMP Specification Part 3 (2020) 3.1.3 and Table 36 (resources: "8BIM", number, name, length, data, even; 1028
holds IIM, 1061 its MD5), IPTC-NAA Information Interchange Model 4.2 chapter 1.5 (datasets: marker, record, number,
length; lengths above 32767 have a length of their own).
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pipeline.deliver.verify.bounded import Reader, shown

if TYPE_CHECKING:
    from collections.abc import Mapping

IIM, IIM_DIGEST = 1028, 1061
_RESOURCE_LIMIT, _DATASET_LIMIT = 2000, 20_000
_RESOURCE_KIND, _SMALLEST_RESOURCE = b"8BIM", 12


@dataclass(frozen=True, slots=True)
class Datasets:
    """The datasets of a file by number ("2:80"), how the digest fits, and in words what else is there."""

    values: Mapping[str, tuple[str, ...]]
    digest: Literal["true", "false", "absent"]
    others: tuple[str, ...]


def read_datasets(resources: bytes | None, own: bytes | None) -> Datasets:
    """Return what image resources, or a place of its own beside them, hold of IIM. ValueError where cut short."""
    blocks, others = _resources(resources or b"")
    inner, stored = blocks.get(IIM), blocks.get(IIM_DIGEST)
    if own is not None and inner is not None:
        others.append("IIM in two places")
    block = own if own is not None else inner
    if block is None:
        return Datasets({}, "absent", (*others, "a digest without IIM") if stored else tuple(others))
    values, tail = _datasets(block)
    if tail.strip(b"\0"):
        others.append(f"{len(tail)} bytes behind the datasets (IIM)")
    true = hashlib.md5(block, usedforsecurity=False).digest()
    digest: Literal["true", "false", "absent"] = "absent" if stored is None else "true" if stored == true else "false"
    return Datasets(values, digest, tuple(others))


def _resources(data: bytes) -> tuple[dict[int, bytes], list[str]]:
    reader = Reader(data, "the image resources")
    blocks: dict[int, bytes] = {}
    others: list[str] = []
    for _ in range(_RESOURCE_LIMIT):
        if reader.left < _SMALLEST_RESOURCE:
            return blocks, others
        kind = reader.take(4)
        if kind == bytes(4):  # padding up to the end
            return blocks, others
        number = reader.number(2)
        name = reader.take(reader.number(1))
        reader.take(1 - len(name) % 2)
        size = reader.number(4)
        body = reader.take(size)
        reader.take(min(size % 2, reader.left))
        if kind == _RESOURCE_KIND and number in {IIM, IIM_DIGEST} and number not in blocks:
            blocks[number] = body
        else:
            others.append(f"image resource {number}" if kind == _RESOURCE_KIND else f"a resource {shown(kind)!r}")
    raise ValueError("the image resources have no end")


def _datasets(block: bytes) -> tuple[dict[str, tuple[str, ...]], bytes]:
    reader = Reader(block, "the IIM block")
    values: defaultdict[str, list[str]] = defaultdict(list)
    for _ in range(_DATASET_LIMIT):
        if not reader.left or block[reader.at] != 0x1C:
            return {name: tuple(texts) for name, texts in values.items()}, block[reader.at :]
        reader.take(1)
        record, number, size = reader.number(1), reader.number(1), reader.number(2)
        if size & 0x8000:
            width = size & 0x7FFF
            if not 1 <= width <= 8:
                raise ValueError("the IIM block has a dataset without a length")
            size = reader.number(width)
        values[f"{record}:{number:02}"].append(reader.take(size).decode("utf-8", "backslashreplace"))
    raise ValueError("the IIM block has no end")
