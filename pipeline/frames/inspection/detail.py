"""What the looks at sharpness, motion, level and sameness share: a frame's pixels, its lightness and its edges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.light.edge_width import Edges, edges

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.smooth import Picture

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # of linear sRGB [IEC61966]


@dataclass(frozen=True, slots=True, eq=False)
class Detail:
    """One frame, upright.

    `planes` are the original pixels, encoded, unsigned integers, bands x height x width; `light` is the reduced copy in
    linear sRGB, height x width x 3, `lightness` the square root of its luminance, 0..1; `edges` were measured on the
    original pixels.
    """

    planes: NDArray[Any]
    light: Picture
    lightness: Picture
    edges: Edges

    @property
    def long_side_px(self) -> int:
        """Return the longer side of the frame in original pixels."""
        return int(max(self.planes.shape[1:]))


def light_to_lightness(light: Picture) -> Picture:
    """Return the square root of linear luminance, 0..1, height x width, of linear sRGB."""
    return np.asarray(np.sqrt(np.clip(light @ LUMINANCE, 0.0, 1.0)), dtype=np.float64)


def detail_of(planes: NDArray[Any], light: Picture) -> Detail:
    """Return the detail of a frame, of its pixels (`view.planes_of`) and its reduced copy (`view.reduced_light`)."""
    lightness = light_to_lightness(light)
    return Detail(planes, light, lightness, edges(planes, lightness))
