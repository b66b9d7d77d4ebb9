"""Places in storage, `s3://bucket/name`, `sftp://host/folder/name`, `file:///folder/name`, and their copies here.

A frame that a job names by such an address is read from a copy (`pipeline.deliver.storage` brings it); where that lies
depends on the address alone.
"""

from __future__ import annotations

import hashlib
import os
import re
from pathlib import Path, PurePosixPath

# A look at the bytes of a job, so that one that names nothing in storage is read as ever.
_NAMED = re.compile(rb"""\bfile["']?\s*=\s*["']+[A-Za-z][A-Za-z0-9+.-]+://""")
_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+://")
FOLDER = "plateline-storage"  # below the cache folder of the XDG Base Directory Specification


def is_url(text: str) -> bool:
    """Return whether a name is the address of a place in storage, and not a file of this machine."""
    return _ADDRESS.match(text) is not None


def without_secrets(url: str) -> str:
    """Return an address as it may be shown and kept: without user, password, query and fragment."""
    bare = url.partition("?")[0].partition("#")[0]
    kind, mark, rest = bare.partition("://")
    place, slash, path = rest.partition("/")
    return f"{kind}{mark}{place.rpartition('@')[2]}{slash}{path}"


def has_password(url: str) -> bool:
    """Return whether an address carries a password, or a query, which may hold a key."""
    user = url.partition("://")[2].partition("/")[0].rpartition("@")[0]
    return ":" in user or "?" in url


def copies_of(folder_url: str) -> Path:
    """Return the private folder for copies of what lies in a folder of a storage; it need not be there yet."""
    digest = hashlib.sha256(without_secrets(folder_url).rstrip("/").encode()).hexdigest()
    base = os.environ.get("XDG_CACHE_HOME", "")
    cache = Path(base) if os.path.isabs(base) else Path.home() / ".cache"  # noqa: PTH117 ("" is not)
    return cache / FOLDER / digest[:32]


def parted(url: str) -> tuple[str, str]:
    """Return the folder of an address and the name in it."""
    folder, _, name = url.rpartition("/")
    return folder, name


def place_of(job: Path, file: str) -> Path:
    """Return where a file that a job names is read: beside the job, or, named by an address, in its private copy."""
    if not is_url(file):
        return job.parent / file
    folder, name = parted(file)
    return copies_of(folder) / "files" / (PurePosixPath(name).name or "nameless")


def may_name_storage(job: Path) -> bool:
    """Return whether a job file may name a frame by an address; False where it cannot be read."""
    try:
        return _NAMED.search(job.read_bytes()) is not None
    except (OSError, ValueError):
        return False
