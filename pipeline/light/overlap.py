"""How much two regions have in common."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.light.box import Region


def overlap(one: Region, other: Region) -> float:
    """Return intersection over union, 0..1: 1 for the same region, 0 for regions that do not meet."""
    width = min(one.right, other.right) - max(one.left, other.left)
    height = min(one.bottom, other.bottom) - max(one.top, other.top)
    common = max(width, 0.0) * max(height, 0.0)
    whole = _area(one) + _area(other) - common
    return common / whole if whole > 0 else 0.0


def _area(region: Region) -> float:
    return (region.right - region.left) * (region.bottom - region.top)
