"""Colour of a frame's light: a cast over all of it, or two lights that do not match."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.frames.inspection.values import judged
from pipeline.light.mixed_light import Mixed, mixed_light
from pipeline.light.white_point import WhitePoint, white_point

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.frames.inspection.values import Finding
    from pipeline.light.colour_temperature import Temperature
    from pipeline.light.smooth import Picture
    from pipeline.light.thresholds import Threshold

# From which direction in u', v' (degrees) a shift is called what; from the last on it is pink again.
HUES = ((15.0, "orange"), (90.0, "green"), (190.0, "blue"), (285.0, "pink"))
CAUSES = {
    "orange": "as by kitchen bulbs or candles, or with the camera set to daylight under them",
    "green": "as by a fluorescent or a cheap LED lamp, or through leaves",
    "blue": "as in open shade, or with the camera set to bulbs by a window",
    "pink": "as by a poor LED lamp, or from a coloured wall or cloth nearby",
}
WHITE_CARD = "set the camera's white balance on a white card that lies beside the dish"
ONE_LIGHT = "Use one light: switch the lamps off and work by the window, or draw the curtain and work by the lamps."


def look(
    light: Picture, as_shot: Temperature | None, thresholds: Mapping[str, Threshold]
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """Return measures (finite, by name) and findings of the light's colour.

    `light` is the reduced copy (`view.reduced_light`), `as_shot` what a raw's camera balanced for. Distances are in
    u', v' (CIE 1976) from the picture's white.
    """
    white = white_point(light)
    cast = _cast(white, thresholds)
    all_over = cast is not None and cast.level == "fault"
    mixed = None if all_over else mixed_light(light, thresholds["sure_cast"].value)
    measures = {
        "cast": white.distance,
        "cast_deg": white.degrees,
        "cast_confidence": white.confidence,
        "mixed_light": mixed.distance if mixed else 0.0,
    }
    if as_shot:
        measures |= {"as_shot_kelvin": as_shot.kelvin, "as_shot_duv": as_shot.duv}
    found = (cast, _mixed(mixed, thresholds))
    return measures, tuple(one for one in found if one)


def hue(u: float, v: float) -> str:
    """Return what a shift in u', v' looks like: orange, green, blue or pink."""
    degrees = float(np.degrees(np.arctan2(v, u)) % 360)
    return next((name for start, name in reversed(HUES) if degrees >= start), HUES[-1][1])


def _cast(white: WhitePoint, thresholds: Mapping[str, Threshold]) -> Finding | None:
    if white.confidence < thresholds["sure_cast"].value or white.distance < thresholds["cast_note"].value:
        return None
    strong = white.distance >= thresholds["cast"].value
    name = hue(white.u, white.v)
    lamps = "Go by the window" if name == "blue" else "Switch the lamps off and use the window's light alone"
    return judged(
        "cast",
        "fault" if strong else "note",
        round(white.distance, 4),
        thresholds["cast" if strong else "cast_note"],
        says=f"What should be white or grey is {name} all over the frame, {CAUSES[name]}.",
        advice=f"{lamps}, or {WHITE_CARD}; of a raw, balance it again.",
    )


def _mixed(mixed: Mixed | None, thresholds: Mapping[str, Threshold]) -> Finding | None:
    limit = thresholds["mixed_light_note"]
    if mixed is None or mixed.distance < limit.value:
        return None
    one, other = ("on the left", "on the right") if mixed.way == "across" else ("at the top", "at the bottom")
    white = thresholds["cast_note"].value
    first, second = (hue(*shift) if np.hypot(*shift) >= white else "white" for shift in (mixed.before, mixed.behind))
    kinds = f"{first} {one} and {second} {other}" if first != second else f"more {first} {_side(mixed, one, other)}"
    return judged(
        "mixed light",
        "note",
        round(mixed.distance, 4),
        limit,
        says=f"The light looks {kinds}: two lights of different colour, which no single white balance mends.",
        advice=ONE_LIGHT,
    )


def _side(mixed: Mixed, one: str, other: str) -> str:
    """Return on which side the light's colour is the stronger."""
    return one if np.hypot(*mixed.before) > np.hypot(*mixed.behind) else other
