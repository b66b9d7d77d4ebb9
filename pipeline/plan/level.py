"""Levelled frames: what is asked of the upright frame, as it lies in the turned one, and what the turn loses."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.light.box import Point, Region
from pipeline.light.turn import Turn

if TYPE_CHECKING:
    from pipeline.frames.header import Header
    from pipeline.job.job import Request
    from pipeline.job.model import FrameEntry
    from pipeline.plan.rendition import Crop

# Crops are worked out in exact fractions; a millionth of a frame is less than any pixel.
DIGITS = 6


def turn_of(entry: FrameEntry, header: Header) -> Turn:
    """Return how a frame is levelled; by 0 degrees where the job does not say."""
    return Turn(header.size, entry.turn_deg)


def turned_point(turn: Turn, point: Point) -> Point:
    """Return a point of the upright frame in the turned one; at its edge where the turn cuts it off."""
    if not turn.degrees:
        return point
    turned = turn.point(point)
    return Point(_held(turned.x), _held(turned.y))


def turned_region(turn: Turn, region: Region | None) -> Region | None:
    """Return the part of the turned frame that holds a region of the upright one; None where nothing of it is left."""
    if region is None or not turn.degrees:
        return region
    turned = turn.region(region)
    held = Region(_held(turned.left), _held(turned.top), _held(turned.right), _held(turned.bottom))
    return held if held.left < held.right and held.top < held.bottom else None


def turned_request(turn: Turn, request: Request) -> Request:
    """Return a request with subject and keep box in fractions of the turned frame."""
    subject, keep = turned_point(turn, request.subject), turned_region(turn, request.keep)
    return replace(request, subject=subject, keep=keep)


def turned_crop(turn: Turn, crop: Crop, keep: Region | None) -> Crop:
    """Return a crop of the turned frame that knows its turn, and counts as lost what the turn cut off the keep box.

    `keep` is in fractions of the upright frame.
    """
    if not turn.degrees:
        return crop
    left = 1 - (turn.lost(keep) if keep else 0.0)
    return replace(crop, turn_deg=turn.degrees, keep_lost=1 - left * (1 - crop.keep_lost))


def turn_cautions(turn: Turn, subject: Point, keep: Region | None) -> list[str]:
    """Return what the turn takes away of what the frame is about."""
    cautions = []
    turned = turn.point(subject)
    if not (0 <= turned.x <= 1 and 0 <= turned.y <= 1):
        cautions.append(f"{in_words(turn.degrees)}, the frame no longer holds its subject")
    if keep and (lost := turn.lost(keep)):
        cautions.append(f"{in_words(turn.degrees)}, the frame no longer holds {max(lost, 0.01):.0%} of its keep box")
    return cautions


def in_words(degrees: float) -> str:
    """Return a turn as the plan says it: "turned 0.8° anticlockwise"."""
    return f"turned {abs(degrees):g}° {'clockwise' if degrees > 0 else 'anticlockwise'}"


def _held(share: float) -> float:
    return round(min(max(share, 0.0), 1.0), DIGITS)
