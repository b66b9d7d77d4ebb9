"""What must never leave, and what merely was not delivered.

Private: positions, serial numbers, owners, maker notes, embedded thumbnails, editing history, places and faces that the
job does not state. Sources: CIPA DC-008 4.6 (tags), XMP Specification Part 2 (xmpMM), IPTC Photo Metadata Standard
2025.1 and IPTC-NAA Information Interchange Model 4.2 (places).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from pipeline.deliver.verify.read_back import ReadBack

_EXIF = {
    "MakerNote": "a maker note",
    "CameraOwnerName": "the camera owner's name",
    "BodySerialNumber": "a serial number",
    "LensSerialNumber": "a serial number",
    "ImageUniqueID": "a unique number of the picture",
    "IFD0 0xC62F": "a serial number",
    "Exif 0xFDE8": "the camera owner's name",
    "Exif 0xFDE9": "a serial number",
}
_XMP_WORDS = (
    ("xmpMM:", "an editing history"),
    ("photoshop:History", "an editing history"),
    ("photoshop:DocumentAncestors", "an editing history"),
    ("exif:GPS", "a GPS position"),
    ("mwg-rs:", "named regions (faces)"),
    ("Iptc4xmpExt:PersonInImage", "names of people"),
    ("Iptc4xmpExt:Location", "a place"),
    ("Iptc4xmpCore:Location", "a place"),
    ("Iptc4xmpCore:CountryCode", "a place"),
    ("photoshop:City", "a place"),
    ("photoshop:State", "a place"),
    ("photoshop:Country", "a place"),
    ("xmp:Thumbnails", "a thumbnail"),
)
_XMP_PARTS = (("serialnumber", "a serial number"), ("ownername", "the camera owner's name"), ("gps", "a GPS position"))
_IIM = {"2:90": "a place", "2:92": "a place", "2:95": "a place", "2:101": "a place", "2:26": "a place"}
_OTHERS = (
    "a GPS position",
    "a thumbnail",
    "image resource 1033",  # a thumbnail of older writers
    "image resource 1036",  # a thumbnail
)
# What belongs to the block itself and states no fact: versions, order of components, chroma place; the record versions.
FURNITURE = frozenset(
    {"ExifVersion", "FlashpixVersion", "ComponentsConfiguration", "YCbCrPositioning", "1:00", "2:00", "1:90"}
)


def private_data(read: ReadBack) -> tuple[str, ...]:
    """Return in words what a file holds that must never leave, each once."""
    return tuple(dict.fromkeys(_private(read)))


def foreign_data(read: ReadBack, known: Collection[str]) -> tuple[str, ...]:
    """Return in words what else a file holds that no delivered file does; `known` are the names with a field."""
    mine = {name for name in (*read.exif, *read.xmp, *read.iim) if name in known or name in FURNITURE}
    named = (
        *(f"the Exif tag {name}" for name in read.exif if name not in mine and name not in _EXIF),
        *(f"the XMP property {name}" for name in read.xmp if name not in mine and not _xmp_word(name)),
        *(f"the IIM dataset {name}" for name in read.iim if name not in mine and name not in _IIM),
    )
    return (*named, *(other for other in read.others if not other.startswith(_OTHERS)))


def _private(read: ReadBack) -> Iterator[str]:
    for name in read.exif:
        if name in _EXIF:
            yield f"{_EXIF[name]} (Exif)"
    for name in read.xmp:
        if word := _xmp_word(name):
            yield f"{word} (XMP {name})"
    for name in read.iim:
        if name in _IIM:
            yield f"{_IIM[name]} (IIM {name})"
    yield from (other for other in read.others if other.startswith(_OTHERS))


def _xmp_word(name: str) -> str | None:
    for beginning, word in _XMP_WORDS:
        if name.startswith(beginning):
            return word
    local = name.rpartition(":")[2].rpartition(" ")[2].lower()
    return next((word for part, word in _XMP_PARTS if part in local), None)
