"""Outlet profiles: those that ship with plateline, and a folder of her own."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from pipeline.faults import Fault
from pipeline.job.explain import explain, json_text, key_text, nearest
from pipeline.job.target import OutletProfile, Target
from pipeline.job.toml_file import parse_tables, read_tables
from pipeline.job.words import BARE_NAME

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class Outlet:
    """An outlet profile and the place it was read from (a file name fit to show)."""

    profile: OutletProfile
    place: str


def _checked(tables: dict[str, Any] | Fault, place: str) -> Outlet | list[Fault]:
    if isinstance(tables, Fault):
        return [tables]
    try:
        return Outlet(OutletProfile.model_validate_json(json_text(tables)), place)
    except ValidationError as error:
        return explain(error, OutletProfile, place, tables)


def packaged_outlets() -> dict[str, Outlet]:
    """Return the outlet profiles that ship with plateline, by outlet name. They are tested to be whole."""
    found: dict[str, Outlet] = {}
    for entry in sorted(files("pipeline.profiles").iterdir(), key=lambda entry: entry.name):
        if entry.name.endswith(".toml"):
            place = f"{entry.name} (ships with plateline)"
            outlet = _checked(parse_tables(entry.read_bytes(), place), place)
            if isinstance(outlet, list):
                raise AssertionError("\n".join(map(str, outlet)))
            found[outlet.profile.outlet] = outlet
    return found


def own_outlets(folder: Path, shown: str) -> tuple[list[Outlet], list[Fault]]:
    """Return the outlet profiles in a folder of her own, and what is wrong in it. `shown` is how she wrote it."""
    try:
        entries = sorted(entry for entry in folder.iterdir() if _is_profile(entry.name))
    except FileNotFoundError:
        return [], [Fault(shown, "there is no such folder", "name a folder of outlet profiles that is there")]
    except NotADirectoryError:
        return [], [Fault(shown, "this is a file, not a folder", "name a folder of outlet profiles")]
    except (OSError, ValueError) as error:  # a ValueError where the name itself holds a NUL
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        return [], [Fault(shown, f"it cannot be read ({reason.lower()})", "name a folder of outlet profiles")]
    if not entries:
        return [], [Fault(shown, "no .toml file is in this folder", "put your outlet profiles in it, one file each")]
    read = [_checked(read_tables(entry, f"{shown}/{entry.name}"), f"{shown}/{entry.name}") for entry in entries]
    outlets = [outlet for outlet in read if isinstance(outlet, Outlet)]
    return outlets, [fault for faults in read if isinstance(faults, list) for fault in faults]


def _is_profile(name: str) -> bool:
    """Return whether a file in a folder of profiles is one; hidden files are what an operating system leaves there."""
    return name.lower().endswith(".toml") and not name.startswith(".")


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
    outlets: Mapping[str, Outlet], changes: Mapping[str, Mapping[str, Any]], file: str, *, whole: bool = True
) -> tuple[dict[str, Target], list[Fault]]:
    """Return every target by `outlet/target`, with the job's changes laid over the profiles' values.

    A name that no profile has makes a new target at a named outlet when it is whole. Where `outlets` is not
    `whole`, a change at an outlet that is not among them is passed over.
    """
    targets = {
        f"{name}/{key}": target for name, outlet in outlets.items() for key, target in outlet.profile.targets.items()
    }
    known = list(targets)
    faults: list[Fault] = []
    for name, change in changes.items():
        where = f"targets.{key_text(name)}"
        outlet, slash, key = name.partition("/")
        if not slash:
            wanted = 'write outlet/target in quotes, such as [targets."blog/hero"]'
            faults.append(Fault(file, f"'{name}' names no target", wanted, where, nearest(name, known)))
            continue
        if outlet not in outlets:
            found = f"no outlet that this job names is called '{outlet}'"
            wanted = f"write outlet/target, with one of {', '.join(outlets)}"
            if whole:
                faults.append(Fault(file, found, wanted, where, nearest(name, known)))
            continue
        if not BARE_NAME.fullmatch(key):
            wanted = "the part after the / is made of a-z, 0-9 and single hyphens, at most 30 letters"
            faults.append(Fault(file, f"'{key}' is no name for a target", wanted, where, nearest(name, known)))
            continue
        base = targets[name].model_dump(mode="json", exclude_unset=True) if name in targets else {}
        merged = _laid_over(_without_quality(_without_other_sizes(base, change), change), change)
        try:
            targets[name] = Target.model_validate_json(json_text(merged))
        except ValidationError as error:
            faults.extend(explain(error, Target, file, merged, where))
    return targets, faults


SIZES = {
    "ratio": ("ratio", "widths"),
    "widths": ("ratio", "widths"),
    "size_px": ("size_px",),
    "size_mm": ("size_mm", "bleed_mm", "safe_mm", "side", "ppi_floor"),
}


def _without_other_sizes(base: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """Return a profile's target without its own way of saying the size, where a change says it in another way."""
    said = [SIZES[key] for key in SIZES if key in change]
    dropped = {key for way in SIZES.values() if said and way not in said for key in way}
    return {key: value for key, value in base.items() if key not in dropped}


def _without_quality(base: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """Return a profile's target without its quality, where a change says how it is to be found."""
    finds = {"bytes_max", "fidelity"} & change.keys()
    return {key: value for key, value in base.items() if not (finds and key == "quality")}


def _laid_over(base: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """Return the base with every key of the change; where both hold a table, its keys are laid over each other."""
    merged = dict(base)
    for key, value in change.items():
        below = merged.get(key)
        merged[key] = _laid_over(below, value) if isinstance(below, dict) and isinstance(value, dict) else value
    return merged
