"""What is private, what is merely foreign, what belongs there."""

from __future__ import annotations

import pytest

from pipeline.deliver.verify.private import foreign_data, private_data
from pipeline.deliver.verify.read_back import ReadBack
from pipeline.light.box import Size


def read(**held: object) -> ReadBack:
    empty: dict[str, object] = {"exif": {}, "xmp": {}, "iim": {}, "others": ()}
    return ReadBack("jpeg", Size(1, 1), "", None, None, iim_digest="absent", **(empty | held))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("held", "words"),
    [
        ({"exif": {"MakerNote": (1,)}}, "a maker note (Exif)"),
        ({"exif": {"LensSerialNumber": "1"}}, "a serial number (Exif)"),
        ({"exif": {"ImageUniqueID": "1"}}, "a unique number of the picture (Exif)"),
        ({"xmp": {"xmpMM:History": ()}}, "an editing history (XMP xmpMM:History)"),
        ({"xmp": {"exif:GPSLongitude": "1"}}, "a GPS position (XMP exif:GPSLongitude)"),
        ({"xmp": {"exifEX:BodySerialNumber": "1"}}, "a serial number (XMP exifEX:BodySerialNumber)"),
        ({"xmp": {"urn:x LensSerialNumber": "1"}}, "a serial number (XMP urn:x LensSerialNumber)"),
        ({"xmp": {"mwg-rs:Regions": {}}}, "named regions (faces) (XMP mwg-rs:Regions)"),
        ({"xmp": {"Iptc4xmpExt:LocationShown": ()}}, "a place (XMP Iptc4xmpExt:LocationShown)"),
        ({"xmp": {"Iptc4xmpExt:PersonInImage": ()}}, "names of people (XMP Iptc4xmpExt:PersonInImage)"),
        ({"iim": {"2:90": ("Home",)}}, "a place (IIM 2:90)"),
        ({"others": ("a thumbnail (JFIF)",)}, "a thumbnail (JFIF)"),
        ({"others": ("image resource 1036",)}, "image resource 1036"),
    ],
)  # fmt: skip
def test_private_data_is_named_once_and_is_not_foreign_too(held: dict[str, object], words: str) -> None:
    assert private_data(read(**held)) == (words,)
    assert foreign_data(read(**held), ()) == ()


@pytest.mark.parametrize(
    ("held", "words"),
    [
        ({"exif": {"Software": "x"}}, "the Exif tag Software"),
        ({"xmp": {"https://strange.example/ a": "x"}}, "the XMP property https://strange.example/ a"),
        ({"iim": {"2:15": ("x",)}}, "the IIM dataset 2:15"),
        ({"others": ("a comment (JPEG)",)}, "a comment (JPEG)"),
    ],
)
def test_what_nobody_delivered_is_foreign(held: dict[str, object], words: str) -> None:
    assert (private_data(read(**held)), foreign_data(read(**held), ())) == ((), (words,))


def test_what_has_a_field_or_belongs_to_the_block_is_neither() -> None:
    held = read(exif={"ExifVersion": (48,), "Artist": "x"}, xmp={"dc:title": "x"}, iim={"2:00": ("",), "2:05": ("x",)})
    assert (private_data(held), foreign_data(held, {"Artist", "dc:title", "2:05"})) == ((), ())
