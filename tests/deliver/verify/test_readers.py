"""Files taken apart: sizes and profiles as Pillow finds them, one digest of a picture, and no crash ever."""

from __future__ import annotations

import io
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from pipeline.deliver.verify.readers import picture_digest, read_back
from pipeline.light.box import Size
from pipeline.plan.facts import PictureFacts
from pipeline.render.containers.embed import embed
from tests.render.containers.pictures import FACTS, NAMES, embedded, encoded, format_of

SMALL = Size(20, 17)
FORMATS = ("jpeg", "png", "webp", "tiff-lzw", "avif")


def delivered(name: str, facts: PictureFacts = FACTS, size: Size = SMALL) -> bytes:
    return embed(encoded(name, size), format_of(name), embedded(facts, size=size))


@pytest.mark.parametrize("name", NAMES)
def test_size_profile_and_format_as_pillow_finds_them(name: str) -> None:
    data = encoded(name)
    read = read_back(data)
    with Image.open(io.BytesIO(data)) as image:
        assert (image.size, image.info.get("icc_profile")) == ((read.size.width, read.size.height), read.icc_profile)
        assert (image.format or "").lower() == read.format


@pytest.mark.parametrize("name", NAMES)
def test_metadata_does_not_change_the_digest_of_the_picture(name: str) -> None:
    # VP8L alone says less about alpha than VP8X does; embedding does not touch the picture in any of them.
    bare, written = encoded(name, SMALL), delivered(name)
    assert picture_digest(bare) == picture_digest(written)
    assert picture_digest(written) == picture_digest(delivered(name, PictureFacts(language="en")))
    assert read_back(written).others == ()


@pytest.mark.parametrize("name", FORMATS)
def test_another_picture_has_another_digest(name: str) -> None:
    assert picture_digest(encoded(name, SMALL)) != picture_digest(encoded(name, Size(20, 18)))


def test_a_tiff_whose_tags_turn_its_colours_around_is_another_picture() -> None:
    data = encoded("tiff-grey", SMALL)
    entry = b"\x06\x01\x03\x00\x01\x00\x00\x00\x01"  # 262 PhotometricInterpretation, SHORT, 1: black is zero
    assert data.count(entry) == 1
    assert picture_digest(data) != picture_digest(data.replace(entry, entry[:-1] + b"\0"))


def test_an_avif_that_is_shown_turned_is_another_picture() -> None:
    image = Image.frombytes("RGB", (16, 16), bytes(range(256)) * 3)
    files = []
    for orientation in (1, 6):
        exif = Image.Exif()
        exif[274] = orientation
        stream = io.BytesIO()
        image.save(stream, "AVIF", exif=exif)
        files.append(stream.getvalue())
    assert b"irot" in files[1]
    assert picture_digest(files[0]) != picture_digest(files[1])


def png_chunk(kind: bytes, body: bytes) -> bytes:
    return len(body).to_bytes(4, "big") + kind + body + zlib.crc32(kind + body).to_bytes(4, "big")


def test_foreign_parts_are_named() -> None:
    jpeg, png = delivered("jpeg"), delivered("png")
    webp, avif = delivered("webp"), delivered("avif")
    exif_at = jpeg.index(b"\xff\xe1")
    inserted = jpeg[:exif_at] + b"\xff\xfe\x00\x05abc" + b"\xff\xe5\x00\x09Strange" + jpeg[exif_at:] + b"tail"
    assert read_back(inserted).others == (
        "a comment (JPEG)",
        "a segment APP5 'Strange' (JPEG)",
        "4 bytes behind its end",
    )
    text = png_chunk(b"tEXt", b"Author\0me") + png_chunk(b"tIME", bytes(7))
    assert read_back(png[:33] + text + png[33:]).others == ("a text 'Author' (PNG)", "a chunk 'tIME' (PNG)")
    more = webp + b"abcd\x02\0\0\0xy"
    more = more[:4] + (len(more) - 8).to_bytes(4, "little") + more[8:]
    assert read_back(more).others == ("a chunk 'abcd' (WebP)",)
    assert read_back(avif + b"\0\0\0\x0cfreexxxx").others == ("a box 'free' (AVIF)",)


def test_a_thumbnail_in_exif_and_a_second_picture_in_tiff_are_named() -> None:
    frame = Image.new("RGB", (16, 16))
    stream = io.BytesIO()
    frame.save(stream, "TIFF", save_all=True, append_images=[frame])
    assert read_back(stream.getvalue()).others == ("a thumbnail or second picture (Exif)",)


def test_a_broken_packet_beside_a_whole_picture_is_named() -> None:
    data = delivered("webp")
    broken = data.replace(b"</rdf:RDF>", b"</rdf:RDX>")
    assert read_back(broken).xmp == {}
    assert any(
        other.startswith("a broken XMP packet (the XMP packet is no sound XML") for other in read_back(broken).others
    )


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "it is no JPEG, PNG, WebP, TIFF or AVIF file"),
        (b"GIF89a", "it is no JPEG, PNG, WebP, TIFF or AVIF file"),
        (b"\xff\xd8\xff\xd9", "the JPEG file has no frame header"),
        (b"\x89PNG\r\n\x1a\n", "the PNG file is cut short at byte 8"),
        (b"RIFF\x04\0\0\0WEBP", "the WebP file has no still picture"),
        (b"II*\0\x08\0\0\0\0\0\0\0\0\0", "the TIFF file has neither strips nor tiles"),
        (b"\0\0\0\x10ftypavif\0\0\0\0", "the AVIF file has 0 meta boxes; a still picture has one"),
    ],
)
def test_what_is_no_whole_picture(data: bytes, message: str) -> None:
    with pytest.raises(ValueError, match=f"^{message}$"):
        read_back(data)


@pytest.mark.parametrize("name", FORMATS)
@given(data=st.data())
@settings(max_examples=120)
def test_mutated_files_never_crash(name: str, data: st.DataObject) -> None:
    """Bytes overwritten, cut out, doubled or put in: a reading, or one sentence."""
    whole = bytearray(delivered(name))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(whole) - 1))
        length = data.draw(st.sampled_from([1, 2, 4, 40]))
        piece = data.draw(
            st.binary(min_size=length, max_size=length) | st.just(b"\xff" * length) | st.just(bytes(length))
        )
        match data.draw(st.sampled_from(["overwrite", "cut", "insert", "double"])):
            case "overwrite":
                whole[at : at + length] = piece
            case "cut":
                del whole[at : at + length]
            case "insert":
                whole[at:at] = piece
            case _:
                whole[at:at] = whole[max(0, at - 60) : at]
        if not whole:
            return
    try:
        read = read_back(bytes(whole))
    except ValueError as error:
        message = str(error)
        told = message.isprintable() and 5 < len(message) < 200
    else:
        told = len(read.picture_sha256) == 64
    assert told


@pytest.mark.parametrize("name", FORMATS)
def test_every_cut_short_file_is_refused_or_read(name: str) -> None:
    whole = delivered(name)
    refused = 0
    for end in range(0, len(whole) - 1, max(1, len(whole) // 150)):
        try:
            read_back(whole[:end])
        except ValueError:
            refused += 1
    assert refused > 100


def test_a_bomb_of_nested_or_shared_parts_is_refused_at_once() -> None:
    png = delivered("png")
    bomb = zlib.compress(bytes(200 << 20), 9)
    profile = png_chunk(b"iCCP", b"x\0\0" + bomb)
    bare = encoded("png-grey", SMALL)
    read = read_back(bare[:33] + profile + bare[33:])
    assert len(read.icc_profile or b"") <= 16 << 20
    entities = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><x>&b;</x>'
    packet = png_chunk(b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0" + entities)
    assert read_back(bare[:33] + packet + bare[33:]).xmp == {}
    shared = bytearray(b"II*\0\x08\0\0\0" + (2000).to_bytes(2, "little"))
    for tag in range(2000):
        shared += (1000 + tag).to_bytes(2, "little") + b"\x01\0" + (20_000).to_bytes(4, "little") + bytes(4)
    with pytest.raises(ValueError, match="holds values that use the same bytes"):
        read_back(bytes(shared) + bytes(1000))
    assert png.startswith(b"\x89PNG")
