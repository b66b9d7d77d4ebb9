"""AVIF as others write it: the same picture in the other forms that ISO/IEC 14496-12 allows, built here by hand."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import pytest
import pyvips
from PIL import Image

from pipeline.light.box import Size
from pipeline.render.containers.embed import embed, picture_data
from tests.render.containers.pictures import SIZE, embedded, encoded

if TYPE_CHECKING:
    from collections.abc import Iterator

FULL = embedded()
TILE = Size(128, 64)


def box(kind: bytes, *parts: bytes) -> bytes:
    body = b"".join(parts)
    return (8 + len(body)).to_bytes(4, "big") + kind + body


def full(kind: bytes, version: int, *parts: bytes, flags: int = 0) -> bytes:
    return box(kind, bytes((version,)), flags.to_bytes(3, "big"), *parts)


def u16(*numbers: int) -> bytes:
    return b"".join(number.to_bytes(2, "big") for number in numbers)


def u32(*numbers: int) -> bytes:
    return b"".join(number.to_bytes(4, "big") for number in numbers)


def boxes(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 0
    while at < len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        yield data[at + 4 : at + 8], data[at + 8 : at + size]
        at += size


def parts(name: str, size: Size = SIZE) -> tuple[bytes, bytes, list[tuple[bytes, bytes]], bytes]:
    """Return ftyp, the data of the one item, its property boxes, and the associations of libheif's file."""
    data = encoded(name, size)
    outer = dict(boxes(data))
    meta = dict(boxes(outer[b"meta"][4:]))
    iprp = dict(boxes(meta[b"iprp"]))
    return box(b"ftyp", outer[b"ftyp"]), outer[b"mdat"], list(boxes(iprp[b"ipco"])), iprp[b"ipma"]


def handler() -> bytes:
    return full(b"hdlr", 0, bytes(4), b"pict", bytes(12), b"PRIVATE name\0")


def same_picture(first: bytes, second: bytes) -> None:
    """Compare as libavif (Pillow) and as libheif (libvips) decode them."""
    with Image.open(io.BytesIO(first)) as old, Image.open(io.BytesIO(second)) as new:
        assert old.info.get("icc_profile") == new.info.get("icc_profile")
        np.testing.assert_array_equal(np.asarray(old), np.asarray(new))
    np.testing.assert_array_equal(
        pyvips.Image.new_from_buffer(first, "").numpy(), pyvips.Image.new_from_buffer(second, "").numpy()
    )


def test_wide_numbers_and_two_extents_give_the_same_file() -> None:
    """Versions iloc 2 (base offset, 64 bits), pitm 1, infe 3, iref 1, ipma 1 (two-byte indices); names are dropped."""
    ftyp, data, properties, associations = parts("avif")
    count = associations[10]
    wide = b"".join(u16((value & 0x80) << 8 | value & 0x7F) for value in associations[11 : 11 + count])
    container = box(b"ipco", *(box(kind, body) for kind, body in properties))
    split = len(data) // 3
    exif = bytes(4) + b"MM\0*" + u32(8) + bytes(6) + b"PRIVATE"

    def meta(at: int) -> bytes:
        return full(
            b"meta",
            0,
            handler(),
            full(b"pitm", 1, u32(1)),
            full(
                b"iloc", 2, b"\x88\x80", u32(2),
                u32(1), u16(0, 0), at.to_bytes(8, "big"), u16(2),
                bytes(8), split.to_bytes(8, "big"), split.to_bytes(8, "big"), (len(data) - split).to_bytes(8, "big"),
                u32(70_000), u16(0, 0), bytes(8), u16(1),
                (at + len(data)).to_bytes(8, "big"), len(exif).to_bytes(8, "big"),
            ),
            full(
                b"iinf", 1, u32(2),
                full(b"infe", 3, u32(1), u16(0), b"av01", b"PRIVATE title\0"),
                full(b"infe", 3, u32(70_000), u16(0), b"Exif", b"\0", flags=1),
            ),
            full(b"iref", 1, box(b"cdsc", u32(70_000), u16(1), u32(1))),
            box(b"iprp", container, full(b"ipma", 1, u32(1), u32(1), bytes((count,)), wide, flags=1)),
        )  # fmt: skip

    place = len(ftyp) + len(meta(0)) + 8
    crafted = ftyp + meta(place) + box(b"mdat", data, exif) + box(b"uuid", bytes(16), b"PRIVATE")
    same_picture(encoded("avif"), crafted)
    assert embed(crafted, "avif", FULL) == embed(encoded("avif"), "avif", FULL)
    assert picture_data(crafted, "avif") == data


def test_free_text_in_properties_is_dropped_and_the_others_renumbered() -> None:
    """`udes` (ISO/IEC 23008-12 6.5.20) holds a name, a description and tags."""
    ftyp, data, properties, associations = parts("avif")
    count = associations[10]
    own = associations[11 : 11 + count]
    moved = bytes(value + 1 for value in own) + b"\x01"
    text = box(b"udes", bytes(4), b"en\0PRIVATE\0PRIVATE\0PRIVATE\0")
    container = box(b"ipco", text, *(box(kind, body) for kind, body in properties))

    def meta(at: int, association: bytes) -> bytes:
        return full(
            b"meta",
            0,
            handler(),
            full(b"pitm", 0, u16(1)),
            full(b"iloc", 0, b"\x44\x00", u16(1), u16(1, 0, 1), u32(at, len(data))),
            full(b"iinf", 0, u16(1), full(b"infe", 2, u16(1, 0), b"av01\0")),
            box(b"iprp", container, full(b"ipma", 0, u32(1), u16(1), bytes((count + 1,)), association)),
        )

    place = len(ftyp) + len(meta(0, moved)) + 8
    crafted = ftyp + meta(place, moved) + box(b"mdat", data)
    assert embed(crafted, "avif", FULL) == embed(encoded("avif"), "avif", FULL)
    essential = moved[:-1] + b"\x81"
    with pytest.raises(ValueError, match="essential property that is not known"):
        embed(ftyp + meta(place, essential) + box(b"mdat", data), "avif", FULL)


def test_more_than_127_properties_stay() -> None:
    """ISO/IEC 23008-12 9.3.3: associations of two bytes, one bit of them for "essential"."""
    ftyp, data, properties, associations = parts("avif-bare")
    own = [(value & 0x7F, value >> 7) for value in associations[11 : 11 + associations[10]]]
    many = 130
    own += [(len(properties) + 1 + place, 0) for place in range(many)]
    spacings = [(b"pasp", u32(place + 1, 1)) for place in range(many)]
    wide = b"".join(u16(essential << 15 | place) for place, essential in own)
    container = box(b"ipco", *(box(kind, body) for kind, body in (*properties, *spacings)))

    def meta(at: int) -> bytes:
        return full(
            b"meta",
            0,
            handler(),
            full(b"pitm", 0, u16(1)),
            full(b"iloc", 0, b"\x44\x00", u16(1), u16(1, 0, 1), u32(at, len(data))),
            full(b"iinf", 0, u16(1), full(b"infe", 2, u16(1, 0), b"av01\0")),
            box(b"iprp", container, full(b"ipma", 0, u32(1), u16(1), bytes((len(own),)), wide, flags=1)),
        )

    place = len(ftyp) + len(meta(0)) + 8
    after = embed(ftyp + meta(place) + box(b"mdat", data), "avif", FULL)
    iprp = dict(boxes(dict(boxes(dict(boxes(after))[b"meta"][4:]))[b"iprp"]))
    assert iprp[b"ipco"] == container[8:]
    assert iprp[b"ipma"] == bytes((0, 0, 0, 1)) + u32(1) + u16(1) + bytes((len(own),)) + wide
    assert embed(after, "avif", FULL) == after


def grid_file(columns: int = 2, *, shared: bool = False) -> bytes:
    """Return equal tiles side by side: a `grid` item in `idat` (ISO/IEC 23008-12 6.6.2.3), and a thumbnail item.

    Where `shared`, all items name the same bytes.
    """
    ftyp, data, properties, associations = parts("avif-bare", TILE)
    own = associations[11 : 11 + associations[10]]
    kinds = [kind for kind, _ in properties]
    canvas = full(b"ispe", 0, u32(columns * TILE.width, TILE.height))
    tiles = range(2, 2 + columns)
    items = columns + 2
    step = 0 if shared else len(data)
    container = box(b"ipco", *(box(kind, body) for kind, body in properties), canvas)
    grid = bytes((0, 0, 0, columns - 1)) + u16(columns * TILE.width, TILE.height)
    whole = bytes((kinds.index(b"pixi") + 1, len(kinds) + 1))

    def meta(at: int) -> bytes:
        return full(
            b"meta",
            0,
            handler(),
            full(b"pitm", 0, u16(1)),
            full(
                b"iloc", 1, b"\x44\x00", u16(items),
                u16(1, 1, 0, 1), u32(0, len(grid)),
                *(u16(n, 0, 0, 1) + u32(at + step * place, len(data)) for place, n in enumerate((*tiles, items))),
            ),
            full(
                b"iinf", 0, u16(items),
                full(b"infe", 2, u16(1, 0), b"grid\0"),
                *(full(b"infe", 2, u16(number, 0), b"av01\0", flags=1) for number in tiles),
                full(b"infe", 2, u16(items, 0), b"av01\0"),
            ),
            full(b"iref", 0, box(b"dimg", u16(1, columns, *tiles)), box(b"thmb", u16(items, 1, 1))),
            box(
                b"iprp", container,
                full(
                    b"ipma", 0, u32(items), u16(1), bytes((len(whole),)), whole,
                    *(u16(number) + bytes((len(own),)) + own for number in (*tiles, items)),
                ),
            ),
            box(b"idat", grid),
        )  # fmt: skip

    place = len(ftyp) + len(meta(0)) + 8
    return ftyp + meta(place) + box(b"mdat", data if shared else data * (columns + 1))


def test_a_grid_stays_whole_and_its_thumbnail_goes() -> None:
    crafted = grid_file()
    after = embed(crafted, "avif", FULL)
    same_picture(crafted, after)
    with Image.open(io.BytesIO(after)) as image:
        assert image.size == (2 * TILE.width, TILE.height)
    assert b"thmb" not in after
    assert after.count(b"infe") == 5
    assert embed(after, "avif", FULL) == after
    assert picture_data(crafted, "avif") == picture_data(after, "avif")


def test_the_alpha_plane_is_picture_data() -> None:
    data = dict(boxes(encoded("avif-alpha")))[b"mdat"]
    assert picture_data(encoded("avif-alpha"), "avif") == data


def test_metadata_items_describe_the_primary_item() -> None:
    """ISO/IEC 23008-12 Annex A: the Exif item begins with the offset of the TIFF header behind these four bytes."""
    after = embed(encoded("avif"), "avif", FULL)
    meta = dict(boxes(dict(boxes(after))[b"meta"][4:]))
    assert list(boxes(meta[b"iref"][4:])) == [(b"cdsc", u16(2, 1, 1)), (b"cdsc", u16(3, 1, 1))]
    infos = [(body[8:12], int.from_bytes(body[1:4], "big")) for _, body in boxes(meta[b"iinf"][6:])]
    assert infos == [(b"av01", 0), (b"Exif", 1), (b"mime", 1)]  # flag 1: not to be shown (ISO/IEC 14496-12, 8.11.6)
    assert b"mime\0application/rdf+xml\0" in meta[b"iinf"]
    assert bytes(4) + FULL.exif + FULL.xmp == after[-len(FULL.xmp) - len(FULL.exif) - 4 :]
    with Image.open(io.BytesIO(after)) as image:
        assert image.getexif()[33432].encode("latin-1").decode() == "© 2026 Ana Exämple"
        assert image.info["xmp"] == FULL.xmp


def test_what_is_not_one_still_picture_is_refused() -> None:
    stream = io.BytesIO()
    frames = [Image.new("RGB", (64, 64), colour) for colour in ("red", "blue")]
    frames[0].save(stream, "avif", save_all=True, append_images=frames[1:])
    with pytest.raises(ValueError, match="sequence"):
        embed(stream.getvalue(), "avif", FULL)
    data = encoded("avif")
    with pytest.raises(ValueError, match="unknown kind b'hvc1'"):
        embed(data.replace(b"infe\x02\0\0\0\0\x01\0\0av01", b"infe\x02\0\0\0\0\x01\0\0hvc1"), "avif", FULL)
    with pytest.raises(ValueError, match="one meta box, not 0"):
        embed(data.replace(b"meta", b"free", 1), "avif", FULL)


def test_items_that_share_bytes_are_refused() -> None:
    """A small file whose items all name the same bytes would grow with every rewriting."""
    with pytest.raises(ValueError, match="same bytes"):
        embed(grid_file(100, shared=True), "avif", FULL)
