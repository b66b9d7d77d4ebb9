"""One zip for one outlet: its pictures, its contact sheet, credit and terms, checksums, its part of the manifest.

The same output folder gives the same zip, whoever it is sent to; what depends on the day stands in the record alone.
"""

from __future__ import annotations

import os
import shlex
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.pack import deliveries
from pipeline.deliver.pack.archive import (
    Member,
    changed_meanwhile,
    first_free,
    member_of,
    put_in_place,
    stamp,
    unfinished_zip,
)
from pipeline.deliver.pack.contact_sheet import folder_of, read_contact_sheet
from pipeline.deliver.pack.credit import credit_text
from pipeline.deliver.pack.listing import read_listing
from pipeline.deliver.pack.reasons import reasons, recorded
from pipeline.deliver.pack.row import row_content
from pipeline.deliver.pack.shared import shared_manifest
from pipeline.deliver.pack.sums import sums_text
from pipeline.deliver.verify.delivered import MANIFEST
from pipeline.deliver.verify.verify import verify
from pipeline.faults import Fault, RequestRefused
from pipeline.job.asked import is_utf8
from pipeline.job.kept_names import CREDIT, SUMS
from pipeline.ledger.book import file_digest

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from pipeline.deliver.pack.contact_sheet import ContactSheet
    from pipeline.deliver.pack.deliveries import Row
    from pipeline.deliver.pack.listing import Listing

_LONGEST_SLUG = 80


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person asked of a pack. `now` is aware; `only` is a glob over frame/outlet/target.

    `to` is who it is sent to, None where nothing is to be recorded; `zip_file` and `job` are None where their usual
    places are meant.
    """

    out: Path
    outlet: str
    now: datetime
    only: str | None = None
    to: str | None = None
    zip_file: Path | None = None
    job: Path | None = None
    anyway: bool = False
    replace: bool = False


@dataclass(frozen=True, slots=True)
class Packed:
    """What came of it. `written` is False where the same zip was there already; `left_out` waits for approval.

    `troubles` are sentences about the record as it was found.
    """

    path: Path
    written: bool
    sent: deliveries.SentZip
    pictures: int
    files: int
    round_number: int | None
    overridden: tuple[str, ...]
    left_out: tuple[str, ...]
    recorded: Row | None
    troubles: tuple[str, ...]


def pack(asked: Asked) -> Packed:
    """Write the zip, whole or not at all, and add its row to the record where it is sent to somebody.

    Raises `RequestRefused` with every reason not to, and OSError where it cannot be written.
    """
    listing = read_listing(asked.out, asked.outlet, asked.only)
    sheet, sheet_trouble = _sheet(asked, listing)
    judged = _judge(asked, listing, sheet_trouble)
    path = _place(asked, listing, sheet)
    record, troubles = _record(asked, listing) if asked.to is not None else (None, ())
    pictures = _pictures(asked.out, listing, judged)
    paths = {picture.name for picture in pictures}
    beside = [
        member_of(CREDIT, credit_text(listing, paths, sheet, judged.overridden)),
        member_of(MANIFEST, shared_manifest(listing, paths, sheet, judged.overridden)),
        *(_on_disk(asked.out, page) for page in (sheet.paths if sheet else ())),
    ]
    checked = sums_text({one.name: one.sha256 for one in sorted((*beside, *pictures), key=lambda one: one.name)})
    members = (member_of(SUMS, checked), *beside, *pictures)
    with unfinished_zip(path, _name(listing, sheet), members, stamp(listing.date)) as unfinished:
        if asked.zip_file is None and not asked.replace:
            path = first_free(unfinished, path)
        sent = deliveries.SentZip(name=path.name, sha256=file_digest(unfinished), bytes=unfinished.stat().st_size)
        written = put_in_place(unfinished, path, replace=asked.replace)
    row = row_content(asked.now, asked.to or "", asked.only, listing, sheet, sent, pictures, judged.overridden)
    return Packed(
        path=path,
        written=written,
        sent=sent,
        pictures=len(listing.chosen),
        files=len(pictures),
        round_number=sheet.round_number if sheet else None,
        overridden=judged.overridden,
        left_out=listing.waiting,
        recorded=deliveries.append(record, row) if record else None,
        troubles=troubles,
    )


def _sheet(asked: Asked, listing: Listing) -> tuple[ContactSheet | None, list[Fault]]:
    """Return the contact sheet that goes with the pictures, or why none does."""
    try:
        return read_contact_sheet(asked.out, listing), []
    except ValueError as error:
        job = asked.job or _beside(asked.out) / listing.job
        wanted = f"run `plateline sheet {shlex.quote(str(job))} --for {listing.outlet}`, then pack"
        return None, [Fault(f"{folder_of(listing.outlet)}/index.html", str(error), wanted)]


@dataclass(frozen=True, slots=True)
class _Judged:
    """What is passed over, in sentences; the paths of the pictures that are there, and of those that have changed."""

    overridden: tuple[str, ...]
    there: frozenset[str]
    changed: frozenset[str]


def _judge(asked: Asked, listing: Listing, sheet_trouble: list[Fault]) -> _Judged:
    """Return what can be sent. Raises `RequestRefused` with every reason why it may not be."""
    names = [file.path for one in listing.chosen for file in one.files]
    report = verify(asked.out, outlet=listing.outlet)
    there = frozenset(names) & set(report.files)
    changed = frozenset(finding.file for finding in report.findings)
    unreadable = {finding.file for finding in report.findings if finding.kind == "unreadable"}
    found = reasons(listing, report, [name for name in names if name not in there | unreadable], asked.now)
    refused = [*found.final, *(() if asked.anyway else (*found.open, *sheet_trouble))]
    if refused:
        raise RequestRefused(*refused)
    if not there:
        raise RequestRefused(Fault(str(asked.out), "none of the files that were asked for is there", "export again"))
    return _Judged(tuple(recorded(fault) for fault in (*found.open, *sheet_trouble)), there, changed)


def _name(listing: Listing, sheet: ContactSheet | None) -> str:
    """Return what the zip and the folder in it are called."""
    slug = listing.slug[:_LONGEST_SLUG].rstrip("-")
    return f"{slug}-{listing.outlet}" + (f"-round{sheet.round_number}" if sheet else "")


def _beside(out: Path) -> Path:
    """Return the folder that the output folder lies in, as she names it."""
    return out.parent if out.name not in {"", ".."} else out.resolve().parent


def _place(asked: Asked, listing: Listing, sheet: ContactSheet | None) -> Path:
    """Return where the zip goes: beside the output folder. Raises `RequestRefused` where it cannot go there."""
    out = asked.out.resolve()
    path = asked.zip_file or _beside(asked.out) / f"{_name(listing, sheet)}.zip"
    if path.resolve().is_relative_to(out):
        found, wanted = "it would lie in the output folder, where it was not delivered", "name another with --zip FILE"
    elif not is_utf8(path):
        found, wanted = "its name is not UTF-8", "name another with --zip FILE"
    elif path.is_dir():
        found, wanted = "this is a folder", "name a file with --zip FILE"
    elif not path.parent.is_dir() or not os.access(path.parent, os.W_OK):
        found, wanted = "nothing can be written there", "name a file in a folder of yours with --zip FILE"
    else:
        return path
    raise RequestRefused(Fault(str(path), found, wanted))


def _record(asked: Asked, listing: Listing) -> tuple[Path, tuple[str, ...]]:
    """Return the record beside the job, and what is wrong with it.

    Raises `RequestRefused` where the job is not found, or nothing can be added.
    """
    places = [asked.job] if asked.job else [folder / listing.job for folder in (asked.out.resolve().parent, asked.out)]
    job = next((place for place in places if place.is_file()), None)
    if job is None:
        found = f"there is no {listing.job} beside it" if asked.job is None else "there is no such job file"
        wanted = f"the record of deliveries stands beside the job: say where that is with --job {listing.job}"
        raise RequestRefused(Fault(str(asked.job or asked.out), found, wanted))
    record = job.parent / deliveries.FILE
    return record, deliveries.record_to_add_to(record).troubles


def _pictures(out: Path, listing: Listing, judged: _Judged) -> list[Member]:
    """Return the pictures that are there, in the order of the manifest. `RequestRefused` for one that changed."""
    listed = {file.path: file.sha256 for one in listing.chosen for file in one.files}
    pictures = [_on_disk(out, name) for name in listed if name in judged.there]
    for picture in pictures:
        if picture.sha256 != listed[picture.name] and picture.name not in judged.changed:
            raise RequestRefused(changed_meanwhile(picture.name))
    return pictures


def _on_disk(out: Path, name: str) -> Member:
    path = out / name
    return Member(name, path, path.stat().st_size, file_digest(path))
