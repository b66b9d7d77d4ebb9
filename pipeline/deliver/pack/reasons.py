"""What speaks against sending an outlet's pictures now. Pure: from what was read, and the day that it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.faults import Fault
from pipeline.plan.days import has_come, has_ended, in_words

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator
    from datetime import datetime

    from pipeline.deliver.pack.listing import Listing
    from pipeline.deliver.verify.findings import Finding, Report

# What is beside the pictures is not sent with them; where a picture is not in its place, that is said once.
_NOT_OF_THE_PICTURES = frozenset({"extra", "renamed", "missing"})


@dataclass(frozen=True, slots=True)
class Reasons:
    """Faults that may be passed over with `--anyway`, and those that may not: private data, what cannot be read."""

    open: tuple[Fault, ...]
    final: tuple[Fault, ...]


def reasons(listing: Listing, report: Report, absent: Collection[str], now: datetime) -> Reasons:
    """Return every reason. `absent` are paths of files that are not in their place; `now` is aware."""
    paths = {file.path for one in listing.chosen for file in one.files}
    found = [one for one in report.findings if one.kind not in _NOT_OF_THE_PICTURES and _matters(one, paths)]
    final = [_fault(one) for one in found if one.kind in {"private", "unreadable"}]
    open_ = [Fault(path, "it is missing", "export again") for path in sorted(absent)]
    open_ += [_fault(one) for one in found if one.kind not in {"private", "unreadable"}]
    return Reasons((*open_, *_of_renditions(listing, now)), tuple(final))


def _matters(finding: Finding, paths: Collection[str]) -> bool:
    """Return whether a finding is of a picture that was asked for, or of the sheet, which goes with them whole."""
    return finding.file in paths or finding.file.startswith("sheet/")


def _fault(finding: Finding) -> Fault:
    return Fault(finding.file, finding.found, finding.wanted, finding.where)


def _of_renditions(listing: Listing, now: datetime) -> Iterator[Fault]:
    for one in listing.chosen:
        if one.waits:
            wanted = "take in a reply that approves it with `plateline reply`, then export"
            yield Fault(one.name, "it must be approved first, and is not", wanted)
        if one.not_before and not has_come(one.not_before, now):
            found = f"it may not be published before {in_words(one.not_before)}, which has not come"
            wanted = "wait, or give that day in the job to the targets it is meant for, and no others"
            yield Fault(one.name, found, wanted)
        if one.licence_ends and has_ended(one.licence_ends, now):
            found = f"its licence ended {in_words(one.licence_ends)}"
            yield Fault(one.name, found, "renew it in the job, then export")


def recorded(fault: Fault) -> str:
    """Return what a pack that was made anyway says of a reason: what was found, without advice."""
    return ": ".join(filter(None, (fault.file, fault.where, fault.found)))
