"""Output sharpening, measured: acuity by the slanted edge, halos in mm, noise; and what it must leave alone."""

from __future__ import annotations

import functools
import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import pyvips
from hypothesis import given
from hypothesis import strategies as st

from pipeline.frames.pixels import decode
from pipeline.frames.read_header import read_header
from pipeline.light.box import Size
from pipeline.light.cielab import lightnesses_of
from pipeline.light.sharpness import paper_halo_mm, paper_radius_px
from pipeline.light.spaces import ROMM, SRGB
from pipeline.light.transfer import SRGB_CURVE
from pipeline.render.colour import matrix_of, quantise, target_space, working_space
from pipeline.render.output_profile import space_of
from pipeline.render.resize import reduce
from pipeline.render.sharpen import GRAIN, Unsharp, sharpen_lightness, sharpened, unsharp
from tests.frames.files import BLACK, LIMIT, WHITE, WHITE_BALANCE, dng, put
from tests.light import colour_science
from tests.render.charts import PLAIN, Array, finished, image_of
from tests.render.charts import SCREEN as SHARP
from tests.render.slanted_edge import (
    BINS_PER_PX,
    GAUSSIAN_MTF50,
    SIDE,
    Floats,
    blurred_edge,
    mtf50,
    profile,
)

if TYPE_CHECKING:
    from pathlib import Path

# Radius of half a halo (0 on a screen), amount, limit, reduction: as the plan asks for them.
Settings = tuple[float, float, float, float]
REDUCTIONS = (1.0, 1.15, 1.33, 1.6, 2.0, 3.0, 6.0)
SCREENS: tuple[Settings, ...] = tuple((0.0, 1.0, 0.08, reduction) for reduction in REDUCTIONS)
PAPERS: tuple[Settings, ...] = tuple(
    (paper_radius_px(viewing_mm, ppi), 1.0, 0.18, reduction)
    for viewing_mm, ppi in ((300, 300), (400, 300), (10_000, 300), (300, 240), (400, 360))
    for reduction in (1.0, 1.6, 3.0)
)
SOME: tuple[Settings, ...] = (SCREENS[0], SCREENS[-1], PAPERS[1], PAPERS[6])
BOTH = pytest.mark.parametrize(
    ("settings", "limit"), [(each, 0.08) for each in SCREENS] + [(each, 0.20) for each in PAPERS], ids=str
)
ALL = pytest.mark.parametrize("settings", SOME, ids=str)

# Edges between two sRGB codes, blurred as a reduced picture is (common practice, no source: sigma 0.7 px); the second
# has the contrast of 4 to 1 of ISO 12233:2017's edge (from memory).
EDGES = ((64, 192), (84, 161), (100, 140), (20, 235))
BLUR_PX = 0.7


def light_of(codes: tuple[int, int]) -> tuple[float, float]:
    low, high = SRGB_CURVE.to_linear(np.array(codes) / 255).tolist()
    return low, high


@functools.cache
def edge_between(codes: tuple[int, int], blur_px: float = BLUR_PX) -> Floats:
    """Return linear light of a slanted edge from one sRGB code to another."""
    return blurred_edge(*light_of(codes), blur_px)


@functools.cache
def reduced_edge(codes: tuple[int, int], frame_px: float, reduction: float) -> Floats:
    """Return the same of an edge blurred by `frame_px` in the frame, through our own reduction."""
    side = round(SIDE * reduction)
    rows, columns = np.mgrid[0:side, 0:side] - (side - 1) / 2
    away = columns * math.cos(math.radians(5)) + rows * math.sin(math.radians(5))
    low, high = light_of(codes)
    share = (1 + np.vectorize(math.erf)(away / (frame_px * math.sqrt(2)))) / 2
    frame = np.repeat((low + (high - low) * share)[..., None], 3, axis=2).astype(np.float32)
    return np.asarray(reduce(Size(SIDE, SIDE), 1.0)(image_of(frame)).numpy()[..., 1], dtype=np.float64)


def working_of(luminance: Floats) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    """Return the working image (X, Y, Z) of a grey picture of linear light."""
    return working_space(matrix_of(SRGB))(image_of(np.repeat(luminance[..., None], 3, 2).astype(np.float32)))


def lightness(image: Any) -> Floats:  # noqa: ANN401 (as above)
    return np.asarray(lightnesses_of(image.numpy()[..., 1]), dtype=np.float64)


def luminance(image: Any) -> Floats:  # noqa: ANN401 (as above)
    return np.asarray(target_space(SRGB)(image).numpy()[..., 1], dtype=np.float64)


def acuity(edge: Floats, settings: Settings) -> float:
    return mtf50(luminance(sharpen_lightness(*settings)(working_of(edge))))


def overshoot(edge: Floats, settings: Settings) -> float:
    """Return by how much the halo leaves the range that the edge had, as a share of its step."""
    before = lightness(working_of(edge))
    after = lightness(sharpen_lightness(*settings)(working_of(edge)))
    step = np.median(before[:, -8:]) - np.median(before[:, :8])
    return float(max(after.max() - before.max(), before.min() - after.min()) / step)


# Acuity.


@pytest.mark.parametrize("sigma_px", [0.5, 0.7, 1.0, 1.5, 2.0])
def test_the_slanted_edge_measures_a_known_blur(sigma_px: float) -> None:
    # Source: a Gaussian of sigma px has its MTF50 at 0.1874 / sigma cycles a pixel.
    expected = GAUSSIAN_MTF50 / sigma_px
    assert pytest.approx(0.1874, abs=5e-5) == GAUSSIAN_MTF50
    assert expected == pytest.approx(mtf50(blurred_edge(0.05, 0.5, sigma_px)), rel=0.03)


@BOTH
def test_an_edge_gains_20_to_60_percent_of_acuity(settings: Settings, limit: float) -> None:
    gains = [acuity(edge_between(codes), settings) / mtf50(edge_between(codes)) for codes in EDGES]
    assert min(gains) >= 1.2
    assert max(gains) <= 1.6
    assert limit > 0


def test_what_was_reduced_least_gains_most_so_that_sizes_look_more_alike() -> None:
    before = [
        mtf50(reduced_edge((84, 161), 0.8, each) if each > 1 else edge_between((84, 161), 0.8)) for each in REDUCTIONS
    ]
    after = [
        acuity(reduced_edge((84, 161), 0.8, each[3]) if each[3] > 1 else edge_between((84, 161), 0.8), each)
        for each in SCREENS
    ]
    assert sorted(after) == after
    assert max(before) / min(before) > 2.1
    assert max(after) / min(after) < 1.8


@pytest.mark.parametrize("codes", EDGES)
def test_more_amount_is_more_acuity(codes: tuple[int, int]) -> None:
    for radius, _, limit, reduction in SOME:
        found = [acuity(edge_between(codes), (radius, amount, limit, reduction)) for amount in (0.0, 0.5, 1.0, 2.0)]
        assert sorted(set(found)) == found


# Halos.


@BOTH
def test_a_halo_is_no_higher_than_its_limit(settings: Settings, limit: float) -> None:
    radius, _, share, reduction = settings
    for amount in (1.0, 2.0):
        for codes in EDGES:
            for blur_px in (0.4, BLUR_PX):
                assert overshoot(edge_between(codes, blur_px), (radius, amount, share, reduction)) <= limit
    if reduction > 1:
        assert overshoot(reduced_edge((84, 161), 0.8, reduction), settings) <= limit


def test_without_its_limit_the_halo_would_be_higher() -> None:
    radius, amount, limit, reduction = PAPERS[7]
    edge = edge_between((64, 192), 0.4)
    assert overshoot(edge, (radius, amount, 10.0, reduction)) > 1.5 * overshoot(
        edge, (radius, amount, limit, reduction)
    )


def halo_px(change: Floats) -> float:
    """Return the full width of a halo: from half the depth of the dark line, outside, to half of the light one's."""
    drawn = profile(change)
    middle = len(drawn) // 2
    dark, light = -drawn[:middle][::-1], drawn[middle:]
    return sum(_outer_half(line) for line in (dark, light)) / BINS_PER_PX


def _outer_half(line: Floats) -> float:
    """Return where a line, from the edge outwards, has fallen to half its height beyond its peak."""
    peak = int(np.argmax(line))
    after = peak + int(np.argmax(line[peak:] < line[peak] / 2))
    share = (line[after - 1] - line[peak] / 2) / (line[after - 1] - line[after])
    return float(after - 1 + share + 0.5)


def test_the_width_of_a_halo_is_measured_right() -> None:
    # Two straight lines of known ends: dark from -2 to 0, light from 0 to 3 px.
    away = (np.mgrid[0:SIDE, 0:SIDE] - (SIDE - 1) / 2)[1]
    slanted = away * math.cos(math.radians(5)) + (np.mgrid[0:SIDE, 0:SIDE] - (SIDE - 1) / 2)[0] * math.sin(
        math.radians(5)
    )
    assert halo_px(np.where((slanted > -2) & (slanted < 0), -1.0, np.where((slanted > 0) & (slanted < 3), 1.0, 0))) == (
        pytest.approx(5, abs=0.3)
    )


@pytest.mark.parametrize("viewing_mm", [250, 300, 400, 500, 10_000])
@pytest.mark.parametrize("ppi", [240, 300, 360])
@pytest.mark.parametrize("reduction", [1.0, 1.6, 3.0])
def test_a_halo_on_paper_is_as_wide_as_the_viewing_distance_asks(
    viewing_mm: float, ppi: float, reduction: float
) -> None:
    asked = min(max(2 * 0.0004 * viewing_mm, 25.4 / 100), 25.4 / 50)
    assert asked == pytest.approx(paper_halo_mm(viewing_mm))
    edge = reduced_edge((84, 161), 0.8, reduction) if reduction > 1 else edge_between((84, 161), 0.8)
    lab = working_of(edge)
    settings = (paper_radius_px(viewing_mm, ppi), 1.0, 0.18, reduction)
    wide = halo_px(lightness(sharpen_lightness(*settings)(lab)) - lightness(lab)) / ppi * 25.4
    # The blur of the frame itself sets the least there is: 4.4 sigma of a line that only just shows.
    least = 4.4 * {1.0: 0.8, 1.6: 0.56, 3.0: 0.43}[reduction] / ppi * 25.4
    assert wide == pytest.approx(max(asked, least), rel=0.17)
    assert wide <= max(25.4 / 50, least) * 1.12


def test_a_halo_on_a_screen_lies_within_three_pixels_of_the_edge() -> None:
    for settings in SCREENS:
        lab = working_of(edge_between((64, 192)))
        change = np.abs(profile(lightness(sharpen_lightness(*settings)(lab)) - lightness(lab)))
        middle, reach = len(change) // 2, 3 * BINS_PER_PX
        assert change[middle - reach : middle + reach].max() > 2
        assert max(change[: middle - reach].max(), change[middle + reach :].max()) < 0.05


def glint(top: float) -> Floats:
    """Return linear light of middle grey with a soft disc as bright as `top`, cut off at 1 as a sensor does."""
    rows, columns = np.mgrid[0:64, 0:64] - 31.5
    disc = 1 / (1 + np.exp((np.hypot(rows, columns) - 8) / 0.45))
    return np.asarray(np.minimum(0.18 + (top - 0.18) * disc, 1.0), dtype=np.float64)


@ALL
def test_no_dark_ring_is_drawn_around_a_blown_glint(settings: Settings) -> None:
    rings = {}
    for top in (0.9, 3.0):
        lab = working_of(glint(top))
        rings[top] = lightness(lab).min() - lightness(sharpen_lightness(*settings)(lab)).min()
    assert rings[0.9] > 0.3 or settings == SCREENS[-1]  # around a light that is not blown there is one
    assert rings[3.0] < 0.02


# Noise. A camera of 24 megapixels on a full frame: 60,000 electrons fill a photosite at ISO 100, metered so that grey
# of 18 % lies at 12.7 % of that (ISO 12232, saturation-based speed; the rest common practice, no source), read noise 3
# electrons; a mosaic, made colour by our own raw development.


def noisy_grey(iso: int, folder: Path) -> Floats:
    """Return linear light (512, 512) of middle grey as that camera sees it."""
    filtered = 0.127 / np.array(WHITE_BALANCE)
    mosaic = np.empty((512, 512))
    for row, column, band in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        mosaic[row::2, column::2] = filtered[band]
    chance = np.random.default_rng(iso)
    full = 60_000 * 100 / iso
    counted = (chance.poisson(mosaic * full) + chance.normal(0, 3, mosaic.shape)) / full
    path = put(folder, "grey.dng", dng(np.round(BLACK + counted * (WHITE - BLACK)).astype(np.uint16)))
    developed = decode(read_header(path, name="grey.dng", pixel_limit=LIMIT), name="grey.dng").image.numpy()
    return np.asarray(ROMM.curve.to_linear(developed / 65535), dtype=np.float64)


@pytest.mark.parametrize(("iso", "limit"), [(100, 1.05), (1600, 1.15)])
def test_noise_is_hardly_raised(tmp_path: Path, iso: int, limit: float) -> None:
    frame = noisy_grey(iso, tmp_path)
    gains = []
    for settings in (*SCREENS, *PAPERS):
        side = round(512 / settings[3])
        grey = np.asarray(reduce(Size(side, side), 1.0)(image_of(frame.astype(np.float32))).numpy())
        plain = working_space(matrix_of(ROMM))(image_of(grey))
        before, after = (lightness(each)[16:-16, 16:-16] for each in (plain, sharpen_lightness(*settings)(plain)))
        if settings[3] == 1:
            # In L*: what the model amounts to. 8-bit sRGB levels are 2.4 times as many there.
            assert before.std() == pytest.approx({100: 0.2, 1600: 0.8}[iso], rel=0.2)
        gains.append(after.std() / before.std())
    assert min(gains) >= 0.99
    assert max(gains) <= limit


def test_grain_is_told_from_detail_by_its_range() -> None:
    # White noise whose range over three by three pixels (2.97 sigma) is GRAIN: half of it is taken for detail.
    gains = []
    for sigma in (0.25, 1.0, GRAIN / 2.97, 4.0):
        flat = (50 + np.random.default_rng(3).normal(0, sigma, (256, 256))).astype(np.float32)
        gains.append(float(sharpened(flat, unsharp(*SCREENS[0])).std() / flat.std()))
    assert sorted(gains) == gains
    assert gains[0] < 1.01
    assert gains[-1] > 1.3


# What it leaves alone.


@ALL
@given(xyz=st.lists(st.floats(0, 1, width=32), min_size=3, max_size=3))
def test_a_flat_picture_is_unchanged(xyz: list[float], settings: Settings) -> None:
    flat = np.tile(np.array(xyz, np.float32), (9, 11, 1))
    np.testing.assert_allclose(sharpen_lightness(*settings)(image_of(flat)).numpy(), flat, rtol=1e-5, atol=1e-6)


@ALL
def test_black_and_blown_parts_stay_so(settings: Settings) -> None:
    codes = np.random.default_rng(8).choice(np.array([0, 1, 2, 60, 128, 200, 253, 254, 255], np.uint8), (60, 80))
    codes[20:30], codes[40:50] = 0, 255
    picture = np.repeat(codes[..., None], 3, 2)
    radius, amount, limit, _ = settings
    how = replace(SHARP, sharpen_radius_px=radius, sharpen_amount=amount, halo_limit=limit)
    plain, sharp = finished(picture, settings=PLAIN), finished(picture, settings=how)
    kept = (plain >= 254) | (plain <= 1)
    np.testing.assert_array_equal(plain[kept], sharp[kept])
    assert (plain[~kept] != sharp[~kept]).mean() > 0.3


@ALL
def test_the_colour_of_light_is_left_alone(settings: Settings) -> None:
    """Chromaticity stays; so hue does, and chroma goes with lightness, as where there is more or less of a light."""
    xyz = several_colours()
    found = sharpen_lightness(*settings)(image_of(xyz)).numpy()
    before, after = (colour_science.colour.XYZ_to_xy(each.astype(np.float64)) for each in (xyz, found))
    np.testing.assert_allclose(after, before, rtol=0, atol=1e-6)
    bright = np.minimum(xyz, found).min(axis=2) > 0.01  # where Lab is no straight line
    lightness, chroma, hue = np.moveaxis(lch_of(found) - lch_of(xyz), -1, 0)
    assert np.abs(lightness[bright]).max() > 1
    assert np.abs(hue[bright]).max() < 0.01
    raised = lightness > 0.1
    assert (chroma[bright & raised] >= -1e-3).all()
    assert (chroma[bright & (lightness < -0.1)] <= 1e-3).all()


def several_colours() -> Array:
    """Return X, Y and Z (40, 50, 3) of colours that lie well inside sRGB."""
    light = np.random.default_rng(5).uniform(0.02, 0.8, (40, 50, 3))
    return np.asarray(light @ colour_science.pcs_matrix("sRGB").T, dtype=np.float32)


def lch_of(xyz: Array) -> Floats:
    """Return lightness, chroma and hue (degrees) by colour-science."""
    white = colour_science.colour.XYZ_to_xy(colour_science.PCS_WHITE)
    lab = colour_science.colour.XYZ_to_Lab(xyz.astype(np.float64), white)
    return np.asarray(colour_science.colour.models.Lab_to_LCHab(lab), dtype=np.float64)


def test_the_picture_that_went_in_is_not_written_over() -> None:
    xyz = several_colours()
    image = image_of(xyz.copy())
    sharpen_lightness(*SCREENS[0])(image).numpy()
    np.testing.assert_array_equal(xyz, image.numpy())


@pytest.mark.parametrize("settings", [(0.0, 0.0, 0.08, 1.0), (1.5, 0.0, 0.2, 2.0)])
def test_no_amount_is_no_change(settings: Settings) -> None:
    xyz = several_colours()
    np.testing.assert_array_equal(xyz, sharpen_lightness(*settings)(image_of(xyz)).numpy())


@ALL
@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (40, 1), (4, 9), (9, 4)])
def test_the_smallest_pictures_stay_as_they_are(settings: Settings, shape: tuple[int, int]) -> None:
    xyz: Array = np.random.default_rng(5).uniform(0, 1, (*shape, 3)).astype(np.float32)
    np.testing.assert_array_equal(xyz, sharpen_lightness(*settings)(image_of(xyz)).numpy())


@ALL
def test_a_mirrored_picture_comes_out_mirrored(settings: Settings) -> None:
    xyz = several_colours()
    found = sharpen_lightness(*settings)(image_of(xyz)).numpy()
    for turned in (np.s_[:, ::-1], np.s_[::-1]):
        mirrored = sharpen_lightness(*settings)(image_of(np.ascontiguousarray(xyz[turned]))).numpy()[turned]
        np.testing.assert_allclose(mirrored, found, rtol=0, atol=2e-6)


CMYK_PROFILE = bytes(pyvips.Image.profile_load("cmyk"))


@pytest.mark.parametrize("target", [{"colour": "grey"}, {"colour": "press", "icc_profile": CMYK_PROFILE}], ids=str)
def test_grey_and_ink_come_from_what_is_sharpened_already(target: dict[str, Any]) -> None:
    codes = np.random.default_rng(9).uniform([90, 70, 60], [200, 180, 160], (12, 16, 3)).repeat(6, 0).repeat(6, 1)
    picture = codes.round().astype(np.uint8)
    sharp = replace(SHARP, **target)
    working = working_space(matrix_of(SRGB))(image_of(SRGB_CURVE.to_linear(picture / 255).astype(np.float32)))
    space = space_of(sharp)
    by_hand = quantise(space)(target_space(space)(sharpen_lightness(*SCREENS[0])(working))).numpy()
    found = finished(picture, settings=sharp)
    assert np.abs(by_hand.astype(int) - found).max() <= 1
    assert np.abs(found.astype(int) - finished(picture, settings=replace(sharp, sharpen_amount=0.0))).max() > 3


# The same by a slow road.


def written_out(plane: Floats, how: Unsharp) -> Floats:
    """Return the sharpened plane in double precision, over whole planes: a shifted copy for each pixel of a window."""
    far = max(len(how.taps) + 1, how.window)
    height, width = plane.shape
    padded = np.pad(plane, far, mode="edge")

    def moved(down: int, across: int) -> Floats:
        return padded[far + down : far + down + height, far + across : far + across + width]

    sides = range(1 - len(how.taps), len(how.taps))
    blur = sum(how.taps[abs(down)] * how.taps[abs(across)] * moved(down, across) for down in sides for across in sides)
    near = range(-how.window, how.window + 1)
    around = np.stack([moved(down, across) for down in near for across in near])
    low, high = around.min(axis=0), around.max(axis=0)
    share = (high - low) ** 4 / ((high - low) ** 4 + how.grain**4)
    room = how.halo_limit * (high - low)
    found = plane + how.strength * share * (plane - blur)
    all_near = range(-far, far + 1)
    blown = np.any([moved(down, across) >= 99.45 for down in all_near for across in all_near], axis=0)
    found = np.minimum(np.maximum(found, np.where(blown, low, low - room)), high + room)
    return np.where((plane > 0.42) & (plane < 99.45), found, plane)


@ALL
@pytest.mark.parametrize("height", [7, 64, 65, 200])
def test_strips_give_what_whole_planes_give(settings: Settings, height: int) -> None:
    how = unsharp(*settings)
    plane = np.random.default_rng(height).uniform(-2, 102, (height, 90)).astype(np.float32)
    np.testing.assert_allclose(sharpened(plane, how), written_out(plane.astype(float), how), rtol=0, atol=2e-4)
