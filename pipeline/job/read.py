"""Read a job file and check it whole: every fault at once, or a `Job`."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from pipeline.faults import Fault, RequestRefused
from pipeline.job.asked import Known, asked_frame, files_named_twice, slugs_shared
from pipeline.job.captions import with_captions
from pipeline.job.explain import explain, json_text, nearest
from pipeline.job.icc_profiles import asked_icc_profiles
from pipeline.job.inspection import asked_thresholds
from pipeline.job.job import Job
from pipeline.job.kept_names import FOR_OUTLET
from pipeline.job.model import FrameEntry, JobFile
from pipeline.job.outlets import join_outlets, override_targets, own_outlets, packaged_outlets
from pipeline.job.pairs import asked_pairs
from pipeline.job.toml_file import read_tables
from pipeline.job.words import slugify

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from pipeline.job.outlets import Outlet


def read_job(path: Path) -> Job:
    """Return the checked job. Raises `RequestRefused` with every fault of the file and of its profiles."""
    data = read_tables(path, str(path))
    if isinstance(data, Fault):
        raise RequestRefused(data)
    faults: list[Fault] = []
    checked: JobFile | None = None
    try:
        checked = JobFile.model_validate_json(json_text(data))
    except ValidationError as error:
        faults.extend(explain(error, JobFile, path.name, data))
    known = _known(path, data, faults)
    shared = _shoot_targets(data)
    entries = with_captions(path, data, list(_frames(data)), faults)
    frames = [asked_frame(path, number, entry, shared, known, faults) for number, entry in entries]
    faults.extend(files_named_twice(path.name, frames))
    faults.extend(slugs_shared(path.name, frames))
    pairs = asked_pairs(path.name, data, frames, known, faults)
    requests = [request for frame in frames for request in frame.requests]
    requests += [first for pair in pairs for first, _ in pair.requests]
    icc_profiles = asked_icc_profiles(path, data, requests, faults)
    thresholds = asked_thresholds(path.name, data, faults)
    slug = _slug(path, checked, known, faults)
    if faults or checked is None:
        raise RequestRefused(*faults)
    shoot = checked.shoot
    return Job(
        path,
        shoot,
        slug,
        checked.site,
        checked.credit,
        checked.sponsor,
        checked.pixel_limit,
        tuple(frames),
        _beside(path, checked),
        pairs,
        icc_profiles,
        thresholds,
        path.parent / checked.profiles_folder if checked.profiles_folder else None,
    )


def _slug(path: Path, checked: JobFile | None, known: Known, faults: list[Fault]) -> str:
    """Return the shoot's slug. One that would write her sheet under the name of an outlet's is added to `faults`."""
    if checked is None:
        return ""
    shoot = checked.shoot
    slug = slugify(shoot.slug or shoot.title) or slugify(path.stem) or "shoot"
    if (outlet := slug.removeprefix(FOR_OUTLET)) in known.outlets and outlet != slug:
        found = f"this shoot is called '{slug}', which is what the contact sheet for the outlet '{outlet}' is called"
        faults.append(Fault(path.name, found, "give the shoot another slug", "shoot: slug"))
    return slug


def _beside(path: Path, checked: JobFile) -> tuple[Path, ...]:
    """Return the files beside the job that it draws on."""
    table = [path.parent / checked.captions] if checked.captions else []
    own = sorted((path.parent / checked.profiles_folder).glob("*.toml")) if checked.profiles_folder else []
    return (*table, *own, *(path.parent / file for file in checked.icc_profiles.values()))


def _frames(data: dict[str, Any]) -> Iterator[tuple[int, FrameEntry]]:
    """Yield each frame with its number, as far as it is sound: what is not has its faults, the rest is judged too."""
    frames = data.get("frames")
    for number, entry in enumerate(frames if isinstance(frames, list) else [], start=1):
        try:
            yield number, FrameEntry.model_validate_json(json_text(entry))
        except ValidationError as error:
            spoiled = {detail["loc"][0] for detail in error.errors() if detail["loc"]}
            if isinstance(entry, dict) and not spoiled & {"file", "targets"}:
                sound = {key: value for key, value in entry.items() if key not in spoiled}
                yield number, FrameEntry.model_validate_json(json_text({"subject": [0.5, 0.5], **sound}))


def _shoot_targets(data: dict[str, Any]) -> tuple[str, ...] | None:
    """Return what the shoot's frames share; None where that is at fault itself."""
    shoot = data.get("shoot", {})
    targets = shoot.get("targets", []) if isinstance(shoot, dict) else None
    if not isinstance(targets, list) or not all(isinstance(name, str) for name in targets):
        return None
    return tuple(targets)


def _known(path: Path, data: dict[str, Any], faults: list[Fault]) -> Known:
    """Return the outlets that the job names, and all their targets with the job's changes."""
    folder = data.get("profiles_folder")
    own: list[Outlet] = []
    own_faults: list[Fault] = []
    if isinstance(folder, str) and folder and "\0" not in folder:
        own, own_faults = own_outlets(path.parent / folder, folder)
        own_faults = [_in_job(fault, path.name, folder) for fault in own_faults]
    outlets, join_faults = join_outlets(packaged_outlets(), own)
    faults.extend([*own_faults, *join_faults])
    named, whole = _named(path.name, data.get("profiles"), outlets, faults, own_whole=not own_faults)
    changes = data.get("targets", {})
    tables = changes if isinstance(changes, dict) else {}
    sound = {key: change for key, change in tables.items() if isinstance(change, dict)}
    targets, target_faults = override_targets(named if whole else outlets, sound, path.name, whole=whole)
    faults.extend(target_faults)
    return Known(
        outlets=named,
        targets={name: target for name, target in targets.items() if name.partition("/")[0] in named},
        elsewhere=tuple(f"{name}/{key}" for name, outlet in outlets.items() for key in outlet.profile.targets),
        spoiled=tuple(tables),
        outlets_whole=whole,
    )


def _in_job(fault: Fault, job: str, folder: str) -> Fault:
    """Return a fault of the folder of profiles itself as one of the key that names it; others as they are."""
    return replace(fault, file=job, where=f"profiles_folder {folder}") if fault.file == folder else fault


def _named(
    file: str, asked: object, known: dict[str, Outlet], faults: list[Fault], *, own_whole: bool
) -> tuple[dict[str, Outlet], bool]:
    """Return the outlets that the job names, and whether that is all of them, so that their targets can be judged."""
    named: dict[str, Outlet] = {}
    whole = own_whole and isinstance(asked, list) and bool(asked)
    for number, name in enumerate(asked if isinstance(asked, list) else [], start=1):
        if isinstance(name, str) and name in known:
            named[name] = known[name]
            continue
        whole = False
        if isinstance(name, str) and own_whole:
            found, wanted = f"no outlet is called '{name}'", f"the outlets are {', '.join(known)}"
            faults.append(Fault(file, found, wanted, f"profiles[{number}]", nearest(name, known)))
    return named, whole
