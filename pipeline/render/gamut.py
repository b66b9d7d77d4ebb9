"""Colours outside a target's gamut: brought inside softly, or counted where only a device's tables know its gamut."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.light.cielab import WHITE, xyz_to_lab
from pipeline.light.gamut import chroma_limit
from pipeline.light.icc_output import TableProfile, read_output_profile
from pipeline.render.arrays import by_array

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from pipeline.light.gamut import ChromaLimit
    from pipeline.light.spaces import Matrix
    from pipeline.light.stages import Planes

# Float arithmetic leaves in-gamut greys a hair outside; a pixel counts as outside from a quarter 8-bit level on.
TOLERANCE = 0.001
# In units of Lab (CIE 1976). What lies inside comes back through a press's own tables within 2.6 to 5.2 (99 of 100
# colours, by profile): a colour that comes back further off was not there to be had.
ROUND_TRIP = 5.0


def soften(to_pcs: Matrix) -> Callable[[Any], Any]:
    """Return a step that lowers chroma, at constant lightness and hue, where linear RGB lies outside 0..1.

    `to_pcs` is the space's matrix to XYZ D50. What is inside is left as it is; what is still outside, by less than is
    noticed, is to be clipped.
    """

    def softened(light: Planes) -> Planes:
        red, green, blue = (_is_outside(light[:, channel]) for channel in range(3))
        outside = np.flatnonzero(red | green | blue)
        if not len(outside):
            return light
        found = light.copy()
        found[outside] = _limit(to_pcs.tobytes()).soften(np.ascontiguousarray(light[outside].T)).T
        return found

    return lambda image: by_array(image, softened, "multiband")


def _is_outside(plane: Planes) -> NDArray[np.bool_]:
    return (plane < -TOLERANCE) | (plane > 1 + TOLERANCE)


@lru_cache(maxsize=4)
def _limit(to_pcs: bytes) -> ChromaLimit:
    """Return the limit of chroma for a space; worked out once in a run (a tenth of a second)."""
    return chroma_limit(np.frombuffer(to_pcs, dtype=np.float64).reshape(3, 3))


def lost_share(working: Any, space: TableProfile) -> float:  # noqa: ANN401 (libvips images have no types to name)
    """Return the share (0..1) of pixels (X, Y and Z under D50) that come back from a device's tables as another colour.

    Whatever the intent that is asked for, it is the colorimetric tables that know the device's gamut.
    """
    device = read_output_profile(space.icc_profile, "relative")
    if not isinstance(device, TableProfile):
        raise AssertionError("a profile of tables has them for every intent")  # noqa: TRY004 (it was read as one)
    shadow, rest = (device.black * WHITE).astype(np.float32), np.float32(1 - device.black)

    def lost(xyz: Planes) -> NDArray[np.uint8]:
        asked = xyz_to_lab(xyz * rest + shadow)
        given = device.to_pcs.to_lab(device.from_pcs.from_lab(asked))
        far = np.linalg.norm(given - asked, axis=-1, keepdims=True) > ROUND_TRIP
        return np.asarray(far, dtype=np.uint8)

    return float(by_array(working, lost, "b-w").avg())
