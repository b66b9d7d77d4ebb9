"""A first job file for a folder of frames: whole and valid as written, with a comment where she has the word."""

from __future__ import annotations

import datetime as dt
import itertools
import json
import os
import re
import shlex
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from pipeline.deliver.inspection.propose import proposals
from pipeline.deliver.write import write_whole
from pipeline.faults import Fault, FrameUnreadable, RequestRefused
from pipeline.frames.read_header import read_header
from pipeline.job.asked import is_utf8
from pipeline.job.example_words import DISCLOSURE, LEFT_OPEN, NAME, PARTNER, SITE
from pipeline.job.explain import toml_text
from pipeline.job.model import PIXEL_LIMIT
from pipeline.job.plain_words import plain_words
from pipeline.job.words import slugify

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path
    from typing import TextIO

    from pipeline.frames.header import Header
    from pipeline.frames.inspection.values import Proposal
    from pipeline.frames.words import Stated

JOB_NAME = "job.toml"
LONGEST_SLUG = 60
MOST_NAMED = 5  # creators, for one, that are told where the frames differ
FACTS = {"creator": "creators"}  # a key of the job whose fact has another name
NAME_A_FOLDER = "name the folder that holds the frames"
PLACES = (".", "selects")  # where frames are looked for below the folder
NO_FRAMES = {".toml", ".txt", ".md", ".csv", ".json", ".xmp", ".html", ".pdf", ".zip"}  # not worth a word when skipped

HEAD = """\
# The job: what each picture shows, where it goes, who made it.
# `plateline check {job}` reads it whole; `plateline plan {job}` shows every crop before a pixel is touched;
# `plateline targets` lists every target by name; `plateline export {job}` makes the pictures.

profiles = ["blog", "feed", "print", "partner"]    # the outlets this shoot goes to
# profiles_folder = "my-profiles"                  # a folder of your own outlet profiles, beside this file

[shoot]
title = {title}
{date}language = "en"                # of the words below
keywords = []                  # words that every picture shares
targets = ["blog/step"]        # what a frame gets that names none of its own

[credit]                       # written into every file; a frame may override any of it in [frames.credit]
{credit}

# [sponsor]                    # a paid post: the disclosure goes into every caption
# name = {partner}
# disclosure = {disclosure}                     # which words are due is for your local rules to say

# A target changed for this shoot only, for example:
# [targets."blog/hero"]
# widths = [1200, 2400]
"""

CREDIT = {  # each line as it stands where the frames do not say the same, and what is noted behind it
    "creator": (NAME, ""),
    "credit_line": (f"{NAME} / {SITE}", ""),
    "copyright": (f"© {{year}} {NAME}", ""),
    "licence_url": (f"https://{SITE}/licence", "    # where the terms of use stand"),
    "acquire_url": (f"https://{SITE}/buy", "        # where a licence can be had"),
    "usage_terms": (LEFT_OPEN, "          # whether these words suffice is for your local rules to say"),
}

FRAME = """
[[frames]]                     # {size}
file = {file}
slug = {slug}
{subject}
# view = "overhead"            # or "three-quarter", "straight-on"
# turn_deg = -0.8              # levels the frame: degrees clockwise, here anticlockwise
# action = true                # something moves on purpose: a pour, a dusting hand
# tripod = true                # the camera stood still
# step = 1                     # the step of the recipe it shows
{words}
# targets = ["blog/hero", "blog/card-*", "feed/*"]
# [[frames.crops]]             # where one target needs its own hand
# target = "feed/vertical"
# subject = [0.5, 0.4]
"""

FOUND = """\
subject = {subject}       # where the eye should land, from the top-left: found by looking; check it
keep = {keep}   # what every crop should hold: left, top, right, bottom; found likewise"""
NOT_FOUND = """\
subject = [0.5, 0.5]           # please point: nothing stands out for sure, so this is the middle; or write "auto"
# keep = [0.3, 0.3, 0.7, 0.8]  # what every crop should hold: left, top, right, bottom"""


def write_new_job(folder: Path, progress_to: TextIO | None = None) -> tuple[Path, tuple[Fault, ...]]:
    """Write `job.toml` into a folder of frames; return its path and what was left out.

    Each frame is decoded, to look where its subject is. Raises `RequestRefused` where there is no such folder, no
    frame in it, or a job file already.
    """
    job = folder / JOB_NAME
    if not is_utf8(folder):
        raise RequestRefused(Fault(str(folder), "its name is not UTF-8", "rename the folder"))
    try:
        names = list(_names(folder))
        if os.path.lexists(job):
            wanted = "move it away first; it is never overwritten"
            raise RequestRefused(Fault(str(job), "there is a job file already", wanted))
        headers, left_out = _frames(folder, names)
        found, damaged = _looked_at(headers, progress_to)
        left_out += damaged
        if not found:
            kinds = "JPEG, TIFF, PNG, WebP, AVIF, HEIC or camera raw files"
            wanted = f"put {kinds} in it, or in a folder 'selects' below it"
            raise RequestRefused(*left_out, Fault(str(folder), "no frame is in this folder", wanted))
        write_whole(job, job_text(_title(folder), _command_word(job), found).encode())
    except FileNotFoundError:
        raise RequestRefused(Fault(str(folder), "there is no such folder", NAME_A_FOLDER)) from None
    except NotADirectoryError:
        raise RequestRefused(Fault(str(folder), "this is a file, not a folder", NAME_A_FOLDER)) from None
    except (OSError, ValueError) as error:  # a ValueError where the name itself holds a NUL
        place, reason = (error.filename, error.strerror) if isinstance(error, OSError) else (None, str(error))
        raise RequestRefused(Fault(str(place or folder), f"it cannot be used ({reason})", "mend the folder")) from None
    return job, left_out


def _names(folder: Path) -> Iterator[str]:
    """Yield the name of each file in a folder and in its `selects` that may be a frame, as a job would give it."""
    for place in PLACES:
        below = folder / place
        if place != "." and not below.is_dir():
            continue
        for path in sorted(below.iterdir()):
            if path.is_file() and not path.name.startswith(".") and path.suffix.lower() not in NO_FRAMES:
                yield path.relative_to(folder).as_posix()


def _frames(folder: Path, names: Iterable[str]) -> tuple[list[tuple[str, Header]], tuple[Fault, ...]]:
    """Return the frames by name with their headers, and what cannot be one: its name or its content is unfit."""
    found: list[tuple[str, Header]] = []
    left_out: list[Fault] = []
    for name in names:
        try:
            plain_words(name)
        except ValueError:
            left_out.append(Fault(name, "its name holds letters that a job file cannot hold", "rename it"))
            continue
        try:
            found.append((name, read_header(folder / name, name=name, pixel_limit=PIXEL_LIMIT)))
        except FrameUnreadable as error:
            left_out.append(error.fault)
    return found, tuple(left_out)


def _looked_at(
    headers: list[tuple[str, Header]], progress_to: TextIO | None
) -> tuple[list[tuple[str, Header, Proposal | None]], tuple[Fault, ...]]:
    """Return the frames with where their subjects are, and those that cannot be decoded."""
    found: list[tuple[str, Header, Proposal | None]] = []
    damaged: list[Fault] = []
    proposed = proposals(headers, progress_to)
    for name, header in headers:
        one = proposed[name]
        if isinstance(one, Fault):
            damaged.append(one)
        else:
            found.append((name, header, one))
    return found, tuple(damaged)


def _title(folder: Path) -> str:
    """Return a title for the shoot from the name of its folder."""
    words = "".join(letter if letter.isprintable() else " " for letter in folder.resolve().name)
    title = " ".join(re.sub("[-_]", " ", words).split())
    return title[:1].upper() + title[1:] or "Shoot"


def _command_word(job: Path) -> str:
    """Return the job file as a command names it; its bare name where the whole does not fit into one line."""
    return shlex.quote(str(job) if str(job).isprintable() else job.name)


def job_text(title: str, job: str, frames: Sequence[tuple[str, Header, Proposal | None]]) -> str:
    """Return a whole job file, dated by its earliest frame. `job` is its own name in a command."""
    dates = sorted(date for _, header, _ in frames if (date := _date(header)))
    date = f"date = {dates[0]}\n" if dates else "# date = 2026-01-31\n"
    year = dates[0][:4] if dates else "2026"
    credit = "\n".join(_credit([header.stated for _, header, _ in frames], year))
    sponsor = {"partner": _text(PARTNER), "disclosure": _text(DISCLOSURE)}
    text = HEAD.format(title=_text(title), job=job, date=date, credit=credit, **sponsor)
    taken: set[str] = set()
    for number, (name, header, proposal) in enumerate(frames, start=1):
        slug = _free_slug(PurePosixPath(name).stem, number, taken)
        taken.add(slug)
        size = f"{header.size.width} x {header.size.height}, {header.format}"
        words = "\n".join(_words(header.stated))
        text += FRAME.format(size=size, file=_text(name), slug=_text(slug), subject=_subject(proposal), words=words)
    return text


def _subject(proposal: Proposal | None) -> str:
    if proposal is None:
        return NOT_FOUND
    at, keep = proposal.subject, proposal.keep
    corners = (keep.left, keep.top, keep.right, keep.bottom)
    return FOUND.format(subject=toml_text((at.x, at.y)), keep=toml_text(corners))


def _date(header: Header) -> str | None:
    """Return the day a frame was taken as TOML writes it; None where its Exif says none, or none there is."""
    try:
        return dt.date.fromisoformat((header.camera.taken or "")[:10]).isoformat()
    except ValueError:
        return None


def _credit(frames: Sequence[Stated], year: str) -> Iterator[str]:
    """Yield the lines of [credit]: what all frames say, or else an example, and in comments what only some say."""
    for key, (example, hint) in CREDIT.items():
        said = dict.fromkeys(value for stated in frames if (value := getattr(stated, FACTS.get(key, key))))
        everyone = all(getattr(stated, FACTS.get(key, key)) for stated in frames)
        if len(said) == 1 and everyone:
            yield f"{key} = {_value(next(iter(said)))}    # as all frames say"
            continue
        yield f"# {key} = {_text(example.format(year=year))}{hint}"
        for value in list(said)[:MOST_NAMED]:
            yield f"# {key} = {_value(value)}    # as some frames say: they keep it, unless it is said here"


def _words(stated: Stated) -> Iterator[str]:
    """Yield the lines of a frame that its own words fill, or that wait for them; a contradiction as a comment."""
    if stated.title:
        yield f"title = {_in_languages(stated, 'title')}"
    if stated.alt:
        yield f"alt = {_in_languages(stated, 'alt')}"
    else:
        yield '# alt = "..."                  # what is to be seen, for those who cannot see it; most important first'
    yield f"caption = {_in_languages(stated, 'description')}" if stated.description else '# caption = "..."'
    if stated.keywords:
        yield f"keywords = {_value(stated.keywords)}"
    if stated.rating:
        yield f"rating = {stated.rating}"
    for _, sentence in stated.conflicts:
        yield f"# look: {sentence}"


def _in_languages(stated: Stated, field: str) -> str:
    """Return a text, or a table by language where the frame has it in several and its default is one of them."""
    by_tag = {tag.lower(): (tag, text) for name, tag, text in stated.in_languages if name == field}
    default = getattr(stated, field)
    if len(by_tag) < 2 or default not in {text for _, text in by_tag.values()}:
        return _text(default)
    return "{ " + ", ".join(f"{tag} = {_text(text)}" for tag, text in by_tag.values()) + " }"


def _value(value: str | tuple[str, ...]) -> str:
    """Return a text, or a list of them, as TOML writes it."""
    return _text(value) if isinstance(value, str) else "[" + ", ".join(_text(one) for one in value) + "]"


def _free_slug(stem: str, number: int, taken: set[str]) -> str:
    """Return a slug for a frame that no other has."""
    slug = slugify(stem)[:LONGEST_SLUG].strip("-") or f"frame-{number}"
    others = (f"{slug}-{count}" for count in itertools.count(number))
    return next(one for one in itertools.chain([slug], others) if one not in taken)


def _text(words: str) -> str:
    """Return a TOML basic string: JSON's escapes are a part of TOML's, but for DEL."""
    return json.dumps(words, ensure_ascii=False).replace("\x7f", "\\u007f")
