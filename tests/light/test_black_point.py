"""Where black lies, against LittleCMS through Pillow: what it makes of black and greys with compensation."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image, ImageCms

from pipeline.light.black_point import destination_black, source_black
from pipeline.light.cielab import lightness_of
from pipeline.light.icc import write_grey_profile, write_matrix_profile
from pipeline.light.spaces import SRGB
from pipeline.light.transfer import SRGB_CURVE
from tests.light.foreign_profiles import matrix_profile, table_curve
from tests.light.foreign_tables import PRESS, press_profile, printer_profile
from tests.render.icc_tables import Judge, with_black, without_black

if TYPE_CHECKING:
    from pipeline.light.icc_tables import Intent
    from tests.light.colour_science import Floats

INTENTS = {"relative": ImageCms.Intent.RELATIVE_COLORIMETRIC, "perceptual": ImageCms.Intent.PERCEPTUAL}
TAGS = {"relative": b"1", "perceptual": b"0"}
FLAGS = ImageCms.Flags.BLACKPOINTCOMPENSATION | ImageCms.Flags.NOOPTIMIZE
LAB = ImageCms.createProfile("LAB")
GREYS = np.stack([np.arange(0, 256, 3) / 2.55, np.zeros(86), np.zeros(86)], -1)  # as 8 bits hold them

PROFILES = {
    "press of libvips": PRESS,
    "press, version 4": press_profile("elements"),
    "printer": printer_profile(),
    "darker printer": printer_profile(black=0.002),
    "lighter printer": printer_profile(black=0.03, bend=2.2),
    "printer, version 4": printer_profile(version=4),
}
EACH = pytest.mark.parametrize("name", PROFILES)
EACH_INTENT = pytest.mark.parametrize("intent", INTENTS)


def opened(profile: bytes) -> ImageCms.ImageCmsProfile:
    return ImageCms.ImageCmsProfile(io.BytesIO(profile))


def mode_of(profile: bytes) -> str:
    return {b"CMYK": "CMYK", b"RGB ": "RGB"}[profile[16:20]]


def lab_8(lab: Floats) -> Image.Image:
    """Return Lab as Pillow holds it: L in 0..255, a and b as signed bytes."""
    codes = np.rint(np.stack([lab[:, 0] * 2.55, lab[:, 1], lab[:, 2]], -1)).astype(int) & 255
    return Image.frombytes("LAB", (len(lab), 1), codes.astype(np.uint8).tobytes())


def device_by_littlecms(lab: Floats, profile: bytes, intent: str, flags: ImageCms.Flags = FLAGS) -> Floats:
    """Return device values (0..1) that LittleCMS makes of Lab."""
    mode = mode_of(profile)
    transform = ImageCms.buildTransform(LAB, opened(profile), "LAB", mode, INTENTS[intent], flags)
    done = ImageCms.applyTransform(lab_8(lab), transform)
    assert done is not None
    return np.asarray(np.asarray(done)[0] / 255, dtype=np.float64)


def lab_by_littlecms(device: Floats, profile: bytes) -> Floats:
    """Return Lab that LittleCMS makes of device values (0..1), in its steps of 8 bits."""
    mode = mode_of(profile)
    transform = ImageCms.buildTransform(opened(profile), LAB, mode, "LAB", INTENTS["relative"], FLAGS)
    codes = np.rint(device * 255).astype(np.uint8)
    done = ImageCms.applyTransform(Image.frombytes(mode, (len(codes), 1), codes.tobytes()), transform)
    assert done is not None
    found = np.asarray(done).astype(int)[0]
    signed = np.where(found[:, 1:] > 127, found[:, 1:] - 256, found[:, 1:])
    return np.concatenate([found[:, :1] / 2.55, signed], axis=1)


@EACH
@EACH_INTENT
def test_nothing_becomes_the_black_that_littlecms_lays_it_on(name: str, intent: Intent) -> None:
    profile = PROFILES[name]
    black = lightness_of(destination_black(profile, intent))
    wanted = Judge(profile).to_device(with_black(GREYS, black), b"B2A" + TAGS[intent])
    # One step of 8 bits is rounding, 0.004; a black that is one L off would show as 0.01 and more.
    assert np.abs(wanted - device_by_littlecms(GREYS, profile, intent)).max() <= 0.006


@EACH
def test_black_becomes_nothing_as_littlecms_has_it(name: str) -> None:
    profile = PROFILES[name]
    device = np.random.default_rng(4).integers(0, 256, (300, len(mode_of(profile)))) / 255
    wanted = without_black(Judge(profile).to_lab(device), lightness_of(source_black(profile)))
    found = lab_by_littlecms(device, profile)
    lit = (wanted[:, 0] > 1) & (np.abs(wanted[:, 1:]) < 127).all(axis=1)  # what is darker than black ends at L 0 there
    assert lit.sum() > 200
    assert np.abs(wanted - found)[lit].max() <= 0.6  # half a step of a and b, and of L


def test_the_test_would_see_a_missing_compensation() -> None:
    bare = device_by_littlecms(GREYS, PRESS, "relative", ImageCms.Flags.NOOPTIMIZE)
    assert np.abs(bare - device_by_littlecms(GREYS, PRESS, "relative")).max() > 0.05


@pytest.mark.parametrize("black", [0.002, 0.008, 0.03])
@pytest.mark.parametrize("pcs", [b"Lab ", b"XYZ "])
def test_an_invented_printer_has_the_black_it_was_made_with(black: float, pcs: bytes) -> None:
    # Its darkest light is `black` of that of paper, but for what its curves hold in 16 bits.
    profile = printer_profile(pcs, black=black)
    assert black == pytest.approx(source_black(profile), abs=1e-4)
    assert black == pytest.approx(destination_black(profile, "relative"), abs=1e-4)


@pytest.mark.parametrize(
    "profile",
    [write_matrix_profile(SRGB), write_grey_profile("grey", SRGB_CURVE), matrix_profile("sRGB"), b"", PRESS[:200]],
)
@EACH_INTENT
def test_where_black_is_nothing_there_is_nothing_to_compensate(profile: bytes, intent: Intent) -> None:
    assert source_black(profile) == 0.0
    assert destination_black(profile, intent) == 0.0


def test_a_screen_whose_black_shines() -> None:
    profile = matrix_profile("sRGB", table_curve((0.02 + 0.98 * np.linspace(0, 1, 256) ** 2.2).tolist()))
    assert source_black(profile) == pytest.approx(0.02, abs=1e-5)


@EACH_INTENT
def test_perceptual_tables_of_version_4_have_the_black_of_the_standard(intent: Intent) -> None:
    # ICC.1:2022 6.3.3: L 3.1373 is the black of the reference medium.
    profile = printer_profile(version=4)
    found = lightness_of(destination_black(profile, intent))
    assert found == pytest.approx(3.1373 if intent == "perceptual" else 7.2, abs=0.1)
