from __future__ import annotations

import io
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from pipeline.render.containers.embed import embed, picture_data
from tests.render.containers.pictures import embedded, encoded, samples

FULL = embedded()
SIGNATURE = b"\x89PNG\r\n\x1a\n"


def chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    """Return kind and body of each chunk (PNG 3rd edition, 5.3), read apart from the writer."""
    found, at = [], 8
    while at < len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        kind, body = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        assert zlib.crc32(kind + body) == int.from_bytes(data[at + 8 + length : at + 12 + length], "big")
        found.append((kind, body))
        at += 12 + length
    return found


def chunk(kind: bytes, body: bytes) -> bytes:
    return len(body).to_bytes(4, "big") + kind + body + zlib.crc32(kind + body).to_bytes(4, "big")


def with_chunk(data: bytes, before: bytes, kind: bytes, body: bytes) -> bytes:
    at = data.index(before) - 4
    return data[:at] + chunk(kind, body) + data[at:]


def test_chunks_stand_in_the_order_of_the_standard() -> None:
    """PNG 3rd edition, 5.6: iCCP before PLTE and IDAT, pHYs and eXIf before IDAT."""
    found = chunks(embed(encoded("png"), "png", FULL))
    kinds = [kind for kind, _ in found if kind != b"IDAT"]
    assert kinds == [b"IHDR", b"iCCP", b"pHYs", b"eXIf", b"iTXt", b"IEND"]
    bodies = dict(found)
    assert bodies[b"eXIf"] == FULL.exif
    assert bodies[b"iTXt"] == b"XML:com.adobe.xmp" + bytes(5) + FULL.xmp
    assert bodies[b"pHYs"] == (11811).to_bytes(4, "big") * 2 + b"\x01"


def test_the_profile_chunk_is_the_same_bytes() -> None:
    before, after = dict(chunks(encoded("png"))), dict(chunks(embed(encoded("png"), "png", FULL)))
    assert before[b"iCCP"] == after[b"iCCP"]


@pytest.mark.parametrize("kind", [b"cICP", b"sRGB", b"cHRM", b"gAMA", b"sBIT", b"mDCV", b"cLLI"])
def test_what_says_how_the_samples_are_meant_stays(kind: bytes) -> None:
    """PNG 3rd edition, 11.3.2, colour space information."""
    after = embed(with_chunk(encoded("png"), b"IDAT", kind, b"\x01\x02\x03"), "png", FULL)
    assert (kind, b"\x01\x02\x03") in chunks(after)


def test_palette_and_transparency_stay() -> None:
    stream = io.BytesIO()
    Image.fromarray(samples()).quantize(16).save(stream, "png", transparency=3, bits=4)
    data = stream.getvalue()
    after = embed(data, "png", FULL)
    kept = [kind for kind, _ in chunks(after)]
    assert kept.index(b"PLTE") < kept.index(b"tRNS") < kept.index(b"IDAT")
    with Image.open(io.BytesIO(data)) as old, Image.open(io.BytesIO(after)) as new:
        assert old.convert("RGBA").tobytes() == new.convert("RGBA").tobytes()
    assert picture_data(data, "png") == picture_data(after, "png")


def test_text_and_time_are_dropped_even_where_compressed() -> None:
    info = PngImagePlugin.PngInfo()
    info.add_text("Comment", "PRIVATE", zip=True)
    info.add_itxt("Author", "PRIVATE", zip=True)
    info.add(b"tIME", bytes(7))
    info.add(b"prVt", b"PRIVATE")
    stream = io.BytesIO()
    image = Image.fromarray(samples())
    image.save(stream, "png", pnginfo=info)
    plain = io.BytesIO()
    image.save(plain, "png")
    assert {b"zTXt", b"iTXt", b"tIME", b"prVt"} <= {kind for kind, _ in chunks(stream.getvalue())}
    assert embed(stream.getvalue(), "png", FULL) == embed(plain.getvalue(), "png", FULL)


def test_what_follows_the_end_is_dropped() -> None:
    assert embed(encoded("png") + b"more", "png", FULL) == embed(encoded("png"), "png", FULL)


def test_a_wrong_checksum_is_refused() -> None:
    data = bytearray(encoded("png"))
    data[data.index(b"IDAT") + 10] ^= 1
    with pytest.raises(ValueError, match="wrong checksum in its chunk IDAT"):
        embed(bytes(data), "png", FULL)


def test_what_cannot_be_kept_safely_is_refused() -> None:
    with pytest.raises(ValueError, match="unknown critical chunk JUNK"):
        embed(with_chunk(encoded("png"), b"IDAT", b"JUNK", b""), "png", FULL)
    with pytest.raises(ValueError, match="twice"):
        embed(with_chunk(encoded("png"), b"IDAT", b"iCCP", b""), "png", FULL)
    with pytest.raises(ValueError, match="between or behind"):
        embed(with_chunk(encoded("png"), b"IEND", b"PLTE", bytes(3)), "png", FULL)
    with pytest.raises(ValueError, match="no picture"):
        embed(SIGNATURE + chunk(b"IHDR", bytes(13)) + chunk(b"IEND", b""), "png", FULL)


@given(
    st.lists(
        st.tuples(
            st.sampled_from([b"IHDR", b"PLTE", b"IDAT", b"tRNS", b"iCCP", b"tEXt", b"eXIf", b"pHYs", b"JUNK", b"acTL"]),
            st.binary(max_size=6),
        ),
        max_size=6,
    )
)
def test_any_chunks_are_refused_or_canonical(drawn: list[tuple[bytes, bytes]]) -> None:
    data = SIGNATURE + b"".join(chunk(*one) for one in [(b"IHDR", bytes(13)), *drawn, (b"IEND", b"")])
    try:
        once = embed(data, "png", FULL)
    except ValueError:
        return
    assert embed(once, "png", FULL) == once
    assert picture_data(data, "png") == picture_data(once, "png")
