"""The places of every field, as the published tables name them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.verify.delivered import Camera, Delivered
from pipeline.deliver.verify.expect import FIELDS, expected
from pipeline.light.box import Size
from pipeline.plan.facts import PictureFacts, Translation

if TYPE_CHECKING:
    from pipeline.deliver.verify.read_back import Format


def values(facts: PictureFacts, file_format: Format = "jpeg") -> dict[tuple[str, str], object]:
    """Return what must stand in each place, by container and name."""
    file = Delivered(
        "a", "", "", Size(300, 200), file_format, 300, srgb=True, icc_profile_sha256="", facts=facts, camera=Camera()
    )
    return {(one.container, one.name): one.value for one in expected(file) if one.value is not None}


# IPTC Photo Metadata Standard 2025.1 and TechReference 2021.1: field, XMP property, IIM dataset, Exif tag.
@pytest.mark.parametrize(
    ("fact", "xmp", "iim", "exif"),
    [
        ("title", "dc:title", "2:05", None),
        ("headline", "photoshop:Headline", "2:105", None),
        ("description", "dc:description", "2:120", "ImageDescription"),
        ("alt", "Iptc4xmpCore:AltTextAccessibility", None, None),
        ("long_alt", "Iptc4xmpCore:ExtDescrAccessibility", None, None),
        ("creator_title", "photoshop:AuthorsPosition", "2:85", None),
        ("credit_line", "photoshop:Credit", "2:110", None),
        ("copyright", "dc:rights", "2:116", "Copyright"),
        ("licence_url", "xmpRights:WebStatement", None, None),
        ("usage_terms", "xmpRights:UsageTerms", None, None),
        ("source", "photoshop:Source", "2:115", None),
        ("job_id", "photoshop:TransmissionReference", "2:103", None),
        ("instructions", "photoshop:Instructions", "2:40", None),
        ("caption_writer", "photoshop:CaptionWriter", "2:122", None),
    ],
)
def test_a_field_stands_where_the_table_puts_it(fact: str, xmp: str, iim: str | None, exif: str | None) -> None:
    silent, told = values(PictureFacts("en")), values(PictureFacts("en", **{fact: "Words"}))  # type: ignore[arg-type]
    places = {("XMP", xmp)} | ({("IIM", iim)} if iim else set()) | ({("Exif", exif)} if exif else set())
    assert places == set(told) - set(silent) - {("XMP", "xmpRights:Marked")}
    assert not {place for place in values(PictureFacts("en", **{fact: "Words"}), "webp") if place[0] == "IIM"}  # type: ignore[arg-type]


def test_octets_are_counted_not_letters() -> None:
    # 32 octets of "ü" are 16 characters; a character that would be cut in two is left out.
    facts = PictureFacts("en", credit_line="ü" * 40, source="x" + "ü" * 40)
    told = values(facts)
    assert told["IIM", "2:110"] == ("ü" * 16,)
    assert told["IIM", "2:115"] == ("x" + "ü" * 15,)
    assert told["XMP", "photoshop:Credit"] == "ü" * 40


def test_dates_in_the_form_of_each_container() -> None:
    days = {"not_before": "2026-10-01T09:00:00+02:00", "licence_ends": "2027-09-30"}
    told = values(PictureFacts("en", date_created="2026-09-12T10:24:31.25-03:30", **days))  # type: ignore[arg-type]
    assert told["IIM", "2:55"] == ("20260912",)
    assert told["IIM", "2:60"] == ("102431-0330",)
    assert told["IIM", "2:30"] == ("20261001",)
    assert told["IIM", "2:35"] == ("090000+0200",)
    assert told["IIM", "2:37"] == ("20270930",)
    assert ("IIM", "2:38") not in told
    assert told["Exif", "DateTimeOriginal"] == "2026:09:12 10:24:31"
    assert told["Exif", "OffsetTimeOriginal"] == "-03:30"
    assert told["Exif", "SubSecTimeOriginal"] == "25"


def test_languages_with_the_default_first() -> None:
    facts = PictureFacts("en", alt="A bowl", translations=(Translation("fr", alt="Un bol"),))
    alt = values(facts)["XMP", "Iptc4xmpCore:AltTextAccessibility"]
    assert isinstance(alt, dict)
    assert list(alt.items()) == [("x-default", "A bowl"), ("en", "A bowl"), ("fr", "Un bol")]


def test_several_names_in_one_tag_and_apart() -> None:
    told = values(PictureFacts("en", creators=("Ann", "Bo; Cy", '"Di"')))
    assert told["Exif", "Artist"] == 'Ann; "Bo; Cy"; """Di"""'
    assert told["XMP", "dc:creator"] == ("Ann", "Bo; Cy", '"Di"')
    assert told["IIM", "2:80"] == ("Ann", "Bo; Cy", '"Di"')


def test_every_field_has_a_name_in_words() -> None:
    facts = PictureFacts("en")
    file = Delivered(
        "a", "", "", Size(1, 1), "jpeg", 72, srgb=True, icc_profile_sha256="", facts=facts, camera=Camera()
    )
    assert {one.field for one in expected(file)} <= set(FIELDS)
