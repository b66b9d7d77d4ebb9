"""A first job file for a folder of frames: whole and valid as written, with a comment where she has the word."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from pipeline.deliver.write import write_whole
from pipeline.faults import Fault, FrameUnreadable, RequestRefused
from pipeline.frames.read_header import read_header
from pipeline.job.model import PIXEL_LIMIT
from pipeline.job.words import slugify

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from pipeline.frames.header import Header

JOB_NAME = "job.toml"
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
# creator = "Your Name"
# credit_line = "Your Name / your-site.example"
# copyright = "© {year} Your Name"
# licence_url = "https://your-site.example/licence"    # where the terms of use stand
# acquire_url = "https://your-site.example/buy"        # where a licence can be had
# usage_terms = "..."          # whether these words suffice is for your local rules to say

# [sponsor]                    # a paid post: the disclosure goes into every caption
# name = "Partner's name"
# disclosure = "Advertisement ..."                     # which words are due is for your local rules to say

# A target changed for this shoot only, for example:
# [targets."blog/hero"]
# widths = [1200, 2400]
"""

FRAME = """
[[frames]]                     # {size}
file = {file}
slug = {slug}
subject = [0.5, 0.5]           # where the eye should land, from the top-left: move it onto the food
# keep = [0.3, 0.3, 0.7, 0.8]  # what every crop should hold: left, top, right, bottom
# view = "overhead"            # or "three-quarter", "straight-on"
# step = 1                     # the step of the recipe it shows
# alt = "..."                  # what is to be seen, for those who cannot see it; most important first
# caption = "..."
# targets = ["blog/hero", "blog/card-*", "feed/*"]
# [[frames.crops]]             # where one target needs its own hand
# target = "feed/vertical"
# subject = [0.5, 0.4]
"""


def write_new_job(folder: Path) -> tuple[Path, tuple[Fault, ...]]:
    """Write `job.toml` into a folder of frames; return its path and what was left out.

    Raises `RequestRefused` where there is no such folder, no frame in it, or a job file already.
    """
    job = folder / JOB_NAME
    if not folder.is_dir():
        raise RequestRefused(Fault(str(folder), "there is no such folder", "name the folder that holds the frames"))
    if job.exists():
        raise RequestRefused(
            Fault(str(job), "there is a job file already", "move it away first; it is never overwritten")
        )
    found, left_out = _frames(folder)
    if not found:
        wanted = "put JPEG, TIFF, PNG, WebP, AVIF or camera raw files in it, or in a folder 'selects' below it"
        raise RequestRefused(*left_out, Fault(str(folder), "no frame is in this folder", wanted))
    title = folder.resolve().name.replace("-", " ").replace("_", " ").strip().capitalize() or "Shoot"
    try:
        write_whole(job, job_text(title, str(job), found).encode())
    except OSError as error:
        raise RequestRefused(Fault(str(job), f"it cannot be written ({error.strerror})", "mend the folder")) from None
    return job, left_out


def _frames(folder: Path) -> tuple[list[tuple[str, Header]], tuple[Fault, ...]]:
    """Return the frames in a folder by the name a job would give them, and the pictures that cannot be read."""
    found: list[tuple[str, Header]] = []
    left_out: list[Fault] = []
    for place in PLACES:
        for path in sorted((folder / place).glob("*")):
            if not path.is_file() or path.name.startswith(".") or path.suffix.lower() in NO_FRAMES:
                continue
            name = path.relative_to(folder).as_posix()
            try:
                name.encode()
                found.append((name, read_header(path, name=name, pixel_limit=PIXEL_LIMIT)))
            except FrameUnreadable as error:
                left_out.append(error.fault)
            except UnicodeEncodeError:
                shown = name.encode("utf-8", "replace").decode()
                left_out.append(Fault(shown, "its name is not UTF-8", "rename it"))
    return found, tuple(left_out)


def job_text(title: str, job: str, frames: Sequence[tuple[str, Header]]) -> str:
    """Return a whole job file. The shoot's date is that of the earliest frame that has one."""
    dates = sorted(header.camera.taken[:10] for _, header in frames if header.camera.taken)
    date = f"date = {dates[0]}\n" if dates else "# date = 2026-01-31\n"
    text = HEAD.format(title=_text(title), job=job, date=date, year=dates[0][:4] if dates else "2026")
    taken: set[str] = set()
    for number, (name, header) in enumerate(frames, start=1):
        slug = slugify(name.rpartition("/")[2].rpartition(".")[0]) or f"frame-{number}"
        slug = slug if slug not in taken else f"{slug}-{number}"
        taken.add(slug)
        size = f"{header.size.width} x {header.size.height}, {header.format}"
        text += FRAME.format(size=size, file=_text(name), slug=_text(slug))
    return text


def _text(words: str) -> str:
    """Return a TOML basic string: JSON's escapes are a part of TOML's, but for DEL."""
    return json.dumps(words, ensure_ascii=False).replace("\x7f", "\\u007f")
