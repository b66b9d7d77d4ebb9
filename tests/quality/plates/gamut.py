"""Reds that leave sRGB: clipped, and brought inside softly."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ROMM
from tests.light import colour_science
from tests.quality.plates import shoot
from tests.quality.plates.sheet import Crop, plate
from tests.render.charts import PLAIN, finished, made

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from PIL import Image

    from tests.light.colour_science import Floats
    from tests.quality.plates.sheet import Codes

WAYS = (("clipped", replace(PLAIN, gamut="clip")), ("soft", replace(PLAIN, gamut="soft")))
NAME, WIDTH = "tomatoes.jpg", 1600
PLACE = (560, 300, 424, 320)
LEVELS_PER_DEG, NEARLY_GREY = 25, 0.05
GREY = 0.5
MORE_CHROMA = 1.25
HUES_DEG = (0, 10, 20, 30, 40, 60, 90, 140)
LIGHTNESS, MOST_CHROMA, BAND_PX = 0.6, 0.36, 24
WIDE = write_matrix_profile(ROMM)


def gamut() -> Image.Image:
    """Return a plate of pairs, clipped at the left and soft at the right.

    First the tomatoes with their chroma raised at the same lightness and hue, so that their reds leave sRGB as a
    camera's do. Then one lightness, some hues, and chroma rising to the right; and by how much their hue was turned.
    """
    tomatoes, ramps = _tomatoes(), _ramps()
    rows: tuple[list[Crop], ...] = ([], [], [])
    for words, settings in WAYS:
        picture, shown = made(tomatoes, WIDE, settings), finished(ramps, WIDE, settings)
        turned = _hue_turned(ramps, shown)
        grey = np.clip(turned * LEVELS_PER_DEG, 0, 255).astype(np.uint8)[..., None].repeat(3, 2)
        outside = f"{100 * picture.outside_gamut:.0f} % outside sRGB"
        rows[0].append(Crop(f"chroma x {MORE_CHROMA}, {outside}: {words}", shoot.codes(picture)))
        rows[1].append(Crop(f"chroma 0 to {MOST_CHROMA} at one lightness: {words}", shown))
        rows[2].append(Crop(f"their hue turned, up to {turned.max():.0f} degrees (white: 10): {words}", grey))
    return plate(rows)


def _tomatoes() -> NDArray[np.uint16]:
    """Return the crop in 16-bit ROMM RGB, its chroma (OKLCh) raised."""
    codes = shoot.cut(shoot.codes(shoot.picture(NAME, WIDTH, PLAIN)), *PLACE)
    lab = colour_science.colour.XYZ_to_Oklab(colour_science.colour.sRGB_to_XYZ(codes / 255))
    return _codes(_romm(lab * [1, MORE_CHROMA, MORE_CHROMA]))


def _hue_turned(romm: NDArray[np.uint16], srgb: Codes) -> Floats:
    """Return by how many degrees of hue (OKLCh) sRGB codes differ from those of ROMM RGB; 0 where nearly grey."""
    asked, found = (
        colour_science.colour.XYZ_to_Oklab(
            colour_science.colour.RGB_to_XYZ(
                encoded,
                colour_science.colour.RGB_COLOURSPACES[name],
                illuminant=colour_science.D65,
                chromatic_adaptation_transform="Bradford",
                apply_cctf_decoding=True,
            )
        )
        for encoded, name in ((romm / 65535, colour_science.ROMM), (srgb / 255, colour_science.SRGB))
    )
    one, other = (lab[..., 1] + 1j * lab[..., 2] for lab in (asked, found))
    return np.where(np.abs(one) > NEARLY_GREY, np.abs(np.degrees(np.angle(other / one))), 0.0)


def _ramps() -> NDArray[np.uint16]:
    """Return bands of one hue each, chroma rising, in 16-bit ROMM RGB; what even that cannot hold is grey."""
    chroma = np.linspace(0, MOST_CHROMA, PLACE[2])
    hues = np.radians(HUES_DEG)[:, None]
    lab = np.stack(np.broadcast_arrays(LIGHTNESS, chroma * np.cos(hues), chroma * np.sin(hues)), axis=-1)
    rgb = _romm(lab)
    inside = ((rgb >= 0) & (rgb <= 1)).all(axis=-1, keepdims=True)
    return np.repeat(_codes(np.where(inside, rgb, GREY)), BAND_PX, axis=0)


def _romm(lab: Floats) -> Floats:
    """Return Oklab (h, w, 3) as encoded ROMM RGB, not held to 0..1."""
    rgb = colour_science.colour.XYZ_to_RGB(
        colour_science.colour.Oklab_to_XYZ(lab),
        colour_science.colour.RGB_COLOURSPACES[colour_science.ROMM],
        illuminant=colour_science.D65,
        chromatic_adaptation_transform="Bradford",
        apply_cctf_encoding=True,
    )
    return np.asarray(rgb, dtype=np.float64)


def _codes(rgb: Floats) -> NDArray[np.uint16]:
    return np.rint(65535 * np.clip(rgb, 0, 1)).astype(np.uint16)
