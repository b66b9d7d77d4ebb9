"""The average colour of finished pixels, as a page shows it until the picture has come."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.light.spaces import SRGB, rgb_to_pcs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.spaces import RGBSpace


def average_colour(finished: Any, space: RGBSpace) -> str:  # noqa: ANN401 (libvips images have no types to name)
    """Return the mean of the light of finished pixels as a CSS colour, "#rrggbb" (encoded sRGB).

    `finished` is uchar, encoded RGB of `space`. The mean is taken in linear light, as the eye does from afar: the
    mean of encoded values would be too dark. A colour outside sRGB is clipped into it. Source: [IEC61966].
    """
    counts = np.frombuffer(finished.hist_find().write_to_memory(), dtype=np.uint32).reshape(-1, 3)
    levels = np.zeros((3, 256), np.uint32)
    levels[:, : len(counts)] = counts.T
    return average_of(levels, space)


def average_of(counts: NDArray[np.uint32], space: RGBSpace) -> str:
    """Return the same of how often each code is there: (3, 256)."""
    shares = counts / counts.sum(axis=1, keepdims=True)
    light = shares @ space.curve.to_linear(np.arange(256) / 255)
    mean = np.linalg.inv(rgb_to_pcs(SRGB)) @ rgb_to_pcs(space) @ light
    red, green, blue = np.round(255 * SRGB.curve.to_encoded(np.clip(mean, 0.0, 1.0))).astype(int)
    return f"#{red:02x}{green:02x}{blue:02x}"
