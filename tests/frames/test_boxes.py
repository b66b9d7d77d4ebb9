"""The bounded box reader against files of two AVIF writers, and against files made to hang it."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
import pyvips
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.frames.boxes import Nclx, boxes, find, is_cut, payload, still_facts
from pipeline.light.box import Size
from tests.frames.files import encoded, noise


def box(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(data), kind) + data


@pytest.mark.parametrize("size", [(48, 64), (33, 17)])
def test_size_and_code_points_of_an_avif_that_pillow_wrote(size: tuple[int, int]) -> None:
    facts = still_facts(io.BytesIO(encoded(noise(*size), "AVIF")))
    assert Size(size[1], size[0]) == facts.size
    assert Nclx(1, 13) == facts.nclx  # Pillow writes sRGB code points


def test_size_of_an_avif_that_libvips_wrote() -> None:
    data = pyvips.Image.new_from_array(noise()).heifsave_buffer(compression="av1")
    assert Size(64, 48) == still_facts(io.BytesIO(data)).size


def test_the_colour_of_the_main_picture_counts_not_that_of_its_transparency() -> None:
    pixels = noise(bands=4)
    facts = still_facts(io.BytesIO(encoded(pixels, "AVIF")))
    assert Nclx(1, 13) == facts.nclx
    assert Size(64, 48) == facts.size


def test_a_cut_file_says_so() -> None:
    data = encoded(noise(), "AVIF")
    assert not is_cut(io.BytesIO(data))
    assert is_cut(io.BytesIO(data[:-1]))


def test_large_and_open_ended_boxes() -> None:
    data = struct.pack(">I4sQ", 1, b"wide", 20) + b"abcd" + struct.pack(">I4s", 0, b"last") + b"rest"
    found = list(boxes(io.BytesIO(data), 0, len(data)))
    assert [payload(io.BytesIO(data), item) for item in found] == [b"abcd", b"rest"]


def test_a_box_smaller_than_its_head_ends_the_list() -> None:
    data = box(b"good", b"") + struct.pack(">I4s", 4, b"evil") + box(b"lost", b"")
    assert [item.kind for item in boxes(io.BytesIO(data), 0, len(data))] == [b"good"]


def test_an_endless_association_table_is_left_at_its_end() -> None:
    table = box(b"ipma", b"\0\0\0\0" + b"\xff\xff\xff\xff" + b"\0\1\1\1" * 10)
    sizes = box(b"ispe", b"\0\0\0\0" + struct.pack(">II", 7, 9))
    meta = box(b"meta", b"\0\0\0\0" + box(b"pitm", b"\0\0\0\0\0\1") + box(b"iprp", box(b"ipco", sizes) + table))
    assert Size(7, 9) == still_facts(io.BytesIO(meta)).size


def test_find_returns_nothing_for_a_path_that_is_not_there() -> None:
    data = box(b"moov", box(b"trak", b""))
    assert find(io.BytesIO(data), 0, len(data), b"moov", b"meta") is None


AVIF = encoded(np.zeros((8, 8, 3), np.uint8), "AVIF")


@given(place=st.integers(0, len(AVIF) - 1), patch=st.binary(min_size=1, max_size=12))
@example(place=32, patch=b"\0\0\0\0")
def test_no_content_raises_or_hangs(place: int, patch: bytes) -> None:
    stream = io.BytesIO(AVIF[:place] + patch + AVIF[place + len(patch) :])
    facts = still_facts(stream)
    assert facts.size is None or facts.size.width >= 0
    is_cut(stream)
