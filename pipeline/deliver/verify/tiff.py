"""TIFF, taken apart by its one directory.

Sources: TIFF 6.0; XMP Specification Part 3 (2020) Tables 12 and 39 (700, 33723, 34377); ICC.1:2022 Annex B (34675).
"""

from __future__ import annotations

from pipeline.deliver.verify.bounded import Reader
from pipeline.deliver.verify.read_back import Parts, PicturePart
from pipeline.deliver.verify.tags import Entry, read_directories
from pipeline.light.box import Size

_XMP, _IIM, _RESOURCES, _ICC = 700, 33723, 34377, 34675
_WIDTH, _HEIGHT, _SAMPLES, _EXTRA = 256, 257, 277, 338
_PLACES = ((273, 279), (324, 325))
# What decides the pixels beside the data itself; 254, 266 and 278 (kind, bit order, rows in a strip) with them.
_DECIDING = frozenset(
    {254, 256, 257, 258, 259, 262, 266, 277, 278, 284, 301, 317, 318, 319, 320, 322, 323}
    | {332, 334, 336, 338, 339, 340, 341, 347, 529, 530, 531, 532}
)
PICTURE_TAGS = _DECIDING | {273, 279, 324, 325, _XMP, _IIM, _RESOURCES, _ICC}


def parts(data: bytes) -> Parts:
    """Take the file apart. The picture is its strips or tiles, and the tags that say how to read them."""
    directories = read_directories(data, "the TIFF file")
    first = directories.first
    for offsets, lengths in _PLACES:
        if offsets in first and lengths in first:
            break
    else:
        raise ValueError("the TIFF file has neither strips nor tiles")
    starts, sizes = first[offsets].numbers, first[lengths].numbers
    if len(starts) != len(sizes) or sum(sizes) > len(data):
        raise ValueError("the TIFF file's strips or tiles do not fit its size")
    pieces = b"".join(
        Reader(data, "the TIFF file", at=start).take(size) for start, size in zip(starts, sizes, strict=True)
    )
    deciding = repr([(tag, first[tag].numbers) for tag in sorted(_DECIDING & first.keys())]).encode()
    packet = first.get(_XMP)
    return Parts(
        "tiff",
        Size(_one(first, _WIDTH), _one(first, _HEIGHT)),
        (PicturePart("tags", deciding), PicturePart("data", pieces)),
        first[_ICC].value if _ICC in first else None,
        data,
        (packet.value,) if packet else (),
        first[_RESOURCES].value if _RESOURCES in first else None,
        first[_IIM].value if _IIM in first else None,
        channels=_samples(first),
    )


def _samples(first: dict[int, Entry]) -> int:
    """Return how many samples a pixel has that are colour (TIFF 6.0: one where nothing is said)."""
    samples = _one(first, _SAMPLES) if _SAMPLES in first else 1
    return samples - (len(first[_EXTRA].numbers) if _EXTRA in first else 0)


def _one(first: dict[int, Entry], tag: int) -> int:
    numbers = first[tag].numbers if tag in first else ()
    if len(numbers) != 1 or numbers[0] < 1:
        raise ValueError("the TIFF file does not say how large its picture is")
    return numbers[0]
