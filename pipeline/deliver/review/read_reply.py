"""Opening a file that came from a reviewer: its size before its content, its form by its content, never by its name."""

from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING

from pipeline.deliver.review.reply_file import ASK_AGAIN, read_json
from pipeline.deliver.review.reply_text import holds_reply, read_text
from pipeline.faults import Fault

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.deliver.review.reply_file import Reply

LONGEST_FILE = 2_000_000  # bytes
# What is taken for a reply by mistake: how it begins, and what it is. Sources: APPNOTE.TXT 4.3 (zip), ISO/IEC 10918-1
# B.1.1.3 (JPEG), ISO 32000-1 7.5.2 (PDF), RFC 2083 12.11 (PNG); the others are compound files and gzip, from memory.
_OTHERS = (
    (b"PK\x03\x04", "this is a zip file"),
    (b"PK\x05\x06", "this is a zip file"),
    (b"\xff\xd8\xff", "this is a picture"),
    (b"\x89PNG", "this is a picture"),
    (b"%PDF", "this is a PDF"),
    (b"\x1f\x8b", "this is a compressed file"),
    (b"\xd0\xcf\x11\xe0", "this is an office document"),
)
_PAGES = ("<!doctype", "<html")
NAME_THE_REPLY = "name the reply itself: the file that the reviewer saved, or the text that she copied"


def read_replies_of(path: Path, shown: str) -> list[Reply] | list[Fault]:
    """Return every reply that a file holds (text may hold several), or all its faults. `shown` is its name as given."""
    data = file_bytes(path, shown)
    if isinstance(data, Fault):
        return [data]
    for begin, found in _OTHERS:
        if data.startswith(begin):
            return [Fault(shown, found, NAME_THE_REPLY)]
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return [Fault(shown, "it is not text in UTF-8", f"save it as UTF-8 text, or {ASK_AGAIN}", f"line {line}")]
    start = text.lstrip()
    if not start:
        return [Fault(shown, "it is empty", ASK_AGAIN)]
    if start.startswith("{"):
        found_reply = read_json(text, shown)
        return found_reply if isinstance(found_reply, list) else [found_reply]
    if holds_reply(text):
        return read_text(text, shown)
    if start[:9].lower().startswith(_PAGES):
        return [Fault(shown, "this is a web page", NAME_THE_REPLY)]
    return [Fault(shown, "this is no reply", NAME_THE_REPLY)]


def kept_reply(path: Path, shown: str) -> Reply | list[Fault]:
    """Return a reply as it was kept, or its faults."""
    data = file_bytes(path, shown)
    if isinstance(data, Fault):
        return [data]
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return [Fault(shown, "it is not text in UTF-8", "bring it back as it was, or take it away")]
    return read_json(text, shown)


def file_bytes(path: Path, shown: str) -> bytes | Fault:
    """Return the content of a file that may be anything; nothing of it is read where it is larger than any reply."""
    try:
        with os.fdopen(os.open(path, os.O_RDONLY | os.O_NONBLOCK), "rb") as stream:
            facts = os.fstat(stream.fileno())
            if stat.S_ISDIR(facts.st_mode):
                return Fault(shown, "this is a folder", "name the reply itself")
            if not stat.S_ISREG(facts.st_mode):
                return Fault(shown, "this is a device or a pipe, not a file", "name the reply itself")
            if facts.st_size > LONGEST_FILE:
                return _too_large(shown, facts.st_size)
            data = stream.read(LONGEST_FILE + 1)
    except FileNotFoundError:
        return Fault(shown, "there is no such file", "name a reply that is there")
    except IsADirectoryError:
        return Fault(shown, "this is a folder", "name the reply itself")
    except (OSError, ValueError) as error:  # a ValueError where the name itself holds a NUL
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        return Fault(shown, f"it cannot be read ({reason.lower()})", "check its name, its place and its permissions")
    return data if len(data) <= LONGEST_FILE else _too_large(shown, len(data))


def _too_large(shown: str, size: int) -> Fault:
    found = f"it has {size / 1e6:.1f} MB, and no reply has more than {LONGEST_FILE // 1_000_000} MB"
    return Fault(shown, found, NAME_THE_REPLY)
