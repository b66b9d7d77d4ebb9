"""ICC profiles that a target's pixels are encoded in: what each kind needs so that light can become its codes.

Source: [ICC1] ICC.1:2022 clauses 7.2.5 (profile classes), 8 (which tags each class has), [ISO18619].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.black_point import destination_black
from pipeline.light.icc import read_matrix_profile, write_grey_profile
from pipeline.light.icc_tables import from_connection_space, to_connection_space
from pipeline.light.icc_tags import CHANNELS, HEADER_BYTES, channel_count, read_tags
from pipeline.light.transfer import SRGB_CURVE, Sampled

if TYPE_CHECKING:
    from pipeline.light.icc import MatrixProfile
    from pipeline.light.icc_tables import Conversion, Intent
    from pipeline.light.transfer import Curve

# What pixels may be encoded in; scanners' and cameras' profiles ("scnr") only lead away from their device.
CLASSES = {b"mntr": "a screen", b"prtr": "a printer or press", b"spac": "a colour space"}
OTHER_CLASSES = {
    b"scnr": "a scanner or camera",
    b"link": "the link of two devices",
    b"abst": "an effect",
    b"nmcl": "named colours",
}
GREY_STEPS = 4096
LEAST_RANGE = 10.0  # L from black to white; newsprint, the poorest print, has over four times that (from memory)


@dataclass(frozen=True, slots=True, eq=False)
class GreyProfile:
    """Grey: `curve` takes codes (0..1) to luminance, 0 at its black and 1 at its white."""

    icc_profile: bytes
    curve: Curve


@dataclass(frozen=True, slots=True, eq=False)
class RGBProfile:
    """RGB by curves and a matrix."""

    icc_profile: bytes
    matrix: MatrixProfile


@dataclass(frozen=True, slots=True, eq=False)
class TableProfile:
    """RGB or CMYK by tables: from the connection space, and back again; `black` is Y of its darkest black."""

    icc_profile: bytes
    channels: int
    from_pcs: Conversion
    to_pcs: Conversion
    black: float


OutputProfile = GreyProfile | RGBProfile | TableProfile

GREY = GreyProfile(write_grey_profile("Grey with the sRGB curve", SRGB_CURVE), SRGB_CURVE)


def read_output_profile(profile: bytes, intent: Intent) -> OutputProfile:
    """Return what a profile needs to be converted into. ValueError, in half a sentence, where it is not fit for it."""
    if len(profile) < HEADER_BYTES or profile[36:40] != b"acsp":
        raise ValueError("it is no ICC profile")
    kind = profile[12:16]
    if kind not in CLASSES:
        raise ValueError(
            f"it describes {OTHER_CLASSES.get(kind, 'something else')}, not a screen, a printer or a press"
        )
    channels = channel_count(profile)
    if channels is None:
        known = ", ".join(name.decode().strip() for name in CHANNELS)
        raise ValueError(f"it is for {_shown(profile[16:20])} pixels; plateline writes {known}")
    there, back = from_connection_space(profile, intent), to_connection_space(profile, "relative")
    if there and back and channels > 1:
        ends = back.to_lab(there.from_lab(np.array([[0.0, 0.0, 0.0], [100.0, 0.0, 0.0]])))[:, 0]
        if not ends[1] - ends[0] > LEAST_RANGE:
            raise ValueError("its tables do not lead from black to white")
        return TableProfile(profile, channels, there, back, destination_black(profile, intent))
    if channels == 1 and back:
        return GreyProfile(profile, _luminance_curve(back))
    matrix = read_matrix_profile(profile) if channels == 3 else None
    if matrix and _is_invertible(matrix):
        return RGBProfile(profile, matrix)
    kinds = {tag[:3] for tag in read_tags(profile)}
    if b"A2B" in kinds and b"B2A" not in kinds:
        raise ValueError("it leads from its device to colour only, not back")
    raise ValueError("it is damaged, or made in a way that cannot be converted into")


def _luminance_curve(conversion: Conversion) -> Curve:
    """Return luminance by code of a grey profile, its black brought to 0. ValueError where it does not rise."""
    codes = np.linspace(0.0, 1.0, GREY_STEPS)[:, None]
    luminance = conversion.to_xyz(codes)[:, 1]
    if not luminance[0] < luminance[-1]:
        raise ValueError("its grey does not rise from black to white")
    rising = np.maximum.accumulate((luminance - luminance[0]) / (luminance[-1] - luminance[0]))
    return Sampled(tuple(rising.tolist()))


def _is_invertible(matrix: MatrixProfile) -> bool:
    """Return whether light can be brought back to codes: colorants that span colour, curves that rise to full light."""
    ends = [float(curve.to_linear(np.ones(1))[0]) for curve in matrix.curves]
    return abs(float(np.linalg.det(matrix.to_pcs))) > 1e-6 and min(ends) > 0.5


def _shown(name: bytes) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in name.decode("latin-1")).strip()
