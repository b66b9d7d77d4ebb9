"""Which line of a job file brings a picture: what to take out where it is to be left out."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.job.asked import matching

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.job.job import AskedFrame, Job

_TABLE = re.compile(r"\s*\[")
_FRAMES = re.compile(r"\s*\[\[\s*frames\s*\]\]")
_SHOOT = re.compile(r"\s*\[\s*shoot\s*\]")
_TARGETS = re.compile(r"\s*targets\s*=")


def how_to_leave_out(job: Job, slug: str, targets: Sequence[str], *, whole: bool) -> list[str]:
    """Return what to do in the job so that a frame no longer goes to `targets` (`outlet/target`), in sentences.

    `whole` says that the frame is to be left out of everything.
    """
    name = job.file.name
    asked = next((one for one in job.frames if one.slug == slug), None)
    if asked is None:
        return [f"take '{slug}' out of [[pairs]] in {name}"]
    lines = _lines(job)
    at = lines.get(asked.number)
    if whole:
        return [f"take the [[frames]] of {asked.entry.file} out of {name}{_at(at and at[0])}"]
    return [_sentence(job, asked, pattern, targets, at and at[1]) for pattern in _patterns(job, asked, targets)]


def _patterns(job: Job, asked: AskedFrame, targets: Sequence[str]) -> list[str]:
    """Return the patterns among a frame's targets, its own or the shoot's, that bring one of `targets`."""
    patterns = job.shoot.targets if asked.entry.targets is None else asked.entry.targets
    return [pattern for pattern in patterns if matching(targets, pattern)]


def _sentence(job: Job, asked: AskedFrame, pattern: str, targets: Sequence[str], line: int | None) -> str:
    name = job.file.name
    brought = matching([f"{one.outlet}/{one.name}" for one in asked.requests], pattern)
    left = [one for one in brought if one not in targets]
    written = ", ".join(f'"{one}"' for one in left)
    instead = f" and write {written} instead" if left else ""
    if asked.entry.targets is None:
        return f'give {asked.entry.file} targets of its own in {name}: those of [shoot] say "{pattern}"{_at(line)}'
    return f'take "{pattern}" out of the targets of {asked.entry.file} in {name}{_at(line)}{instead}'


def _at(line: int | None) -> str:
    return f", line {line}" if line else ""


def _lines(job: Job) -> dict[int, tuple[int, int | None]]:
    """Return for each frame, by its number, the lines of its table and of the targets that hold for it.

    Found by looking for the tables as they are written by hand; where that does not give every frame, nothing is said.
    """
    try:
        text = job.file.read_text("utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError):
        return {}
    found: list[tuple[int, int | None]] = []
    of_shoot: int | None = None
    place = ""
    for number, line in enumerate(text, start=1):
        if _TABLE.match(line):
            place = "frame" if _FRAMES.match(line) else "shoot" if _SHOOT.match(line) else ""
            if place == "frame":
                found.append((number, None))
        elif _TARGETS.match(line):
            if place == "frame":
                found[-1] = (found[-1][0], number)
            elif place == "shoot":
                of_shoot = number
    if len(found) != len(job.frames):
        return {}
    return {number: (at, targets or of_shoot) for number, (at, targets) in enumerate(found, start=1)}
