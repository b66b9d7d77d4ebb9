"""A folder in storage, seen through fsspec: what lies in it; files are brought and sent whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.deliver.write import unfinished
from pipeline.faults import Fault, RequestRefused
from pipeline.job.url import without_secrets

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

EXTRA = "plateline[storage]"
# Where a file that is sent appears whole or not at all by itself; elsewhere it is sent beside its name, then renamed.
OBJECT_STORES = frozenset({"s3"})
KINDS = ("s3", "sftp", "file")
CONNECT_WITHIN_S = 20


class StorageTrouble(OSError):  # noqa: N818 (it is what happened)
    """What a storage answered in the middle of a run; says where, in words without credentials."""

    def __init__(self, place: str, reason: str) -> None:
        super().__init__(errno.EIO, reason, without_secrets(place))


@dataclass(frozen=True, slots=True)
class Version:
    """Which edition of a file lies in storage: what the storage says changes with its content, and its size."""

    stamp: str
    size: int


@dataclass(frozen=True, slots=True)
class Store:
    """A folder of a storage. Names are below it, with slashes. All methods raise `StorageTrouble`."""

    url: str
    kind: str
    system: Any
    root: str

    @property
    def shown(self) -> str:
        """Return its address without credentials."""
        return without_secrets(self.url)

    def at(self, name: str) -> str:
        """Return the address of a file in it, without credentials."""
        return f"{self.shown}/{name}"

    @contextlib.contextmanager
    def _told(self, name: str) -> Iterator[None]:
        try:
            yield
        except FileNotFoundError:
            raise
        except Exception as error:  # noqa: BLE001 (each storage has errors of its own)
            raise StorageTrouble(self.at(name), _reason(error)) from None

    def _path(self, name: str) -> str:
        return f"{self.root}/{name}" if name else self.root

    def versions(self) -> dict[str, Version]:
        """Return every file below it with its version; nothing where the folder is not there."""
        with self._told(""):
            try:
                found = self.system.find(self.root, detail=True)
            except FileNotFoundError:
                return {}
            skipped = len(self.root) + 1
            return {
                path[skipped:]: _version(facts)
                for path, facts in found.items()
                if facts["type"] == "file" and path.startswith(f"{self.root}/") and _is_plain(path[skipped:])
            }

    def version(self, name: str) -> Version | None:
        """Return the version of one file; None where there is none."""
        with self._told(name):
            try:
                facts = self.system.info(self._path(name))
            except FileNotFoundError:
                return None
            return _version(facts) if facts["type"] == "file" else None

    def get(self, name: str, to: Path) -> None:
        """Bring one file, written whole to `to`. Raises FileNotFoundError where it is not there."""
        to.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        beside = to.with_name(unfinished(to.name))
        try:
            with self._told(name):
                self.system.get_file(self._path(name), str(beside))
            beside.replace(to)
        finally:
            beside.unlink(missing_ok=True)

    def put(self, file: Path, name: str) -> Version:
        """Send one file whole or not at all, over whatever has its name; return the version that it has there."""
        path = self._path(name)
        with self._told(name):
            if self.kind in OBJECT_STORES:
                self.system.put_file(str(file), path)
            else:
                folder, _, last = path.rpartition("/")
                beside = f"{folder}/{unfinished(last)}"
                self.system.makedirs(folder, exist_ok=True)
                self.system.put_file(str(file), beside)
                self.system.mv(beside, path)
            return _version(self.system.info(path))

    def create(self, name: str, data: bytes) -> bool:
        """Write a small file unless one of its name is there; return whether it was written.

        Atomic where the storage creates exclusively: files, SFTP, and S3 as its makers serve it. Elsewhere two that
        ask in the same moment may both be told yes.
        """
        path = self._path(name)
        with self._told(name):
            try:
                if self.kind in OBJECT_STORES:
                    if self.system.exists(path):
                        return False
                    self.system.pipe_file(path, data, mode="create")
                else:
                    self.system.makedirs(path.rpartition("/")[0], exist_ok=True)
                    with self.system.open(path, "wxb" if self.kind == "sftp" else "xb") as stream:
                        stream.write(data)
            except FileExistsError:
                return False
            except OSError:
                if self.system.exists(path):  # SFTP has one word for every failure
                    return False
                raise
        return True

    def read(self, name: str) -> bytes | None:
        """Return what a small file holds; None where there is none."""
        with self._told(name):
            try:
                return bytes(self.system.cat_file(self._path(name)))
            except FileNotFoundError:
                return None

    def remove(self, name: str) -> None:
        """Take a file away; nothing where there is none."""
        with self._told(name), contextlib.suppress(FileNotFoundError):
            self.system.rm_file(self._path(name))


def open_store(url: str) -> Store:
    """Return a folder in storage. Raises `RequestRefused` with one sentence where it cannot be reached at all."""
    kind = url.partition("://")[0].lower()
    if kind not in KINDS:
        wanted = f"plateline reads and writes {', '.join(f'{one}://' for one in KINDS)} and files of this machine"
        raise RequestRefused(Fault(without_secrets(url), f"{kind}:// is no storage that it knows", wanted))
    if kind == "file" and not url.partition("://")[2].startswith("/"):
        wanted = "write the whole path after three slashes, such as file:///home/shoots"
        raise RequestRefused(Fault(without_secrets(url), "file:// is followed by no path of this machine", wanted))
    try:
        system, root = _opened(kind, url)
    except ImportError:
        found = "the part of plateline that reads and writes storage is not installed"
        raise RequestRefused(Fault(without_secrets(url), found, f"pip install '{EXTRA}'")) from None
    except Exception as error:  # noqa: BLE001 (each storage has errors of its own)
        wanted = "check the address, the network, and the keys that this machine has for it"
        raise RequestRefused(Fault(without_secrets(url), f"it cannot be reached ({_reason(error)})", wanted)) from None
    return Store(url.rstrip("/"), kind, system, root.rstrip("/"))


def _opened(kind: str, url: str) -> tuple[Any, str]:
    from fsspec.core import url_to_fs  # noqa: PLC0415 (of the extra)

    if kind == "sftp":
        from pipeline.deliver.storage.sftp import connected  # noqa: PLC0415 (of the extra)

        return connected(url, CONNECT_WITHIN_S)
    options: dict[str, Any] = {}
    if kind == "s3":
        options = {"use_listings_cache": False, "endpoint_url": _endpoint()}
        options["config_kwargs"] = {"connect_timeout": CONNECT_WITHIN_S, "retries": {"max_attempts": 3}}
    system, root = url_to_fs(url, **options)
    return system, str(root)


def _endpoint() -> str | None:
    """Return who serves S3, where that is not its makers: as their own programs are told."""
    return os.environ.get("AWS_ENDPOINT_URL_S3") or os.environ.get("AWS_ENDPOINT_URL") or None


def _is_plain(name: str) -> bool:
    """Return whether a name stays below a folder here: a key of an object may be anything."""
    return "\0" not in name and not {"", ".", ".."} & set(name.split("/"))


def _version(facts: dict[str, Any]) -> Version:
    """Return the version by what storages say of a file: a digest of it (ETag), or else when it was changed."""
    stamp = facts.get("ETag") or facts.get("mtime") or facts.get("LastModified")
    return Version(str(stamp), int(facts["size"]))


def _reason(error: BaseException) -> str:
    """Return why, on one line, without what an address in it may carry."""
    said = (error.strerror if isinstance(error, OSError) else None) or str(error) or type(error).__name__
    return " ".join(without_credentials(said).split()).rstrip(".")[:200]


def without_credentials(text: str) -> str:
    """Return words in which no address carries a user or a password."""
    return " ".join(without_secrets(word) if "://" in word else word for word in text.split())
