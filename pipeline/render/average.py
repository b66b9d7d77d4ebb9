"""The average colour of finished pixels, as a page shows it until the picture has come."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.light.spaces import SRGB, rgb_to_pcs

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.light.spaces import Matrix, RGBSpace


def average_colour(finished: Any, space: RGBSpace) -> str:  # noqa: ANN401 (libvips images have no types to name)
    """Return the mean of the light of finished pixels as a CSS colour, "#rrggbb" (encoded sRGB).

    `finished` is uchar, encoded RGB of `space`. The mean is taken in linear light, as the eye does from afar: the
    mean of encoded values would be too dark. A colour outside sRGB is clipped into it. Source: [IEC61966].
    """
    counts = np.frombuffer(finished.hist_find().write_to_memory(), dtype=np.uint32).reshape(-1, 3)
    of_codes = space.curve.to_linear(np.arange(len(counts)) / 255)
    return average_of(of_codes @ counts / counts.sum(axis=0), space)


def average_of(light: Sequence[float], space: RGBSpace) -> str:
    """Return the same of the mean of linear light of `space`: red, green, blue."""
    mean = _to_srgb(space) @ np.asarray(light)
    red, green, blue = np.round(255 * SRGB.curve.to_encoded(np.clip(mean, 0.0, 1.0))).astype(int)
    return f"#{red:02x}{green:02x}{blue:02x}"


@lru_cache(maxsize=16)
def _to_srgb(space: RGBSpace) -> Matrix:
    return np.asarray(np.linalg.inv(rgb_to_pcs(SRGB)) @ rgb_to_pcs(space), dtype=np.float64)
