"""A private folder that holds copies of files in storage, and of which version each copy is."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import stat
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING

from pipeline.deliver.storage.store import Store, Version, open_store
from pipeline.deliver.write import write_whole
from pipeline.faults import Fault, RequestRefused
from pipeline.job.url import copies_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

RECORD, LOCK, FILES = "record.json", "lock", "files"


@dataclass(frozen=True, slots=True)
class Copy:
    """A copy as it was when it was the same as a version in storage."""

    stamp: str
    size: int
    mtime_ns: int

    def is_of(self, version: Version) -> bool:
        """Return whether storage still holds that version."""
        return (self.stamp, self.size) == (version.stamp, version.size)


@dataclass(slots=True)
class Copies:
    """Copies of what lies in one folder of a storage; `files` is where they are. Use `copies`."""

    store: Store
    home: Path
    known: dict[str, Copy] = field(default_factory=dict)

    @property
    def files(self) -> Path:
        """Return the folder that looks like the one in storage."""
        return self.home / FILES

    def whole(self, name: str) -> bool:
        """Return whether a copy is there as it was brought or sent."""
        known = self.known.get(name)
        return known is not None and _facts(self.files / name) == (known.size, known.mtime_ns)

    def bring(self, wanted: Mapping[str, Version], mtime_ns: int | None = None) -> None:
        """Bring what is not here in the version wanted; its time is that of its making, if given.

        Raises `StorageTrouble`.
        """
        old = {name: one for name, one in wanted.items() if not self._is_here(name, one)}
        try:
            for name, version in old.items():
                with contextlib.suppress(FileNotFoundError):  # taken away this moment: told as a file that is missing
                    self.store.get(name, self.files / name)
                    if mtime_ns is not None:
                        os.utime(self.files / name, ns=(mtime_ns, mtime_ns))
                    self._note(name, version)
        finally:
            if old:
                self.keep_record()

    def _is_here(self, name: str, version: Version) -> bool:
        known = self.known.get(name)
        return known is not None and known.is_of(version) and self.whole(name)

    def send(self, name: str) -> bool:
        """Send a copy that is not in storage as it is here; return whether it was sent. Raises `StorageTrouble`."""
        if self.whole(name):
            return False
        before = _facts(self.files / name)
        version = self.store.put(self.files / name, name)
        if before == _facts(self.files / name):  # else it was changed meanwhile, and is sent once more
            self._note(name, version)
        return True

    def drop(self, names: Iterable[str]) -> None:
        """Take copies away that are no longer wanted."""
        for name in list(names):
            self.known.pop(name, None)
            (self.files / name).unlink(missing_ok=True)

    def here(self) -> set[str]:
        """Return the names of all files that are here."""
        return {path.relative_to(self.files).as_posix() for path in self.files.rglob("*") if path.is_file()}

    def keep_record(self) -> None:
        """Write down which versions the copies are of."""
        known = {name: asdict(copy) for name, copy in sorted(self.known.items())}
        write_whole(self.home / RECORD, json.dumps(known, indent=1).encode(), mode=0o600)

    def _note(self, name: str, version: Version) -> None:
        facts = _facts(self.files / name)
        if facts and facts[0] == version.size:
            self.known[name] = Copy(version.stamp, *facts)


@contextlib.contextmanager
def copies(folder_url: str, *, alone: bool = False) -> Iterator[Copies]:
    """Hold the copies of a folder in storage, one process of this machine at a time.

    With `alone`, another process that holds them is refused at once; else it is waited for. Raises `RequestRefused`.
    """
    store = open_store(folder_url)
    home = _private(copies_of(folder_url), store)
    lock = os.open(home / LOCK, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
    try:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | (fcntl.LOCK_NB if alone else 0))
        except OSError:
            found, wanted = "another export is at work in this folder", "wait for it, or name another folder with --out"
            raise RequestRefused(Fault(store.shown, found, wanted)) from None
        yield Copies(store, home, _record(home))
    finally:
        os.close(lock)


def _private(home: Path, store: Store) -> Path:
    try:
        (home / FILES).mkdir(parents=True, exist_ok=True, mode=0o700)
        for folder in (home.parent, home):
            facts = folder.lstat()
            if not stat.S_ISDIR(facts.st_mode) or facts.st_uid != os.geteuid():
                raise PermissionError(f"{folder} belongs to somebody else")
            folder.chmod(0o700)
    except OSError as error:
        found = f"copies of it cannot be kept here ({(error.strerror or str(error)).lower()})"
        raise RequestRefused(Fault(store.shown, found, "let XDG_CACHE_HOME name a folder of yours")) from None
    return home


def _record(home: Path) -> dict[str, Copy]:
    """Return what is known of the copies; nothing where that is damaged: then all is brought anew."""
    try:
        known = json.loads((home / RECORD).read_bytes())
        return {name: Copy(str(one["stamp"]), int(one["size"]), int(one["mtime_ns"])) for name, one in known.items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def _facts(path: Path) -> tuple[int, int] | None:
    try:
        facts = path.stat()
    except OSError:
        return None
    return facts.st_size, facts.st_mtime_ns
