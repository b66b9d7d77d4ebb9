"""What is kept of an export for a next one whose job differs in nothing but captions.

It is known by everything else that the job says, and sealed with that, beside what `pipeline.deliver.recall` keeps: the
stamps of all that the export came from, the version of ours that made it, and of each page a digest and the places of
what may be other words. Of a frame there is what its files are made anew from; nothing that it says of itself.
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pipeline.deliver.recall import keep_record, kept_record
from pipeline.deliver.reworded.captions import Captions, captions_in
from pipeline.deliver.reworded.packed import packed, unpacked
from pipeline.deliver.reworded.pages import Page
from pipeline.frames.header import CameraFacts, Header
from pipeline.frames.words import Stated
from pipeline.job.limits import LONGEST_FILE
from pipeline.ledger.sealed import digest
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
class Apart:
    """A job file taken apart: the captions of each frame by language (None where it has none), and all the rest."""

    captions: tuple[dict[str, str] | None, ...]
    secret: bytes


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
    (`Captions`). `renditions` are those that state the caption, the
    whole frame of the contact sheet among them.
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
    """An export as it was kept. `said` are its lines, of which number `counts_at` counts files."""

    sources: dict[str, Any]
    captions: tuple[dict[str, str] | None, ...]
    frames: tuple[str | None, ...]
    pages: Mapping[str, Page]
    total: int
    said: tuple[str, ...]
    counts_at: int
    files: int
    cautions: int

    def frame(self, number: int) -> Frame | None:
        """Return a frame by its place in the job, from 0; None for one that only the full way may touch."""
        text = self.frames[number]
        return Frame(*unpacked(text, _CLASSES)) if text else None


def _name(asked: Question) -> bytes:
    return digest("reworded", asked.name)


def apart(asked: Question) -> Apart | None:
    """Return the job of a question taken apart; None where its captions are not its own, or it is none."""
    if len(asked.data) > LONGEST_FILE:
        return None
    try:
        tables = tomllib.loads(asked.data.decode("utf-8-sig"))
    except (ValueError, RecursionError):  # told by whoever reads it in full
        return None
    frames = tables.get("frames")
    if "captions" in tables or not isinstance(frames, list):
        return None
    captions: list[dict[str, str] | None] = []
    for frame in frames:
        caption = frame.get("caption") if isinstance(frame, dict) else None
        captions.append(captions_in(caption))
        if captions[-1]:
            frame["caption"] = "" if isinstance(caption, str) else dict.fromkeys(captions[-1], "")
    return Apart(tuple(captions), digest("reworded", os.path.abspath(asked.job), repr(tables)))  # noqa: PTH100 (links stay)


def keep_exported(
    asked: Question, sources: Mapping[str, Any], exported: Exported, said: Sequence[str], counts: Counts
) -> None:
    """Keep an export that has left nothing to do. `said` is what it would say of that, `counts` the figures in it."""
    job = apart(asked)
    if job is None or len(job.captions) != len(exported.job.frames):
        return
    planned = {frame.slug: frame for frame in exported.plan.frames}
    frames = (_frame(exported, one, planned[one.slug]) if one.slug in planned else None for one in exported.job.frames)
    known = Known(
        sources=dict(sources),
        captions=job.captions,
        frames=tuple(packed_frame(one) if one else None for one in frames),
        pages=exported.pages.written,
        total=exported.pages.total,
        said=tuple(said),
        counts_at=list(said).index(counts.in_words()),
        files=counts.kept,
        cautions=counts.cautions,
    )
    keep_known(asked, job, known)


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
    lists = {name: tuple(record[name]) for name in ("captions", "frames", "said")}
    return Known(**{**found, **lists, "pages": pages})
