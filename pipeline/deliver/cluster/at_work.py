"""What runs in a worker of the cluster. Loaded there by name, so that a worker without plateline says so."""

from __future__ import annotations

import hashlib
import threading
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.deliver.cluster.away import Away, work_away
from pipeline.deliver.cluster.versions import differences, versions
from pipeline.deliver.done import FrameDone
from pipeline.deliver.write import unfinished
from pipeline.faults import Fault

if TYPE_CHECKING:
    from pipeline.deliver.tasks import FrameTask

_ONE_AT_A_TIME = threading.Lock()  # a worker that joined later may have been started with several threads


def about() -> dict[str, str]:
    """Return the versions that this worker has."""
    return versions()


def seen(job: str, job_sha256: str | None, probe: str, token: str) -> str | None:
    """Return what a worker cannot do with the folders of an export, in words; None where it can do all.

    It must read the very job file (`job`, by its digest, None where it lies in storage), read the file `probe` in the
    output folder, which holds `token`, and write beside it.
    """
    try:
        if job_sha256 and hashlib.sha256(Path(job).read_bytes()).hexdigest() != job_sha256:
            return f"it sees another file as {job}"
    except OSError as error:
        return f"it cannot read {job} ({_reason(error)})"
    folder = Path(probe).parent
    try:
        if Path(probe).read_text(encoding="utf-8") != token:
            return f"it sees another folder as {folder}"
    except OSError as error:
        return f"it does not see the folder {folder} ({_reason(error)})"
    own = folder / unfinished("probe")
    try:
        own.write_bytes(b"")
        own.unlink()
    except OSError as error:
        return f"it cannot write in {folder} ({_reason(error)})"
    return None


def work_as(wanted: dict[str, str], task: FrameTask, away: Away) -> FrameDone:
    """Make every file of one frame, one frame at a time, where this worker has the versions wanted."""
    if wanted != versions():
        found = f"a worker that joined later has {differences(versions(), wanted)}"
        fault = Fault(task.file, found, "take that worker away, and run export again")
        return FrameDone(task.file, (), (fault,), (), 0, 0)
    with _ONE_AT_A_TIME:
        return work_away(task, away)


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
