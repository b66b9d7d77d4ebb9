"""Read a job file and check it whole: every fault at once, or a `Job`."""

from __future__ import annotations

import fnmatch
import json
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, Literal

from pydantic import ValidationError

from pipeline.faults import Fault, RequestRefused
from pipeline.job.explain import explain, nearest
from pipeline.job.job import AskedFrame, Job, Request
from pipeline.job.model import FrameEntry, JobFile
from pipeline.job.outlets import join_outlets, override_targets, own_outlets, packaged_outlets, parse_toml
from pipeline.job.words import slugify
from pipeline.light.box import Point, Region

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.job.model import KeepBox, PointPair
    from pipeline.job.outlets import Outlet
    from pipeline.job.target import Target

JOB_BYTES = 4_000_000


def read_job(path: Path) -> Job:
    """Return the checked job. Raises `RequestRefused` with every fault of the file and of its profiles."""
    data = _load(path)
    faults: list[Fault] = []
    checked: JobFile | None = None
    try:
        checked = JobFile.model_validate_json(json.dumps(data, default=str))
    except ValidationError as error:
        faults.extend(explain(error, JobFile, path.name, data))
    outlets, targets = _outlets(path, data, faults)
    frames = [
        _frame(path, index, entry, _shoot_targets(data), outlets, targets, faults)
        for index, entry in enumerate(_sound_frames(data))
        if entry is not None
    ]
    faults.extend(_shared_slugs(path, frames))
    if faults or checked is None:
        raise RequestRefused(*faults)
    shoot = checked.shoot
    slug = slugify(shoot.slug or shoot.title) or slugify(path.stem) or "shoot"
    return Job(path, shoot, slug, checked.credit, checked.sponsor, checked.pixel_limit, tuple(frames))


def _load(path: Path) -> dict[str, Any]:
    try:
        if path.is_dir():
            raise RequestRefused(Fault(str(path), "this is a folder", "name the job file, such as job.toml in it"))
        if path.stat().st_size > JOB_BYTES:
            raise RequestRefused(Fault(str(path), "it is larger than 4 MB", "a job file is a short text; is this one?"))
        text = path.read_bytes()
    except FileNotFoundError:
        raise RequestRefused(
            Fault(str(path), "there is no such file", "name a job file; `plateline new FOLDER` writes one")
        ) from None
    except OSError as error:
        raise RequestRefused(Fault(str(path), f"it cannot be read ({error.strerror})", "make it readable")) from None
    data = parse_toml(text, path.name)
    if isinstance(data, Fault):
        raise RequestRefused(data)
    return data


def _sound_frames(data: dict[str, Any]) -> list[FrameEntry | None]:
    """Return each frame that is sound by itself, so that the cross-checks run beside the faults of others."""
    sound: list[FrameEntry | None] = []
    frames = data.get("frames")
    for entry in frames if isinstance(frames, list) else []:
        try:
            sound.append(FrameEntry.model_validate_json(json.dumps(entry, default=str)))
        except ValidationError:
            sound.append(None)
    return sound


def _shoot_targets(data: dict[str, Any]) -> tuple[str, ...]:
    shoot = data.get("shoot")
    targets = shoot.get("targets", []) if isinstance(shoot, dict) else []
    return tuple(name for name in targets if isinstance(name, str)) if isinstance(targets, list) else ()


def _outlets(path: Path, data: dict[str, Any], faults: list[Fault]) -> tuple[dict[str, Outlet], dict[str, Target]]:
    """Return the outlets that the job names, and all their targets with the job's changes."""
    folder = data.get("profiles_folder")
    own, own_faults = own_outlets(path.parent / folder, folder) if isinstance(folder, str) and folder else ([], [])
    known, join_faults = join_outlets(packaged_outlets(), own)
    faults.extend([*own_faults, *join_faults])
    asked = data.get("profiles")
    named: dict[str, Outlet] = {}
    for number, name in enumerate(asked if isinstance(asked, list) else [], start=1):
        if not isinstance(name, str):
            continue
        if name in known:
            named[name] = known[name]
        elif not own_faults:
            wanted = f"known outlets are {', '.join(known)}"
            faults.append(
                Fault(
                    path.name,
                    f"no outlet profile is called '{name}'",
                    wanted,
                    f"profiles[{number}]",
                    nearest(name, known),
                )
            )
    changes = data.get("targets")
    tables = (
        {key: value for key, value in changes.items() if isinstance(value, dict)} if isinstance(changes, dict) else {}
    )
    targets, target_faults = override_targets(named, tables, path.name)
    faults.extend(target_faults)
    return named, targets


def _frame(
    path: Path,
    index: int,
    entry: FrameEntry,
    shoot_targets: tuple[str, ...],
    outlets: dict[str, Outlet],
    targets: dict[str, Target],
    faults: list[Fault],
) -> AskedFrame:
    """Return a frame with its targets worked out; what is wrong with it is added to `faults`."""
    where = f"frames[{index + 1}] {entry.file}"
    file = path.parent / entry.file
    if not file.is_file():
        found = "this is a folder" if file.is_dir() else "there is no such file"
        close = nearest(file.name, _names_beside(file))
        shown = str(PurePath(entry.file).parent / close) if close else None
        faults.append(Fault(path.name, found, "file names a picture, seen from the job file's folder", where, shown))
    chosen: dict[str, None] = {}
    patterns = entry.targets if entry.targets is not None else shoot_targets
    for pattern in patterns:
        matched = fnmatch.filter(targets, pattern)
        if not matched:
            faults.append(_unknown_target(path.name, pattern, targets, f"{where}: targets"))
        chosen.update(dict.fromkeys(matched))
    if not patterns:
        faults.append(
            Fault(
                path.name, "it goes to no target", "give it targets, or the shoot targets that all frames share", where
            )
        )
    for number, hand in enumerate(entry.crops, start=1):
        if patterns and not fnmatch.filter(chosen, hand.target):
            faults.append(_unknown_target(path.name, hand.target, chosen, f"{where}: crops[{number}]: target"))
    requests = tuple(_request(entry, name, outlets, targets) for name in chosen)
    return AskedFrame(entry, file, slugify(entry.slug or PurePath(entry.file).stem) or f"frame-{index + 1}", requests)


def _shared_slugs(path: Path, frames: list[AskedFrame]) -> list[Fault]:
    """Return a fault for each frame whose files would bear the same names as another's."""
    first: dict[str, AskedFrame] = {}
    faults = []
    for asked in frames:
        other = first.setdefault(asked.slug, asked)
        if other is not asked:
            found = f"its files would be named '{asked.slug}', as those of {other.entry.file} are"
            faults.append(
                Fault(path.name, found, "give each frame a slug of its own", f"frames {asked.entry.file}: slug")
            )
    return faults


def _names_beside(file: Path) -> list[str]:
    try:
        return sorted(other.name for other in file.parent.iterdir())
    except OSError:
        return []


def _unknown_target(file: str, pattern: str, known: dict[str, Any], where: str) -> Fault:
    wanted = f"known here are {', '.join(known)}" if len(known) <= 8 else "`plateline targets` lists them all"
    return Fault(file, f"no target is called '{pattern}'", wanted or "none is known", where, nearest(pattern, known))


def _request(entry: FrameEntry, name: str, outlets: dict[str, Outlet], targets: dict[str, Target]) -> Request:
    outlet, key = name.split("/")
    hands = [hand for hand in entry.crops if fnmatch.fnmatchcase(name, hand.target)]
    own_anchor = _last([hand.anchor for hand in hands])
    anchor: Literal["thirds", "centre"] | PointPair = own_anchor or targets[name].anchor
    return Request(
        outlet=outlet,
        name=key,
        target=targets[name],
        name_template=outlets[outlet].profile.name,
        subject=_point(_last([hand.subject for hand in hands]) or entry.subject),
        keep=_region(_last([hand.keep for hand in hands]) or entry.keep),
        anchor=_point(anchor) if isinstance(anchor, tuple) else anchor,
        anchor_by_hand=own_anchor is not None,
    )


def _last(values: list[Any]) -> Any:  # noqa: ANN401 (the type of the list's items)
    return next((value for value in reversed(values) if value is not None), None)


def _point(pair: PointPair) -> Point:
    return Point(*pair)


def _region(box: KeepBox | None) -> Region | None:
    return Region(*box) if box else None
