"""The pages of one export, made with marks where a caption stands or what a file weighs, and then filled."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from pipeline.deliver.reworded.holes import Hole, Marks
from pipeline.deliver.sheet.words import weight

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.deliver.reworded.captions import Captions
    from pipeline.ledger.made import Made
    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.rendition import Plan, PlannedFrame, Rendition

ALL_FILES = "all files"


@dataclass(frozen=True, slots=True)
class Page:
    """A page that was written: the digest of its bytes (SHA-256, hex), and its holes in order."""

    sha256: str
    holes: tuple[Hole, ...]


def caption_name(slug: str, language: str) -> str:
    """Return what a hole is called that holds a caption of a frame."""
    return f"caption {slug} {language}"


@dataclass(slots=True)
class Pages:
    """Makes marks, fills them, and knows what was filled where.

    `captions` are those that may be other ones next time, by frame slug. `total` is what all files weigh that are
    weighed together.
    """

    captions: Mapping[str, Captions]
    written: dict[str, Page] = field(default_factory=dict)
    total: int = 0
    _marks: Marks = field(default_factory=Marks)
    _texts: dict[str, str] = field(default_factory=dict)

    def marked(self, plan: Plan) -> Plan:
        """Return the plan with marks for captions."""
        return replace(plan, frames=tuple(map(self._frame, plan.frames)))

    def _frame(self, frame: PlannedFrame) -> PlannedFrame:
        captions = self.captions.get(frame.slug)
        if captions is None:
            return frame
        names = {language: caption_name(frame.slug, language) for language in captions.texts}
        self._texts |= {name: captions.texts[language] for language, name in names.items()}
        marks = captions.saying({language: self._marks.mark(name) for language, name in names.items()})
        known: dict[int, PictureFacts] = {}  # what many renditions share, they share afterwards

        def facts(one: PictureFacts) -> PictureFacts:
            if id(one) not in known:
                known[id(one)] = marks.in_facts(one) if captions.in_facts(one) == one else one
            return known[id(one)]

        def rendition(one: Rendition) -> Rendition:
            return one if one.beside else replace(one, facts=facts(one.facts))

        return replace(
            frame,
            facts=facts(frame.facts),
            whole=rendition(frame.whole),
            renditions=tuple(map(rendition, frame.renditions)),
        )

    def weigh(self, files: Sequence[Made]) -> str:
        """Return a mark for what files weigh together."""
        total = sum(one.size_bytes for one in files)
        name = files[0].path if len(files) == 1 else ALL_FILES
        if name == ALL_FILES:
            self.total = total
        self._texts[name] = weight(total)
        return self._marks.mark(name)

    def filled(self, place: str, page: bytes) -> bytes:
        """Return the page, in UTF-8, that is to be written to a place below the output folder."""
        return self.as_it_is(place, *self._marks.filled(page, self._texts.__getitem__))

    def as_it_is(self, place: str, data: bytes, holes: tuple[Hole, ...] = ()) -> bytes:
        """Note what is written to a place, and return it."""
        self.written[place] = Page(hashlib.sha256(data).hexdigest(), holes)
        return data
