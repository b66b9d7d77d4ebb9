"""Tables of every type and version, read: against the judge's own reader and, through Pillow, LittleCMS."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.light.icc import write_grey_profile, write_matrix_profile
from pipeline.light.icc_tables import from_connection_space, to_connection_space
from pipeline.light.spaces import ADOBE_RGB, SRGB
from pipeline.light.transfer import SRGB_CURVE
from tests.light import colour_science
from tests.light.foreign_profiles import (
    assembled,
    gamma_curve,
    grey_profile,
    matrix_profile,
    parametric_curve,
    table_curve,
    table_profile,
)
from tests.light.foreign_tables import KINDS, PRESS, elements, lut, press_profile, printer_profile
from tests.render.icc_tables import Judge

if TYPE_CHECKING:
    from pipeline.light.icc_tables import Intent
    from tests.light.colour_science import Floats

TABLES = {
    "press of libvips": PRESS,
    **{f"press, {kind}": press_profile(kind) for kind in KINDS},
    "printer": printer_profile(),
    "printer by XYZ": printer_profile(b"XYZ "),
    "printer, version 4": printer_profile(version=4),
}
EACH_TABLE = pytest.mark.parametrize("name", TABLES)


def random_device(channels: int, count: int = 400) -> Floats:
    return np.random.default_rng(1).random((count, channels))


def random_lab(count: int = 400) -> Floats:
    return np.random.default_rng(2).random((count, 3)) * [100, 200, 200] - [0, 100, 100]


@EACH_TABLE
def test_device_values_become_what_the_judge_reads(name: str) -> None:
    found = to_connection_space(TABLES[name], "relative")
    assert found is not None
    device = random_device(found.channels)
    # Of XYZ: the judge has the digits of white that the standard prints, the rest is its last one.
    np.testing.assert_allclose(found.to_lab(device), Judge(TABLES[name]).to_lab(device), rtol=0, atol=1e-3)


@EACH_TABLE
def test_lab_becomes_what_the_judge_reads(name: str) -> None:
    found = from_connection_space(TABLES[name], "relative")
    assert found is not None
    lab = random_lab()
    np.testing.assert_allclose(found.from_lab(lab), Judge(TABLES[name]).to_device(lab), rtol=0, atol=1e-5)


@pytest.mark.parametrize("kind", KINDS)
def test_one_press_in_any_type_is_one_press(kind: str) -> None:
    device, lab = random_device(4), random_lab()
    wanted, found = (to_connection_space(press_profile(one), "relative") for one in ("mft2", kind))
    assert wanted is not None
    assert found is not None
    # 8 bits of Lab are 0.4 of L and 1 of a and b.
    assert np.abs(wanted.to_lab(device) - found.to_lab(device)).max() <= (0.6 if kind == "mft1" else 0.01)
    wanted, found = (from_connection_space(press_profile(one), "relative") for one in ("mft2", kind))
    assert wanted is not None
    assert found is not None
    if kind == "mft1":  # its Lab ends elsewhere, and so do the points of its grid
        return
    assert np.abs(wanted.from_lab(lab) - found.from_lab(lab)).max() <= 0.01


@pytest.mark.parametrize(("intent", "tag"), [("relative", b"1"), ("perceptual", b"0")])
def test_each_intent_has_its_own_tables(intent: Intent, tag: bytes) -> None:
    there, back = to_connection_space(PRESS, intent), from_connection_space(PRESS, intent)
    assert there is not None
    assert back is not None
    device, lab = random_device(4, 50), random_lab(50)
    np.testing.assert_allclose(there.to_lab(device), Judge(PRESS).to_lab(device, b"A2B" + tag), rtol=0, atol=1e-9)
    np.testing.assert_allclose(back.from_lab(lab), Judge(PRESS).to_device(lab, b"B2A" + tag), rtol=0, atol=1e-9)


@pytest.mark.parametrize("intent", ["relative", "perceptual"])
def test_where_there_is_one_table_it_serves_every_intent(intent: Intent) -> None:
    profile = table_profile("sRGB")  # A2B0 alone
    found = to_connection_space(profile, intent)
    assert found is not None
    device = random_device(3)
    np.testing.assert_allclose(found.to_lab(device), Judge(profile).to_lab(device, b"A2B0"), rtol=0, atol=1e-3)
    assert from_connection_space(profile, intent) is None


@pytest.mark.parametrize("name", [colour_science.SRGB, colour_science.ADOBE_RGB, colour_science.ROMM])
def test_tables_of_a_space_give_the_space(name: str) -> None:
    # Its light is held in 1/65535: at the dark end 0.03 units. Read through a module's 33 steps it would be 0.8 off.
    found = to_connection_space(table_profile(name), "relative")
    assert found is not None
    device = random_device(3, 4000)
    difference = colour_science.colour.delta_E(
        found.to_lab(device), colour_science.lab_d50(device, name), method="CIE 2000"
    )
    assert np.max(difference) < 0.05


@pytest.mark.parametrize(
    ("profile", "name"),
    [(matrix_profile("sRGB"), "sRGB"), (write_matrix_profile(ADOBE_RGB), colour_science.ADOBE_RGB)],
    ids=["sRGB of others", "Adobe RGB of ours"],
)
def test_colorants_and_curves_are_read_alike(profile: bytes, name: str) -> None:
    found = to_connection_space(profile, "relative")
    assert found is not None
    device = random_device(3)
    np.testing.assert_allclose(found.to_lab(device), colour_science.lab_d50(device, name), rtol=0, atol=0.02)


def test_grey_of_light_and_grey_of_lightness() -> None:
    codes = np.linspace(0, 1, 101)[:, None]
    by_light, by_lightness = (
        to_connection_space(profile, "relative")
        for profile in (grey_profile(2.2), assembled({b"kTRC": gamma_curve(1.0)}, channels=b"GRAY", pcs=b"Lab "))
    )
    assert by_light is not None
    assert by_lightness is not None
    power = round(2.2 * 256) / 256  # gamma is held in 1/256
    white = np.array(colour_science.PCS_WHITE)
    np.testing.assert_allclose(by_light.to_xyz(codes), codes**power * white, rtol=0, atol=1e-4)
    np.testing.assert_allclose(
        by_lightness.to_lab(codes), np.hstack([100 * codes, 0 * codes, 0 * codes]), rtol=0, atol=1e-9
    )


@pytest.mark.parametrize("function", range(5))
def test_parametric_curves_of_elements(function: int) -> None:
    numbers = [(2.2,), (2.2, 1.1, -0.1), (2.2, 1.1, -0.1, 0.1), (2.4, 0.9, 0.1, 0.08, 0.04)]
    numbers.append((2.2, 0.9, 0.1, 0.3, 0.08, 0.004, 0.01))
    curve, straight = parametric_curve(function, *numbers[function]), table_curve([0.0, 1.0])
    axis = np.linspace(0, 1, 3)
    grid = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1)
    for width in (1, 2):
        tag = elements([curve] * 3, grid, [curve, straight, straight], to_pcs=True, width=width)
        profile = assembled({b"A2B0": tag}, pcs=b"Lab ", version=4)
        found = to_connection_space(profile, "relative")
        assert found is not None
        device = random_device(3, 100)
        np.testing.assert_allclose(found.to_lab(device), Judge(profile).to_lab(device, b"A2B0"), rtol=0, atol=1e-9)


STRAIGHT, CURVE = np.array([0.0, 1.0]), table_curve([0.0, 1.0])
CUBE = np.stack(np.meshgrid(*[STRAIGHT] * 3, indexing="ij"), -1)


@pytest.mark.parametrize(
    "tag",
    [
        pytest.param(b"", id="empty"),
        pytest.param(b"mft2", id="its name alone"),
        pytest.param(lut("mft2", [STRAIGHT] * 3, CUBE, [STRAIGHT] * 3)[:-1], id="cut short"),
        pytest.param(lut("mft2", [STRAIGHT] * 4, np.ones((2, 2, 2, 2, 3)), [STRAIGHT] * 3), id="of four channels"),
        pytest.param(b"mft2\0\0\0\0" + bytes([3, 3, 1]) + bytes(60), id="a grid of one point"),
        pytest.param(b"mft2\0\0\0\0" + bytes([3, 3, 255]) + bytes(60), id="a grid larger than the tag"),
        pytest.param(b"mpet" + bytes(60), id="of processing elements"),
        pytest.param(elements([CURVE] * 3, CUBE, [CURVE] * 3, to_pcs=True)[:-60], id="elements cut short"),
        pytest.param(b"mAB \0\0\0\0" + bytes([3, 3, 0, 0]) + bytes(20), id="elements without curves"),
        pytest.param(b"mAB \0\0\0\0" + bytes([3, 3, 0, 0]) + struct.pack(">5I", 2**31, 0, 0, 0, 0), id="far away"),
    ],
)
def test_what_is_malformed_is_no_table(tag: bytes) -> None:
    profile = assembled({b"A2B0": tag, b"B2A0": tag}, pcs=b"Lab ")
    assert to_connection_space(profile, "relative") is None
    assert from_connection_space(profile, "relative") is None


@pytest.mark.parametrize(
    "profile",
    [
        b"",
        PRESS[:100],
        PRESS[:36] + b"xxxx" + PRESS[40:],
        assembled({}),
        assembled({}, channels=b"CMYK", pcs=b"Lab "),
        assembled({}, channels=b"GRAY"),
        assembled({}, channels=b"6CLR", pcs=b"Lab "),
        assembled({}, channels=b"CMYK", pcs=b"CMYK"),
    ],
)
def test_what_has_neither_tables_nor_colorants_leads_nowhere(profile: bytes) -> None:
    assert to_connection_space(profile, "relative") is None
    assert from_connection_space(profile, "perceptual") is None


SMALL = [
    assembled({b"A2B0": lut("mft2", [STRAIGHT] * 3, CUBE, [STRAIGHT] * 3)}, pcs=b"Lab "),
    assembled({b"A2B0": elements([CURVE] * 3, CUBE, [CURVE] * 3, to_pcs=True)}, pcs=b"Lab ", version=4),
    write_grey_profile("grey", SRGB_CURVE),
    write_matrix_profile(SRGB),
]


@given(
    st.sampled_from(SMALL),
    st.lists(st.tuples(st.integers(0, 700), st.binary(min_size=1, max_size=8)), min_size=1, max_size=6),
    st.one_of(st.none(), st.integers(0, 700)),
)
@example(SMALL[1], [(260, b"\xff\xff\xff\xff")], None)
def test_a_broken_profile_gives_colours_or_none(
    profile: bytes, changes: list[tuple[int, bytes]], cut: int | None
) -> None:
    broken = bytearray(profile)
    for at, data in changes:
        broken[at : at + len(data)] = data
    found = to_connection_space(bytes(broken[:cut]), "relative")
    if found is not None:
        assert np.isfinite(found.to_lab(random_device(found.channels, 20))).all()
