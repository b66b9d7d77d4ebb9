"""An outlet's page and the pictures in its folder: each under a name that says nothing of the others."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pipeline.deliver.sheet.for_outlet import at_most, folder_of, without_private
from pipeline.deliver.sheet.fulls import fulls
from pipeline.plan.files import SMALL_WHOLE_SIDE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.deliver.review.state import Review, Standing
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Output, Plan, Rendition


@dataclass(frozen=True, slots=True)
class Source:
    """Where a picture of a page is read from.

    `full_of` is its rendition where it is a delivered file; `whole_before` the frame as the outlet sees it now, where
    it is a whole frame of an earlier round.
    """

    path: str
    full_of: Rendition | None = None
    whole_before: Rendition | None = None


class Copies:
    """An outlet's page and the pictures in its folder: each under a name that says nothing of the others."""

    def __init__(self, outlet: str, shown: Plan, review: Review) -> None:
        self._folder = folder_of(outlet)
        self._shown = shown
        self._review = review
        self.sources: dict[str, Source] = {}

    def plan(self) -> Plan:
        """Return the plan without anything private, its previews those in the outlet's own folder."""
        public = without_private(self._shown)
        frames = tuple(
            replace(frame, whole=self._whole(frame.whole), renditions=tuple(map(self._rendition, frame.renditions)))
            for frame in public.frames
        )
        return replace(public, frames=frames)

    def fulls(self, made: Mapping[str, Made]) -> dict[str, Output]:
        """Return for each rendition, by name, its own copy of what shows it at 100 %; what waits has none."""
        found: dict[str, Output] = {}
        by_name = {one.name: one for one in self._shown.renditions}
        for name, output in fulls(self._shown, made).items():
            rendition = by_name[name]
            ending = output.path.rpartition(".")[2]
            path = f"{self._folder}/full/{rendition.frame}--{rendition.target}.{ending}"
            self.sources[path] = Source(output.path, None if output in rendition.sheet_outputs else rendition)
            found[name] = replace(output, path=path)
        return found

    def review(self) -> Review:
        """Return the review with earlier prints of the outlet's own folder."""
        wholes = {frame.slug: frame.whole for frame in self._shown.frames}
        standings = {
            item: tuple(self._standing(one, wholes.get(item)) for one in found)
            for item, found in self._review.standings.items()
        }
        return replace(self._review, standings=standings)

    def _standing(self, standing: Standing, whole: Rendition | None) -> Standing:
        """Return what was said with the print it was said of; of a whole frame, only one that the outlet may see."""
        before = standing.before
        if before is None:
            return standing
        path = f"{self._folder}/earlier/{before.path.rpartition('/')[2]}"
        self.sources[path] = Source(before.path, whole_before=whole)
        size = at_most(before.size, SMALL_WHOLE_SIDE) if whole else before.size
        return replace(standing, before=replace(before, path=path, size=size))

    def _whole(self, whole: Rendition) -> Rendition:
        if whole.preview:
            self.sources[whole.preview.path] = Source(whole.preview.path)
        return whole

    def _rendition(self, rendition: Rendition) -> Rendition:
        preview = rendition.preview
        if preview is None:
            return rendition
        path = f"{self._folder}/previews/{rendition.frame}--{rendition.target}.jpg"
        self.sources[path] = Source(preview.path)
        return replace(rendition, preview=replace(preview, path=path))
