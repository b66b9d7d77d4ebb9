"""Profiles to write pictures in: which are taken and as what, and the sentence for each that is not."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms

from pipeline.light.icc import write_grey_profile, write_matrix_profile
from pipeline.light.icc_output import GREY, GreyProfile, RGBProfile, TableProfile, read_output_profile
from pipeline.light.spaces import ADOBE_RGB, SRGB
from pipeline.light.transfer import SRGB_CURVE
from tests.light.colour_science import SRGB as SRGB_NAME
from tests.light.colour_science import Floats, linear
from tests.light.foreign_profiles import (
    assembled,
    gamma_curve,
    grey_profile,
    matrix_profile,
    table_curve,
    table_profile,
)
from tests.light.foreign_tables import KINDS, PRESS, lut, press_profile, printer_profile


@pytest.mark.parametrize("profile", [PRESS, *map(press_profile, KINDS)], ids=["of libvips", *KINDS])
def test_a_press_has_four_channels_and_leads_both_ways(profile: bytes) -> None:
    found = read_output_profile(profile, "relative")
    assert isinstance(found, TableProfile)
    assert (found.channels, found.icc_profile) == (4, profile)
    assert found.from_pcs.from_lab(np.array([[100.0, 0.0, 0.0]])).max() < 0.02  # paper


@pytest.mark.parametrize("pcs", [b"Lab ", b"XYZ "])
def test_a_printer_of_tables_has_three(pcs: bytes) -> None:
    found = read_output_profile(printer_profile(pcs), "perceptual")
    assert isinstance(found, TableProfile)
    assert found.channels == 3


@pytest.mark.parametrize("profile", [matrix_profile("sRGB"), write_matrix_profile(ADOBE_RGB)], ids=["others'", "ours"])
def test_curves_and_colorants_are_taken_as_they_are(profile: bytes) -> None:
    found = read_output_profile(profile, "relative")
    assert isinstance(found, RGBProfile)
    assert found.icc_profile == profile


def luminance(profile: bytes, codes: Floats) -> Floats:
    found = read_output_profile(profile, "relative")
    assert isinstance(found, GreyProfile)
    return found.curve.to_linear(codes)


def test_grey_by_light_and_by_lightness() -> None:
    codes = np.linspace(0, 1, 300)
    np.testing.assert_allclose(codes ** (461 / 256), luminance(grey_profile(1.8), codes), rtol=0, atol=1e-6)
    by_lightness = assembled({b"kTRC": gamma_curve(1.0)}, channels=b"GRAY", pcs=b"Lab ")
    cie = np.where(codes > 0.08, ((100 * codes + 16) / 116) ** 3, 100 * codes * 27 / 24389)  # CIE 15
    np.testing.assert_allclose(cie, luminance(by_lightness, codes), rtol=0, atol=1e-6)


def test_black_of_grey_that_begins_above_nothing_is_brought_down() -> None:
    profile = assembled({b"kTRC": table_curve([0.1, 0.55, 1.0])}, channels=b"GRAY", device=b"prtr")
    np.testing.assert_allclose([0, 0.5, 1], luminance(profile, np.array([0, 0.5, 1])), rtol=0, atol=1e-4)


def test_our_own_grey_is_the_srgb_curve_to_others_too() -> None:
    found = read_output_profile(GREY.icc_profile, "relative")
    codes = np.linspace(0, 1, 256)
    assert isinstance(found, GreyProfile)
    np.testing.assert_allclose(linear(codes, SRGB_NAME), GREY.curve.to_linear(codes), rtol=0, atol=1e-12)
    np.testing.assert_allclose(linear(codes, SRGB_NAME), found.curve.to_linear(codes), rtol=0, atol=2e-5)
    # LittleCMS, through Pillow: grey is the same code of sRGB.
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(GREY.icc_profile)), ImageCms.createProfile("sRGB"), "L", "RGB"
    )
    ramp = Image.frombytes("L", (256, 1), bytes(range(256)))
    done = ImageCms.applyTransform(ramp, transform)
    assert done is not None
    assert np.abs(np.asarray(done).astype(int)[0] - np.arange(256)[:, None]).max() <= 1


ONE_WAY = assembled({b"A2B0": lut("mft2", [np.array([0, 1])] * 4, np.ones((2,) * 4 + (3,)), [np.array([0, 1])] * 3)},
                    channels=b"CMYK", pcs=b"Lab ", device=b"prtr")  # fmt: skip


def flat(tag: bytes) -> bytes:
    """Return the press's profile with one table whose numbers are all 0."""
    row = next(at for at in range(132, len(PRESS), 12) if PRESS[at : at + 4] == tag)
    start, size = (int.from_bytes(PRESS[row + at : row + at + 4], "big") for at in (4, 8))
    return PRESS[: start + 52] + bytes(size - 52) + PRESS[start + size :]


@pytest.mark.parametrize(
    ("profile", "sentence"),
    [
        (b"", "it is no ICC profile"),
        (b"\xff\xd8\xff" + bytes(300), "it is no ICC profile"),
        (PRESS[:12] + b"scnr" + PRESS[16:], "it describes a scanner or camera, not a screen, a printer or a press"),
        (PRESS[:12] + b"link" + PRESS[16:], "it describes the link of two devices, not a screen"),
        (PRESS[:12] + b"abst" + PRESS[16:], "it describes an effect, not a screen"),
        (PRESS[:12] + b"nmcl" + PRESS[16:], "it describes named colours, not a screen"),
        (PRESS[:12] + b"\0\0\0\0" + PRESS[16:], "it describes something else, not a screen"),
        (PRESS[:16] + b"6CLR" + PRESS[20:], "it is for 6CLR pixels; plateline writes GRAY, RGB, CMYK"),
        (PRESS[:16] + b"\x1b[2J" + PRESS[20:], r"it is for \?\[2J pixels"),
        (PRESS[:2000], "it is damaged, or made in a way that cannot be converted into"),
        (flat(b"B2A1"), "its tables do not lead from black to white"),
        (flat(b"A2B1"), "its tables do not lead from black to white"),
        (ONE_WAY, "it leads from its device to colour only, not back"),
        (table_profile("sRGB"), "it leads from its device to colour only, not back"),
        (assembled({}, channels=b"GRAY"), "it is damaged"),
        (assembled({b"kTRC": table_curve([1.0, 0.0])}, channels=b"GRAY"), "its grey does not rise from black to white"),
        (matrix_profile("sRGB", table_curve([0.0, 0.2, 0.3])), "it is damaged, or made in a way"),
        (matrix_profile("sRGB", table_curve([0.1, 0.5, 1.0])), "it is damaged, or made in a way"),
    ],
)
def test_what_is_not_fit_for_it_is_told(profile: bytes, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        read_output_profile(profile, "relative")


SMALL = [grey_profile(2.2), write_grey_profile("grey", SRGB_CURVE), write_matrix_profile(SRGB)]


@given(
    st.sampled_from(SMALL),
    st.lists(st.tuples(st.integers(0, 500), st.binary(min_size=1, max_size=8)), min_size=1, max_size=6),
)
def test_a_broken_profile_is_taken_or_told(profile: bytes, changes: list[tuple[int, bytes]]) -> None:
    broken = bytearray(profile)
    for at, data in changes:
        broken[at : at + len(data)] = data
    try:
        told = f"it is {type(read_output_profile(bytes(broken), 'relative')).__name__}"
    except ValueError as error:
        told = str(error)
    assert told.startswith("it")
