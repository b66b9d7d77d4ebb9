"""What a frame says of itself, against an outside judge, and against our own writers, which share nothing with it."""

from __future__ import annotations

import io
import itertools
import json
import struct
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from PIL import Image

from pipeline.frames.read_header import read_header
from pipeline.frames.stated import reconciled, stated_words
from pipeline.frames.words import EXIF, IIM, SIDECAR, XMP, Stated, Words
from pipeline.plan.facts import PictureFacts, Translation
from pipeline.render.containers.embed import embed
from tests.exiftool import exiftool_says
from tests.frames.files import LIMIT, dng, encoded, mosaic, noise, put
from tests.render.containers import pictures

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.frames.header import FrameFormat

FORMATS: dict[str, FrameFormat] = {"jpg": "jpeg", "tif": "tiff", "png": "png", "webp": "webp", "avif": "avif"}
KINDS = {"jpg": "JPEG", "tif": "TIFF", "png": "PNG", "webp": "WEBP", "avif": "AVIF"}
FALSE_DIGEST = "-IPTCDigest=" + 31 * "0" + "1"


def judge(*words: str) -> str:
    """Run exiftool; skip where it is not installed."""
    return exiftool_says("-q", "-overwrite_original", "-charset", "iptc=utf8", *words).decode()


def frame(folder: Path, ending: str, *tags: str) -> Path:
    """Save a frame, with tags written by exiftool."""
    path = put(folder, f"bowl.{ending}", encoded(noise(24, 32), KINDS[ending]))
    if tags:
        judge(*tags, str(path))
    return path


def stated(path: Path) -> Stated:
    return stated_words(path, FORMATS[path.suffix[1:]])


TAGS = (
    "-XMP-dc:Title=Crème", "-XMP-photoshop:Headline=Supper", "-XMP-dc:Description=Bowl", "-XMP-dc:Description-fr=Bol",
    "-XMP-iptcCore:AltTextAccessibility=A bowl, 湯", "-XMP-iptcCore:ExtDescrAccessibility=A long tale",
    "-XMP-dc:Creator=Ana", "-XMP-dc:Creator=Bo", "-XMP-photoshop:AuthorsPosition=Cook",
    "-XMP-photoshop:Credit=Ana / Küche",
    "-XMP-dc:Rights=© Ana", "-XMP-xmpRights:WebStatement=https://ana.example/licence",
    "-XMP-xmpRights:UsageTerms=Ask first", "-XMP-plus:LicensorURL=https://ana.example/buy",
    "-XMP-dc:Subject=soup", "-XMP-dc:Subject=beans", "-XMP-photoshop:DateCreated=2026:09:12 10:24:31+02:00",
    "-XMP-photoshop:Source=Own archive", "-XMP:Rating=4",
    "-XMP-iptcExt:DigitalSourceType=http://cv.iptc.org/newscodes/digitalsourcetype/digitalCapture",
)  # fmt: skip
SAID = Words(
    title="Crème", headline="Supper", description="Bowl", alt="A bowl, 湯", long_alt="A long tale",
    creators=("Ana", "Bo"), creator_title="Cook", credit_line="Ana / Küche", copyright="© Ana",
    licence_url="https://ana.example/licence", acquire_url="https://ana.example/buy", usage_terms="Ask first",
    keywords=("soup", "beans"), date_created="2026-09-12T10:24:31+02:00", source="Own archive",
    digital_source="digitalCapture", rating=4, in_languages=(("description", "fr", "Bol"),),
)  # fmt: skip


def words_of(found: Stated) -> dict[str, Any]:
    return {name: getattr(found, name) for name in Words.__dataclass_fields__}


@pytest.mark.parametrize("ending", FORMATS)
def test_every_property_in_xmp_of_every_container_as_exiftool_writes_it(tmp_path: Path, ending: str) -> None:
    found = stated(frame(tmp_path, ending, *TAGS))
    assert words_of(found) == words_of(Stated(**{name: getattr(SAID, name) for name in Words.__dataclass_fields__}))
    assert {origin for _, origin in found.origins} == {XMP}
    assert (found.conflicts, found.notes) == ((), ())


@pytest.mark.parametrize("ending", FORMATS)
def test_exif_of_every_container_as_exiftool_writes_it(tmp_path: Path, ending: str) -> None:
    found = stated(
        frame(
            tmp_path, ending,
            "-IFD0:ImageDescription=Crème", "-IFD0:Artist=Ana; Bo", "-IFD0:Copyright=© Ana",
            "-ExifIFD:DateTimeOriginal=2026:09:12 10:24:31", "-ExifIFD:OffsetTimeOriginal=+02:00",
            "-ExifIFD:SubSecTimeOriginal=25", "-IFD0:Rating=3",
        )
    )  # fmt: skip
    assert (found.description, found.creators, found.copyright) == ("Crème", ("Ana", "Bo"), "© Ana")
    assert (found.date_created, found.rating) == ("2026-09-12T10:24:31.250000+02:00", 3)
    assert {origin for _, origin in found.origins} == {EXIF}


@pytest.mark.parametrize("ending", ["jpg", "tif"])
def test_iim_as_exiftool_writes_it(tmp_path: Path, ending: str) -> None:
    found = stated(
        frame(
            tmp_path, ending, "-IPTC:CodedCharacterSet=UTF8",
            "-IPTC:ObjectName=Crème", "-IPTC:Headline=Supper", "-IPTC:Caption-Abstract=Bowl", "-IPTC:By-line=Ana",
            "-IPTC:By-line=Bo", "-IPTC:By-lineTitle=Cook", "-IPTC:Credit=Küche", "-IPTC:CopyrightNotice=© Ana",
            "-IPTC:Keywords=soup", "-IPTC:Keywords=beans", "-IPTC:Source=Own", "-IPTC:DateCreated=2026:09:12",
            "-IPTC:TimeCreated=10:24:31+02:00",
        )
    )  # fmt: skip
    assert words_of(found) == words_of(
        Stated(
            title="Crème", headline="Supper", description="Bowl", creators=("Ana", "Bo"), creator_title="Cook",
            credit_line="Küche", copyright="© Ana", keywords=("soup", "beans"), source="Own",
            date_created="2026-09-12T10:24:31+02:00",
        )
    )  # fmt: skip
    assert {origin for _, origin in found.origins} == {IIM}


def test_xmp_of_a_camera_raw(tmp_path: Path) -> None:
    raw = put(tmp_path, "bowl.dng", dng(mosaic(noise(32, 48) / 255.0)))
    judge("-XMP-dc:Description=Bowl", "-XMP:Rating=5", "-IFD0:Copyright=© Ana", str(raw))
    found = read_header(raw, name="bowl.dng", pixel_limit=LIMIT).stated
    assert (found.description, found.rating, found.copyright) == ("Bowl", 5, "© Ana")
    assert dict(found.origins) == {"description": XMP, "rating": XMP, "copyright": EXIF}


# Source: the Metadata Working Group's guidelines 2.0 as exiftool implements them, which is the judge of each row.
ROWS = list(itertools.product((False, True), (False, True), (False, True), ("absent", "true", "false")))


def test_which_of_three_is_taken_is_what_exiftool_takes(tmp_path: Path) -> None:
    bare = encoded(noise(24, 32), "JPEG")
    digests = {"absent": "-IPTCDigest=", "true": "-IPTCDigest=new", "false": FALSE_DIGEST}
    paths = {}
    for number, (exif, iim, xmp, digest) in enumerate(ROWS):
        tags = [
            *(["-IFD0:ImageDescription=E", "-IFD0:Copyright=E", "-IFD0:Artist=E"] if exif else []),
            *(["-ExifIFD:DateTimeOriginal=2026:01:01 01:01:01"] if exif else []),
            *(["-IPTC:Caption-Abstract=I", "-IPTC:CopyrightNotice=I", "-IPTC:By-line=I"] if iim else []),
            *(["-IPTC:Keywords=I", "-IPTC:DateCreated=2026:02:02", "-IPTC:TimeCreated=02:02:02+02:00"] if iim else []),
            *(["-XMP-dc:Description=X", "-XMP-dc:Rights=X", "-XMP-dc:Creator=X", "-XMP-dc:Subject=X"] if xmp else []),
            *(["-XMP-photoshop:DateCreated=2026:03:03 03:03:03"] if xmp else []),
            *([digests[digest]] if iim else []),
        ]
        paths[number] = put(tmp_path, f"{number}.jpg", bare)
        if tags:
            judge(*tags, str(paths[number]))
    told = json.loads(judge("-use", "MWG", "-json", "-MWG:all", *map(str, paths.values())))
    for number, tags in enumerate(told):
        found = stated(paths[number])
        assert tags.get("Description") == found.description, ROWS[number]
        assert tags.get("Copyright") == found.copyright, ROWS[number]
        assert tags.get("Keywords") == (found.keywords[0] if found.keywords else None), ROWS[number]
        assert tags.get("Creator") == (found.creators[0] if found.creators else None), ROWS[number]
        date = tags.get("DateTimeOriginal")
        assert (date and date.replace(":", "-", 2).replace(" ", "T")) == found.date_created, ROWS[number]
        said = ROWS[number][:3].count(True)
        assert bool(found.conflicts) == (said > 1), "whoever differs is told, and nobody else"


def said(**values: Any) -> dict[str, Words]:  # noqa: ANN401 (words by origin)
    return {origin: Words(description=text) for origin, text in values.items()}


def test_a_conflict_says_who_says_what_and_who_was_taken() -> None:
    found = reconciled(said(Exif="A", IIM="A", XMP="B"), iim_is_newer=False)
    assert (found.description, found.origin("description")) == ("A", EXIF)
    assert found.conflicts == (
        ("description", "caption: Exif and IIM say 'A', XMP says 'B'; Exif was taken (it goes first for this)"),
    )


@pytest.mark.parametrize(
    ("words", "newer", "reason"),
    [
        ({"IIM": "A", "XMP": "B"}, False, "XMP was taken (nothing says that the IIM is later)"),
        ({"IIM": "A", "XMP": "B"}, True, "IIM was taken (it was changed after the XMP)"),
        ({"sidecar": "A", "XMP": "B"}, False, "the sidecar was taken (it is the later word)"),
        ({"sidecar": "A", "IIM": "B"}, True, "the sidecar was taken (it is the later word)"),
        ({"sidecar": "A", "Exif": "B"}, True, "Exif was taken (it goes first for this)"),
    ],
)
def test_why_one_was_taken(words: dict[str, str], newer: bool, reason: str) -> None:  # noqa: FBT001 (a column)
    ((_, sentence),) = reconciled(said(**words), iim_is_newer=newer).conflicts
    assert sentence.rpartition("; ")[2] == reason


def test_white_space_and_composed_letters_are_no_conflict() -> None:
    found = reconciled(said(Exif="Crème  de\nmaïs", XMP="Cre\u0300me de maïs"), iim_is_newer=False)
    assert (found.conflicts, found.description) == ((), "Crème  de\nmaïs")


@pytest.mark.parametrize(
    ("field", "limit"),
    # Source: IPTC Photo Metadata TechReference 2021.1, octets.
    [
        ("description", 2000), ("copyright", 128), ("title", 64), ("headline", 256), ("credit_line", 32),
        ("source", 32), ("creator_title", 32),
    ],
)  # fmt: skip
def test_iim_that_was_cut_gives_way_to_the_whole(field: str, limit: int) -> None:
    whole = "é" * limit
    part = whole.encode()[:limit].decode("utf-8", "ignore")
    words: dict[str, Any] = {field: part}
    full: dict[str, Any] = {field: whole}
    found = reconciled({IIM: Words(**words), XMP: Words(**full)}, iim_is_newer=True)
    assert (getattr(found, field), found.origin(field), found.conflicts) == (whole, XMP, ())
    shorter: dict[str, Any] = {field: part[: limit // 2 - 4]}
    found = reconciled({IIM: Words(**shorter), XMP: Words(**full)}, iim_is_newer=True)
    assert (found.origin(field), len(found.conflicts)) == (IIM, 1), "far below the limit it was shortened by hand"


def test_lists_that_were_cut_give_way_value_by_value() -> None:
    names, cut = ("Ana", "Bo" * 20), ("Ana", "Bo" * 16)
    found = reconciled({IIM: Words(creators=cut), XMP: Words(creators=names)}, iim_is_newer=True)
    assert (found.creators, found.conflicts) == (names, ())
    found = reconciled({IIM: Words(creators=cut[1:]), XMP: Words(creators=names)}, iim_is_newer=True)
    assert (found.creators, len(found.conflicts)) == (cut[1:], 1)


def test_keywords_in_another_order_are_no_conflict() -> None:
    found = reconciled({IIM: Words(keywords=("b", "a")), XMP: Words(keywords=("a", "b"))}, iim_is_newer=False)
    assert (found.keywords, found.conflicts) == (("a", "b"), ())


@pytest.mark.parametrize(
    ("exif", "xmp", "date", "agree"),
    [
        ("2026-09-12T10:24:31", "2026-09-12T10:24:31+02:00", "2026-09-12T10:24:31+02:00", True),
        ("2026-09-12T10:24:31.500000", "2026-09-12T10:24:31+02:00", "2026-09-12T10:24:31.500000", True),
        ("2026-09-12T10:24:31+02:00", "2026-09-12", "2026-09-12T10:24:31+02:00", True),
        ("2026-09-12T10:24:31", "2026-09-12T10:24:32", "2026-09-12T10:24:31", False),
        ("2026-09-12T10:24:31", "2026-09-13", "2026-09-12T10:24:31", False),
    ],
)
def test_dates_agree_where_both_speak(exif: str, xmp: str, date: str, agree: bool) -> None:  # noqa: FBT001 (a column)
    found = reconciled({EXIF: Words(date_created=exif), XMP: Words(date_created=xmp)}, iim_is_newer=False)
    assert (found.date_created, not found.conflicts) == (date, agree)


def test_a_vendors_rating_comes_last() -> None:
    found = reconciled({EXIF: Words(rating=2), XMP: Words(rating=4)}, iim_is_newer=False)
    assert (found.rating, found.origin("rating"), len(found.conflicts)) == (4, XMP, 1)


def test_a_long_value_is_cut_where_it_is_told() -> None:
    ((_, sentence),) = reconciled(said(Exif="long " * 1000, XMP="B"), iim_is_newer=False).conflicts
    assert len(sentence) < 200
    assert "…'" in sentence


# Sidecars


def sidecar(path: Path, *tags: str) -> Path:
    judge("-o", str(path), *tags)
    return path


def test_a_sidecar_goes_before_embedded_xmp_property_by_property(tmp_path: Path) -> None:
    path = frame(tmp_path, "jpg", "-XMP-dc:Description=Inside", "-XMP:Rating=2")
    sidecar(tmp_path / "bowl.xmp", "-XMP-dc:Description=Beside", "-XMP-iptcCore:AltTextAccessibility=A bowl")
    found = stated(path)
    assert (found.description, found.alt, found.rating) == ("Beside", "A bowl", 2)
    assert dict(found.origins) == {"description": SIDECAR, "alt": SIDECAR, "rating": XMP}
    assert [field for field, _ in found.conflicts] == ["description"]


def test_the_sidecar_that_names_the_frame_whole_goes_before_the_other(tmp_path: Path) -> None:
    path = frame(tmp_path, "jpg")
    sidecar(tmp_path / "bowl.xmp", "-XMP-dc:Description=Stem")
    assert stated(path).description == "Stem"
    sidecar(tmp_path / "bowl.jpg.xmp", "-XMP-dc:Description=Whole")
    assert stated(path).description == "Whole"


@pytest.mark.parametrize(("ending", "description"), [("JPG", "Beside"), ("NEF", None)])
def test_a_sidecar_of_another_file_of_the_name(tmp_path: Path, ending: str, description: str | None) -> None:
    path = frame(tmp_path, "jpg")
    sidecar(tmp_path / "bowl.xmp", "-XMP-dc:Description=Beside", f"-XMP-photoshop:SidecarForExtension={ending}")
    found = stated(path)
    assert found.description == description
    if description is None:
        assert found.notes == ("the sidecar bowl.xmp says that it belongs to another file, and was not read",)


@pytest.mark.parametrize(
    ("content", "note"),
    [
        (b"no XML", "the sidecar bowl.xmp is damaged and was not read"),
        (b"", None),
        (b"<a/>" + b" " * (4 << 20), "the sidecar bowl.xmp cannot be opened or is too large, and was not read"),
    ],
)
def test_a_bad_sidecar_is_noted(tmp_path: Path, content: bytes, note: str | None) -> None:
    path = put(tmp_path, "bowl.jpg", encoded(noise(24, 32), "JPEG"))
    put(tmp_path, "bowl.xmp", content)
    assert stated(path).notes == ((note,) if note else ())


# The writers of delivered files


def as_translation(facts: PictureFacts) -> PictureFacts:
    return replace(facts, translations=(Translation("fr", title="Crème fr", description="Soupe", alt="Un bol"),))


FACTS = as_translation(
    replace(
        pictures.FACTS, long_alt="A long tale", headline="Supper", source="Own archive", rating=4,
        digital_source="digitalCapture", creator_title="Cook",
    )
)  # fmt: skip
TAKEN_BACK = [name for name in Words.__dataclass_fields__ if name != "in_languages"]


@pytest.mark.parametrize("name", ["jpeg", "png", "webp", "tiff-deflate", "tiff-big-endian-16", "avif"])
def test_what_the_pipeline_writes_is_read_back_without_a_conflict(tmp_path: Path, name: str) -> None:
    frame_format = pictures.format_of(name)
    data = embed(pictures.encoded(name), frame_format, pictures.embedded(FACTS))
    found = stated_words(put(tmp_path, "bowl", data), frame_format)
    assert {field: getattr(FACTS, field) for field in TAKEN_BACK} == {
        field: getattr(found, field) for field in TAKEN_BACK
    }
    assert (found.conflicts, found.notes) == ((), ())
    assert found.text("alt", "fr-CA") == "Un bol"
    assert found.text("alt", "de") == FACTS.alt


def test_extended_xmp_of_a_jpeg_is_read(tmp_path: Path) -> None:
    facts = replace(FACTS, long_alt="tale " * 13_000, translations=())
    data = embed(pictures.encoded("jpeg"), "jpeg", pictures.embedded(facts))
    assert b"http://ns.adobe.com/xmp/extension/\0" in data
    found = stated_words(put(tmp_path, "bowl.jpg", data), "jpeg")
    assert (found.long_alt, found.title, found.notes) == ((facts.long_alt or "").strip(), facts.title, ())
    at = data.index(b"tale tale")
    broken = data[:at] + b"TALE" + data[at + 4 :]
    found = stated_words(put(tmp_path, "broken.jpg", broken), "jpeg")
    assert (found.long_alt, found.title) == (None, facts.title)
    assert found.notes == ("the extended XMP is not whole and was not read",)


# What is not taken


def test_private_words_are_never_taken(tmp_path: Path) -> None:
    private = "Geheim"
    path = frame(
        tmp_path, "jpg", f"-XMP-iptcExt:PersonInImage={private}", f"-XMP-iptcCore:CreatorAddress={private}",
        f"-XMP-iptcCore:CreatorWorkEmail={private}", f"-XMP-photoshop:City={private}", f"-IPTC:City={private}",
        f"-XMP-iptcCore:Location={private}", f"-ExifIFD:OwnerName={private}", f"-IPTC:Contact={private}",
        f"-ExifIFD:SerialNumber={private}", f"-XMP-plus:LicensorEmail={private}", f"-XMP-plus:LicensorName={private}",
        "-XMP-plus:LicensorURL=https://ana.example/buy", f"-XMP-photoshop:Instructions={private}",
        f"-XMP-photoshop:TransmissionReference={private}", f"-XMP-photoshop:CaptionWriter={private}",
    )  # fmt: skip
    assert private.encode() in path.read_bytes()
    found = stated(path)
    assert private not in repr(found)
    assert found.acquire_url == "https://ana.example/buy"


def test_a_description_that_the_camera_wrote_by_itself_is_no_caption(tmp_path: Path) -> None:
    path = frame(
        tmp_path, "jpg", "-IFD0:Make=Invented Optical Co.", "-IFD0:ImageDescription=INVENTED DIGITAL CAMERA",
        "-XMP-dc:Description=INVENTED DIGITAL CAMERA", "-IPTC:Caption-Abstract=Bowl", FALSE_DIGEST,
    )  # fmt: skip
    assert (stated(path).description, stated(path).conflicts) == ("Bowl", ())


def test_type_129_text_is_read(tmp_path: Path) -> None:
    """Exif 3.0 (CIPA DC-008-2023) added the type; two common libraries drop the tag or refuse it."""
    text = "Crème brûlée\0".encode()
    block = struct.pack("<2sHIHHHIII", b"II", 42, 8, 1, 0x010E, 129, len(text), 26, 0) + text
    stream = io.BytesIO()
    Image.fromarray(noise(24, 32)).save(stream, "JPEG", exif=b"Exif\0\0" + block)
    assert stated_words(put(tmp_path, "a.jpg", stream.getvalue()), "jpeg").description == "Crème brûlée"


def test_a_copyright_of_photographer_and_editor(tmp_path: Path) -> None:
    """XMP Specification Part 3 (2020) p. 72: parted by NUL, which becomes a line feed."""
    text = b"Ana\0Bo\0"
    block = struct.pack("<2sHIHHHIII", b"II", 42, 8, 1, 0x8298, 2, len(text), 26, 0) + text
    stream = io.BytesIO()
    Image.fromarray(noise(24, 32)).save(stream, "JPEG", exif=b"Exif\0\0" + block)
    assert stated_words(put(tmp_path, "a.jpg", stream.getvalue()), "jpeg").copyright == "Ana\nBo"


def test_a_file_that_is_not_there_is_silent(tmp_path: Path) -> None:
    assert Stated() == stated_words(tmp_path / "none.jpg", "jpeg")


def test_the_header_holds_what_the_frame_states(tmp_path: Path) -> None:
    header = read_header(frame(tmp_path, "jpg", "-XMP-dc:Title=Bowl"), name="bowl.jpg", pixel_limit=LIMIT)
    assert header.stated == Stated(title="Bowl", origins=(("title", XMP),))
