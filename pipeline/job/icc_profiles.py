"""The ICC profiles that a job names: read, bounded, and checked to be fit for what its targets ask of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.faults import Fault
from pipeline.job.colours import carried
from pipeline.job.explain import key_text, nearest
from pipeline.job.plain_words import NOT_IN_XML
from pipeline.light.colour_names import BUILT_IN

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from pipeline.job.job import Request
    from pipeline.light.icc_output import OutputProfile
    from pipeline.light.icc_tables import Intent

# Of one profile: readers of JPEG that stop at 100 segments still find it whole. The largest in use have a few megabytes
# (common practice, no source).
MOST_BYTES = 6 << 20


def asked_icc_profiles(
    job: Path, data: Mapping[str, object], requests: Iterable[Request], faults: list[Fault]
) -> tuple[tuple[str, bytes], ...]:
    """Return the profiles that can be used, with the job's names for them; what is wrong is added to `faults`.

    That is what is wrong with the table itself, and with the colours of the targets that are asked for.
    """
    table = data.get("icc_profiles", {})
    named: Mapping[str, object] = table if isinstance(table, dict) else {}
    profiles = _read_all(job, named, faults)
    faults.extend(_colour_faults(job.name, requests, named, profiles))
    return tuple(profiles.items())


def _read_all(job: Path, named: Mapping[str, object], faults: list[Fault]) -> dict[str, bytes]:
    found: dict[str, bytes] = {}
    for name, file in named.items():
        where = f"icc_profiles: {key_text(name)}"
        if name in BUILT_IN:
            wanted = "give the profile another name"
            faults.append(Fault(job.name, f"'{name}' is a colour of plateline's own", wanted, where))
        elif isinstance(file, str) and file and not NOT_IN_XML.search(file):  # else it has its fault already
            try:
                found[name] = _read(job.parent / file)
            except _Unfit as unfit:
                faults.append(Fault(job.name, *unfit.words, f"{where} {file}", unfit.nearest))
    return found


class _Unfit(Exception):  # noqa: N818 (it is what was found)
    """A file that is no profile to convert into: what was found, what would be right, and perhaps a file beside it."""

    def __init__(self, found: str, wanted: str, near: str | None = None) -> None:
        super().__init__(found)
        self.words = found, wanted
        self.nearest = near


def _read(file: Path) -> bytes:
    wanted = "name an ICC profile (.icc), as seen from the job file's folder"
    try:
        if not file.is_file():
            raise _Unfit("this is a folder" if file.is_dir() else "there is no such file", wanted, _beside(file))
        with file.open("rb") as stream:
            profile = stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise _Unfit(f"it cannot be read ({(error.strerror or str(error)).lower()})", wanted) from None
    if len(profile) > MOST_BYTES:
        raise _Unfit(f"it is larger than {MOST_BYTES >> 20} MB; no profile of a press or screen is", wanted)
    stated = int.from_bytes(profile[:4], "big") if profile[36:40] == b"acsp" else len(profile)
    if len(profile) < stated:
        raise _Unfit(f"it is cut short: {len(profile)} of its {stated} bytes are there", "copy it once more")
    profile = profile[:stated]  # what follows is none of it
    try:
        _understood(profile)
    except ValueError as error:
        raise _Unfit(
            f"it cannot be what pictures are written in: {error}",
            "ask the printer for the ICC profile of the press and paper",
        ) from None
    return profile


def _understood(profile: bytes, intent: Intent = "relative") -> OutputProfile:
    from pipeline.light.icc_output import read_output_profile  # noqa: PLC0415 (numpy; few jobs name a profile)

    return read_output_profile(profile, intent)


def _beside(file: Path) -> str | None:
    try:
        return nearest(file.name, sorted(entry.name for entry in file.parent.iterdir() if entry.is_file()))
    except OSError:
        return None


def _colour_faults(
    job: str, requests: Iterable[Request], known: Mapping[str, object], profiles: Mapping[str, bytes]
) -> Iterator[Fault]:
    """Yield what is wrong with the colours of targets; a name that is `known` and no profile has its fault already."""
    asked = {f"{request.outlet}/{request.name}": request for request in requests}
    for name, request in asked.items():
        where = f"targets.{key_text(name)}"
        colour = request.target.colour
        if colour in profiles:
            for sentence in _unfit_for(request, profiles[colour]):
                found, _, wanted = sentence.partition("; ")
                yield Fault(job, found, wanted, where)
        elif colour not in BUILT_IN and colour not in known:
            listed = ", ".join([*BUILT_IN, *sorted(known)])
            wanted = f"the colours are {listed}; name a profile of your own in [icc_profiles]"
            close = nearest(colour, [*BUILT_IN, *known])
            yield Fault(job, f"no colour is called '{colour}'", wanted, f"{where}: colour", close)


def _unfit_for(request: Request, profile: bytes) -> Iterator[str]:
    from pipeline.light.icc_output import GreyProfile, TableProfile  # noqa: PLC0415 (as above)

    intent = request.target.intent
    try:
        understood = _understood(profile, intent)
    except ValueError as error:  # its other tables were read already
        yield f'its profile has no sound tables for intent = "{intent}" ({error}); leave intent out'
        return
    tables = isinstance(understood, TableProfile)
    channels = understood.channels if isinstance(understood, TableProfile) else 3
    yield from carried(request.target, 1 if isinstance(understood, GreyProfile) else channels, tables=tables)
