"""What a pack came to, and what a delivery is checked to be, in lines for her and as JSON for programs."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pipeline.deliver.pack.listing import some
from pipeline.faults import counted, printable_line
from pipeline.plan.days import in_words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.deliver.pack.check import Checked
    from pipeline.deliver.pack.deliveries import SentLicence
    from pipeline.deliver.pack.pack import Packed

FORMAT = 1


def packed_lines(packed: Packed) -> Iterator[str]:
    """Give what was passed over and left out, then what the zip holds, then what was recorded."""
    yield from map(printable_line, _packed_lines(packed))


def _packed_lines(packed: Packed) -> Iterator[str]:
    for sentence in packed.troubles:
        yield f"note: the record: {sentence}"
    for sentence in packed.overridden:
        yield f"packed although: {sentence}"
    if packed.left_out:
        yield f"note: waits for approval, so not in it: {some(packed.left_out)}"
    sheet = f", the contact sheet of round {packed.round_number}" if packed.round_number else ", no contact sheet"
    there = "" if packed.written else " (it was there already, with the same content)"
    files = f"{counted(packed.pictures, 'picture')} in {counted(packed.files, 'file')}"
    yield f"{packed.path}: {files}{sheet}, {packed.sent.bytes:,} bytes{there}"
    yield f"its SHA-256: {packed.sent.sha256}"
    if packed.recorded:
        row, number = packed.recorded, packed.recorded.delivery.delivery
        yield f"recorded as delivery {number}, to {row.delivery.to}; the digest of that row: {row.digest}"


_STATES = {
    "as sent": "as sent",
    "words": "the same picture, its words changed since",
    "changed": "changed since",
    "missing": "missing",
}


def checked_lines(checked: Checked, *, quiet: bool) -> Iterator[str]:
    """Give what is wrong with the record; then (unless `quiet`) the delivery, and what is still as it was sent."""
    yield from map(printable_line, _checked_lines(checked, quiet=quiet))


def _checked_lines(checked: Checked, *, quiet: bool) -> Iterator[str]:
    yield from (f"the record: {sentence}" for sentence in checked.troubles)
    sent = checked.delivery
    if quiet:
        if not checked.proven:
            yield f"delivery {sent.delivery}: {_summary(checked)}"
        return
    if not checked.troubles:
        yield "the record: every row is as it was written, and follows on the one before it"
    round_ = f", round {sent.round.number}" if sent.round else ""
    yield f"delivery {sent.delivery}: {day_of(sent.date)}, to {sent.to}: {sent.shoot}, for {sent.outlet}{round_}"
    yield f"  the digest of its row: {checked.digest}"
    for licence in sent.licences:
        yield f"  {some(licence.renditions)}: {'; '.join(_terms(licence)) or 'no terms were stated'}"
    for said in sent.verdicts:
        yield f"  approved: {said.rendition}, by {said.reviewer}, {said.date}"
    for sentence in sent.overridden:
        yield f"  packed although: {sentence}"
    place = checked.zip_file or sent.zip.name
    yield f"{place}: {_STATES[checked.zip_state]}"
    yield from (f"  {path}: {_STATES[state]}" for path, state in checked.files)
    yield _summary(checked)


def _terms(licence: SentLicence) -> Iterator[str]:
    yield from (text for text in (licence.url, licence.terms) if text)
    if licence.not_before:
        yield f"not before {in_words(licence.not_before)}"
    if licence.ends:
        yield f"licence ends {in_words(licence.ends)}"


def _summary(checked: Checked) -> str:
    total = len(checked.files)
    same = sum(state == "as sent" for _, state in checked.files)
    where = "in the zip" if checked.inside_zip else "in the folder"
    return f"the zip is {_STATES[checked.zip_state]}; {same} of {counted(total, 'file')} {where} as sent"


def day_of(moment: str) -> str:
    """Return the day of a moment in words; what is no moment as it stands."""
    try:
        return in_words(moment[:10])
    except ValueError:
        return moment


def checked_json(checked: Checked) -> str:
    """Return the same for programs."""
    document: dict[str, Any] = {
        "verify_delivery": FORMAT,
        "proven": checked.proven,
        "record": {"whole": not checked.troubles, "troubles": list(checked.troubles)},
        "digest": checked.digest,
        "delivery": checked.delivery.model_dump(mode="json"),
        "zip": {"file": str(checked.zip_file) if checked.zip_file else None, "state": checked.zip_state},
        "files": [{"path": path, "state": state} for path, state in checked.files],
        "files_in_zip": checked.inside_zip,
    }
    return json.dumps(document, indent=1)
