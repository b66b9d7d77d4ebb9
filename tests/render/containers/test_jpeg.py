from __future__ import annotations

import hashlib
import io
from dataclasses import replace

import exifread
import numpy as np
import pytest
from PIL import Image

from pipeline.render.containers.embed import embed, picture_data
from pipeline.render.containers.ifd import Entry, ExifBlock, read_exif, write_exif
from pipeline.render.containers.long_xmp import divided
from tests.render.containers.pictures import FACTS, SIZE, embedded, encoded, samples

FULL = embedded()


def segments(data: bytes) -> list[tuple[int, bytes]]:
    """Return the marker segments before the first scan (T.81 B.1.1.4), read apart from the writer."""
    found, at = [], 2
    while data[at + 1] != 0xDA:
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        found.append((data[at + 1], data[at + 4 : at + 2 + length]))
        at += 2 + length
    return found


def saved(mode: str, **options: object) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(samples()).convert(mode).save(stream, "jpeg", **options)
    return stream.getvalue()


def test_segments_stand_in_the_order_of_the_standards() -> None:
    """JFIF first (T.871 10.1), then Exif, XMP, image resources (XMP Specification Part 3, 1.1.3), ICC, tables."""
    found = segments(embed(encoded("jpeg"), "jpeg", FULL))
    assert [marker for marker, _ in found[:5]] == [0xE0, 0xE1, 0xE1, 0xED, 0xE2]
    assert found[0][1] == b"JFIF\0\x01\x01\x01" + (300).to_bytes(2, "big") * 2 + b"\0\0"
    assert found[1][1].startswith(b"Exif\0\0MM\0*")
    assert found[2][1] == b"http://ns.adobe.com/xap/1.0/\0" + FULL.xmp
    assert found[3][1].startswith(b"Photoshop 3.0\x008BIM\x04\x04\0\0")
    assert found[4][1].startswith(b"ICC_PROFILE\0\x01\x01")
    assert {marker for marker, _ in found[5:]} <= {0xDB, 0xC0, 0xC2, 0xC4, 0xDD}


def test_without_iim_there_are_no_image_resources() -> None:
    found = segments(embed(encoded("jpeg"), "jpeg", replace(FULL, iim=b"")))
    assert 0xED not in {marker for marker, _ in found}


def test_iim_goes_on_in_further_segments() -> None:
    """XMP Specification Part 3 (2020) 1.1.3: image resources may be in several APP13 segments, one behind the other."""
    iim = b"".join(b"\x1c\x02\x19\0\x40" + bytes([65 + n % 26]) * 64 for n in range(2000))
    parts = [
        body for marker, body in segments(embed(encoded("jpeg"), "jpeg", replace(FULL, iim=iim))) if marker == 0xED
    ]
    assert len(parts) == 3
    joined = b"".join(part.removeprefix(b"Photoshop 3.0\0") for part in parts)
    digest = hashlib.md5(iim, usedforsecurity=False).digest()
    assert joined == (b"8BIM\x04\x04\0\0" + len(iim).to_bytes(4, "big") + iim + b"8BIM\x04\x25\0\0\0\0\0\x10" + digest)


def test_a_large_profile_stays_in_its_parts() -> None:
    """ICC.1 Annex B: parts of at most 65519 bytes, numbered from 1."""
    profile = bytes(range(256)) * 700
    after = embed(saved("RGB", icc_profile=profile), "jpeg", FULL)
    parts = [body for marker, body in segments(after) if marker == 0xE2]
    assert [part[12:14] for part in parts] == [b"\x01\x03", b"\x02\x03", b"\x03\x03"]
    assert b"".join(part[14:] for part in parts) == profile


def test_a_profile_with_a_part_missing_is_refused() -> None:
    data = saved("RGB", icc_profile=bytes(70_000))
    start = data.index(b"\xff\xe2")
    length = int.from_bytes(data[start + 2 : start + 4], "big")
    with pytest.raises(ValueError, match="ICC profile with parts missing or twice"):
        embed(data[:start] + data[start + 2 + length :], "jpeg", FULL)


@pytest.mark.parametrize("mode", ["CMYK", "L", "RGB"])
def test_the_adobe_segment_stays_where_it_decides_colours(mode: str) -> None:
    data = saved(mode)
    after = embed(data, "jpeg", FULL)
    assert (b"Adobe" in data) == (b"Adobe" in after) == (mode == "CMYK")
    with Image.open(io.BytesIO(data)) as old, Image.open(io.BytesIO(after)) as new:
        assert old.mode == new.mode == mode
        np.testing.assert_array_equal(np.asarray(old), np.asarray(new))


def test_stored_rgb_is_refused() -> None:
    """T.871 knows YCbCr and grey only: a JFIF header in front of stored RGB would turn its colours."""
    with pytest.raises(ValueError, match="stores RGB instead of YCbCr"):
        embed(saved("RGB", keep_rgb=True), "jpeg", FULL)


def test_fill_bytes_comments_and_what_follows_the_end_are_dropped() -> None:
    data = encoded("jpeg-progressive")
    at = data.index(b"\xff\xdb")
    comment = b"\xff\xff\xff\xfe\x00\x06note"
    assert embed(data[:at] + comment + data[at:] + b"\xff\xd8 a thumbnail", "jpeg", FULL) == embed(data, "jpeg", FULL)


def test_fill_bytes_behind_scans_are_dropped() -> None:
    """T.81 B.1.1.2: any marker may have bytes FF in front of it."""
    data = encoded("jpeg-progressive")
    between = data.rindex(b"\xff\xc4")
    assert between > data.index(b"\xff\xda")
    filled = data[:between] + b"\xff\xff" + data[between:-2] + b"\xff" + data[-2:]
    assert embed(filled, "jpeg", FULL) == embed(data, "jpeg", FULL)


def test_a_comment_between_scans_is_dropped() -> None:
    data = encoded("jpeg-progressive")
    at = data.rindex(b"\xff\xc4")
    assert at > data.index(b"\xff\xda")
    assert embed(data[:at] + b"\xff\xfe\x00\x06note" + data[at:], "jpeg", FULL) == embed(data, "jpeg", FULL)


def test_components_are_described_in_jpeg_only() -> None:
    """CIPA DC-008 4.6.5: ComponentsConfiguration is 1 2 3 0 for YCbCr, 1 0 0 0 for grey."""
    assert b"\x91\x01\x00\x07\x00\x00\x00\x04\x01\x02\x03\x00" in embed(encoded("jpeg"), "jpeg", FULL)
    assert b"\x91\x01\x00\x07\x00\x00\x00\x04\x01\x00\x00\x00" in embed(encoded("jpeg-grey"), "jpeg", FULL)
    assert b"\x91\x01\x00\x07" not in embed(saved("CMYK"), "jpeg", FULL)
    assert b"\x91\x01\x00\x07" not in embed(encoded("png"), "png", FULL)


def test_the_longest_packet_stays_whole() -> None:
    """XMP Specification Part 3 (2020), 1.1.3, Table 6: at most 65502 bytes."""
    longest = replace(FULL, xmp=FULL.xmp + b" " * (65502 - len(FULL.xmp)))
    assert longest.xmp in embed(encoded("jpeg"), "jpeg", longest)


def test_a_longer_packet_goes_on_in_segments_of_its_own() -> None:
    """XMP Specification Part 3 (2020), 1.1.3.1: signature, name, whole length, offset, 65458 bytes."""
    long = embedded(replace(FACTS, long_alt="é" * 70_000))
    found = segments(embed(encoded("jpeg"), "jpeg", long))
    assert [marker for marker, _ in found[:8]] == [0xE0, 0xE1, 0xE1, 0xE1, 0xE1, 0xE1, 0xE1, 0xE1]
    main, extended = divided(long.xmp)
    assert found[2][1] == b"http://ns.adobe.com/xap/1.0/\0" + main
    name = hashlib.md5(extended, usedforsecurity=False).hexdigest().upper().encode()
    head = b"http://ns.adobe.com/xmp/extension/\0" + name + len(extended).to_bytes(4, "big")
    for at, (_, body) in enumerate(found[3:8]):
        start = at * 65458
        assert body == head + start.to_bytes(4, "big") + extended[start : start + 65458]
    assert len(found[3][1]) == 65535 - 2
    assert 5 * 65458 > len(extended) > 4 * 65458


@pytest.mark.parametrize(
    ("description", "copyright_notice", "left"),
    [
        ("x" * 66_000, "y", {"Copyright", "Artist"}),
        ("x" * 40_000, "y" * 30_000, {"Copyright", "Artist"}),
        ("x", "y" * 66_000, {"ImageDescription", "Artist"}),
        ("x" * 66_000, "y" * 66_000, {"Artist"}),
    ],
)
def test_words_too_long_for_exif_are_left_out_of_it_whole(
    description: str, copyright_notice: str, left: set[str]
) -> None:
    """MWG 2.0 reads Exif first: a part of the words there would hide the rest, which stands in XMP."""
    long = embedded(replace(FACTS, description=description, copyright=copyright_notice))
    tags = exifread.process_file(io.BytesIO(embed(encoded("jpeg"), "jpeg", long)))
    assert left == {"ImageDescription", "Copyright", "Artist"} & {name.removeprefix("Image ") for name in tags}
    assert tags["EXIF DateTimeOriginal"].values == "2026:09:12 10:24:31"


def test_the_longest_exif_block_fits() -> None:
    """A segment counts its own two bytes of length and the six of "Exif": 65527 are left (DC-008 4.7.2)."""
    room = 65527 - len(segments(embed(encoded("jpeg"), "jpeg", embedded(replace(FACTS, description=""))))[1][1]) + 6
    for octets, there in ((room - 14, True), (room - 12, False)):  # an entry has 12 bytes, its value an end and is even
        data = embed(encoded("jpeg"), "jpeg", embedded(replace(FACTS, description="x" * octets)))
        assert there == (b"\x01\x0e\x00\x02" in segments(data)[1][1])


def test_too_long_an_exif_block_is_refused_with_its_size() -> None:
    block = read_exif(FULL.exif)
    make = Entry(271, 2, b"x" * 66_000 + b"\0")
    exif = write_exif(ExifBlock(block.order, block.first | {271: make}, block.second))
    with pytest.raises(ValueError, match=r"Exif block has 66\d\d\d bytes; one JPEG segment holds at most 65527"):
        embed(encoded("jpeg"), "jpeg", replace(FULL, exif=exif))


def test_picture_data_holds_all_that_decides_pixels() -> None:
    """Between SOI and EOI it is a whole abbreviated-free JPEG (T.81 B.2): decoders need nothing else."""
    bare = b"\xff\xd8" + picture_data(encoded("jpeg-progressive"), "jpeg") + b"\xff\xd9"
    with Image.open(io.BytesIO(bare)) as alone, Image.open(io.BytesIO(encoded("jpeg-progressive"))) as whole:
        assert alone.size == (SIZE.width, SIZE.height)
        np.testing.assert_array_equal(np.asarray(whole), np.asarray(alone))


def test_a_second_frame_or_an_unknown_marker_is_refused() -> None:
    data = encoded("jpeg")
    frame = data.index(b"\xff\xc0")
    length = int.from_bytes(data[frame + 2 : frame + 4], "big")
    with pytest.raises(ValueError, match="more than one frame"):
        embed(data[:frame] + data[frame : frame + 2 + length] + data[frame:], "jpeg", FULL)
    with pytest.raises(ValueError, match="marker FFF0"):
        embed(data[:frame] + b"\xff\xf0\x00\x02" + data[frame:], "jpeg", FULL)
