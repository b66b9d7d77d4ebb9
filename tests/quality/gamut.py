"""Colours that leave the target's gamut: how far hue and lightness move, clipped and soft."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ROMM
from tests.light import colour_science
from tests.light.css_color import Space as CSSSpace
from tests.light.test_gamut import tomato_reds
from tests.quality.figure import Figure, at_most, exactly
from tests.render.charts import PLAIN, made

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from pipeline.plan.rendition import Gamut
    from tests.light.colour_science import Floats

STEP = "gamut"
HOUSE = "house choice"
CSS = "CSS Color 4, 13.2: hidden below 0.02"
JUDGE = "colour-science (Oklab)"
ROUNDING = 0.002  # what 8 bits may add to it
CLEARLY = 0.01  # of full linear light beyond the gamut, so that nobody can count it otherwise
LIGHTNESS, CHROMA, HUES = np.linspace(0.3, 0.9, 13), np.linspace(0.05, 0.40, 15), np.radians(np.arange(0, 360, 5))


@dataclass(frozen=True, slots=True)
class Moved:
    """Where colours came (Oklab), how far from where they were asked (hue in degrees, lightness), the share outside."""

    found: Floats
    hue: Floats
    lightness: Floats
    outside: float


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure colours of ROMM RGB that leave sRGB; `full` changes nothing here."""
    del full
    asked = _outside_srgb()
    direct = CSSSpace(colour_science.SRGB)
    clipped, soft = (_moved(asked, gamut) for gamut in ("clip", "soft"))
    count = f"{len(asked):,} colours of ROMM RGB outside sRGB"
    yield Figure(
        STEP, f"{count}, soft: hue turned, mean", float(soft.hue.mean()),
        at_most(float(clipped.hue.mean()) / 2, "degrees"), "house choice: half of what clipping does", JUDGE,
        f"clipped {clipped.hue.mean():.1f}; the most {soft.hue.max():.0f}, clipped {clipped.hue.max():.0f}",
    )  # fmt: skip
    yield Figure(
        STEP, "the same: lightness moved, at most", float(soft.lightness.max()), at_most(0.02 + ROUNDING, "of Oklab"),
        CSS, JUDGE, f"clipped {clipped.lightness.max():.2f}",
    )  # fmt: skip
    exact = direct.oklab(direct.mapped(_rgb(asked, colour_science.SRGB, encoded=False)))
    yield Figure(
        STEP, "the same against the standard's own steps, in 8 bits: mean difference",
        float(np.linalg.norm(soft.found - exact, axis=-1).mean()), at_most(0.002, "of Oklab"), CSS,
        "its text in numpy, held against coloraide",
    )  # fmt: skip
    reds = _held_by_romm(direct.oklab(tomato_reds()))
    clipped, soft = (_moved(reds, gamut) for gamut in ("clip", "soft"))
    yield Figure(
        STEP, f"{len(reds)} tomato reds, soft: hue turned, mean", float(soft.hue.mean()),
        at_most(0.75 * float(clipped.hue.mean()), "degrees"), "house choice: three quarters of what clipping does",
        JUDGE, f"clipped {clipped.hue.mean():.1f}; lightness moves at most {soft.lightness.max():.3f}, "
        f"clipped {clipped.lightness.max():.3f}",
    )  # fmt: skip
    half = np.concatenate([asked, np.tile([[0.6, 0.0, 0.0]], (len(asked), 1))])
    yield Figure(
        STEP, "share counted outside, half of a picture's pixels being so", _moved(half, "clip").outside, exactly(0.5),
        "counted", JUDGE,
    )  # fmt: skip


def _rgb(lab: Floats, name: str, *, encoded: bool) -> Floats:
    """Return Oklab (n, 3) in an RGB space, linear or encoded, not held to 0..1."""
    rgb = colour_science.colour.XYZ_to_RGB(
        colour_science.colour.Oklab_to_XYZ(lab),
        colour_science.colour.RGB_COLOURSPACES[name],
        illuminant=colour_science.D65,
        chromatic_adaptation_transform="Bradford",
        apply_cctf_encoding=encoded,
    )
    return np.asarray(rgb, dtype=np.float64)


def _outside_srgb() -> Floats:
    """Return the colours of a grid over OKLCh that ROMM RGB holds and sRGB clearly does not, as Oklab (n, 3)."""
    lightness, chroma, hue = (axis.ravel() for axis in np.meshgrid(LIGHTNESS, CHROMA, HUES, indexing="ij"))
    lab = np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)
    narrow = _rgb(lab, colour_science.SRGB, encoded=False)
    left = ((narrow < -CLEARLY) | (narrow > 1 + CLEARLY)).any(axis=-1)
    return _held_by_romm(lab[left])


def _held_by_romm(lab: Floats) -> Floats:
    """Return the colours that ROMM RGB holds."""
    wide = _rgb(lab, colour_science.ROMM, encoded=False)
    return np.asarray(lab[((wide >= 0) & (wide <= 1)).all(axis=-1)], dtype=np.float64)


def _moved(asked: Floats, gamut: Gamut) -> Moved:
    """Send colours through the pipeline to sRGB, and measure what comes out."""
    codes: NDArray[np.uint16] = np.rint(65535 * _rgb(asked, colour_science.ROMM, encoded=True)).astype(np.uint16)
    picture = made(codes[None], write_matrix_profile(ROMM), replace(PLAIN, gamut=gamut))
    found = colour_science.colour.XYZ_to_Oklab(colour_science.colour.sRGB_to_XYZ(picture.image.numpy()[0] / 255))
    before, after = (lab[:, 1] + 1j * lab[:, 2] for lab in (asked, found))
    hue = np.abs(np.degrees(np.angle(after * np.conj(before))))
    return Moved(found, hue, np.abs(found[:, 0] - asked[:, 0]), picture.outside_gamut)
