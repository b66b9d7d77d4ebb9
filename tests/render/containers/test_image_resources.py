from __future__ import annotations

import hashlib
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline.render.containers.image_resources import digest_resource, iim_resource


@pytest.mark.parametrize("iim", [b"", b"\x1c\x02\x00\x00\x02\x00\x04", b"\x1c\x02\x05\x00\x01x"])
def test_a_resource_as_the_standard_draws_it(iim: bytes) -> None:
    """XMP Specification Part 3 (2020) 3.1.3: type, number, empty name (two bytes), length, data, an even end."""
    even = iim + bytes(len(iim) % 2)
    assert b"8BIM\x04\x04\x00\x00" + len(iim).to_bytes(4, "big") + even == iim_resource(iim)
    digest = hashlib.md5(iim, usedforsecurity=False).digest()
    assert b"8BIM\x04\x25\x00\x00\x00\x00\x00\x10" + digest == digest_resource(iim)


@given(st.binary(max_size=300))
def test_pillow_finds_both(iim: bytes) -> None:
    """Its reader of image resources shares nothing with the writer."""
    stream = io.BytesIO()
    Image.new("L", (8, 8)).save(stream, "jpeg")
    resources = b"Photoshop 3.0\0" + iim_resource(iim) + digest_resource(iim)
    segment = b"\xff\xed" + (len(resources) + 2).to_bytes(2, "big") + resources
    plain = stream.getvalue()
    with Image.open(io.BytesIO(plain[:2] + segment + plain[2:])) as image:
        found = image.info["photoshop"]
    assert {0x0404: iim, 0x0425: hashlib.md5(iim, usedforsecurity=False).digest()} == found
