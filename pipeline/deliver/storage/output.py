"""An output folder in storage: what was made there is brought here, worked on, and sent back frame by frame.

The ledger travels with it: it is read first and sent last. So a run that is killed leaves whole files there and the
ledger of before; the next run here goes on from the copies, one elsewhere makes again what that ledger does not know.
"""

from __future__ import annotations

import contextlib
import json
import secrets
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from pipeline.deliver.storage.copies import Copies, copies
from pipeline.deliver.storage.store import StorageTrouble
from pipeline.deliver.write import OUR_UNFINISHED, UNFINISHED, write_whole
from pipeline.faults import Fault, RequestRefused
from pipeline.job.kept_names import KEPT_FILES, KEPT_FOLDERS, LEDGER, LOCK, MANIFEST
from pipeline.ledger.book import read_made

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pipeline.deliver.done import FrameDone
    from pipeline.deliver.storage.store import Version
    from pipeline.deliver.tasks import FrameTask
    from pipeline.deliver.workers import Hands

OWNER = "owner"  # a file of the private folder: the word by which we know our own lock again
NEVER_SENT = frozenset(KEPT_FILES) - {MANIFEST, LEDGER}


@contextlib.contextmanager
def output_in_storage(url: str, outlets: Iterable[str]) -> Iterator[Copies]:
    """Hold an output folder in storage: bring what was made there, and send all that is new when the run is over.

    `outlets` are the folders in it that a run may write pictures to. Raises `RequestRefused` where another export is
    at work there.
    """
    with copies(url, alone=True) as here, _alone(here):
        there = here.store.versions()
        _sweep(here, there)
        _bring(here, there, set(outlets))
        yield here
        for name in sorted(here.here(), key=lambda name: (name == LEDGER, name)):
            if not _stays(name):
                here.send(name)
        _take_away(here)


def ledger_in_storage(url: str) -> Copies:
    """Bring the ledger of an output folder in storage alone, for verbs that write nothing."""
    with copies(url) as here:
        version = here.store.version(LEDGER)
        if version:
            _bring_ledger(here, {LEDGER: version})
        return here


def sending(hands: Hands, here: Copies) -> Hands:
    """Return hands that send the files of each frame as it is done, before it counts as done."""

    def sent(tasks: list[FrameTask]) -> Iterator[tuple[FrameTask, FrameDone]]:
        for task, done in hands(tasks):
            yield task, _sent(here, done)

    return sent


def receiving(hands: Hands, here: Copies) -> Hands:
    """Return hands that bring the files of each frame that others have sent, before it counts as done."""

    def brought(tasks: list[FrameTask]) -> Iterator[tuple[FrameTask, FrameDone]]:
        for task, done in hands(tasks):
            if not task.renders:  # it was done here
                yield task, _sent(here, done)
                continue
            for made in done.made:
                if version := here.store.version(made.path):
                    here.bring({made.path: version}, mtime_ns=made.mtime_ns)
            yield task, done

    return brought


def _sent(here: Copies, done: FrameDone) -> FrameDone:
    faults = []
    for made in done.made:
        try:
            here.send(made.path)
        except StorageTrouble as error:
            wanted = "run export again: it is made, and will be sent"
            faults.append(Fault(made.path, f"it could not be sent ({error.strerror})", wanted))
    here.keep_record()
    return replace(done, faults=(*done.faults, *faults))


def _stays(name: str) -> bool:
    return name in NEVER_SENT or OUR_UNFINISHED.fullmatch(PurePosixPath(name).name) is not None


def _bring(here: Copies, there: dict[str, Version], outlets: set[str]) -> None:
    """Make the copies what lies in storage, but for what a run here made that the ledger there may not know yet."""
    going_on = _bring_ledger(here, there)
    made = set(read_made(here.files)) if (here.files / LEDGER).exists() else set()
    ours = {
        name: version
        for name, version in there.items()
        if (name == MANIFEST or name in made or name.partition("/")[0] in {*KEPT_FOLDERS, *outlets})
        and not _stays(name)
    }
    gone = {name for name in here.known if name not in there}
    unsent = (
        set() if going_on else {name for name in here.here() if not here.whole(name) and not name.startswith(LEDGER)}
    )
    here.drop(gone | unsent)
    here.bring({name: version for name, version in ours.items() if not (going_on and _newer(here, name, version))})
    here.known = {name: copy for name, copy in here.known.items() if (here.files / name).exists()}


def _newer(here: Copies, name: str, version: Version) -> bool:
    """Return whether a copy was written to since it was the same as this version in storage."""
    known = here.known.get(name)
    return known is not None and known.is_of(version) and not here.whole(name) and (here.files / name).exists()


def _bring_ledger(here: Copies, there: dict[str, Version]) -> bool:
    """Bring the ledger unless ours goes on from the very one that lies in storage; return whether it does."""
    known, version = here.known.get(LEDGER), there.get(LEDGER)
    is_here = (here.files / LEDGER).exists()
    if is_here and ((version is None and known is None) or (known and version and known.is_of(version))):
        return True
    here.drop([LEDGER, *(f"{LEDGER}-{more}" for more in ("wal", "shm", "journal"))])
    if version:
        here.bring({LEDGER: version})
    return False


def _take_away(here: Copies) -> None:
    """Take away in storage what the run took away or moved here."""
    for name in [name for name in here.known if not (here.files / name).exists()]:
        here.store.remove(name)
        here.drop([name])
    here.keep_record()


def _sweep(here: Copies, there: dict[str, Version]) -> None:
    """Remove what a run that was killed left half sent, under names of our own."""
    for name in there:
        last = PurePosixPath(name).name
        if last.startswith(UNFINISHED) and OUR_UNFINISHED.fullmatch(last):
            here.store.remove(name)


@contextlib.contextmanager
def _alone(here: Copies) -> Iterator[None]:
    """Hold the folder in storage for one export; one that was killed here lets go when it is run again here."""
    owner = _owner(here)
    said = json.dumps({"owner": owner, "since": datetime.now(UTC).isoformat(timespec="seconds")}).encode()
    if not here.store.create(LOCK, said):
        other = _said(here.store.read(LOCK))
        if other.get("owner", owner) != owner:  # one without is that of an export to a folder, sent along
            since = f", since {other['since']}" if "since" in other else ""
            found = f"another export is at work in this folder{since}"
            wanted = f"wait for it; where it was killed, take away {here.store.at(LOCK)}"
            raise RequestRefused(Fault(here.store.shown, found, wanted))
    try:
        yield
    finally:
        here.store.remove(LOCK)


def _owner(here: Copies) -> str:
    place = here.home / OWNER
    try:
        return place.read_text(encoding="ascii")
    except (OSError, ValueError):
        word = secrets.token_hex(16)
        write_whole(place, word.encode(), mode=0o600)
        return word


def _said(data: bytes | None) -> dict[str, str]:
    try:
        said = json.loads(data or b"{}")
    except ValueError:
        return {}
    return {key: str(value)[:40] for key, value in said.items()} if isinstance(said, dict) else {}
