"""What was said before is said again where nothing that it came from has changed: no job is checked, no frame opened.

An answer is kept with the stamps of everything that it depends on: the job's bytes, what the job draws on, frames and
their sidecars, replies, the ledger or the whole output folder, our own code, the packages, and the day where days
matter. Whatever differs, is missing, or cannot be told for sure leads the full way, which decides alone; so an answer
is only kept where nothing it came from changed while it was worked out.
"""

from __future__ import annotations

import contextlib
import functools
import json
import os
import sys
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import pipeline
from pipeline.deliver.place import alone_in
from pipeline.job.kept_names import LEDGER, LOCK
from pipeline.ledger.sealed import digest, keep, kept
from pipeline.ledger.stamps import changes, clock_ns, folder_stamps, settled, stamp, tree_stamp

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

Holds = Literal["always", "today", "now"]
FORMAT = 2
MOST_JOB_BYTES = 16 << 20
LONGEST_TICK_S = 0.05


@dataclass(frozen=True, slots=True)
class Sources:
    """What an answer came from: files, and folders where what lies in them counts, new names too.

    `whole_out` says whether every file of the output folder counts, or the ledger in it alone.
    """

    files: tuple[Path, ...]
    folders: tuple[Path, ...]
    whole_out: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """What a verb said: pieces of text, each with whether it went to standard error; and its exit code.

    `holds` says for how long, by the calendar of the place: as long as nothing changes, for this day, or for now.
    """

    said: tuple[tuple[bool, str], ...]
    code: int
    holds: Holds = "always"


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: verb and options in words, the job file and the output folder.

    `data` are the job's bytes. `day` is today and how far its clock is from UTC, `since_ns` when it was asked, by the
    clock that stamps files.
    """

    words: tuple[str, ...]
    job: Path
    out: Path
    data: bytes
    day: str
    secret: bytes
    since_ns: int

    @property
    def name(self) -> bytes:
        """Return the name under which its answer is kept."""
        return digest(*self.words, str(self.job), os.path.abspath(self.job), str(self.out))  # noqa: PTH100 (links stay)


def question(words: Sequence[str], job: Path, out: Path, now: datetime) -> Question | None:
    """Return a question as it can be answered from memory; None where the job cannot be read. `now` is aware."""
    since_ns = clock_ns()
    try:
        if job.stat().st_size > MOST_JOB_BYTES:
            return None
        data = job.read_bytes()
    except (OSError, ValueError):
        return None
    secret = digest("job", os.path.abspath(job), data)  # noqa: PTH100 (links stay)
    return Question(tuple(words), job, out, data, f"{now:%Y-%m-%d %z}", secret, since_ns)


def recall(asked: Question) -> Told | None:
    """Return the answer of an earlier run, where it must be the answer of today. Writes nothing.

    Raises `RequestRefused` where the output folder counts and another run is at work in it.
    """
    known = kept_record(asked.name, asked.secret)
    if known is None or known["day"] not in (None, asked.day):
        return None
    with contextlib.ExitStack() as held:
        if known["sources"]["out"] is not None:
            if not (asked.out / LOCK).is_file():
                return None
            held.enter_context(alone_in(asked.out))
        if still(known["sources"], asked.out):
            said = tuple((bool(to_error), str(text)) for to_error, text in known["said"])
            return Told(said, known["exit"], "today" if known["day"] else "always")
    return None


def remember(asked: Question, sources: Sources, told: Told) -> dict[str, Any] | None:
    """Keep an answer, where nothing that it came from has changed since it was asked.

    Return what tells as much of its sources (`still`); None where nothing is kept.
    """
    if told.holds == "now":
        return None
    found = _stamped(asked, sources)
    if found is None:
        return None
    day = asked.day if told.holds == "today" else None
    keep_record(asked.name, asked.secret, {"day": day, "sources": found, "said": told.said, "exit": told.code})
    return found


def keep_record(name: bytes, secret: bytes, record: Mapping[str, object]) -> None:
    """Keep a record for this version of ours alone."""
    keep(name, secret, json.dumps({**record, "format": FORMAT, "code": _ourselves()}).encode())


def kept_record(name: bytes, secret: bytes) -> dict[str, Any] | None:
    """Return a record that this very version kept; None where there is none."""
    data = kept(name, secret)
    known: dict[str, Any] | None = json.loads(data) if data else None
    return known if known and known["format"] == FORMAT and known["code"] == _ourselves() else None


def _stamped(asked: Question, sources: Sources) -> dict[str, Any] | None:
    """Return the stamps of all that an answer came from; None where it may have changed since it was asked."""
    files = {os.fspath(path): stamp(path) for path in (asked.job, *sources.files, *_ledgers(asked, sources))}
    folders = {os.fspath(path): folder_stamps(path) for path in sources.folders}
    stamps = [*files.values(), *(one for listed in folders.values() for one in listed.values())]
    if not settled(changes(stamps), asked.since_ns):
        return None
    out = _settled_tree(asked.out) if sources.whole_out else None
    if sources.whole_out and out is None:
        return None
    return {"files": list(files.items()), "folders": list(folders.items()), "out": out}


def known_text(what: str, of: str, work: Callable[[], str]) -> str:
    """Return a short text that follows from `of` and our code alone, worked out where no earlier run has kept it."""
    name, secret = digest(what, _ourselves(), of), digest("text", what, of)
    data = kept(name, secret)
    if data is not None:
        return data.decode()
    text = work()
    keep(name, secret, text.encode())
    return text


def still(sources: Mapping[str, Any], out: Path, *, but: Iterable[Path] = ()) -> bool:
    """Return whether all sources are as they were, `but` some files, which do not count."""
    left_out = set(map(os.fspath, but))
    return (
        all(stamp(path) == tuple(was) for path, was in sources["files"] if path not in left_out)
        and all(_plain(folder_stamps(path)) == was for path, was in sources["folders"])
        and (sources["out"] is None or sources["out"] == (tree_stamp(out) or ("",))[0])
    )


def _plain(stamps: dict[str, tuple[int, ...]]) -> dict[str, list[int]]:
    return {name: list(one) for name, one in stamps.items()}


def _ledgers(asked: Question, sources: Sources) -> Iterable[Path]:
    """Return the files of the ledger that count by themselves."""
    return () if sources.whole_out else (asked.out / f"{LEDGER}{ending}" for ending in ("", "-wal", "-journal"))


def _settled_tree(out: Path) -> str | None:
    """Return the stamp of the output folder as soon as every later change would show; None where that takes long."""
    until, written_ns = time.monotonic() + LONGEST_TICK_S, clock_ns()
    while clock_ns() == written_ns and time.monotonic() <= until:  # what was written last was written in this tick
        time.sleep(0.001)
    while True:
        now_ns, found = clock_ns(), tree_stamp(out)
        if found is None or settled([found[1]], now_ns):
            return found and found[0]
        if time.monotonic() > until:
            return None
        time.sleep(0.002)


@functools.cache
def _ourselves() -> str:
    """Return a digest over what answers: our code and data by stamps, Python, and the folders of its packages."""
    ours = [(place, folder_stamps(place)) for place in _own_folders()]
    packages = [(place, stamp(place)) for place in sys.path if place.endswith(("site-packages", "dist-packages"))]
    return digest("code", sys.version, sys.executable, repr(ours), repr(packages)).hex()


def _own_folders() -> Iterator[str]:
    """Yield the folders of our code, and that of the outlet profiles we ship."""
    for top in pipeline.__path__:
        for place, folders, _ in os.walk(top):
            folders[:] = sorted(name for name in folders if name != "__pycache__")
            yield place
    from importlib.util import find_spec  # noqa: PLC0415 (not for what has no answer)

    spec = find_spec("pipeline.profiles")
    yield from (spec.submodule_search_locations or ()) if spec else ()
