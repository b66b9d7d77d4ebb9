"""A delivery of long ago, held against what there is now: the record itself, the zip, the files."""

from __future__ import annotations

import hashlib
import lzma
import struct
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Literal

from pipeline.deliver.pack import deliveries
from pipeline.deliver.verify.readers import picture_digest, read_file
from pipeline.deliver.write import inside
from pipeline.faults import Fault, RequestRefused
from pipeline.ledger.book import file_digest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from pipeline.deliver.pack.deliveries import Delivery, Record, Row, SentFile

# "words": the picture is the one that was sent; what its file says of it, or how it is packed, is not.
State = Literal["as sent", "words", "changed", "missing"]
_MOST_TIMES, _AT_LEAST = 2, 64 << 20  # of the bytes that were sent: what is larger is another file
# What reading a damaged zip raises: RuntimeError for what is encrypted or of a newer kind, ValueError for its names.
_NO_ZIP = (
    *(OSError, EOFError, RuntimeError, ValueError, OverflowError),
    *(struct.error, zipfile.BadZipFile, zlib.error, lzma.LZMAError),
)


@dataclass(frozen=True, slots=True)
class Checked:
    """What is still as it was sent.

    `troubles` are sentences about the record. `zip_file` is None where no zip is at hand ("missing"). `files` gives
    the path and state of each picture, in the folder that was looked at or in the zip (`inside_zip`).
    """

    delivery: Delivery
    digest: str
    troubles: tuple[str, ...]
    zip_file: Path | None
    zip_state: State
    files: tuple[tuple[str, State], ...]
    inside_zip: bool

    @property
    def proven(self) -> bool:
        """Return whether the record is whole, and the zip, or every picture, is at hand as it was sent."""
        states = {state for _, state in self.files}
        return not self.troubles and (self.zip_state == "as sent" or states == {"as sent"})


def check_delivery(place: Path, number: int, job: Path | None) -> Checked:
    """Return what a delivery comes to today. `place` is an output folder, or a zip that came back. Writes nothing.

    The record stands beside the job: where the folder or the zip lies, unless `job` says where the job is.
    Raises `RequestRefused` where there is no record, no such delivery in it, or no zip that can be read.
    """
    if not (place.is_dir() or place.is_file()):
        found = "this is a device or a pipe" if place.exists() else "there is no such folder or zip"
        raise RequestRefused(Fault(str(place), found, "name the output folder, or the zip that came back"))
    record_file = _record_file(place, job)
    record = deliveries.read_record(record_file)
    row = _row(record_file, record, number)
    delivery, inside_zip = row.delivery, not place.is_dir()
    zip_file = place if inside_zip else _zip_beside((record_file.parent, place.resolve().parent), delivery.zip.name)
    return Checked(
        delivery=delivery,
        digest=row.digest,
        troubles=record.troubles,
        zip_file=zip_file,
        zip_state=_zip_state(zip_file, delivery),
        files=tuple(_in_zip(place, delivery) if inside_zip else _in_folder(place, delivery)),
        inside_zip=inside_zip,
    )


def _record_file(place: Path, job: Path | None) -> Path:
    folder = place.resolve().parent
    for where in (job.resolve().parent,) if job else (folder, folder.parent, place):
        if (where / deliveries.FILE).exists():
            return where / deliveries.FILE
    wanted = "it stands beside the job of a shoot that was packed with --to: say where that is with --job JOB"
    raise RequestRefused(Fault(str(job or place), f"there is no {deliveries.FILE} beside it", wanted))


def _row(record_file: Path, record: Record, number: int) -> Row:
    rows = record.rows
    found = [row for row in rows if row.delivery.delivery == number]
    if len(found) == 1:
        return found[0]
    if found:
        raise RequestRefused(Fault(str(record_file), f"it has {len(found)} deliveries {number}", "rows were put in"))
    numbers = [row.delivery.delivery for row in rows]
    none = "it has no whole row" if record.troubles else "nothing was recorded in it"
    known = f"it has {min(numbers)} to {max(numbers)}" if numbers else none
    wrong = [Fault(str(record_file), trouble, "put the record back as it was") for trouble in record.troubles]
    raise RequestRefused(Fault(str(record_file), f"there is no delivery {number} in it", known), *wrong)


def _zip_beside(folders: tuple[Path, ...], name: str) -> Path | None:
    """Return the zip of that name beside the job or the output folder; a name with a folder in it is none of ours."""
    places = [folder / name for folder in folders] if PurePath(name).name == name else []
    return next((place for place in places if place.is_file()), None)


def _zip_state(zip_file: Path | None, delivery: Delivery) -> State:
    if zip_file is None:
        return "missing"
    return "as sent" if file_digest(zip_file) == delivery.zip.sha256 else "changed"


def _in_folder(folder: Path, delivery: Delivery) -> Iterator[tuple[str, State]]:
    for sent in delivery.files:
        try:
            place = inside(folder, sent.path)
            yield sent.path, _state(sent, read_file(place)) if place.is_file() else "missing"
        except (OSError, ValueError):
            yield sent.path, "missing"


def _in_zip(zip_file: Path, delivery: Delivery) -> Iterator[tuple[str, State]]:
    try:
        with zipfile.ZipFile(zip_file) as archive:
            members = {_below_top(one.filename): one for one in archive.infolist()}
            for sent in delivery.files:
                member = members.get(sent.path)
                yield sent.path, _state(sent, _read(archive, member, sent)) if member else "missing"
    except _NO_ZIP as error:
        why = f" ({str(error).lower()})" if isinstance(error, OSError | zipfile.BadZipFile) else ""
        found = f"it is no zip that can be read{why}"
        raise RequestRefused(Fault(str(zip_file), found, "name the zip, or the output folder")) from None


def _below_top(name: str) -> str:
    """Return a member's path below the one folder that all of a pack lies in."""
    return name.partition("/")[2]


def _read(archive: zipfile.ZipFile, member: zipfile.ZipInfo, sent: SentFile) -> bytes:
    """Return what a member holds, nothing where that is more than was ever sent or cannot be read."""
    if member.file_size > max(_MOST_TIMES * sent.bytes, _AT_LEAST):
        return b""
    try:
        with archive.open(member) as stream:
            return stream.read(member.file_size)
    except _NO_ZIP:
        return b""


def _state(sent: SentFile, data: bytes) -> State:
    if hashlib.sha256(data).hexdigest() == sent.sha256:
        return "as sent"
    try:
        same = sent.picture_sha256 is not None and picture_digest(data) == sent.picture_sha256
    except ValueError:
        same = False
    return "words" if same else "changed"
