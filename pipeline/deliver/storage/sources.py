"""What a job in storage is read from, and the frames that a job names in storage: brought to private copies first."""

from __future__ import annotations

from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from pipeline.deliver.storage.copies import Copies, copies
from pipeline.faults import Fault, RequestRefused
from pipeline.frames.sidecar import sidecar_places
from pipeline.job.kept_names import REPLIES
from pipeline.job.toml_file import parse_tables
from pipeline.job.url import has_password, is_url, parted, place_of, without_secrets

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pipeline.deliver.storage.store import Version


def brought_job(url: str) -> tuple[Path, dict[Path, str]]:
    """Bring a job in storage, and all that it draws on.

    Returns the copy of the job file, and the address of each copy that a frame may be read from. Raises
    `RequestRefused`.
    """
    folder, name = parted(url)
    if not name.endswith(".toml"):
        wanted = "name the job file itself, such as s3://bucket/shoot/job.toml"
        raise RequestRefused(Fault(without_secrets(url), "this is the address of no job file", wanted))
    with copies(folder) as here:
        version = here.store.version(name)
        if version is None:
            raise RequestRefused(Fault(without_secrets(url), "there is no such file", "name a TOML file that is there"))
        here.bring({name: version})
        job = here.files / name
        data = parse_tables(job.read_bytes(), without_secrets(url))
        if isinstance(data, Fault):
            raise RequestRefused(data)
        _refuse_outside(data, name)
        _bring_beside(here, data, name)
        origins = {here.files / file: f"{folder}/{file}" for file in _frame_files(data) if not is_url(file)}
    return job, origins | bring_frames(job, data)


def bring_frames_of(job: Path) -> dict[Path, str]:
    """Bring the frames that a job of this machine names in storage; return the address of each copy."""
    data = parse_tables(job.read_bytes(), str(job))
    return {} if isinstance(data, Fault) else bring_frames(job, data)


def bring_frames(job: Path, data: dict[str, Any]) -> dict[Path, str]:
    """Bring the frames that a job names in storage, with their sidecars; return the address of each copy.

    Raises `RequestRefused` with the fault of each that carries a password or is not there.
    """
    urls = [file for file in _frame_files(data) if is_url(file)]
    faults = [_secret(job.name, url) for url in urls if has_password(url)]
    if faults:
        raise RequestRefused(*faults)
    for folder in dict.fromkeys(parted(url)[0] for url in urls):
        bring_from(folder, [parted(url)[1] for url in urls if parted(url)[0] == folder])
    return {place_of(job, url): url for url in urls}


def bring_from(folder: str, names: Iterable[str]) -> None:
    """Bring files of a folder in storage, each with the sidecar that may lie beside it, those that are there."""
    with copies(folder) as here:
        for name in names:
            for one in _with_sidecars(name):
                version = here.store.version(one)
                here.bring({one: version}) if version else here.drop([one])


def _secret(job: str, url: str) -> Fault:
    wanted = "leave that out: a job is kept and passed on; put keys where the storage's own programs look for them"
    return Fault(job, "the address carries a password or a key", wanted, f"frames: file {without_secrets(url)}")


def _frame_files(data: dict[str, Any]) -> list[str]:
    frames = data.get("frames")
    entries = frames if isinstance(frames, list) else []
    found = (entry.get("file") for entry in entries if isinstance(entry, dict))
    return list(dict.fromkeys(file for file in found if isinstance(file, str)))


def _texts(data: dict[str, Any], key: str) -> list[str]:
    value = data.get(key)
    values = value.values() if isinstance(value, dict) else [value]
    return [one for one in values if isinstance(one, str)]


def _refuse_outside(data: dict[str, Any], job: str) -> None:
    """See that all a job in storage names lies in its own folder or below, or has an address of its own."""
    named = [
        *_frame_files(data),
        *(one for key in ("captions", "profiles_folder", "icc_profiles") for one in _texts(data, key)),
    ]
    out = [one for one in named if not is_url(one) and (one.startswith("/") or ".." in PurePosixPath(one).parts)]
    wanted = "put it beside the job or below, or name it by its own address"
    if out:
        raise RequestRefused(*(Fault(job, f"'{one}' lies outside the folder of the job", wanted) for one in out))


def _bring_beside(here: Copies, data: dict[str, Any], job: str) -> None:
    """Bring the frames, sidecars, words, profiles and replies beside a job; take away copies of what is gone."""
    there = here.store.versions()
    wanted = {job, *_texts(data, "captions"), *_texts(data, "icc_profiles")}
    wanted |= {one for file in _frame_files(data) for one in _with_sidecars(file)}
    folders = [*(f"{one.rstrip('/')}/" for one in _texts(data, "profiles_folder")), f"{REPLIES}/"]
    wanted = {str(PurePosixPath(one)) for one in wanted}
    wanted |= {name for name in there for folder in folders if name.startswith(folder)}
    here.drop((here.here() | set(here.known)) - (wanted & set(there)))
    here.bring(_chosen(there, wanted))


def _chosen(there: dict[str, Version], wanted: Iterable[str]) -> dict[str, Version]:
    return {name: there[name] for name in sorted(wanted) if name in there}


def _with_sidecars(file: str) -> Iterator[str]:
    yield file
    yield from (str(place) for place in sidecar_places(Path(file)))
