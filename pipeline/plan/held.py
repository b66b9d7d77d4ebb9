"""A frame's facts as they hold for its targets: one object for all targets of the same policy and days."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.plan.days import dated
from pipeline.plan.describe import facts_under

if TYPE_CHECKING:
    from pipeline.job.target import Target
    from pipeline.plan.facts import PictureFacts


class HeldFacts:
    """The facts of one frame, worked out once for each policy and its days: what is the same need not be compared."""

    def __init__(self, facts: PictureFacts) -> None:
        self._facts = facts
        self._held: dict[tuple[object, ...], PictureFacts] = {}

    def of(self, target: Target) -> PictureFacts:
        """Return the facts with the days that hold for a target, as its policy has them."""
        asked = (target.metadata, target.not_before, target.licence_ends)
        if asked not in self._held:
            self._held[asked] = dated(facts_under(target.metadata, self._facts), target)
        return self._held[asked]
