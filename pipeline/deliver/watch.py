"""An export that goes on: what she changes is exported again, until the keyboard interrupts.

The system's notices (`watchfiles`) only wake it; whether anything changed is told by stamps, which are taken before
each export. So a change while one is at work is seen after it, and what an export writes itself is none.
"""

from __future__ import annotations

import os
import time
from typing import TYPE_CHECKING

from pipeline.deliver.drawn_on import DrawnOn, drawn_on
from pipeline.faults import counted
from pipeline.ledger.stamps import stamp

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterable, Mapping, Sequence
    from pathlib import Path

    from pipeline.ledger.stamps import Stamp

    Stamps = Mapping[Path, Mapping[str, Stamp]]

SETTLE_S = 0.3  # so long nothing may change: an editor saves in several steps, a card is copied for a while
LOOK_AGAIN_MS = 2000  # where the system gives no notice (a folder on a network), stamps are looked at so often
MOST_NAMED = 3


def watch(jobs: Sequence[Path], export: Callable[[Sequence[Path]], None], say: Callable[[str], None]) -> None:
    """Call `export` with all jobs, then with those that something changed for, for ever.

    `say` is told in a line what changed, and when all is done. Raises KeyboardInterrupt.
    """
    watched, seen = _Watched(jobs), None
    while True:
        now = watched.stamps() if seen is None else watched.settled()
        if now != seen:
            changed = [job for job in jobs if seen is None or now[job] != seen[job]]
            if seen is not None:
                say(f"changed: {_some(_differing(changed, seen, now))}")
            seen = now
            export(changed)
            say(f"watching {counted(watched.files, 'file')} of {counted(len(jobs), 'shoot')}; Ctrl-C ends")
        watched.wait()


def _differing(jobs: Iterable[Path], before: Stamps, now: Stamps) -> list[str]:
    """Return the paths that were changed, came or went, each once."""
    names = (
        name for job in jobs for name in {**before[job], **now[job]} if before[job].get(name) != now[job].get(name)
    )
    return list(dict.fromkeys(names))


def _some(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f", and {counted(more, 'other file')}" if more > 0 else "")


class _Watched:
    """Jobs and what each draws on: read again where the job file changed."""

    def __init__(self, jobs: Sequence[Path]) -> None:
        self._drawn = {job: DrawnOn((job,), ()) for job in jobs}
        self._read: dict[Path, Stamp] = {}
        self._folders: set[str] = set()
        self._notices: Generator[object, None, None] | None = None

    @property
    def files(self) -> int:
        """Return how many files that count are there."""
        return len({name for drawn in self._drawn.values() for name in drawn.stamps() if os.path.exists(name)})  # noqa: PTH110 (text)

    def stamps(self) -> Stamps:
        """Return the stamps of everything that counts, by job."""
        for job, drawn in self._drawn.items():
            if self._read.get(job) != (now := stamp(job)):
                self._read[job] = now
                self._drawn[job] = drawn_on(job) or drawn  # what cannot be read still draws on what it did
        return {job: drawn.stamps() for job, drawn in self._drawn.items()}

    def settled(self) -> Stamps:
        """Return the stamps as soon as nothing changes any more."""
        before = self.stamps()
        while True:
            time.sleep(SETTLE_S)
            now = self.stamps()
            if now == before:
                return now
            before = now

    def wait(self) -> None:
        """Return when the system gives notice of a change, or after a while."""
        from watchfiles import watch as notices  # noqa: PLC0415 (nothing else needs it)

        folders = {folder for drawn in self._drawn.values() for folder in drawn.folders()}
        try:
            if self._notices is None or folders != self._folders:
                self._folders = folders
                self._notices = notices(
                    *sorted(folders),
                    watch_filter=None,
                    rust_timeout=LOOK_AGAIN_MS,
                    yield_on_timeout=True,
                    recursive=False,
                )
            next(self._notices)
        except (OSError, RuntimeError, StopIteration):  # a folder that goes away, or more than the system can watch
            self._notices = None
            time.sleep(LOOK_AGAIN_MS / 1000)
