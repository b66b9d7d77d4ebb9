"""The ledger itself: one SQLite file beside what was made, written by one process at a time."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import sqlite3
from contextlib import closing
from dataclasses import astuple
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Self

from pipeline.faults import Fault, RequestRefused
from pipeline.job.kept_names import LEDGER
from pipeline.ledger.inspected import read_inspected_from, write_inspected_to
from pipeline.ledger.made import Made
from pipeline.ledger.rounds import read_rounds_from, write_round_to
from pipeline.ledger.tables import MADE_COLUMNS, VERSION, bring_up_to_date, edition

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from pathlib import Path
    from types import TracebackType

    from pipeline.frames.inspection.values import Inspection
    from pipeline.ledger.inspected import Looked
    from pipeline.ledger.rounds import Round, Shown

FILE = LEDGER
ContentStamp = tuple[int, int, int]
PICTURE_ENDINGS = frozenset({".jpg", ".png", ".webp", ".tif", ".avif"})
COLUMNS = MADE_COLUMNS[VERSION]
PLACES = ", ".join("?" * len(COLUMNS.split()))
READERS = 4  # files read at a time
READ_AT_ONCE = 1 << 18  # bytes
# What the system copies to some few bytes beyond the start of a page, where large buffers begin, takes AMD's processors
# five times as long; a little further on it does not.
ASIDE = 64
MOVE_AWAY = "move it away; the next export makes a new one"


def file_digest(path: Path) -> str:
    """Return the SHA-256 of a file's content, in hex. Raises OSError."""
    digest = hashlib.sha256()
    room = memoryview(bytearray(ASIDE + READ_AT_ONCE))[ASIDE:]
    with path.open("rb", buffering=0) as stream:
        while read := stream.readinto(room):
            digest.update(room[:read])
    return digest.hexdigest()


def _read_side_by_side(paths: Sequence[Path]) -> list[str | OSError]:
    """Return the digest of each file, or the error of reading it. The arithmetic does not hold up other threads."""
    if len(paths) < 2:
        return [_digest_or_error(path) for path in paths]
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415 (not where all is known)

    with ThreadPoolExecutor(READERS) as hands:
        return list(hands.map(_digest_or_error, paths))


def _digest_or_error(path: Path) -> str | OSError:
    try:
        return file_digest(path)
    except OSError as error:
        return error


def read_made(folder: Path) -> dict[str, Made]:
    """Return what the ledger of `folder` says was made there; nothing where there is none. Writes nothing.

    Raises `RequestRefused`.
    """
    with _read_only(folder) as (base, version):
        return _read_made(base, MADE_COLUMNS[version]) if base else {}


def read_rounds(folder: Path) -> tuple[Round, ...]:
    """Return the rounds that the ledger of `folder` knows, by outlet and number. Writes nothing there.

    Raises `RequestRefused`.
    """
    with _read_only(folder) as (base, version):
        return read_rounds_from(base) if base and version == VERSION else ()


def has_inspected(folder: Path) -> bool:
    """Return whether the ledger of `folder` knows any look at a frame. Raises `RequestRefused`."""
    with _read_only(folder) as (base, version):
        if base is None or version != VERSION:
            return False
        return base.execute("SELECT 1 FROM inspected LIMIT 1").fetchone() is not None


def read_inspected(folder: Path, wanted: Iterable[Looked]) -> dict[Looked, Inspection]:
    """Return what the ledger of `folder` knows of these looks at frames. Writes nothing there.

    Raises `RequestRefused`.
    """
    with _read_only(folder) as (base, version):
        return read_inspected_from(base, wanted) if base and version == VERSION else {}


def read_digests(folder: Path) -> Callable[[Path], str]:
    """Return what gives the SHA-256 of a frame's content, read only where the ledger of `folder` does not know it.

    Writes nothing. Raises `RequestRefused`; what is returned raises OSError.
    """
    known: dict[tuple[str, ContentStamp], str] = {}
    with _read_only(folder) as (base, version):
        if base and version:
            rows = base.execute("SELECT path, size, mtime_ns, inode, sha256 FROM content")
            known = {(name, (size, time, inode)): str(sha256) for name, size, time, inode, sha256 in rows}
    return lambda path: known.get(_stamp(path)) or file_digest(path)


def content_stamp(path: Path) -> ContentStamp:
    """Return what changes where a file's content does: size, time in ns, inode. Raises OSError."""
    facts = path.stat()
    return facts.st_size, facts.st_mtime_ns, facts.st_ino


def _stamp(path: Path) -> tuple[str, ContentStamp]:
    """Return what a frame's file is known by, and its stamp. Raises OSError."""
    # The path itself stays at home: an output folder is often put on a site whole.
    name = hashlib.sha256(os.fsencode(path.resolve())).hexdigest()
    return name, content_stamp(path)


def _known_digest(base: sqlite3.Connection, name: str, stamp: ContentStamp) -> str | None:
    with closing(base.execute("SELECT size, mtime_ns, inode, sha256 FROM content WHERE path = ?", (name,))) as rows:
        row = rows.fetchone()
    return str(row[3]) if row and row[:3] == stamp else None


@contextlib.contextmanager
def _read_only(folder: Path) -> Iterator[tuple[sqlite3.Connection | None, int]]:
    """Open the ledger of `folder` as it is, with its version; None where there is none. Raises `RequestRefused`."""
    path = folder / FILE
    try:
        size = path.stat().st_size
    except (OSError, ValueError):  # a ValueError where the name itself holds a NUL
        size = 0
    if not size:
        yield None, 0
        return
    # Without a log beside it no one is writing: read it as it is, also where nothing can be written.
    mode = "mode=ro" if path.with_name(f"{FILE}-wal").exists() else "immutable=1"
    with _judged(path), closing(sqlite3.connect(f"{path.absolute().as_uri()}?{mode}", uri=True)) as base:
        version = _version(base, path)
        yield (base if version else None), version


@contextlib.contextmanager
def _judged(path: Path) -> Iterator[None]:
    """Turn what SQLite says of a file that is no ledger into a sentence."""
    try:
        yield
    except sqlite3.Error as error:
        raise RequestRefused(Fault(str(path), f"it cannot be used as a ledger ({error})", MOVE_AWAY)) from None


def _version(base: sqlite3.Connection, path: Path) -> int:
    """Return the version of a ledger, 0 for an empty file. Raises `RequestRefused` for what is no whole ledger."""
    version = edition(base)
    if version is None:
        raise RequestRefused(Fault(str(path), "it is a database of another program", MOVE_AWAY))
    if version > VERSION:
        found = f"it was written by a newer plateline (its ledger has number {version}, ours {VERSION})"
        raise RequestRefused(Fault(str(path), found, "use that version, or export to a new folder"))
    (state,) = base.execute("PRAGMA quick_check(1)").fetchone()
    if state != "ok":
        raise RequestRefused(Fault(str(path), f"it is damaged ({state})", MOVE_AWAY))
    return version


def _read_made(base: sqlite3.Connection, columns: str = COLUMNS) -> dict[str, Made]:
    with closing(base.execute(f"SELECT {columns} FROM made ORDER BY path")) as rows:  # noqa: S608 (a constant)
        return _sound({row[0]: Made(*row) for row in rows})


def _sound(made: dict[str, Made]) -> dict[str, Made]:
    """Return rows that are ones that we could have written, by path. Raises `sqlite3.DatabaseError` for others."""
    if not all(isinstance(path, str) and _stays_inside(path) for path in made):
        raise sqlite3.DatabaseError("a path in it leads out of the folder")
    if not all(map(_is_sound, made.values())):
        raise sqlite3.DatabaseError("what it says of a file cannot be so")
    return made


def _is_sound(row: Made) -> bool:
    """Return whether a row is one that we could have written: a picture's place, digests, numbers."""
    texts = (row.path, row.identity, row.pixel_key, row.metadata_key, row.sha256)
    if not all(isinstance(text, str) for text in texts) or not row.path.isprintable():
        return False
    numbers = isinstance(row.size_bytes, int) and isinstance(row.mtime_ns, int)
    shares = all(
        value is None or isinstance(value, float)
        for value in (row.outside_gamut, row.fidelity, row.total_ink, row.heavy_ink, row.ink_over)
    ) and (row.quality is None or isinstance(row.quality, int))
    place = PurePosixPath(row.path)
    picture = len(place.parts) > 1 and place.suffix in PICTURE_ENDINGS
    return numbers and shares and picture


def _stays_inside(path: str) -> bool:
    parts = PurePosixPath(path).parts
    return not (path.startswith("/") or ".." in parts)


def file_id(folder: Path) -> tuple[int, int] | None:
    """Return what tells the ledger of a folder from one that was put in its place later, None where there is none."""
    try:
        facts = (folder / FILE).stat()
    except OSError:
        return None
    return facts.st_dev, facts.st_ino


def taken_away(folder: Path) -> OSError:
    """Return what is to be raised where the ledger of a folder is no longer the one that was opened."""
    said = "this folder was taken away while files were being written to it"
    return FileNotFoundError(errno.ENOENT, said, str(folder))


class Ledger:
    """What was made in one output folder, from what. Use as a context manager; all it does raises OSError."""

    def __init__(self, folder: Path) -> None:
        """Open the ledger of `folder`, making it where there is none. Raises `RequestRefused`."""
        self._path = folder / FILE
        # As they were last read: nobody else writes here as long as the folder is held.
        self._made: dict[str, Made] | None = None
        self._rounds: tuple[Round, ...] | None = None
        with _judged(self._path):
            self._base = sqlite3.connect(self._path, isolation_level=None, timeout=10)
            try:
                bring_up_to_date(self._base, _version(self._base, self._path))
                self._file = file_id(folder)
                self._base.execute("PRAGMA journal_mode = WAL")
                self._base.execute("PRAGMA synchronous = NORMAL")
            except BaseException:
                self._base.close()
                raise

    def check_place(self) -> None:
        """See that the ledger is still where it was opened: else nothing of this run is on record. Raises OSError."""
        if file_id(self.folder) != self._file:
            raise taken_away(self.folder)

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        """Turn what SQLite says in the middle of a run (a full disk, another writer) into an OSError."""
        try:
            yield
        except sqlite3.Error as error:
            raise OSError(errno.EIO, str(error), str(self._path)) from error

    def __enter__(self) -> Self:
        """Return the open ledger."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()

    def close(self) -> None:
        """Close it; all that was kept stays."""
        self._base.close()

    @property
    def folder(self) -> Path:
        """Return the output folder that it speaks of."""
        return self._path.parent

    def digest(self, path: Path) -> str:
        """Return the SHA-256 of a frame's content; read again only when size, time or inode changed. Raises OSError."""
        found = self.digests([path])[path]
        if isinstance(found, OSError):
            raise found
        return found

    def digests(self, paths: Iterable[Path]) -> dict[Path, str | OSError]:
        """Return for each of some files what `digest` returns of it, or the error that it raises; read side by side."""
        found: dict[Path, str | OSError] = {}
        new: dict[Path, tuple[str, ContentStamp]] = {}
        for path in paths:
            try:
                mark = _stamp(path)
            except OSError as error:
                found[path] = error
                continue
            with self._told():
                known = _known_digest(self._base, *mark)
            if known:
                found[path] = known
            else:
                new[path] = mark
        for path, sha256 in zip(new, _read_side_by_side(list(new)), strict=True):
            found[path] = sha256
            if isinstance(sha256, str):
                name, stamp = new[path]
                with self._told():
                    self._base.execute("INSERT OR REPLACE INTO content VALUES (?, ?, ?, ?, ?)", (name, *stamp, sha256))
        return found

    def made(self) -> dict[str, Made]:
        """Return everything that was made here, by path below the output folder."""
        if self._made is None:
            with self._told():
                self._made = _read_made(self._base)
        return dict(self._made)

    def made_at(self, paths: Iterable[str]) -> dict[str, Made]:
        """Return what was made at these places, by path; what is not known is left out."""
        query = f"SELECT {COLUMNS} FROM made WHERE path = ?"  # noqa: S608 (a constant)
        with self._told():
            rows = (row for path in paths for row in self._base.execute(query, (path,)))
            return _sound({row[0]: Made(*row) for row in rows})

    def record(self, made: Iterable[Made]) -> None:
        """Keep rows, replacing what was known of the same path or the same identity; all of them or none."""
        with self._whole_or_not():
            for row in made:
                self._base.execute("DELETE FROM made WHERE identity = ? OR path = ?", (row.identity, row.path))
                self._base.execute(
                    f"INSERT INTO made ({COLUMNS}) VALUES ({PLACES})",  # noqa: S608 (constants)
                    astuple(row),
                )

    def forget(self, paths: Iterable[str]) -> None:
        """Let go of what was made at these places; all of it or nothing."""
        with self._whole_or_not():
            self._base.executemany("DELETE FROM made WHERE path = ?", [(path,) for path in paths])

    def rounds(self) -> tuple[Round, ...]:
        """Return every round that was shown from here, by outlet and number."""
        if self._rounds is None:
            with self._told():
                self._rounds = read_rounds_from(self._base)
        return self._rounds

    def keep_round(self, round_id: str, outlet: str | None, shown: Iterable[Shown]) -> Round:
        """Keep what a sheet shows, and return it with its number: the next one, or its own where it is known."""
        whole = tuple(shown)
        known = next((one for one in self.rounds() if (one.id, one.outlet) == (round_id, outlet)), None)
        if known and known.shown == whole:
            return known
        with self._whole_or_not():
            return write_round_to(self._base, round_id, outlet, whole)

    def inspected(self, wanted: Iterable[Looked]) -> dict[Looked, Inspection]:
        """Return what is known of these looks at frames."""
        with self._told():
            return read_inspected_from(self._base, wanted)

    def keep_inspected(self, found: Mapping[Looked, Inspection]) -> None:
        """Keep what looking at frames gave; all of it or nothing."""
        with self._whole_or_not():
            write_inspected_to(self._base, found)

    @contextlib.contextmanager
    def _whole_or_not(self) -> Iterator[None]:
        """Keep all that is written inside, or none of it."""
        self._made = self._rounds = None
        with self._told():
            self._base.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._base.execute("COMMIT")
            except BaseException:
                if self._base.in_transaction:
                    self._base.execute("ROLLBACK")
                raise
