"""Small results kept between runs in the cache folder of whoever runs this, readable only with what they came from.

The folder is `plateline` in the one of the XDG Base Directory Specification 0.8 (`XDG_CACHE_HOME`, else `~/.cache`),
mode 0700. What is kept is named by a digest and sealed with a secret made of the job's own bytes, so that it holds
neither words nor paths for anybody who does not have the job. It may be deleted at any time; what is damaged, cut or
from elsewhere counts as not there.

A seal: 16 random bytes, the deflated data (RFC 1950) XORed with SHAKE-256 over secret and random bytes (FIPS 202, an
extendable-output function as a stream), and in front of both their keyed BLAKE2b (RFC 7693), 32 bytes.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import stat
import zlib
from pathlib import Path

FOLDER = "plateline"
MOST_BYTES, MOST_KEPT, MOST_IN_ALL = 32 << 20, 200, 200 << 20
MARK, NONCE = 32, 16


def digest(*parts: str | bytes) -> bytes:
    """Return the SHA-256 over parts, each with its length before it: no two lists of parts are taken for each other."""
    whole = hashlib.sha256()
    for part in parts:
        data = part if isinstance(part, bytes) else part.encode("utf-8", "surrogateescape")
        whole.update(len(data).to_bytes(8, "big") + data)
    return whole.digest()


def kept(name: bytes, secret: bytes) -> bytes | None:
    """Return what was kept under a name; None where nothing is, or nothing that this secret opens."""
    folder = _folder(make=False)
    if folder is None:
        return None
    try:
        with (folder / name.hex()).open("rb") as stream:
            return opened(stream.read(MOST_BYTES + 1), secret)
    except OSError:
        return None


def keep(name: bytes, secret: bytes, data: bytes) -> None:
    """Keep data under a name, whole or not at all, in place of what was there; where that cannot be, nothing is."""
    folder = _folder(make=True)
    whole = sealed(data, secret)
    if folder is None or len(whole) > MOST_BYTES:
        return
    beside = folder / f".{os.getpid()}-{name.hex()}"
    try:
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW, 0o600)
        with os.fdopen(handle, "wb") as stream:
            stream.write(whole)
        beside.replace(folder / name.hex())
        _sweep(folder)
    except OSError:
        with contextlib.suppress(OSError):
            beside.unlink()


def sealed(data: bytes, secret: bytes) -> bytes:
    """Return data that nobody reads, or changes unseen, without the secret."""
    nonce = os.urandom(NONCE)
    body = nonce + _crossed(zlib.compress(data, 1), secret, nonce)
    return _mark(body, secret) + body


def opened(whole: bytes, secret: bytes) -> bytes | None:
    """Return what was sealed with a secret; None for anything else."""
    mark, body = whole[:MARK], whole[MARK:]
    if len(body) <= NONCE or mark != _mark(body, secret):
        return None
    return zlib.decompress(_crossed(body[NONCE:], secret, body[:NONCE]))


def _crossed(data: bytes, secret: bytes, nonce: bytes) -> bytes:
    stream = hashlib.shake_256(secret + nonce).digest(len(data))
    return (int.from_bytes(data, "big") ^ int.from_bytes(stream, "big")).to_bytes(len(data), "big")


def _mark(body: bytes, secret: bytes) -> bytes:
    return hashlib.blake2b(body, digest_size=MARK, key=secret, person=b"plateline seal").digest()


def _folder(*, make: bool) -> Path | None:
    """Return the folder of what is kept, None where there is none that belongs to this user alone."""
    base = os.environ.get("XDG_CACHE_HOME", "")
    try:
        place = (Path(base) if os.path.isabs(base) else Path.home() / ".cache") / FOLDER  # noqa: PTH117 ("" is not)
        if make:
            place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            place.mkdir(exist_ok=True, mode=0o700)
        facts = place.lstat()
    except (OSError, ValueError, RuntimeError):  # a RuntimeError where nobody has a home
        return None
    private = stat.S_ISDIR(facts.st_mode) and facts.st_uid == os.geteuid() and not facts.st_mode & 0o077
    return place if private else None


def _sweep(folder: Path) -> None:
    """Remove the oldest where too much is kept, and what was left unfinished long ago."""
    found = sorted(((one.stat(), one) for one in folder.iterdir()), key=lambda pair: -pair[0].st_mtime_ns)
    total = 0
    for number, (facts, place) in enumerate(found):
        total += facts.st_size
        if number >= MOST_KEPT or total > MOST_IN_ALL:
            place.unlink(missing_ok=True)
