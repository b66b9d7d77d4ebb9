"""Plain JPEG by libjpeg-turbo: the bytes that libvips writes, whatever the picture, and libvips where it cannot."""

from __future__ import annotations

import io
import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline.light.icc import write_matrix_profile
from pipeline.light.icc_output import GREY
from pipeline.light.spaces import ADOBE_RGB, SRGB
from pipeline.render import encode as encode_module
from pipeline.render.containers.embed import embed
from pipeline.render.encode import Chroma, encode
from pipeline.render.picture import Picture
from pipeline.render.plain_jpeg import plain_jpeg
from tests.render.charts import image_of
from tests.render.containers.pictures import embedded
from tests.render.test_encode import scene

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.spaces import RGBSpace

CHROMAS: tuple[Chroma, ...] = ("4:4:4", "4:2:0")
PROFILE = write_matrix_profile(SRGB)


def noise(seed: int, width: int, height: int, grain: int) -> NDArray[np.uint8]:
    """Return anything from flat colour (grain 1) to noise of all codes (256)."""
    return np.random.default_rng(seed).integers(0, grain, (height, width, 3), dtype=np.uint8)


def whole(picture: Picture, quality: int, chroma: Chroma) -> bytes:
    encoded = encode(picture, "jpeg", quality, chroma, progressive=False, tables="standard")
    return embed(encoded, "jpeg", embedded())


def by_libvips(picture: Picture, quality: int, chroma: Chroma) -> bytes:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(encode_module, "plain_jpeg", lambda *_: None)
        return whole(picture, quality, chroma)


@given(
    st.integers(0, 2**32 - 1),
    st.integers(1, 70),
    st.integers(1, 70),
    st.integers(1, 256),
    st.integers(1, 100),
    st.sampled_from(CHROMAS),
    st.sampled_from([SRGB, ADOBE_RGB]),
)
def test_the_bytes_are_those_of_libvips(
    seed: int, width: int, height: int, grain: int, quality: int, chroma: Chroma, space: RGBSpace
) -> None:
    picture = Picture(image_of(noise(seed, width, height, grain)), space, 0.0)
    assert whole(picture, quality, chroma) == by_libvips(picture, quality, chroma)


@pytest.mark.parametrize("quality", [40, 88, 100])
def test_the_bytes_of_grey_are_those_of_libvips(quality: int) -> None:
    grey = image_of(scene())[1].copy(interpretation="b-w")
    picture = Picture(grey, GREY, 0.0)
    assert picture.codes.shape == (117, 161, 1)
    assert whole(picture, quality, "4:4:4") == by_libvips(picture, quality, "4:4:4")


def test_where_it_is_not_installed_libvips_writes(monkeypatch: pytest.MonkeyPatch) -> None:
    picture = Picture(image_of(scene()), SRGB, 0.0)
    with_it = whole(picture, 88, "4:4:4")
    monkeypatch.setitem(sys.modules, "imagecodecs", None)
    assert plain_jpeg(scene(), PROFILE, 88, "4:4:4") is None
    assert whole(picture, 88, "4:4:4") == with_it


def test_what_it_cannot_write_is_left_to_libvips() -> None:
    assert plain_jpeg(np.zeros((8, 8, 4), np.uint8), PROFILE, 88, "4:4:4") is None
    assert plain_jpeg(np.zeros((1, 65_536, 3), np.uint8), PROFILE, 88, "4:4:4") is None, "wider than JPEG counts"


def test_a_long_profile_goes_in_parts() -> None:
    long = PROFILE + bytes(range(256)) * 600
    assert len(long) > 2 * 65_519, "what one segment holds"
    data = plain_jpeg(scene(), long, 88, "4:4:4")
    assert data
    assert Image.open(io.BytesIO(data)).info["icc_profile"] == long
