"""The replies that were taken, each kept whole in `replies/` beside the job."""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import os
import re
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.write import plain_place, sweep_unfinished, write_whole
from pipeline.faults import Fault, RequestRefused
from pipeline.job.kept_names import REPLIES
from pipeline.job.words import slugify

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from pipeline.deliver.review.reply_file import Reply
    from pipeline.ledger.rounds import Round

LONGEST_SLUG = 40
_OURS = re.compile(r"[0-9a-f]{12}-[a-z0-9-]+-\d{4}-\d{2}-\d{2}(?:-(\d{1,6}))?\.json", re.ASCII)


@dataclass(frozen=True, slots=True)
class Kept:
    """A reply that was taken: the name of its file in `replies/`, and its number among those of one name and day."""

    reply: Reply
    name: str
    number: int = 1


def folder_of(job: Path) -> Path:
    """Return the folder of the replies to a job file."""
    return job.parent / REPLIES


def reviewer_id(name: str) -> str:
    """Return what makes two spellings of a name one reviewer: case, spaces and invisible letters aside."""
    seen = "".join(letter if letter.isprintable() else " " for letter in unicodedata.normalize("NFKC", name))
    return " ".join(seen.casefold().split())


def reviewer_slug(name: str) -> str:
    """Return a reviewer's name as part of a file name: a-z, 0-9 and hyphens, whatever the name holds."""
    slug = slugify(name)[:LONGEST_SLUG].strip("-")
    return slug or f"reviewer-{hashlib.sha256(name.encode()).hexdigest()[:8]}"


def read_replies(job: Path) -> tuple[Kept, ...]:
    """Return every reply that was taken for a job. Raises `RequestRefused` for what is no longer as it was kept.

    A reply that cannot be read could hold a "Change"; without it something might pass for approved.
    """
    folder = folder_of(job)
    kept: list[Kept] = []
    faults: list[Fault] = []
    try:
        names = sorted(entry.name for entry in os.scandir(folder) if _OURS.fullmatch(entry.name))
    except (FileNotFoundError, NotADirectoryError):
        return ()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise RequestRefused(Fault(REPLIES, f"it cannot be read ({reason})", "make it readable")) from None
    for name in names:
        from pipeline.deliver.review.read_reply import kept_reply  # noqa: PLC0415 (models; few jobs have replies)

        found = kept_reply(folder / name, f"{REPLIES}/{name}")
        number = _OURS.fullmatch(name)
        if isinstance(found, list):
            faults.extend(found)
        else:
            kept.append(Kept(found, name, int(number[1] or 1) if number else 1))
    if faults:
        raise RequestRefused(*faults)
    return tuple(kept)


def newest_first(kept: Sequence[Kept], rounds: Sequence[Round]) -> tuple[Kept, ...]:
    """Return replies by date, on one day by the number of the round that they answer, then in the order taken."""
    numbers = {(one.id, one.outlet): one.number for one in rounds}

    def order(one: Kept) -> tuple[str, int, int, str]:
        reply = one.reply
        return reply.date, numbers.get((reply.round, reply.outlet), 0), one.number, one.name

    return tuple(sorted(kept, key=order, reverse=True))


def of_this_shoot(kept: Sequence[Kept], title: str, keys: Mapping[str, str], rounds: Sequence[Round]) -> list[Kept]:
    """Return the replies to this shoot: other jobs may lie in the same folder and keep theirs in the same place.

    Known they are by the round, else by a picture that is the same, else by the shoot's title.
    """
    ids, pictures = {one.id for one in rounds}, set(keys.values())
    return [one for one in kept if one.reply.round in ids or one.reply.shoot == title or pictures & _pictures(one)]


def _pictures(kept: Kept) -> set[str]:
    return {own.key for frame in kept.reply.frames for own in frame.renditions if own.key}


def same_reply(reply: Reply, kept: Sequence[Kept]) -> Kept | None:
    """Return the kept reply with the same content, None where there is none."""
    return next((one for one in kept if one.reply == reply), None)


def keep_reply(job: Path, reply: Reply) -> Kept:
    """Write a reply into `replies/` under a name of its own, whole or not at all; return it. Raises OSError."""
    folder = folder_of(job)
    folder.mkdir(exist_ok=True)
    stem = f"{reply.round[:12]}-{reviewer_slug(reply.reviewer)}-{reply.date}"
    with _alone_in(folder):
        sweep_unfinished(folder, ["."])
        for number in itertools.count(1):
            name = f"{stem}.json" if number == 1 else f"{stem}-{number}.json"
            if not os.path.lexists(folder / name):
                write_whole(plain_place(folder, name), reply.to_json())
                return Kept(reply, name, number)
    raise AssertionError


@contextlib.contextmanager
def _alone_in(folder: Path) -> Iterator[None]:
    """Hold the folder against another run that keeps replies, so that no name is given twice."""
    import fcntl  # noqa: PLC0415 (not there on every system that can read a plan)

    held = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        fcntl.flock(held, fcntl.LOCK_EX)
        yield
    finally:
        os.close(held)
