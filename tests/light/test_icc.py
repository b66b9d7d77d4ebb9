"""Profiles that we write, against LittleCMS (through Pillow) and exiftool; profiles that others write, read."""

from __future__ import annotations

import hashlib
import io
import struct
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from PIL import Image, ImageCms

from pipeline.light.icc import read_matrix_profile, write_matrix_profile
from pipeline.light.icc_tags import channel_count
from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, PCS_WHITE, ROMM, SRGB, RGBSpace, rgb_to_pcs
from pipeline.light.transfer import Parametric
from tests.light.colour_science import pcs_matrix
from tests.light.foreign_profiles import (
    assembled,
    curve_of,
    gamma_curve,
    grey_profile,
    matrix_profile,
    parametric_curve,
    table_curve,
    table_profile,
)

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.light.icc import MatrixProfile
    from tests.conftest import ReadTags
    from tests.light.colour_science import Floats

SPACES = (SRGB, ADOBE_RGB, DISPLAY_P3, ROMM)
ALL = pytest.mark.parametrize("space", SPACES, ids=lambda space: space.name)
RAMP = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
GRID = np.stack(np.meshgrid(*[np.arange(0, 256, 51, dtype=np.uint8)] * 3), -1).reshape(1, -1, 3)

FOREIGN = [
    matrix_profile("sRGB"),
    matrix_profile("Adobe RGB (1998)", gamma_curve(563 / 256)),
    matrix_profile("sRGB", parametric_curve(4, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045, 0, 0)),
    table_profile("sRGB"),
    grey_profile(2.2),
    write_matrix_profile(SRGB),
]


def read(profile: bytes) -> MatrixProfile:
    found = read_matrix_profile(profile)
    assert found is not None
    return found


def to_srgb(found: MatrixProfile, pixels: Floats) -> Floats:
    """Return 8-bit values of sRGB, not rounded, of pixels (0..255) in a profile's encoding."""
    light = np.stack([curve.to_linear(pixels[..., i] / 255) for i, curve in enumerate(found.curves)], -1)
    there = light @ found.to_pcs.T @ np.linalg.inv(rgb_to_pcs(SRGB)).T
    return SRGB.curve.to_encoded(np.clip(there, 0, 1)) * 255


def by_littlecms(profile: bytes, pixels: np.ndarray[tuple[int, ...], np.dtype[np.uint8]]) -> Floats:
    """Return sRGB (0..255) of pixels, by Pillow's LittleCMS and its own sRGB profile, relative colorimetric."""
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    transform = ImageCms.buildTransform(
        source, ImageCms.createProfile("sRGB"), "RGB", "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    converted = ImageCms.applyTransform(Image.fromarray(pixels), transform)
    assert converted is not None
    return np.asarray(converted, dtype=np.float64)


@ALL
def test_header_is_that_of_a_version_4_display_profile(space: RGBSpace) -> None:
    # Source: ICC.1:2022 7.2, the offsets of the header's fields.
    profile = write_matrix_profile(space)

    assert len(profile) == int.from_bytes(profile[0:4])
    assert (profile[8], profile[9]) == (4, 0x40)
    assert profile[12:24] == b"mntrRGB XYZ "
    year, month, day, hour, minute, second = struct.unpack(">6H", profile[24:36])
    assert datetime(year, month, day, hour, minute, second, tzinfo=UTC).year >= 2026
    assert profile[36:40] == b"acsp"
    assert int.from_bytes(profile[64:68]) in range(4)
    assert profile[68:80] == bytes.fromhex("0000F6D6 00010000 0000D32D")


@ALL
def test_tags_are_those_the_standard_requires_and_aligned(space: RGBSpace) -> None:
    # Source: ICC.1:2022 8.3.3 (matrix-based display profiles), 7.3.1 (tags start on multiples of 4).
    profile = write_matrix_profile(space)
    (count,) = struct.unpack_from(">I", profile, 128)
    rows = [struct.unpack_from(">4sII", profile, 132 + 12 * index) for index in range(count)]
    required = {b"desc", b"cprt", b"wtpt", b"chad", b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC"}

    assert required == {signature for signature, _, _ in rows}
    assert {0} == {offset % 4 for _, offset, _ in rows}
    assert len(profile) % 4 == 0


@ALL
def test_profile_id_is_the_md5_of_the_profile_without_flags_intent_and_id(space: RGBSpace) -> None:
    # Source: ICC.1:2022 7.2.18.
    profile = write_matrix_profile(space)
    bare = profile[:44] + bytes(4) + profile[48:64] + bytes(4) + profile[68:84] + bytes(16) + profile[100:]
    assert hashlib.md5(bare, usedforsecurity=False).digest() == profile[84:100]


@ALL
def test_the_same_bytes_each_time(space: RGBSpace) -> None:
    assert write_matrix_profile(space) == write_matrix_profile(space)


@ALL
def test_what_is_written_is_read_to_the_last_bit_of_the_file(space: RGBSpace) -> None:
    found = read(write_matrix_profile(space))

    # Half a bit of s15Fixed16; green takes the rounding of all three, so that white stays exact.
    np.testing.assert_allclose(found.to_pcs[:, [0, 2]], rgb_to_pcs(space)[:, [0, 2]], rtol=0, atol=0.5 / 65536)
    np.testing.assert_allclose(found.to_pcs[:, 1], rgb_to_pcs(space)[:, 1], rtol=0, atol=1.001 / 65536)
    for curve in found.curves:
        assert isinstance(curve, Parametric)
        for field in ("gamma", "a", "b", "c", "d", "offset", "f"):
            assert getattr(space.curve, field) == pytest.approx(getattr(curve, field), abs=0.5 / 65536)


@ALL
def test_white_of_a_written_profile_is_exactly_the_white_of_the_connection_space(space: RGBSpace) -> None:
    assert read(write_matrix_profile(space)).to_pcs.sum(axis=1).tolist() == list(PCS_WHITE)


def test_colorants_of_srgb_are_those_littlecms_writes() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).profile
    columns = [profile.red_colorant, profile.green_colorant, profile.blue_colorant]
    theirs = np.array([column[0] for column in columns if column]).T
    # It starts from another print of the white D65, five digits of a correlated colour temperature.
    np.testing.assert_allclose(read(write_matrix_profile(SRGB)).to_pcs, theirs, rtol=0, atol=2e-4)


@ALL
def test_littlecms_reads_a_written_profile_as_we_do(space: RGBSpace) -> None:
    profile = write_matrix_profile(space)
    opened = ImageCms.ImageCmsProfile(io.BytesIO(profile))

    assert ImageCms.getProfileDescription(opened).strip() == space.name
    for pixels in (RAMP, GRID):
        ours, theirs = to_srgb(read(profile), pixels.astype(np.float64)), by_littlecms(profile, pixels)
        # Half a level is the rounding of theirs; the rest is its sRGB profile, which is not ours.
        assert np.abs(ours - theirs).max() <= 1.0


@ALL
def test_exiftool_finds_nothing_wrong(space: RGBSpace, tmp_path: Path, exiftool: ReadTags) -> None:
    path = tmp_path / "space.icc"
    path.write_bytes(write_matrix_profile(space))
    tags = exiftool(path, "-validate", "-warning", "-error", "-ICC_Profile:all")

    assert tags["ExifTool:Validate"] == "OK"
    assert tags["ICC_Profile:ProfileDescription"] == space.name
    assert tags["ICC-header:ProfileVersion"] == "4.4.0"
    assert tags["ICC-header:ProfileClass"] == "Display Device Profile"


@pytest.mark.parametrize("name", ["sRGB", "Adobe RGB (1998)", "Display P3", "ROMM RGB"])
def test_a_foreign_profile_is_read_as_colour_science_built_it(name: str) -> None:
    found = read(matrix_profile(name))
    np.testing.assert_allclose(found.to_pcs, pcs_matrix(name), rtol=0, atol=0.5 / 65536)


def test_grey_is_three_like_channels_that_make_white() -> None:
    found = read(grey_profile(1.8))
    np.testing.assert_allclose(found.to_pcs.sum(axis=1), PCS_WHITE, rtol=0, atol=1e-12)
    for curve in found.curves:
        # Gamma is held in 1/256.
        assert float(curve.to_linear(np.array([0.5]))[0]) == pytest.approx(0.5 ** (461 / 256))


@pytest.mark.parametrize(
    "curve",
    [
        b"curv\0\0\0\0" + struct.pack(">I", 0),
        gamma_curve(1.8),
        gamma_curve(563 / 256),
        table_curve([0.0, 1.0]),
        table_curve((np.linspace(0, 1, 37) ** 2.1).tolist()),
        curve_of("sRGB", 1024),
        parametric_curve(0, 2.2),
        parametric_curve(1, 2.2, 1.1, -0.1),
        parametric_curve(2, 2.2, 1.1, -0.1, 0.0),
        parametric_curve(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045),
        parametric_curve(4, 2.2, 0.9, 0.1, 0.3, 0.08, 0.004, 0.0),
    ],
    ids=["straight", "1.8", "2.2", "2 samples", "37 samples", "1024 samples", *(f"para {i}" for i in "01234")],
)
def test_each_form_of_a_curve_means_what_littlecms_takes_it_for(curve: bytes) -> None:
    profile = matrix_profile("sRGB", curve)
    assert np.abs(to_srgb(read(profile), RAMP.astype(np.float64)) - by_littlecms(profile, RAMP)).max() <= 1.0


@pytest.mark.parametrize(
    "profile",
    [
        pytest.param(table_profile("sRGB"), id="table"),
        pytest.param(assembled({b"kTRC": gamma_curve(2.2)}, channels=b"GRAY", pcs=b"Lab "), id="grey by lightness"),
        pytest.param(assembled({}, channels=b"GRAY"), id="grey without a curve"),
        pytest.param(assembled({}, channels=b"CMYK", pcs=b"Lab "), id="CMYK"),
        pytest.param(matrix_profile("sRGB", table_curve([0.01, 0.2, 1.0])), id="black is not 0"),
        pytest.param(matrix_profile("sRGB", parametric_curve(1, 2.2, 0.95, 0.05)), id="black is not 0 by formula"),
        pytest.param(matrix_profile("sRGB", gamma_curve(0.0)), id="gamma 0"),
        pytest.param(matrix_profile("sRGB", parametric_curve(3, 2.4, 0.0, 1.0, 0.1, 0.04)), id="slope 0"),
        pytest.param(matrix_profile("sRGB", parametric_curve(0, -1.0)), id="gamma below 0"),
        pytest.param(matrix_profile("sRGB", b"para\0\0\0\0" + struct.pack(">HH", 9, 0)), id="unknown function"),
        pytest.param(matrix_profile("sRGB", b"curv\0\0\0\0" + struct.pack(">I", 2**31)), id="endless table"),
        pytest.param(matrix_profile("sRGB", b"sf32\0\0\0\0\0\0\0\0"), id="not a curve"),
        pytest.param(assembled({}), id="no tags"),
        pytest.param(write_matrix_profile(SRGB)[:200], id="cut short"),
        pytest.param(b"", id="empty"),
    ],
)
def test_what_is_no_matrix_profile_is_left_to_the_colour_management_module(profile: bytes) -> None:
    assert read_matrix_profile(profile) is None


@given(st.binary(max_size=400))
def test_random_bytes_are_no_profile(data: bytes) -> None:
    assert read_matrix_profile(data) is None
    assert channel_count(data) is None or data[36:40] == b"acsp"


@given(
    st.sampled_from(FOREIGN),
    st.lists(st.tuples(st.integers(0, 700), st.binary(min_size=1, max_size=8)), min_size=1, max_size=6),
    st.one_of(st.none(), st.integers(0, 700)),
)
@example(FOREIGN[0], [(128, b"\xff\xff\xff\xff")], None)  # endless tag table
@example(FOREIGN[5], [(144, b"\xff\xff\xff\xff\xff\xff\xff\xff")], None)  # a tag beyond all ends
def test_a_broken_profile_is_refused_or_read_to_sound_curves(
    profile: bytes, changes: list[tuple[int, bytes]], length: int | None
) -> None:
    broken = bytearray(profile)
    for at, data in changes:
        broken[at : at + len(data)] = data
    found = read_matrix_profile(bytes(broken[:length]))

    assert channel_count(bytes(broken)) in (None, 1, 3, 4)
    if found is not None:
        assert np.isfinite(found.to_pcs).all()
        light = np.stack([curve.to_linear(np.linspace(0, 1, 17)) for curve in found.curves])
        assert np.isfinite(light).all()
        assert ((light >= 0) & (light <= 1)).all()


@pytest.mark.parametrize(
    ("channels", "count"), [(b"GRAY", 1), (b"RGB ", 3), (b"CMYK", 4), (b"Lab ", None), (b"6CLR", None)]
)
def test_channels_of_a_profile(channels: bytes, count: int | None) -> None:
    assert count == channel_count(assembled({}, channels=channels))


def test_a_profile_without_its_signature_has_no_channels() -> None:
    profile = write_matrix_profile(SRGB)
    assert channel_count(profile[:36] + b"xxxx" + profile[40:]) is None
