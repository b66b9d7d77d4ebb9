"""Black-point compensation: where a profile's black lies, and how black is laid on black.

Luminances are Y with white = 1; black points are taken to be neutral, as the standard does. Source: [ISO18619]
clauses 4.2 (source), 4.3 (destination), 4.4 (scaling); from memory.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.cielab import luminance_of
from pipeline.light.icc_tables import from_connection_space, to_connection_space

if TYPE_CHECKING:
    from pipeline.light.icc_tables import Conversion, Intent
    from pipeline.light.transfer import Values

LIGHTEST_BLACK = 50.0  # L: a lighter "black" is no black
REFERENCE_BLACK = 0.0034731  # ICC.1:2022 6.3.3: what the perceptual tables of version 4 have for black
STEPS = 256  # of the ramp of lightness that is sent there and back
MIDRANGE, STRAIGHT = 0.2, 4.0  # above this share of the range, a round trip within so many L is straight
# Which part of the round trip's range is taken for the curve of its shadows.
SHADOWS: dict[Intent, tuple[float, float]] = {"relative": (0.1, 0.5), "perceptual": (0.03, 0.25)}


def source_black(profile: bytes) -> float:
    """Return Y of the black that a source profile's device makes, relative colorimetric.

    For a press it is what its own table makes of black (all inks at once are no press's black), for others the
    darkest device value.
    """
    there = to_connection_space(profile, "relative")
    if there is None:
        return 0.0
    if there.channels < 4:
        return _luminance(there.to_lab(np.zeros((1, there.channels)))[0, 0])
    back = from_connection_space(profile, "perceptual")
    return _luminance(_round_trip(there, back, np.zeros((1, 3)))[0, 0]) if back else 0.0


def destination_black(profile: bytes, intent: Intent) -> float:
    """Return Y of the darkest black that a destination profile's tables reach (0 for one without tables)."""
    there, back = from_connection_space(profile, intent), to_connection_space(profile, "relative")
    if there is None or back is None:
        return 0.0
    if intent == "perceptual" and profile[8] >= 4:
        return REFERENCE_BLACK
    ramp = np.linspace(0.0, 100.0, STEPS)
    greys = np.stack([ramp, np.zeros(STEPS), np.zeros(STEPS)], axis=-1)
    found = np.minimum.accumulate(_round_trip(back, there, greys)[::-1, 0])[::-1]
    darkest, lightest = found[0], found[-1]
    if not darkest < lightest:
        return 0.0
    if intent == "relative" and _is_straight(ramp, found):
        return source_black(profile)
    share = (found - darkest) / (lightest - darkest)
    low, high = SHADOWS[intent]
    shadows = (share >= low) & (share < high)
    if np.count_nonzero(shadows) < 3:
        return 0.0
    return _luminance(_foot(ramp[shadows], share[shadows]))


def _luminance(lightness: float) -> float:
    return luminance_of(min(max(float(lightness), 0.0), LIGHTEST_BLACK))


def _round_trip(to_pcs: Conversion, from_pcs: Conversion, lab: Values) -> Values:
    return to_pcs.to_lab(from_pcs.from_lab(lab))


def _is_straight(ramp: Values, found: Values) -> bool:
    """Return whether the round trip leaves lightness alone but in its shadows."""
    shadows = ramp <= found[0] + MIDRANGE * (found[-1] - found[0])
    return bool(np.all(shadows | (np.abs(ramp - found) < STRAIGHT)))


def _foot(lightness: Values, share: Values) -> float:
    """Return where the parabola fitted to the shadows touches the ground: L of the black point."""
    a, b, c = np.polyfit(lightness, share, 2)
    if abs(a) < 1e-10:
        return float(min(max(-c / b, 0.0), LIGHTEST_BLACK))
    within = b * b - 4 * a * c
    if within <= 0:
        return 0.0
    return float(min(max((-b + np.sqrt(within)) / (2 * a), 0.0), LIGHTEST_BLACK))
