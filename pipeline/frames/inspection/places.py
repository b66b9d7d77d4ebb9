"""Places and directions in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.light.box import Point, Region

LEVEL_DEG = 12.0
_ROWS = ("upper", "middle", "lower")
_COLUMNS = ("left", "middle", "right")


def at(place: Point) -> str:
    """Return "46 % across, 55 % down"."""
    return f"{place.x * 100:.0f} % across, {place.y * 100:.0f} % down"


def middle_of(region: Region) -> str:
    """Return where the middle of a region lies."""
    return f"{(region.left + region.right) * 50:.0f} % across, {(region.top + region.bottom) * 50:.0f} % down"


def ninth(row: int, column: int) -> str:
    """Return the name of one of the nine parts of a frame, rows and columns counted from 0."""
    if row == column == 1:
        return "in the middle"
    if column == 1:
        return f"in the {_ROWS[row]} middle"
    return f"at the {_COLUMNS[column]}" if row == 1 else f"in the {_ROWS[row]} {_COLUMNS[column]}"


def direction(angle_deg: float) -> str:
    """Return a direction (0..180 from the horizontal, clockwise) in words."""
    if angle_deg <= LEVEL_DEG or angle_deg >= 180 - LEVEL_DEG:
        return "from side to side"
    if abs(angle_deg - 90) <= LEVEL_DEG:
        return "up and down"
    if angle_deg < 90:
        return f"along a line that falls to the right by {angle_deg:.0f} degrees"
    return f"along a line that rises to the right by {180 - angle_deg:.0f} degrees"
