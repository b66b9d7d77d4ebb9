from __future__ import annotations

import hashlib
import io
from dataclasses import replace

import numpy as np
import pytest
import pyvips
import tifffile
from PIL import Image, IptcImagePlugin

from pipeline.render.containers.embed import embed, picture_data
from pipeline.render.containers.ifd import longs, write_directory, write_header
from tests.render.containers.pictures import FACTS, NAMES, SIZE, embedded, encoded, samples

FULL = embedded()
TIFFS = [name for name in NAMES if name.startswith("tiff")]
# What a delivered TIFF may hold: the picture's own tags (TIFF 6.0), the facts, XMP, ICC, Exif.
PICTURE = {254, 256, 257, 258, 259, 262, 277, 278, 284, 317, 322, 323, 338, 339, 273, 279, 324, 325}
FACT_TAGS = {270, 271, 272, 274, 282, 283, 296, 315, 700, 33432, 33723, 34377, 34665, 34675}


def saved(**options: object) -> bytes:
    stream = io.BytesIO()
    tifffile.imwrite(stream, samples(), photometric="rgb", **options)
    return stream.getvalue()


@pytest.mark.parametrize("name", TIFFS)
def test_tifffile_reads_tags_and_pixels(name: str) -> None:
    with (
        tifffile.TiffFile(io.BytesIO(encoded(name))) as before,
        tifffile.TiffFile(io.BytesIO(embed(encoded(name), "tiff", FULL))) as after,
    ):
        old, new = before.pages[0], after.pages[0]
        assert isinstance(old, tifffile.TiffPage)
        assert isinstance(new, tifffile.TiffPage)
        tags = {tag.code: tag.value for tag in new.tags}
        assert set(tags) <= PICTURE | FACT_TAGS
        assert {270, 274, 282, 283, 296, 315, 700, 33432, 33723, 34377, 34665} <= set(tags)
        assert tags[700] == FULL.xmp
        assert tags[33723] == FULL.iim
        assert FACTS.description == tags[270]
        assert tags[282] == tags[283] == (300, 1)
        assert (tags[274], tags[296]) == (1, 2)
        assert tags[34665]["DateTimeOriginal"] == "2026:09:12 10:24:31"
        for code in PICTURE - {273, 324}:
            assert (old.tags[code].value if code in old.tags else None) == tags.get(code)
        assert before.byteorder == after.byteorder
        assert len(after.pages) == 1
        np.testing.assert_array_equal(old.asarray(), new.asarray())


@pytest.mark.parametrize("name", TIFFS)
def test_every_offset_is_even_and_entries_are_sorted(name: str) -> None:
    """TIFF 6.0, section 2: word boundaries, ascending tags."""
    with tifffile.TiffFile(io.BytesIO(embed(encoded(name), "tiff", FULL))) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        codes = [tag.code for tag in page.tags]
        assert codes == sorted(codes)
        assert all(offset % 2 == 0 for offset in page.dataoffsets)
        assert all(tag.valueoffset % 2 == 0 for tag in page.tags)


@pytest.mark.parametrize("name", TIFFS)
def test_iim_and_its_digest_stand_apart(name: str) -> None:
    """XMP Specification Part 3 (2020) Table 36 and 3.3.2: IIM in tag 33723, resource 1061 (MD5 of it) in tag 34377."""
    digest = hashlib.md5(FULL.iim, usedforsecurity=False).digest()
    with tifffile.TiffFile(io.BytesIO(embed(encoded(name), "tiff", FULL))) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        resources = page.tags[34377]
        data = file.filehandle
        data.seek(resources.valueoffset)
        assert data.read(resources.count) == b"8BIM\x04\x25\0\0\0\0\0\x10" + digest
        assert (page.tags[33723].dtype, resources.dtype) == (7, 1)
    with Image.open(io.BytesIO(embed(encoded(name), "tiff", FULL))) as image:
        found = IptcImagePlugin.getiptcinfo(image)
    assert found is not None
    assert found[2, 120] == str(FACTS.description).encode()
    without = embed(encoded(name), "tiff", replace(FULL, iim=b""))
    with tifffile.TiffFile(io.BytesIO(without)) as file:
        assert not {33723, 34377} & {tag.code for tag in file.pages[0].tags}


def test_several_strips_and_tiles_stay_apart() -> None:
    for name, pieces in (("tiff-deflate", 3), ("tiff-tiles", 3 * 5)):
        with tifffile.TiffFile(io.BytesIO(embed(encoded(name), "tiff", FULL))) as file:
            page = file.pages[0]
            assert isinstance(page, tifffile.TiffPage)
            assert pieces == len(page.dataoffsets)


def test_wide_samples_of_a_big_endian_file_keep_their_order() -> None:
    """Samples of 16 bits are stored in the file's byte order (TIFF 6.0, section 2), also when compressed."""
    after = embed(encoded("tiff-big-endian-16"), "tiff", FULL)
    assert after[:4] == b"MM\0*"
    np.testing.assert_array_equal(samples().astype(np.uint16) * 257, tifffile.imread(io.BytesIO(after)))
    assert FULL.xmp in after


def test_planes_apart_stay_apart() -> None:
    planes = np.moveaxis(samples(), -1, 0)
    stream = io.BytesIO()
    tifffile.imwrite(stream, planes, photometric="rgb", planarconfig="separate")
    np.testing.assert_array_equal(planes, tifffile.imread(io.BytesIO(embed(stream.getvalue(), "tiff", FULL))))


def test_alpha_palette_and_bilevel_stay() -> None:
    for image in (
        Image.fromarray(samples()).convert("RGBA"),
        Image.fromarray(samples()).quantize(16),
        Image.fromarray(samples()).convert("1"),
        Image.fromarray(samples()).convert("CMYK"),
    ):
        stream = io.BytesIO()
        image.save(stream, "tiff", compression="tiff_deflate")
        with Image.open(io.BytesIO(embed(stream.getvalue(), "tiff", FULL))) as after:
            assert image.mode == after.mode
            assert image.convert("RGBA").tobytes() == after.convert("RGBA").tobytes()


def test_jpeg_in_tiff_keeps_its_tables() -> None:
    data = pyvips.Image.new_from_array(samples()).copy(interpretation="srgb").tiffsave_buffer(compression="jpeg")
    after = embed(data, "tiff", FULL)
    with Image.open(io.BytesIO(data)) as old, Image.open(io.BytesIO(after)) as new:
        assert old.convert("RGB").tobytes() == new.convert("RGB").tobytes()


def test_other_tags_and_unused_bytes_are_dropped() -> None:
    extra = [(33723, 7, 7, b"PRIVATE", True), (34377, 7, 7, b"PRIVATE", True)]
    private = saved(software="PRIVATE", metadata=None, description="PRIVATE", datetime=True, extratags=extra)
    assert private.count(b"PRIVATE") == 4
    plain = saved(software=None, metadata=None)
    assert embed(private + b"PRIVATE", "tiff", FULL) == embed(plain, "tiff", FULL)


@pytest.mark.parametrize("code", [318, 319, 332, 334, 336, 340, 341, 529, 530, 531, 532])
def test_what_says_how_the_samples_are_meant_stays(code: int) -> None:
    """TIFF 6.0, sections 8, 16, 18 to 21."""
    after = embed(saved(extratags=[(code, 3, 2, (5, 6), True)]), "tiff", FULL)
    with tifffile.TiffFile(io.BytesIO(after)) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        assert page.tags[code].value == (5, 6)


def test_strips_that_share_bytes_are_refused() -> None:
    """A small file whose strips all name the same bytes would grow with every rewriting."""
    strips = 100
    entries = {
        273: longs(273, (8,) * strips),
        279: longs(279, (1000,) * strips),
    }
    data = write_header("little", 1008) + bytes(1000) + write_directory(entries, "little", 1008)
    with pytest.raises(ValueError, match="do not fit its size"):
        embed(data, "tiff", FULL)


def test_size_tags_for_compressed_files_are_left_out() -> None:
    """CIPA DC-008 4.6.8: PixelXDimension and PixelYDimension are not recorded in uncompressed (TIFF) files."""
    after = embed(encoded("tiff-lzw"), "tiff", FULL)
    with tifffile.TiffFile(io.BytesIO(after)) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        exif = page.tags[34665].value
        assert not {"PixelXDimension", "PixelYDimension"} & set(exif)
        assert (page.imagewidth, page.imagelength) == (SIZE.width, SIZE.height)


def test_big_tiff_is_refused() -> None:
    with pytest.raises(ValueError, match="BigTIFF"):
        embed(saved(bigtiff=True), "tiff", FULL)
    with pytest.raises(ValueError, match="BigTIFF"):
        picture_data(saved(bigtiff=True), "tiff")


def test_two_pictures_are_refused() -> None:
    stream = io.BytesIO()
    tifffile.imwrite(stream, np.stack([samples(), samples()]), photometric="rgb", metadata=None)
    with pytest.raises(ValueError, match="more than one picture"):
        embed(stream.getvalue(), "tiff", FULL)
