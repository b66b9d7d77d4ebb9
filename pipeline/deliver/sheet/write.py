"""Writing the contact sheet: hers, an outlet's in a folder of its own, or either as one file to mail."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pipeline.deliver.review.now import review_of
from pipeline.deliver.sheet.copies import Copies, Source
from pipeline.deliver.sheet.earlier_whole import earlier_whole
from pipeline.deliver.sheet.for_outlet import folder_of, outlet_plan
from pipeline.deliver.sheet.fulls import fulls
from pipeline.deliver.sheet.links import Links
from pipeline.deliver.sheet.page import sheet_html
from pipeline.deliver.sheet.wanted import MOST_SINGLE_BYTES, WantedSheet, too_large
from pipeline.deliver.sheet.words import weight_of
from pipeline.deliver.tasks import FileTask, file_tasks, made_as_planned, sheet_policy
from pipeline.deliver.work import with_metadata
from pipeline.deliver.write import inside, set_aside, write_if_changed
from pipeline.ledger.made import Made

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from pipeline.deliver.review.replies import Kept
    from pipeline.deliver.review.state import Review
    from pipeline.deliver.reworded.pages import Pages
    from pipeline.deliver.sheet.wanted import Paper
    from pipeline.faults import Fault
    from pipeline.ledger.book import Ledger
    from pipeline.plan.rendition import Output, Plan, PlannedFrame, Rendition


def with_made_previews(plan: Plan, made: Mapping[str, Made]) -> Plan:
    """Return the plan without the previews that are not in `made`: the sheet shows a gap, no broken or old picture."""

    def there(output: Output | None) -> Output | None:
        return output if output and output.path in made else None

    def shown(rendition: Rendition) -> Rendition:
        small, full = there(rendition.small), there(rendition.full)
        return replace(rendition, preview=there(rendition.preview), small=small, full=full)

    frames = (
        replace(frame, whole=shown(frame.whole), renditions=tuple(map(shown, frame.renditions)))
        for frame in plan.frames
    )
    return replace(plan, frames=tuple(frames))


@dataclass(frozen=True, slots=True)
class Sheets:
    """What every sheet of one run is written from.

    `plan` is the whole job, `contents` the digests of its frames' files by slug, `made` the files that are as the plan
    would make them now and may be shown. `pages` is what pages are filled by, where the plan has marks.
    """

    plan: Plan
    contents: Mapping[str, str]
    ledger: Ledger
    replies: Sequence[Kept]
    made: Mapping[str, Made]
    pages: Pages | None = None

    def write(self, wanted: WantedSheet) -> Fault | None:
        """Write one sheet and all it needs; return what keeps it from being written. Raises OSError."""
        review = self._review(wanted.outlet)
        place = wanted.place(self.plan)
        if wanted.outlet is None:
            shown = with_made_previews(self.plan, self.made)
            pictures = {path: Source(path) for path in _shown_first(shown, review)}
            return self._write_page(wanted, place, shown, review, pictures, fulls(shown, self.made))
        planned = outlet_plan(self.plan, wanted.outlet)
        mine = made_as_planned(planned, self.contents, self.ledger.made())
        copies = Copies(wanted.outlet, with_made_previews(planned, mine), review)
        full = {} if wanted.in_one_file else copies.fulls(self.made)
        fault = self._write_page(wanted, place, copies.plan(), copies.review(), copies.sources, full)
        if fault is None and not wanted.in_one_file:
            self._write_copies(wanted.outlet, copies.sources)
        return fault

    def _review(self, outlet: str | None) -> Review:
        shown = with_made_previews(self.plan, made_as_planned(self.plan, self.contents, self.ledger.made()))
        return review_of(shown, self.contents, self.ledger, self.replies, outlet=outlet)

    def _write_page(
        self,
        wanted: WantedSheet,
        place: str,
        shown: Plan,
        review: Review,
        pictures: Mapping[str, Source],
        full: Mapping[str, Output],
    ) -> Fault | None:
        inlined = None
        if wanted.paper:
            data = self._pdf(wanted.paper, place, shown, review, pictures)
            write_if_changed(self.ledger.folder, place, data)
            return None
        if wanted.single:
            inlined = {path: _inside_page(self._bytes_of(source)) for path, source in pictures.items()}
        made = self.made if wanted.outlet is None else {}
        weigh = self.pages.weigh if self.pages else weight_of
        page = sheet_html(shown, made, review, links=Links(place, inlined), full=full, weigh=weigh).encode()
        page = self.pages.filled(place, page) if self.pages else page
        if wanted.single and len(page) > MOST_SINGLE_BYTES:
            return too_large(wanted, f"{len(page) / 1e6:.1f} MB", f"{MOST_SINGLE_BYTES / 1e6:.0f} MB")
        write_if_changed(self.ledger.folder, place, page)
        return None

    def _pdf(self, paper: Paper, place: str, shown: Plan, review: Review, pictures: Mapping[str, Source]) -> bytes:
        from pipeline.deliver.sheet.pdf import picture_address, sheet_pdf  # noqa: PLC0415 (loads an optional extra)

        addresses = {path: picture_address(number) for number, path in enumerate(sorted(pictures))}
        made = self.made if review.outlet is None else {}
        page = sheet_html(shown, made, review, links=Links(place, addresses), full={})
        return sheet_pdf(page, {addresses[path]: self._bytes_of(source) for path, source in pictures.items()}, paper)

    def _bytes_of(self, source: Source) -> bytes:
        """Return a picture as a sheet may show it: what only a final states is not in it."""
        place = inside(self.ledger.folder, source.path)
        if source.whole_before:
            return earlier_whole(place, source.whole_before)
        data = place.read_bytes()
        one = source.full_of
        if one is None or sheet_policy(one.policy) == one.policy:
            return data
        frame = next(frame for frame in self.plan.frames if one.name in {other.name for other in frame.renditions})
        return with_metadata(data, frame.header, one, self._task(frame, one, source.path))

    def _task(self, frame: PlannedFrame, rendition: Rendition, path: str) -> FileTask:
        tasks = file_tasks(frame, rendition, self.contents, self.made, self.ledger.folder)
        [task] = [one for one in tasks.files if one.output.path == path]
        return replace(task, policy=sheet_policy(rendition.policy))

    def _write_copies(self, outlet: str, sources: Mapping[str, Source]) -> None:
        """Write an outlet's own copies, and take away the copies of ours that its page shows no longer."""
        ledger, folder = self.ledger, self.ledger.folder
        known = {path: row for path, row in ledger.made().items() if path.startswith(f"{folder_of(outlet)}/")}
        for path, source in sources.items():
            if path == source.path:
                continue
            data = self._bytes_of(source)
            set_aside(folder, path, data, known[path].sha256 if path in known else None)
            if write_if_changed(folder, path, data) or path not in known:
                ledger.record([_row(path, data, inside(folder, path).stat().st_mtime_ns)])
        gone = [path for path in known if path not in sources]
        for path in gone:
            set_aside(folder, path, b"", known[path].sha256)
            inside(folder, path).unlink(missing_ok=True)
        ledger.forget(gone)


def _shown_first(plan: Plan, review: Review) -> Iterator[str]:
    """Yield the path of every picture that a page shows before it is asked for another size."""
    for frame in plan.frames:
        yield from _paths((frame.whole.small or frame.whole.preview, *(one.preview for one in frame.renditions)))
    for standings in review.standings.values():
        yield from (one.before.path for one in standings if one.before)


def _paths(outputs: Iterable[Output | None]) -> Iterator[str]:
    return (output.path for output in outputs if output)


def _inside_page(data: bytes) -> str:
    """Return a picture as an address that holds it (RFC 2397)."""
    return f"data:image/jpeg;base64,{base64.b64encode(data).decode()}"


def _row(path: str, data: bytes, mtime_ns: int) -> Made:
    """Return what the ledger keeps of a copy: enough to know it again, and to take it away."""
    digest = hashlib.sha256(data).hexdigest()
    return Made(path, f"copy | {path}", "", "", digest, len(data), mtime_ns, None)
