"""The short way: files whose captions are new get new metadata, pages new words; nothing else is worked out.

It is taken where everything but captions is as the last export left it, and left wherever that cannot be told for sure:
the full way then decides alone, and finds finished what was finished here. Nothing is read of the job's model, of its
frames, or of the templates of pages.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.deliver.counts import Counts
from pipeline.deliver.place import alone_in
from pipeline.deliver.recall import Sources, Told, remember, still
from pipeline.deliver.reworded.apart import apart
from pipeline.deliver.reworded.holes import are_in, filled_anew
from pipeline.deliver.reworded.kept import keep_known, known_export, packed_frame
from pipeline.deliver.reworded.manifest import reworded_manifest
from pipeline.deliver.reworded.pages import ALL_FILES, Page, caption_name
from pipeline.deliver.sheet.words import weight
from pipeline.deliver.tasks import FrameTask, RenditionTask, reworded_task, untouched
from pipeline.deliver.work import work_on_frame
from pipeline.deliver.write import plain_place, write_if_changed
from pipeline.faults import printable_line
from pipeline.job.kept_names import LOCK, MANIFEST
from pipeline.job.plain_words import are_words
from pipeline.ledger.book import Ledger
from pipeline.plan.lint import word_cautions

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pipeline.deliver.progress import Progress
    from pipeline.deliver.recall import Question
    from pipeline.deliver.reworded.apart import Apart
    from pipeline.deliver.reworded.captions import Captions
    from pipeline.deliver.reworded.kept import Frame, Known
    from pipeline.ledger.made import Made

Rows = dict[str, "Made"]


def export_reworded(asked: Question, progress: Progress) -> Told | None:
    """Export a job that differs from what was exported last in captions alone; None where the full way is to do it.

    Raises `RequestRefused` where another run is at work in the output folder.
    """
    job = apart(asked)
    known = known_export(asked, job) if job else None
    frames = _changed(known, job) if known and job else None
    if frames is None or known is None or job is None or not (asked.out / LOCK).is_file():
        return None
    try:
        with alone_in(asked.out):
            if not still(known.sources, asked.out, but=job.files):
                return None
            return _exported(asked, job, known, frames, progress)
    except OSError:  # told by the full way, which meets it too
        return None


def _changed(known: Known, job: Apart) -> dict[str, Frame] | None:
    """Return the frames with other captions, saying these, by the places where they stand.

    None where a caption decides more than words.
    """
    if known.captions.keys() != job.captions.keys():
        return None
    found: dict[str, Frame] = {}
    for place, new in job.captions.items():
        old = known.captions[place]
        if old == new:
            continue
        frame = known.frame(place)
        if frame is None or not all(map(are_words, new.values())):
            return None
        if _looked_over(frame, old) != _looked_over(frame, new):
            return None
        found[place] = frame.saying(new)
    return found


def _looked_over(frame: Frame, texts: Mapping[str, str]) -> list[str]:
    return list(word_cautions(frame.alt, texts[frame.first], frame.file, decorative=frame.decorative))


def _exported(
    asked: Question, job: Apart, known: Known, frames: Mapping[str, Frame], progress: Progress
) -> Told | None:
    pages = _pages(asked.out, known)
    if pages is None:
        return None
    with Ledger(asked.out) as ledger:
        paths = [output.path for frame in frames.values() for _, output in frame.outputs]
        before = ledger.made_at(paths)
        if not all(path in before and untouched(asked.out / path, before[path]) for path in paths):
            return None
        after = _files(asked.out, ledger, frames, before, progress)
        known = _known_now(known, job, frames, before, after)
        captions = {frame.slug: frame.captions(job.captions[place]) for place, frame in frames.items()}
        new = _new_pages(known, pages, captions, after)
        if new is None or set(after) != set(paths):
            return None
        for place, (data, page) in new.items():
            if page is not known.pages[place]:
                write_if_changed(asked.out, place, data)
        ledger.check_place()
    return _told(asked, job, replace(known, pages={place: page for place, (_, page) in new.items()}), len(paths))


def _pages(out: Path, known: Known) -> dict[str, bytes] | None:
    """Return the pages as they stand; None where one is not the one that was written."""
    pages = {place: plain_place(out, place).read_bytes() for place in known.pages}
    same = all(hashlib.sha256(pages[place]).hexdigest() == page.sha256 for place, page in known.pages.items())
    return pages if same else None


def _files(
    out: Path, ledger: Ledger, frames: Mapping[str, Frame], before: Mapping[str, Made], progress: Progress
) -> Rows:
    """Write every file that states a caption anew; return the rows of those that were written, by path."""
    after: Rows = {}
    progress.expect(frames=len(frames), files=len(before), weight=len(frames))
    for frame in frames.values():
        done = work_on_frame(_task(out, frame, before))
        ledger.record(done.made)
        after |= {row.path: row for row in done.made}
        progress.frame_done(frame.file, len(done.made))
    return after


def _task(out: Path, frame: Frame, made: Mapping[str, Made]) -> FrameTask:
    tasks = (
        RenditionTask(one, tuple(reworded_task(frame.header, one, output, made[output.path]) for output in outputs))
        for one in frame.renditions
        if (outputs := (*one.outputs, *one.sheet_outputs))
    )
    return FrameTask(frame.header, frame.file, out, tuple(tasks))


def _known_now(
    known: Known, job: Apart, frames: Mapping[str, Frame], before: Mapping[str, Made], after: Mapping[str, Made]
) -> Known:
    finals = {output.path for frame in frames.values() for one in frame.renditions for output in one.outputs}
    more = sum(row.size_bytes - before[path].size_bytes for path, row in after.items() if path in finals)
    packed = known.frames | {place: packed_frame(frame) for place, frame in frames.items()}
    return replace(known, captions=job.captions, frames=packed, total=known.total + more)


def _new_pages(
    known: Known, pages: Mapping[str, bytes], captions: Mapping[str, Captions], made: Mapping[str, Made]
) -> dict[str, tuple[bytes, Page]] | None:
    """Return every page as it is now, and what is to be known of it then, in the order in which they are written."""
    texts = {
        caption_name(slug, language): text for slug, one in captions.items() for language, text in one.texts.items()
    }
    texts |= {path: weight(row.size_bytes) for path, row in made.items()}
    texts[ALL_FILES] = weight(known.total)
    new: dict[str, tuple[bytes, Page]] = {}
    for place, data in pages.items():
        old = known.pages[place]
        if place == MANIFEST:
            written, holes = reworded_manifest(data, captions, made), old.holes
            if written is None:
                return None
        elif captions and are_in(texts, old.holes):
            written, holes = filled_anew(data, old.holes, texts)
        else:
            written, holes = data, old.holes
        new[place] = (written, old if written is data else Page(hashlib.sha256(written).hexdigest(), holes))
    return new


def _told(asked: Question, job: Apart, known: Known, rewritten: int) -> Told:
    """Keep what is there now for the next time, and return what is to be said."""
    there = Counts(kept=known.files, cautions=known.cautions)
    lines = list(known.said)
    files = [path for path, _ in known.sources["files"]]
    sources = Sources(tuple(files), tuple(folder for folder, _ in known.sources["folders"]), whole_out=True)
    found = remember(asked, sources, _as_told(lines, known.counts_at, there))
    if found:
        keep_known(asked, job, replace(known, sources=found))
    counts = replace(there, rewritten=rewritten, kept=known.files - rewritten)
    return _as_told(lines, known.counts_at, counts)


def _as_told(lines: list[str], counts_at: int, counts: Counts) -> Told:
    said = [*lines[:counts_at], printable_line(counts.in_words()), *lines[counts_at + 1 :]]
    return Told(tuple((False, line) for line in said), 0)
