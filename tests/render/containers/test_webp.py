from __future__ import annotations

import io

import pytest
from PIL import Image

from pipeline.render.containers.embed import embed
from tests.render.containers.pictures import SIZE, embedded, encoded, samples

FULL = embedded()
ICC, ALPHA, EXIF, XMP = 0x20, 0x10, 0x08, 0x04  # WebP Container Specification, "Extended File Format"


def chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    """Return kind and body of each chunk of the RIFF file, read apart from the writer."""
    assert data[:4] == b"RIFF"
    assert data[8:12] == b"WEBP"
    assert int.from_bytes(data[4:8], "little") == len(data) - 8
    found, at = [], 12
    while at < len(data):
        length = int.from_bytes(data[at + 4 : at + 8], "little")
        found.append((data[at : at + 4], data[at + 8 : at + 8 + length]))
        assert data[at + 8 + length : at + 8 + length + length % 2] == bytes(length % 2)
        at += 8 + length + length % 2
    return found


@pytest.mark.parametrize(
    ("name", "kinds", "flags"),
    [
        ("webp", [b"VP8X", b"ICCP", b"VP8 ", b"EXIF", b"XMP "], ICC | EXIF | XMP),
        ("webp-lossless", [b"VP8X", b"ICCP", b"VP8L", b"EXIF", b"XMP "], ICC | EXIF | XMP),
        ("webp-alpha", [b"VP8X", b"ICCP", b"ALPH", b"VP8 ", b"EXIF", b"XMP "], ICC | ALPHA | EXIF | XMP),
        ("webp-lossless-alpha", [b"VP8X", b"VP8L", b"EXIF", b"XMP "], ALPHA | EXIF | XMP),
        ("webp-bare", [b"VP8X", b"VP8 ", b"EXIF", b"XMP "], EXIF | XMP),
        ("webp-lossless-bare", [b"VP8X", b"VP8L", b"EXIF", b"XMP "], EXIF | XMP),
    ],
)
def test_chunks_and_flags(name: str, kinds: list[bytes], flags: int) -> None:
    found = chunks(embed(encoded(name), "webp", FULL))
    assert [kind for kind, _ in found] == kinds
    canvas = (SIZE.width - 1).to_bytes(3, "little") + (SIZE.height - 1).to_bytes(3, "little")
    assert found[0][1] == bytes((flags, 0, 0, 0)) + canvas
    assert dict(found)[b"EXIF"] == FULL.exif
    assert dict(found)[b"XMP "] == FULL.xmp


@pytest.mark.parametrize("size", [(1, 1), (2, 3), (16383, 1), (1, 16383)])
@pytest.mark.parametrize("lossless", [True, False])
def test_the_canvas_is_read_from_the_simple_form(size: tuple[int, int], lossless: bool) -> None:  # noqa: FBT001
    stream = io.BytesIO()
    Image.new("RGB", size).save(stream, "webp", lossless=lossless)
    after = embed(stream.getvalue(), "webp", FULL)
    assert chunks(stream.getvalue())[0][0] != b"VP8X"
    with Image.open(io.BytesIO(after)) as image:
        assert image.size == size
        image.load()


def test_an_animation_is_refused() -> None:
    stream = io.BytesIO()
    frames = [Image.fromarray(samples()), Image.fromarray(255 - samples())]
    frames[0].save(stream, "webp", save_all=True, append_images=frames[1:])
    with pytest.raises(ValueError, match="animation"):
        embed(stream.getvalue(), "webp", FULL)


def test_unknown_chunks_and_what_follows_are_dropped() -> None:
    data = encoded("webp")
    private = data + b"PRVT\x03\x00\x00\x00abc\x00"
    private = private[:4] + (len(private) - 8).to_bytes(4, "little") + private[8:] + b"behind"
    assert embed(private, "webp", FULL) == embed(data, "webp", FULL)


def test_two_pictures_are_refused() -> None:
    data = encoded("webp-bare")
    twice = b"RIFF" + (len(data) - 8 + len(data) - 12).to_bytes(4, "little") + data[8:] + data[12:]
    with pytest.raises(ValueError, match="chunk VP8 twice"):
        embed(twice, "webp", FULL)
    other = encoded("webp-lossless-bare")
    both = b"RIFF" + (len(data) - 8 + len(other) - 12).to_bytes(4, "little") + data[8:] + other[12:]
    with pytest.raises(ValueError, match="exactly one still picture"):
        embed(both, "webp", FULL)
