"""What a delivered file must hold: each fact of the manifest, in each container that has a place for it.

Written from the standards, apart from the writers. Sources: IPTC Photo Metadata Standard 2025.1 (which field is which
XMP property and IIM dataset), IPTC-NAA Information Interchange Model 4.2 (lengths in octets, dates, 1:90), CIPA DC-008
4.6 (Exif), XMP Specification Part 1 8.2.2.4 (`x-default` first, repeated under its language) and Part 3 3.2.3 (several
names in one Artist), PLUS (licensor, owner).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pipeline.deliver.verify.delivered import Camera, Delivered
    from pipeline.deliver.verify.read_back import ExifValue, XmpValue
    from pipeline.plan.facts import PictureFacts, Translation

Container = Literal["Exif", "IIM", "XMP", "file"]
SOURCE_TYPES = "http://cv.iptc.org/newscodes/digitalsourcetype/"
_DATE_LENGTH = 10
# One JPEG segment holds the Exif block; where its words are longer than this, some of them stand in XMP alone.
_EXIF_ROOM = 64_000

FIELDS: Mapping[str, str] = {
    "title": "title",
    "headline": "headline",
    "description": "description",
    "caption_writer": "description writer",
    "alt": "alt text",
    "long_alt": "extended description",
    "keywords": "keywords",
    "creators": "creator",
    "creator_title": "creator's job title",
    "contact": "creator's contact",
    "contributors": "contributors",
    "credit_line": "credit line",
    "source": "source",
    "date_created": "date created",
    "digital_source": "digital source type",
    "copyright": "copyright notice",
    "marked": "rights marked",
    "licence_url": "web statement of rights",
    "usage_terms": "usage terms",
    "owner": "copyright owner",
    "licensor": "licensor",
    "job_id": "job id",
    "instructions": "instructions",
    "rating": "rating",
    "not_before": "release date",
    "licence_ends": "expiration date",
    "camera": "camera and exposure",
    "orientation": "orientation",
    "resolution": "resolution",
    "pixels": "pixel dimensions",
    "colour_space": "colour space",
    "charset": "character set",
    "digest": "digest",
}


@dataclass(frozen=True, slots=True)
class Expected:
    """One field in one container: where it stands there, and what must stand there (None: nothing).

    `optional` fields may be absent, but not different.
    """

    field: str
    container: Container
    name: str
    value: ExifValue | XmpValue | None
    optional: bool = False


def expected(file: Delivered) -> tuple[Expected, ...]:
    """Return every place of every field in a file of this format, those that must be empty too."""
    facts = file.facts
    if facts is None:
        return tuple(_picture(file))
    iim = _iim(facts) if file.format in {"jpeg", "tiff"} else ()
    return (*_picture(file), *_camera(file.camera), *_exif(facts, file), *_xmp(facts), *iim)


# Exif


def _picture(file: Delivered) -> Iterator[Expected]:
    """Give what describes the picture itself."""
    ppi = (Fraction(file.ppi).limit_denominator(10_000),)
    yield Expected("orientation", "Exif", "Orientation", (1,))
    yield Expected("resolution", "Exif", "XResolution", ppi)
    yield Expected("resolution", "Exif", "YResolution", ppi)
    yield Expected("resolution", "Exif", "ResolutionUnit", (2,))
    yield Expected("colour_space", "Exif", "ColorSpace", (1 if file.srgb else 0xFFFF,))
    if file.format != "tiff":  # where ImageWidth and ImageLength say it (DC-008 4.6.8)
        yield Expected("pixels", "Exif", "PixelXDimension", (file.size.width,))
        yield Expected("pixels", "Exif", "PixelYDimension", (file.size.height,))


def _camera(camera: Camera) -> Iterator[Expected]:
    for name, text in (("Make", camera.make), ("Model", camera.model), ("LensModel", camera.lens)):
        yield Expected("camera", "Exif", name, text or None)
    for name, value in (
        ("ExposureTime", camera.exposure_s),
        ("FNumber", camera.f_number),
        ("FocalLength", camera.focal_mm),
    ):
        yield Expected("camera", "Exif", name, (value,) if value else None)
    yield Expected("camera", "Exif", "PhotographicSensitivity", (min(camera.iso, 0xFFFF),) if camera.iso else None)


def _exif(facts: PictureFacts, file: Delivered) -> Iterator[Expected]:
    artist = "; ".join(_listed(name) for name in facts.creators if name) or None
    words = (
        ("description", "ImageDescription", facts.description),
        ("creators", "Artist", artist),
        ("copyright", "Copyright", facts.copyright),
    )
    room = file.format != "jpeg" or sum(len((text or "").encode()) for _, _, text in words) < _EXIF_ROOM
    for field, name, text in words:
        yield Expected(field, "Exif", name, text or None, optional=not room)
    taken = _moment(facts.date_created)
    if not isinstance(taken, datetime):
        taken = None
    yield Expected("date_created", "Exif", "DateTimeOriginal", f"{taken:%Y:%m:%d %H:%M:%S}" if taken else None)
    yield Expected("date_created", "Exif", "OffsetTimeOriginal", _offset(taken) if taken else None)
    parts = f"{taken.microsecond:06}".rstrip("0") if taken else None
    yield Expected("date_created", "Exif", "SubSecTimeOriginal", parts or None)


def _listed(name: str) -> str:
    """Return a name of several in one tag: in quotes where it could be taken for two."""
    return '"' + name.replace('"', '""') + '"' if "; " in name or name.startswith('"') else name


def _moment(text: str | None) -> date | datetime | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text) if len(text) <= _DATE_LENGTH else datetime.fromisoformat(text)
    except ValueError:
        return None


def _offset(taken: datetime) -> str | None:
    written = f"{taken:%z}"
    return f"{written[:3]}:{written[3:5]}" if written else None


# XMP


def _xmp(facts: PictureFacts) -> Iterator[Expected]:
    tag = facts.language
    rights = facts.copyright or facts.usage_terms
    values: tuple[tuple[str, str, XmpValue | None], ...] = (
        ("title", "dc:title", _translated(facts, "title")),
        ("headline", "photoshop:Headline", facts.headline),
        ("description", "dc:description", _translated(facts, "description")),
        ("caption_writer", "photoshop:CaptionWriter", facts.caption_writer),
        ("alt", "Iptc4xmpCore:AltTextAccessibility", _translated(facts, "alt")),
        ("long_alt", "Iptc4xmpCore:ExtDescrAccessibility", _translated(facts, "long_alt")),
        ("keywords", "dc:subject", tuple(sorted(filter(None, facts.keywords), key=repr))),
        ("creators", "dc:creator", tuple(filter(None, facts.creators))),
        ("creator_title", "photoshop:AuthorsPosition", facts.creator_title),
        ("contact", "Iptc4xmpCore:CreatorContactInfo", _contact(facts)),
        ("contributors", "Iptc4xmpExt:Contributor", _contributors(facts)),
        ("credit_line", "photoshop:Credit", facts.credit_line),
        ("source", "photoshop:Source", facts.source),
        ("date_created", "photoshop:DateCreated", facts.date_created),
        (
            "digital_source",
            "Iptc4xmpExt:DigitalSourceType",
            SOURCE_TYPES + facts.digital_source if facts.digital_source else None,
        ),
        ("copyright", "dc:rights", _alternatives({tag: facts.copyright})),
        ("marked", "xmpRights:Marked", "True" if rights else None),
        ("licence_url", "xmpRights:WebStatement", facts.licence_url),
        ("usage_terms", "xmpRights:UsageTerms", _alternatives({tag: facts.usage_terms})),
        ("owner", "plus:CopyrightOwner", _one_structure({"plus:CopyrightOwnerName": facts.owner})),
        (
            "licensor",
            "plus:Licensor",
            _one_structure({"plus:LicensorName": facts.licensor, "plus:LicensorURL": facts.acquire_url}),
        ),
        ("job_id", "photoshop:TransmissionReference", facts.job_id),
        ("instructions", "photoshop:Instructions", facts.instructions),
        ("rating", "xmp:Rating", None if facts.rating is None else str(facts.rating)),
    )
    for field, name, value in values:
        yield Expected(field, "XMP", name, value or None)


def _translated(facts: PictureFacts, field: Literal["title", "description", "alt", "long_alt"]) -> XmpValue | None:
    texts: dict[str, str | None] = {}
    every: tuple[PictureFacts | Translation, ...] = (facts, *facts.translations)
    for words in every:
        if text := getattr(words, field):
            texts.setdefault(words.language.lower(), text)  # of two for one language the first
    return _alternatives(texts)


def _alternatives(texts: Mapping[str, str | None]) -> XmpValue | None:
    """Return texts by language, the first of them as the default too."""
    written = {tag.lower(): text for tag, text in texts.items() if text}
    return {"x-default": next(iter(written.values())), **written} if written else None


def _contact(facts: PictureFacts) -> XmpValue | None:
    contact = facts.contact
    if contact is None:
        return None
    fields = {
        "CiAdrExtadr": contact.address,
        "CiAdrCity": contact.city,
        "CiAdrRegion": contact.region,
        "CiAdrPcode": contact.postcode,
        "CiAdrCtry": contact.country,
        "CiTelWork": contact.phone,
        "CiEmailWork": contact.email,
        "CiUrlWork": contact.url,
    }
    return {f"Iptc4xmpCore:{name}": text for name, text in fields.items() if text}


def _contributors(facts: PictureFacts) -> XmpValue:
    people: list[XmpValue] = []
    for one in facts.contributors:
        name = _alternatives({facts.language: one.name})
        if name:
            role: dict[str, XmpValue] = {"Iptc4xmpExt:Role": (one.role,)} if one.role else {}
            people.append({"Iptc4xmpExt:Name": name, **role})
    return tuple(sorted(people, key=repr))


def _one_structure(fields: Mapping[str, str | None]) -> XmpValue | None:
    written = {name: text for name, text in fields.items() if text}
    return (written,) if written else None


# IIM


def _iim(facts: PictureFacts) -> Iterator[Expected]:
    yield Expected("charset", "IIM", "1:90", ("\x1b%G",))
    words = (
        ("title", 5, 64, (facts.title,)),
        ("keywords", 25, 64, facts.keywords),
        ("instructions", 40, 256, (facts.instructions,)),
        ("creators", 80, 32, facts.creators),
        ("creator_title", 85, 32, (facts.creator_title,)),
        ("job_id", 103, 32, (facts.job_id,)),
        ("headline", 105, 256, (facts.headline,)),
        ("credit_line", 110, 32, (facts.credit_line,)),
        ("source", 115, 32, (facts.source,)),
        ("copyright", 116, 128, (facts.copyright,)),
        ("description", 120, 2000, (facts.description,)),
        ("caption_writer", 122, 32, (facts.caption_writer,)),
    )
    for field, number, octets, values in words:
        yield Expected(field, "IIM", f"2:{number:02}", tuple(_cut(text, octets) for text in values if text) or None)
    for field, of_day, of_time, text in (
        ("not_before", 30, 35, facts.not_before),
        ("licence_ends", 37, 38, facts.licence_ends),
        ("date_created", 55, 60, facts.date_created),
    ):
        day = _moment(text)
        yield Expected(field, "IIM", f"2:{of_day}", (f"{day:%Y%m%d}",) if day else None)
        offset = _offset(day) if isinstance(day, datetime) else None
        time = (f"{day:%H%M%S}{offset.replace(':', '')}",) if offset else None
        yield Expected(field, "IIM", f"2:{of_time}", time)


def _cut(text: str, octets: int) -> str:
    """Return the whole characters that fit into so many octets of UTF-8."""
    size = 0
    for place, letter in enumerate(text):
        size += len(letter.encode())
        if size > octets:
            return text[:place]
    return text
