"""Pictures written in what an ICC profile describes: against the judge's own reader, and LittleCMS through Pillow."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
import pyvips
from PIL import Image, ImageCms

from pipeline.light.black_point import destination_black
from pipeline.light.cielab import lightness_of
from pipeline.light.icc import write_matrix_profile
from pipeline.light.icc_output import GREY
from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, ROMM, SRGB
from pipeline.render.output_profile import icc_profile_of, space_of
from pipeline.render.picture import on_screen
from tests.light import colour_science
from tests.light.colour_science import Floats, lab_d50
from tests.light.foreign_profiles import assembled, gamma_curve, grey_profile, matrix_profile
from tests.light.foreign_tables import KINDS, PRESS, press_profile, printer_profile
from tests.render.charts import PLAIN, Array, colour_grid, finished, grey_steps, made
from tests.render.icc_tables import Judge, with_black

if TYPE_CHECKING:
    from pipeline.plan.rendition import Intent, PixelSettings

GRID = colour_grid(15)[None]  # 5832 colours of sRGB
FLAGS = ImageCms.Flags.BLACKPOINTCOMPENSATION | ImageCms.Flags.NOOPTIMIZE
INTENTS = {"relative": ImageCms.Intent.RELATIVE_COLORIMETRIC, "perceptual": ImageCms.Intent.PERCEPTUAL}
TAGS = {"relative": b"B2A1", "perceptual": b"B2A0"}
DEVICES = {
    "press of libvips": PRESS,
    **{f"press, {kind}": press_profile(kind) for kind in KINDS},
    "printer": printer_profile(),
    "printer by XYZ": printer_profile(b"XYZ "),
    "printer, version 4": printer_profile(version=4),
}
EACH_DEVICE = pytest.mark.parametrize("name", DEVICES)
EACH_INTENT = pytest.mark.parametrize("intent", INTENTS)


def into(profile: bytes, intent: Intent = "relative") -> PixelSettings:
    return replace(PLAIN, colour="press", icc_profile=profile, intent=intent)


def by_littlecms(codes: Array, source: bytes, profile: bytes, mode: str, intent: str = "relative") -> Floats:
    """Return codes (h, w, bands) in a profile, converted by Pillow's LittleCMS without the short cuts that it takes."""
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(source)),
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        "RGB",
        mode,
        INTENTS[intent],
        FLAGS,
    )
    done = ImageCms.applyTransform(Image.fromarray(codes), transform)
    assert done is not None
    return np.asarray(done, dtype=np.float64)


@EACH_DEVICE
@EACH_INTENT
def test_codes_are_what_the_judge_reads_in_the_tables(name: str, intent: Intent) -> None:
    profile = DEVICES[name]
    black = lightness_of(destination_black(profile, intent))
    lab = lab_d50(GRID[0, ::4] / 255, colour_science.SRGB)
    wanted = Judge(profile).to_device(with_black(lab, black), TAGS[intent]) * 255
    found = finished(GRID[:, ::4], settings=into(profile, intent))[0]
    assert np.abs(found - wanted).max() <= 0.6  # half a code is rounding


@EACH_DEVICE
@EACH_INTENT
def test_and_what_littlecms_makes_of_them(name: str, intent: Intent) -> None:
    profile = DEVICES[name]
    mode = "CMYK" if profile[16:20] == b"CMYK" else "RGB"
    theirs = by_littlecms(GRID, write_matrix_profile(SRGB), profile, mode, intent)
    ours = finished(GRID, settings=into(profile, intent))
    # It works in 16 bits between the stages; what differs by two codes is one in a thousand.
    assert np.abs(ours - theirs).max() <= 3
    assert (np.abs(ours - theirs) > 1).mean() < 0.002


def test_the_two_intents_of_a_press_differ() -> None:
    one, other = (finished(GRID, settings=into(PRESS, intent)).astype(int) for intent in ("relative", "perceptual"))
    assert np.abs(one - other).max() > 20


@EACH_INTENT
def test_a_profile_without_tables_has_but_one_intent(intent: Intent) -> None:
    one, other = (finished(GRID, settings=into(write_matrix_profile(ADOBE_RGB), each)) for each in (intent, "relative"))
    np.testing.assert_array_equal(one, other)


@pytest.mark.parametrize(
    ("profile", "colour"),
    [(matrix_profile("Adobe RGB (1998)", gamma_curve(563 / 256)), "adobe-rgb"), (matrix_profile("sRGB"), "srgb")],
    ids=["Adobe RGB", "sRGB"],
)
def test_curves_and_colorants_of_others_give_what_ours_give(profile: bytes, colour: str) -> None:
    one, other = (finished(GRID, settings=each).astype(int) for each in (into(profile), replace(PLAIN, colour=colour)))
    assert np.abs(one - other).max() <= 1


def test_each_channel_has_its_own_curve() -> None:
    curves = {b"rTRC": gamma_curve(1.0), b"gTRC": gamma_curve(1.8), b"bTRC": gamma_curve(2.2)}
    plain = matrix_profile("sRGB")
    tags = {plain[at : at + 4]: at for at in range(132, 132 + 12 * 9, 12)}
    named = {
        name: plain[int.from_bytes(plain[at + 4 : at + 8]) :][: int.from_bytes(plain[at + 8 : at + 12])]
        for name, at in tags.items()
    }
    profile = assembled({name: named[name] for name in (b"rXYZ", b"gXYZ", b"bXYZ")} | curves)
    light = colour_science.linear(GRID[0] / 255, "sRGB")
    exact = light ** (1 / np.array([1.0, 461 / 256, 563 / 256])) * 255
    found = finished(GRID, settings=into(profile))[0]
    # Rounding; in the darkest shadows of a curve that rises so steeply the last digits of the colorants too.
    assert np.abs(found - exact)[light.min(axis=1) > 0.001].max() <= 0.75


def grey_of(profile: bytes | None) -> PixelSettings:
    return replace(PLAIN, colour="grey", icc_profile=profile)


@pytest.mark.parametrize(
    ("profile", "power"), [(grey_profile(1.8), 461 / 256), (grey_profile(2.2), 563 / 256), (None, None)]
)
def test_grey_keeps_the_light_of_every_colour(profile: bytes | None, power: float | None) -> None:
    found = made(GRID, settings=grey_of(profile))
    luminance = colour_science.linear(GRID[0] / 255, "sRGB") @ colour_science.pcs_matrix("sRGB")[1]
    srgb = colour_science.colour.RGB_COLOURSPACES["sRGB"].cctf_encoding(luminance)
    exact = 255 * (luminance ** (1 / power) if power else srgb)
    assert (found.image.bands, found.image.interpretation) == (1, "b-w")
    assert np.abs(found.image.numpy()[0] - exact).max() <= 0.52
    assert found.outside_gamut == 0.0


def test_greys_of_srgb_are_the_same_codes_of_our_grey() -> None:
    np.testing.assert_array_equal(grey_steps()[..., 0], finished(grey_steps(), settings=grey_of(None)))


def test_grey_by_lightness_is_lightness() -> None:
    profile = assembled({b"kTRC": gamma_curve(1.0)}, channels=b"GRAY", pcs=b"Lab ")
    found = finished(GRID, settings=grey_of(profile))[0]
    lightness = lab_d50(GRID[0] / 255, "sRGB")[:, 0]
    # Its curve is held in 4096 steps, straight between them: a little off where lightness bends most.
    assert np.abs(found - 2.55 * lightness).max() <= 0.6


@EACH_DEVICE
def test_on_a_screen_a_picture_looks_as_a_reader_of_its_file_would_show_it(name: str) -> None:
    profile = DEVICES[name]
    picture = made(GRID, settings=into(profile))
    shown = on_screen(picture)
    mode = "CMYK" if picture.image.bands == 4 else "RGB"
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.ImageCmsProfile(io.BytesIO(write_matrix_profile(SRGB))),
        mode,
        "RGB",
        INTENTS["relative"],
        FLAGS,
    )
    codes = picture.image.numpy()
    done = ImageCms.applyTransform(Image.frombytes(mode, codes.shape[1::-1], codes.tobytes()), transform)
    assert done is not None
    difference = np.abs(shown.image.numpy().astype(int) - np.asarray(done))
    assert (shown.space, shown.image.bands, shown.image.interpretation) == (SRGB, 3, "srgb")
    assert difference.max() <= 1
    assert (picture.outside_gamut, picture.ink) == (shown.outside_gamut, shown.ink)


def test_on_a_screen_grey_is_grey_and_our_own_rgb_is_left_as_it_is() -> None:
    grey = on_screen(made(grey_steps(), settings=grey_of(None)))
    np.testing.assert_array_equal(grey_steps(), grey.image.numpy())
    wide = made(grey_steps(), settings=replace(PLAIN, colour="display-p3"))
    assert on_screen(wide) is wide


def test_the_mean_colour_is_that_of_the_screen() -> None:
    red = np.tile(np.array([200, 60, 40], np.uint8), (16, 16, 1))
    for settings in (into(PRESS), grey_of(None), into(printer_profile())):
        picture = made(red, settings=settings)
        shown = on_screen(picture).image.numpy()[0, 0]
        assert picture.average == "#{:02x}{:02x}{:02x}".format(*shown)


def test_ink_is_measured_of_cmyk_alone() -> None:
    assert made(GRID, settings=into(printer_profile())).ink is None
    assert made(GRID).ink is None
    found = made(GRID, settings=replace(into(PRESS), ink_limit=200.0))
    total = found.image.numpy().sum(axis=-1, dtype=int) / 2.55
    assert found.ink is not None
    assert found.ink.most == pytest.approx(total.max())
    assert found.ink.over == pytest.approx((total > 200).mean())


@pytest.mark.parametrize("profile", [PRESS, printer_profile(), grey_profile(2.2)], ids=["CMYK", "RGB", "grey"])
def test_a_mark_is_laid_on_light_whatever_the_channels(profile: bytes) -> None:
    picture = np.full((90, 160, 3), 150, np.uint8)
    plain, marked = (finished(picture, settings=replace(into(profile), mark=mark)) for mark in (None, "Proof"))
    assert plain.shape == marked.shape
    lighter, darker = (on_screen(made(picture, settings=replace(into(profile), mark="Proof"))).image.numpy(),
                       on_screen(made(picture, settings=into(profile))).image.numpy())  # fmt: skip
    change = lighter.astype(int).mean(axis=-1) - darker.astype(int).mean(axis=-1)
    assert change.max() > 20
    assert change.min() < -20


@pytest.mark.parametrize(
    ("settings", "expected"),
    [
        (PLAIN, write_matrix_profile(SRGB)),
        (replace(PLAIN, colour="display-p3"), write_matrix_profile(DISPLAY_P3)),
        (replace(PLAIN, colour="grey"), GREY.icc_profile),
        (into(PRESS), PRESS),
    ],
)
def test_the_profile_of_a_target_is_the_one_that_is_embedded(settings: PixelSettings, expected: bytes) -> None:
    assert expected == icc_profile_of(space_of(settings))


def test_a_press_gives_back_what_it_holds() -> None:
    # Pictures already in the press's own inks, made from it and written for it: nothing that it can print moves far.
    lab = np.stack(np.meshgrid(np.linspace(40, 80, 6), *[np.linspace(-15, 15, 6)] * 2, indexing="ij"), -1).reshape(
        -1, 3
    )
    light = (
        colour_science.colour.Lab_to_XYZ(lab, (0.3457, 0.3585)) @ np.linalg.inv(colour_science.pcs_matrix("ROMM RGB")).T
    )
    codes = np.rint(colour_science.colour.RGB_COLOURSPACES["ROMM RGB"].cctf_encoding(light) * 65535).astype(np.uint16)
    picture = on_screen(made(codes[None], write_matrix_profile(ROMM), into(PRESS)))
    difference = colour_science.difference(
        picture.image.numpy()[0] / 255,
        np.clip(colour_science.converted(codes / 65535, "ROMM RGB", "sRGB"), 0, 1),
    )
    # What its own tables lose on the way there and back, and 8 bits of ink.
    assert np.quantile(difference, 0.95) < 2.5
    assert difference.mean() < 1.3


def test_libvips_reads_the_inks_as_we_wrote_them() -> None:
    image = made(GRID, settings=into(PRESS)).image
    assert (image.interpretation, image.format, image.bands) == ("cmyk", "uchar", 4)
    assert pyvips.Image.new_from_buffer(image.tiffsave_buffer(), "").interpretation == "cmyk"
