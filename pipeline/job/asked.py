"""What the job asks of each frame: its file, its slug, its targets, and its own hand at each of them."""

from __future__ import annotations

import fnmatch
import os
import stat
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from pipeline.faults import Fault
from pipeline.job.explain import nearest
from pipeline.job.job import MIDDLE, AskedFrame, Request
from pipeline.job.url import place_of
from pipeline.job.words import slugify
from pipeline.light.box import Point, Region

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from pipeline.job.model import CropHand, FrameEntry
    from pipeline.job.outlets import Outlet
    from pipeline.job.target import Target
    from pipeline.job.words import KeepBox, PointPair

MOST_LISTED = 8


@dataclass(frozen=True, slots=True)
class Known:
    """The outlets that the job names, and every target it may ask for by `outlet/target`.

    `elsewhere` are the targets of all outlets, named in the job or not; `spoiled` are those that the job
    changes or adds, some perhaps with faults of their own; `outlets_whole` is False where naming the
    outlets went wrong. A target missing for these reasons is no fault of the frame's as well.
    """

    outlets: Mapping[str, Outlet]
    targets: Mapping[str, Target]
    elsewhere: tuple[str, ...]
    spoiled: tuple[str, ...]
    outlets_whole: bool

    @property
    def singles(self) -> list[str]:
        """Return the names of the targets that take one frame."""
        return [name for name, target in self.targets.items() if target.layout is None]

    @property
    def two_ups(self) -> list[str]:
        """Return the names of the targets that take two."""
        return [name for name, target in self.targets.items() if target.layout is not None]


def matching(names: Iterable[str], pattern: str) -> list[str]:
    """Return the names that a glob matches, in their order; case counts."""
    return [name for name in names if fnmatch.fnmatchcase(name, pattern)]


def asked_frame(
    job: Path, number: int, entry: FrameEntry, shared: tuple[str, ...] | None, known: Known, faults: list[Fault]
) -> AskedFrame:
    """Return a frame with its targets worked out; what is wrong with it is added to `faults`.

    `number` counts from 1; `shared` are the targets of a frame that names none, None where those are at fault.
    """
    patterns = entry.targets if entry.targets is not None else shared
    chosen = list(dict.fromkeys(name for pattern in patterns or () for name in matching(known.singles, pattern)))
    slug = slugify(entry.slug or PurePath(entry.file).stem) or f"frame-{number}"
    requests = tuple(request(entry, name, known) for name in chosen)
    asked = AskedFrame(entry, place_of(job, entry.file), number, slug, requests)
    faults.extend(_file_faults(job.name, asked))
    for pattern in patterns or ():
        where = f"{asked.place}: targets"
        if not matching(known.targets, pattern):
            faults.extend(unknown(job.name, pattern, known, known.singles, where))
        elif not matching(known.singles, pattern):
            faults.append(Fault(job.name, f"'{pattern}' takes two frames", "write [[pairs]] with both", where))
    if patterns == ():
        wanted = "give it targets of its own, or give [shoot] the targets that all frames share"
        faults.append(Fault(job.name, "it goes to no target", wanted, f"{asked.place}: targets"))
    for index, hand in enumerate(entry.crops, start=1):
        if chosen and not matching([*chosen, *known.spoiled, *known.two_ups], hand.target):
            found, wanted = f"this frame does not go to '{hand.target}'", f"it goes to {listed(chosen)}"
            where = f"{asked.place}: crops[{index}]: target"
            faults.append(Fault(job.name, found, wanted, where, nearest(hand.target, chosen)))
    return asked


ABSENT = "there is no such file"


def _file_faults(job: str, asked: AskedFrame) -> list[Fault]:
    found = _trouble_with(asked.path)
    if found is None:
        return []
    close = _name_beside(asked.path) if found == ABSENT else None
    shown = str(PurePath(asked.entry.file).with_name(close)) if close else None
    wanted = "file names a picture, as seen from the job file's folder"
    return [Fault(job, found, wanted, f"{asked.place}: file", shown)]


def is_utf8(path: Path) -> bool:
    """Return whether a name is UTF-8, as the image libraries want it."""
    try:
        return os.fsencode(path).decode("utf-8", "replace") == str(path)
    except UnicodeEncodeError:  # a system that is set to plain ASCII
        return False


def _trouble_with(file: Path) -> str | None:
    """Return what is wrong with a file before it is opened; None where it can be tried."""
    if not is_utf8(file):
        return "the name of its folder is not UTF-8"
    try:
        kind = file.stat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        return ABSENT
    except OSError as error:
        return f"it cannot be read ({(error.strerror or str(error)).lower()})"
    if stat.S_ISDIR(kind):
        return "this is a folder"
    return None if stat.S_ISREG(kind) else "this is a device or a pipe, not a file"


def _name_beside(file: Path) -> str | None:
    try:
        with os.scandir(file.parent) as entries:
            return nearest(file.name, sorted(entry.name for entry in entries if entry.is_file()))
    except OSError:
        return None


def unknown(job: str, pattern: str, known: Known, fit: Sequence[str], where: str) -> list[Fault]:
    """Return the fault of a target that no outlet has; none where it is missing for a fault reported elsewhere.

    `fit` are the known targets that could have been meant.
    """
    outlet = pattern.partition("/")[0]
    if matching(known.spoiled, pattern):
        return []
    if matching(known.elsewhere, pattern):
        found = f"'{pattern}' is at an outlet that this job does not name"
        return [Fault(job, found, f'add "{outlet}" to profiles', where)] if known.outlets_whole else []
    if not known.outlets_whole and not matching(known.elsewhere, f"{outlet}/*"):
        return []
    names = fit or known.elsewhere
    beside = matching(names, f"{outlet}/*")
    found = f"no target is called '{pattern}'"
    whole = [f"{one}/*" for one in dict.fromkeys(name.partition("/")[0] for name in names)] if "*" in pattern else []
    return [Fault(job, found, f"known are {listed(beside or names)}", where, nearest(pattern, [*names, *whole]))]


def listed(names: Iterable[str]) -> str:
    """Return names as a sentence lists them, the first few where they are many."""
    known = list(names)
    more = f" and {len(known) - MOST_LISTED} more (`plateline targets` lists all)" if len(known) > MOST_LISTED else ""
    return ", ".join(known[:MOST_LISTED]) + more


def request(entry: FrameEntry, name: str, known: Known) -> Request:
    """Return what one target asks of a frame, with the frame's own hand applied. `name` is one of `known.targets`."""
    outlet, key = name.split("/")
    hands = _hands(entry, name)
    own_anchor = _last([hand.anchor for hand in hands])
    anchor = own_anchor or known.targets[name].anchor
    return Request(
        outlet=outlet,
        name=key,
        target=known.targets[name],
        name_template=known.outlets[outlet].profile.name,
        subject=_subject(entry, hands),
        keep=_keep(entry, hands),
        anchor=_point(anchor) if isinstance(anchor, tuple) else anchor,
        anchor_by_hand=own_anchor is not None,
    )


def with_subject(asked: AskedFrame, subject: Point, keep: Region | None) -> AskedFrame:
    """Return a frame whose subject was to be found, as if the job said it. Its own keep box stays, where it has one."""
    change = {"subject": (subject.x, subject.y), "keep": asked.entry.keep or _corners(keep)}
    entry = asked.entry.model_copy(update=change)
    return replace(asked, entry=entry, requests=tuple(request_of(entry, one) for one in asked.requests))


def request_of(entry: FrameEntry, one: Request) -> Request:
    """Return a request with the subject and the keep box that the entry, or its own hand at this target, gives."""
    hands = _hands(entry, f"{one.outlet}/{one.name}")
    return replace(one, subject=_subject(entry, hands), keep=_keep(entry, hands))


def _hands(entry: FrameEntry, name: str) -> list[CropHand]:
    return [hand for hand in entry.crops if fnmatch.fnmatchcase(name, hand.target)]


def _subject(entry: FrameEntry, hands: Sequence[CropHand]) -> Point:
    said = _last([hand.subject for hand in hands]) or entry.subject
    return MIDDLE if said == "auto" else _point(said)


def _keep(entry: FrameEntry, hands: Sequence[CropHand]) -> Region | None:
    return _region(_last([hand.keep for hand in hands]) or entry.keep)


def _corners(region: Region | None) -> KeepBox | None:
    return (region.left, region.top, region.right, region.bottom) if region else None


def _last(values: list[Any]) -> Any:  # noqa: ANN401 (the type of the list's items)
    return next((value for value in reversed(values) if value is not None), None)


def _point(pair: PointPair) -> Point:
    return Point(*pair)


def _region(box: KeepBox | None) -> Region | None:
    return Region(*box) if box else None


def files_named_twice(job: str, frames: Iterable[AskedFrame]) -> list[Fault]:
    """Return a fault for each frame whose file an earlier one has: what is delivered is known by its frame's file."""
    first: dict[str, AskedFrame] = {}
    faults = []
    for asked in frames:
        other = first.setdefault(os.path.normpath(asked.path), asked)
        if other is not asked:
            wanted = "list each picture once; where a target needs its own hand, write [[frames.crops]]"
            faults.append(Fault(job, f"this file is {other.place} already", wanted, f"{asked.place}: file"))
    return faults


def slugs_shared(job: str, frames: Iterable[AskedFrame]) -> list[Fault]:
    """Return a fault for each frame whose files would bear the same names as another's, case apart."""
    first: dict[str, AskedFrame] = {}
    faults = []
    for asked in frames:
        other = first.setdefault(asked.slug, asked)
        if other is not asked and os.path.normpath(other.path) != os.path.normpath(asked.path):
            found = f"its files would be named '{asked.slug}', as those of {other.place} are"
            faults.append(Fault(job, found, "give each frame a slug of its own", f"{asked.place}: slug"))
    return faults
