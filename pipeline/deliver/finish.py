"""The last step of a shoot: what goes with its pictures is written, and what came of it told.

Nothing of it is needed before the frames are at work, so it is loaded while they are.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.deliver.manifest import manifest_json
from pipeline.deliver.measured import with_measured_cautions
from pipeline.deliver.pages import environment
from pipeline.deliver.prune import left_over
from pipeline.deliver.review.earlier import drop_old_prints
from pipeline.deliver.reworded.captions import captions_of
from pipeline.deliver.reworded.kept import Exported
from pipeline.deliver.reworded.pages import Pages
from pipeline.deliver.sheet.write import Sheets
from pipeline.deliver.shoot import Shoot, Summary
from pipeline.deliver.tasks import made_as_planned
from pipeline.deliver.web.kit import web_kit
from pipeline.deliver.write import write_if_changed
from pipeline.job.kept_names import MANIFEST

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.ledger.book import Ledger
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan


def load_ahead() -> None:
    """Load what pages are laid out with, too."""
    environment()


def finish(shoot: Shoot, ledger: Ledger) -> Summary:
    """Write what goes with the pictures, and return what came of the shoot. Raises OSError."""
    ledger.check_place()
    asked, plan, contents, done = shoot.asked, shoot.plan, shoot.contents, shoot.done
    surveyed, replies = shoot.judged.surveyed, shoot.judged.replies
    made = ledger.made()
    as_planned = made_as_planned(plan, contents, made)
    delivered = _delivered(plan, made, as_planned)
    plan = with_measured_cautions(plan, delivered)
    summary = Summary(
        plan=plan,
        made=delivered,
        rendered=sum(one.rendered for one in done),
        rewritten=sum(one.rewritten for one in done),
        kept=shoot.kept,
        renamed=shoot.renamed,
        faults=tuple(dict.fromkeys((*shoot.faults, *(fault for one in done for fault in one.faults)))),
        notes=tuple(f"{one.file}: {note}" for one in done for note in one.notes),
        only=asked.only,
        kept_names=_kept_names(shoot.judged.plan, plan),
        left_over=() if surveyed.unreadable else left_over(plan, made, asked.out),
        unapproved=tuple(path for path in made if path not in delivered and (asked.out / path).is_file()),
        sheet=asked.sheet.place(plan),
        sources=surveyed.sources(whole_out=True),
    )
    there = {path: row for path, row in as_planned.items() if path in delivered}
    pages, marked = None, plan
    if not asked.previews_only:
        pages = Pages(captions_of(surveyed.job))
        manifest = pages.as_it_is(MANIFEST, manifest_json(plan, delivered, contents))
        write_if_changed(asked.out, MANIFEST, manifest)
        marked = pages.marked(plan)
        for place, content in web_kit(marked, delivered, plan.disclosure).items():
            write_if_changed(asked.out, f"web/{place}", pages.filled(f"web/{place}", content))
        summary = replace(summary, exported=Exported(surveyed.job, plan, there.keys(), pages))
    unwritten = Sheets(marked, contents, ledger, replies, there, pages).write(asked.sheet)
    if unwritten:
        summary = replace(summary, faults=(*summary.faults, unwritten), sheet=None)
    drop_old_prints(plan, contents, ledger, replies)
    ledger.check_place()
    return summary


def _delivered(plan: Plan, made: Mapping[str, Made], as_planned: Mapping[str, Made]) -> dict[str, Made]:
    """Return what was made without the files of another picture than the one that was approved, or is still to be."""
    held_back = {
        output.path
        for rendition in plan.renditions
        for output in rendition.outputs
        if rendition.needs_approval and (rendition.waits or output.path not in as_planned)
    }
    return {path: row for path, row in made.items() if path not in held_back}


def _kept_names(asked_for: Plan, plan: Plan) -> int:
    """Return how many files keep a name that the job would give them otherwise now."""
    pairs = zip(asked_for.renditions, plan.renditions, strict=True)
    return sum(
        one.path != other.path for new, old in pairs for one, other in zip(new.outputs, old.outputs, strict=True)
    )
