"""Replies taken in: all of them judged first, then each kept whole; the job file is never touched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.review.approved import known_contents, with_approvals
from pipeline.deliver.review.fit import fitted, round_of, since_then
from pipeline.deliver.review.read_reply import read_replies_of
from pipeline.deliver.review.replies import (
    folder_of,
    keep_reply,
    newest_first,
    of_this_shoot,
    read_replies,
    reviewer_id,
    same_reply,
)
from pipeline.deliver.review.round import picture_keys
from pipeline.deliver.survey import delivered_names, survey
from pipeline.faults import Fault, RequestRefused
from pipeline.ledger.book import read_rounds

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date
    from pathlib import Path

    from pipeline.deliver.review.replies import Kept
    from pipeline.deliver.review.reply_file import Reply
    from pipeline.job.job import Job
    from pipeline.ledger.rounds import Round
    from pipeline.plan.rendition import Plan


MOST_FAULTS = 20


@dataclass(frozen=True, slots=True)
class Taken:
    """One reply that was taken: the file it came in, where it is kept, and what is to be said of it.

    `again` is True where the same reply was kept before. `answered` is its round, None where that is not known here.
    """

    file: str
    kept: Kept
    again: bool
    answered: Round | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a shoot stands: the plan with its approvals, picture keys by name, every reply to it, newest first."""

    job: Job
    plan: Plan
    keys: Mapping[str, str]
    rounds: tuple[Round, ...]
    newest: tuple[Kept, ...]


def take_replies(job: Path, out: Path, files: Sequence[Path], today: date) -> tuple[tuple[Taken, ...], Standing]:
    """Keep every reply that the files hold, and return them with where the shoot stands then.

    Raises `RequestRefused` with all faults of all files, and of the job; nothing is kept then. Raises OSError.
    """
    surveyed = survey(job).knowing(out)
    plan = surveyed.plan(delivered_names(out))
    contents, rounds = known_contents(plan, out), read_rounds(out)
    keys = picture_keys(plan, contents)
    kept = list(read_replies(job))
    given: list[tuple[str, Reply]] = []
    faults: list[Fault] = []
    for file in files:
        of_file: list[Fault] = []
        for one in read_replies_of(file, str(file)):
            reply = [one] if isinstance(one, Fault) else fitted(one, rounds, keys, plan.title, out, str(file))
            if isinstance(reply, list):
                of_file.extend(reply)
            else:
                given.append((str(file), reply))
        faults.extend(_first_faults(of_file, str(file)))
    if given and not faults:
        faults.extend(_folder_faults(job))
    if faults:
        raise RequestRefused(*faults)
    taken = []
    for name, reply in given:
        known = same_reply(reply, kept)
        place = known or keep_reply(job, reply)
        if not known:
            kept.append(place)
        answered = round_of(reply, rounds)
        taken.append(Taken(name, place, known is not None, answered, ()))
    newest = newest_first(of_this_shoot(kept, plan.title, keys, rounds), rounds)
    noted = tuple(
        Taken(one.file, one.kept, one.again, one.answered, tuple(_notes(one, keys, newest, today))) for one in taken
    )
    plan = with_approvals(plan, contents, newest, rounds)
    return noted, Standing(surveyed.job, plan, keys, rounds, newest)


def _first_faults(faults: list[Fault], file: str) -> list[Fault]:
    """Return the first faults of a file, and how many more there are: whoever has more has sent the wrong file."""
    more = len(faults) - MOST_FAULTS
    rest = Fault(file, f"{more} more faults are in it", "mend these first")
    return faults if more <= 0 else [*faults[:MOST_FAULTS], rest]


def _folder_faults(job: Path) -> list[Fault]:
    folder = folder_of(job)
    if folder.is_symlink():
        return [Fault(str(folder), "this is a link, which may lead anywhere", "put a folder in its place")]
    if folder.exists() and not folder.is_dir():
        return [Fault(str(folder), "this is no folder, and replies are kept in it", "give that file another name")]
    return []


def _notes(taken: Taken, keys: Mapping[str, str], newest: Sequence[Kept], today: date) -> list[str]:
    reply, notes = taken.kept.reply, []
    if since := since_then(reply, taken.answered, keys):
        notes.append(since)
    if reply.date > today.isoformat():
        notes.append(
            f"its date, {reply.date}, has not come yet; by its date it goes before what is answered until then"
        )
    who = reviewer_id(reply.reviewer)
    of_reviewer = [one for one in newest if reviewer_id(one.reply.reviewer) == who]
    if of_reviewer and of_reviewer[0] != taken.kept:
        later = of_reviewer[0]
        notes.append(f"a later answer of {reply.reviewer}, {later.name}, goes before it where both speak")
    return notes
