"""What the job says of a frame before it is looked at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pipeline.light.box import Point, Region

View = Literal["overhead", "three-quarter", "straight-on"]

# Raise it when other things are found in the same frame, or the same things otherwise.
VERSION = 1


@dataclass(frozen=True, slots=True)
class Told:
    """What changes how a frame is looked at: the view, where its subject is, whether it shows action or stood still.

    `subject` and `keep` are fractions of the upright frame, None where they are to be found; `action` says that
    something moves on purpose, `tripod` that the camera did not.
    """

    view: View | None = None
    subject: Point | None = None
    keep: Region | None = None
    action: bool = False
    tripod: bool = False
