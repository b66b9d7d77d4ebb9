"""Outlet profiles: those that ship with plateline, and a folder of her own."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from pipeline.faults import Fault
from pipeline.job.explain import explain, nearest
from pipeline.job.target import OutletProfile, Target

if TYPE_CHECKING:
    from collections.abc import Mapping
    from importlib.resources.abc import Traversable
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class Outlet:
    """An outlet profile and the place it was read from (a file name fit to show)."""

    profile: OutletProfile
    place: str


def parse_toml(text: bytes, place: str) -> dict[str, Any] | Fault:
    """Return the tables of a TOML file, or the one fault that stops reading it."""
    try:
        return tomllib.loads(text.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        return Fault(place, f"byte {error.start + 1} is not UTF-8", "save the file as UTF-8 text")
    except tomllib.TOMLDecodeError as error:
        return Fault(place, f"it is not valid TOML: {error}", "mend that line")
    except RecursionError:
        return Fault(place, "its tables are nested too deeply to read", "write it flat, as the examples are")


def _read(entry: Traversable | Path, place: str) -> Outlet | list[Fault]:
    data = parse_toml(entry.read_bytes(), place)
    if isinstance(data, Fault):
        return [data]
    try:
        return Outlet(OutletProfile.model_validate_json(json.dumps(data, default=str)), place)
    except ValidationError as error:
        return explain(error, OutletProfile, place, data)


def packaged_outlets() -> dict[str, Outlet]:
    """Return the outlet profiles that ship with plateline, by outlet name. They are tested to be whole."""
    found: dict[str, Outlet] = {}
    for entry in sorted(files("pipeline.profiles").iterdir(), key=lambda entry: entry.name):
        if entry.name.endswith(".toml"):
            outlet = _read(entry, f"{entry.name} (ships with plateline)")
            if isinstance(outlet, list):
                raise AssertionError("\n".join(map(str, outlet)))
            found[outlet.profile.outlet] = outlet
    return found


def own_outlets(folder: Path, shown: str) -> tuple[list[Outlet], list[Fault]]:
    """Return the outlet profiles in a folder of her own, and what is wrong in it. `shown` is its name in the job."""
    if not folder.is_dir():
        return [], [Fault(shown, "there is no such folder", "profiles_folder names a folder beside the job file")]
    outlets: list[Outlet] = []
    faults: list[Fault] = []
    for entry in sorted(folder.glob("*.toml")):
        try:
            outlet = _read(entry, f"{shown}/{entry.name}")
        except OSError as error:
            outlet = [Fault(f"{shown}/{entry.name}", f"it cannot be read ({error.strerror})", "make it readable")]
        if isinstance(outlet, list):
            faults.extend(outlet)
        else:
            outlets.append(outlet)
    return outlets, faults


def join_outlets(packaged: Mapping[str, Outlet], own: list[Outlet]) -> tuple[dict[str, Outlet], list[Fault]]:
    """Return all outlets by name; a name found twice is a fault that shows both places."""
    joined = dict(packaged)
    faults: list[Fault] = []
    for outlet in own:
        name = outlet.profile.outlet
        if name in joined:
            faults.append(
                Fault(
                    outlet.place,
                    f"the outlet '{name}' is also in {joined[name].place}",
                    'rename one of them; to change single targets, write [targets."outlet/target"] in the job',
                    "outlet",
                )
            )
        else:
            joined[name] = outlet
    return joined, faults


def override_targets(
    outlets: Mapping[str, Outlet], changes: Mapping[str, Mapping[str, Any]], file: str
) -> tuple[dict[str, Target], list[Fault]]:
    """Return every target by `outlet/target`, with the job's changes laid over the profiles' values.

    A name that no profile has makes a new target at a known outlet when it is whole.
    """
    targets = {
        f"{name}/{key}": target for name, outlet in outlets.items() for key, target in outlet.profile.targets.items()
    }
    faults: list[Fault] = []
    for name, change in changes.items():
        where = f'targets."{name}"'
        if name.partition("/")[0] not in outlets or name.count("/") != 1:
            faults.append(
                Fault(file, "no outlet profile has this target", "write outlet/target", where, nearest(name, targets))
            )
            continue
        base = targets[name].model_dump(mode="json", exclude_unset=True) if name in targets else {}
        merged = {**base, **{key: value for key, value in change.items() if value is not None}}
        try:
            targets[name] = Target.model_validate_json(json.dumps(merged, default=str))
        except ValidationError as error:
            faults.extend(explain(error, Target, file, merged, where))
    return targets, faults
