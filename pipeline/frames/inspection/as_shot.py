"""What light a raw's camera balanced for, from its gains and its colour matrix; no picture is developed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.chromaticity import uv_1960
from pipeline.light.colour_temperature import temperature
from pipeline.light.spaces import SRGB, rgb_to_xyz

if TYPE_CHECKING:
    from pipeline.frames.header import Header
    from pipeline.light.colour_temperature import Temperature
    from pipeline.light.transfer import Values


def as_shot(header: Header) -> Temperature | None:
    """Return the temperature of the light that a raw's camera balanced for; None where it does not say.

    LibRaw knows a camera by one matrix, for daylight, so far from daylight the temperature of a camera that has two is
    less exact.
    """
    import rawpy  # noqa: PLC0415 (heavy; only raws load it)

    if header.format != "raw":
        return None
    try:
        with rawpy.imread(str(header.path)) as raw:
            gains, daylight = np.array(raw.camera_whitebalance[:3]), np.array(raw.daylight_whitebalance[:3])
            to_srgb = np.array(raw.color_matrix, dtype=np.float64)[:3, :3]
    except (OSError, rawpy.LibRawError, rawpy.NotSupportedError):
        return None
    return temperature_of(gains, daylight, to_srgb)


def temperature_of(gains: Values, daylight: Values, to_srgb: Values) -> Temperature | None:
    """Return the temperature of a light by the gains (3) that make it grey.

    `daylight` are the gains for D65; `to_srgb` (3 x 3) leads from camera values behind them to linear sRGB.
    """
    if to_srgb.shape != (3, 3) or not np.isfinite(np.concatenate([gains, daylight, to_srgb.ravel()])).all():
        return None
    if min(gains.min(), daylight.min()) <= 0:
        return None
    with np.errstate(all="ignore"):  # a hostile file's numbers may leave the range; that is seen at once
        xyz = rgb_to_xyz(SRGB) @ (to_srgb @ (daylight / gains))
    return temperature(uv_1960(xyz)) if np.isfinite(xyz).all() and xyz.min() > 0 else None
