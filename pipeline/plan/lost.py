"""How a share of the keep box that a crop does not show is told."""

from __future__ import annotations

REMEDY = "make the keep box smaller, or give this target one of its own"
LEAST_TOLD = 0.01


def lost_share(share: float) -> str:
    """Return a share (0..1) in whole per cent; one that is there is never told as nothing, nor as more than it is."""
    return f"{share:.0%}" if share >= LEAST_TOLD else f"under {LEAST_TOLD:.0%}"
