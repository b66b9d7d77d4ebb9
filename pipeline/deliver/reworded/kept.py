"""What is kept of an export for a next one whose job differs in nothing but captions.

It is known by everything else that the job says, and sealed with that, beside what `pipeline.deliver.recall` keeps: the
stamps of all that the export came from, the version of ours that made it, and of each page a digest and the places of
what may be other words. Of a frame there is what its files are made anew from; nothing that it says of itself.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pipeline.deliver.recall import keep_record, kept_record
from pipeline.deliver.reworded.apart import Apart, Texts, apart, frame_place
from pipeline.deliver.reworded.captions import Captions
from pipeline.deliver.reworded.packed import packed, unpacked
from pipeline.deliver.reworded.pages import Page
from pipeline.frames.header import CameraFacts, Header
from pipeline.frames.words import Stated
from pipeline.ledger.sealed import digest
from pipeline.ledger.stamps import stamp
from pipeline.light.box import Box, Point, Region, Size
from pipeline.plan.describe import in_language
from pipeline.plan.facts import Contact, Contributor, PictureFacts, Translation
from pipeline.plan.rendition import Approval, Crop, Output, PixelSettings, Rendition

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from pipeline.deliver.counts import Counts
    from pipeline.deliver.recall import Question
    from pipeline.deliver.reworded.pages import Pages
    from pipeline.job.job import AskedFrame, Job
    from pipeline.plan.rendition import Plan, PlannedFrame

_CLASSES = (
    Approval, Box, CameraFacts, Contact, Contributor, Crop, Header, Output, PictureFacts, PixelSettings, Point, Region,
    Rendition, Size, Stated, Translation,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Exported:
    """What an export came to, as far as a next one may begin from it.

    `plan` and `made` (the paths of what is as the plan would make it) are what was delivered, `pages` what was written
    of it.
    """

    job: Job
    plan: Plan
    made: Collection[str]
    pages: Pages


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame whose caption may change: what its files are made anew from.

    `alt` is its alt text, as it is looked over beside the caption; `first` and `disclosure` are those of its captions
    (`Captions`). `renditions` are those that state the caption, the whole frame of the contact sheet among them.
    """

    slug: str
    file: str
    alt: str | None
    decorative: bool
    first: str
    disclosure: str | None
    header: Header
    renditions: tuple[Rendition, ...]

    def captions(self, texts: Mapping[str, str]) -> Captions:
        """Return captions of this frame with their texts by language."""
        return Captions(texts, self.first, self.disclosure)

    @property
    def outputs(self) -> tuple[tuple[Rendition, Output], ...]:
        """Return every file that states the caption, with its rendition."""
        return tuple((one, output) for one in self.renditions for output in (*one.outputs, *one.sheet_outputs))

    def saying(self, texts: Mapping[str, str]) -> Frame:
        """Return the frame with other captions."""
        captions = self.captions(texts)
        renditions = (replace(one, facts=captions.in_facts(one.facts)) for one in self.renditions)
        return replace(self, renditions=tuple(renditions))


@dataclass(frozen=True, slots=True)
class Known:
    """An export as it was kept, captions and frames by the places of the captions.

    `said` are its lines, of which number `counts_at` counts files.
    """

    sources: dict[str, Any]
    captions: dict[str, Texts]
    frames: dict[str, str]
    pages: Mapping[str, Page]
    total: int
    said: tuple[str, ...]
    counts_at: int
    files: int
    cautions: int

    def frame(self, place: str) -> Frame | None:
        """Return a frame by the place of its captions; None for one that only the full way may touch."""
        text = self.frames.get(place)
        return Frame(*unpacked(text, _CLASSES)) if text else None


def _name(asked: Question) -> bytes:
    return digest("reworded", asked.name)


def keep_exported(
    asked: Question, sources: Mapping[str, Any], exported: Exported, said: Sequence[str], counts: Counts
) -> None:
    """Keep an export that has left nothing to do. `said` is what it would say of that, `counts` the figures in it."""
    job = apart(asked)
    if job is None or not _as_stamped(job, sources):
        return
    planned = {frame.slug: frame for frame in exported.plan.frames}
    kept: dict[str, str] = {}
    for one in exported.job.frames:
        place = _place(job, one, exported.pages.captions.get(one.slug))
        frame = _frame(exported, one, planned[one.slug]) if place and one.slug in planned else None
        if place and frame:
            kept[place] = packed_frame(frame)
    known = Known(
        sources=dict(sources),
        captions=job.captions,
        frames=kept,
        pages=exported.pages.written,
        total=exported.pages.total,
        said=tuple(said),
        counts_at=list(said).index(counts.in_words()),
        files=counts.kept,
        cautions=counts.cautions,
    )
    keep_known(asked, job, known)


def _as_stamped(job: Apart, sources: Mapping[str, Any]) -> bool:
    """Return whether the files that were taken apart are still those that the export came from."""
    known = {path: tuple(was) for path, was in sources["files"]}
    return all(stamp(file) == known.get(os.fspath(file)) for file in job.files)


def _place(job: Apart, asked: AskedFrame, captions: Captions | None) -> str | None:
    """Return the one place where the captions of a frame stand; None where there is none, or more than one.

    Of rows only one can be about a frame, and only one that says the frame's captions whole can be that place.
    """
    from pipeline.job.captions import is_about  # noqa: PLC0415 (it loads the job's model, as an export has)

    if captions is None:
        return None
    own = frame_place(asked.number - 1)
    places = [own] if own in job.captions else []
    alike = (place for place in job.rows if job.captions[place] == captions.texts)
    places += [place for place in alike if is_about(*job.rows[place], asked.entry)]
    alone = len(places) == 1 and job.captions[places[0]] == captions.texts
    return places[0] if alone else None


def _frame(exported: Exported, asked: AskedFrame, planned: PlannedFrame) -> Frame | None:
    """Return what is kept of a frame; None where a caption decides more than the words in its files."""
    captions = exported.pages.captions.get(asked.slug)
    if captions is None:
        return None
    alt = in_language(asked.entry.alt, exported.plan.language) or planned.facts.alt
    stating = (planned.whole, *(one for one in planned.renditions if one.beside is None and not one.refused))
    header = replace(planned.header, icc_profile=None, stated=Stated())
    renditions = tuple(map(_without_profile, stating))
    words = (alt, asked.entry.decorative, captions.first, captions.disclosure)
    frame = Frame(asked.slug, asked.entry.file, *words, header, renditions)
    open_to_it = (
        all(captions.in_facts(facts) == facts for facts in {id(one.facts): one.facts for one in stating}.values())
        and not any(one.waits or one.settings.bytes_max for one in stating)
        and all(output.path in exported.made for _, output in frame.outputs)
    )
    return frame if open_to_it else None


def _without_profile(one: Rendition) -> Rendition:
    """Return a rendition without the bytes of a profile of the job's: that there is one is all that words ask for."""
    if one.settings.icc_profile is None:
        return one
    return replace(one, settings=replace(one.settings, icc_profile=b""))


def packed_frame(frame: Frame) -> str:
    """Return a frame as it is kept."""
    return packed(tuple(getattr(frame, name) for name in Frame.__slots__))


def keep_known(asked: Question, job: Apart, known: Known) -> None:
    """Keep an export under the name of its question."""
    pages = {place: [page.sha256, page.holes] for place, page in known.pages.items()}
    record = {name: getattr(known, name) for name in Known.__slots__}
    keep_record(_name(asked), job.secret, {**record, "pages": pages})


def known_export(asked: Question, job: Apart) -> Known | None:
    """Return the export that was kept of a job with the same rest; None where there is none of this version of ours."""
    record = kept_record(_name(asked), job.secret)
    if record is None:
        return None
    pages = {place: Page(sha256, tuple(holes)) for place, (sha256, holes) in record["pages"].items()}
    found = {name: record[name] for name in Known.__slots__}
    return Known(**{**found, "said": tuple(record["said"]), "pages": pages})
