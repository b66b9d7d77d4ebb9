"""What the pipeline hands to sharpening, as CIE Lab, and how it differs from what it should be."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.box import Size
from pipeline.light.spaces import SRGB
from pipeline.light.turn import Turn
from pipeline.render.colour import working_space
from pipeline.render.picture import Spec, light_of
from pipeline.render.source import source_of
from tests.light import colour_science
from tests.render.charts import PLAIN

if TYPE_CHECKING:
    from pipeline.frames.pixels import Pixels
    from pipeline.light.box import Box
    from tests.light.colour_science import Floats

WHITE = colour_science.colour.XYZ_to_xy(colour_science.PCS_WHITE)


def working_lab(pixels: Pixels, box: Box, size: Size, turn_deg: float = 0.0) -> Floats:
    """Return CIE Lab D50 (h, w, 3) of a reduced picture, before sharpening and rounding."""
    source = source_of(pixels)
    turn = Turn(Size(source.image.width, source.image.height), turn_deg) if turn_deg else None
    spec = Spec(box, size, source.profile, SRGB, PLAIN, turn)
    xyz = working_space(source.profile)(light_of(source, spec)).numpy().astype(np.float64)
    return np.asarray(colour_science.colour.XYZ_to_Lab(xyz, WHITE), dtype=np.float64)


def lab_of_light(light: Floats, space: str) -> Floats:
    """Return CIE Lab D50 of linear RGB (0..1) of a space, by colour-science."""
    lab = colour_science.colour.XYZ_to_Lab(light @ colour_science.pcs_matrix(space).T, WHITE)
    return np.asarray(lab, dtype=np.float64)


def lab_difference(one: Floats, other: Floats) -> Floats:
    """Return CIEDE2000 between two arrays of Lab."""
    return np.asarray(colour_science.colour.delta_E(one, other, method="CIE 2000"), dtype=np.float64)
