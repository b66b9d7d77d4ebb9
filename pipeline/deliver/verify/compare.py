"""One file held against what was delivered: its picture, its profile, each field in each container."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from pipeline.deliver.verify.expect import FIELDS, Expected, expected
from pipeline.deliver.verify.findings import Cell, Finding
from pipeline.deliver.verify.private import FURNITURE, foreign_data, private_data

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.deliver.verify.delivered import Delivered
    from pipeline.deliver.verify.expect import Container
    from pipeline.deliver.verify.read_back import ReadBack

_SHOWN_LETTERS = 70
_RATIONAL_TOLERANCE = Fraction(1, 10_000)
# JFIF has whole numbers; PNG has whole pixels a metre, so half of one is 0.0127 ppi.
_PPI_TOLERANCE = {"jpeg": Fraction(1, 2), "png": Fraction(2, 100)}
_TRUE_DIGEST = "that of the datasets"
_DIGESTS = {"true": _TRUE_DIGEST, "false": "that of other datasets", "absent": None}


@dataclass(frozen=True, slots=True)
class Comparison:
    """What is wrong with one file, and every field that was compared."""

    findings: tuple[Finding, ...]
    cells: tuple[Cell, ...]


def compare(file: Delivered, path: str, sha256: str, read: ReadBack) -> Comparison:
    """Return all differences between a file as it was delivered and as it stands at `path`."""
    findings = [*_picture(file, path, read), *_profile(file, path, read)]
    wanted = expected(replace(file, format=read.format))
    found = tuple((one, _held(one, read)) for one in wanted)
    found += tuple(_container_facts(file, read))
    bare = _stripped(found)
    if bare:
        findings.append(_stripped_finding(path, bare))
    same_file = sha256 == file.sha256
    cells = []
    for one, value in found:
        same = _same(one, value)
        if one.value is not None or value is not None:
            cells.append(Cell(path, one.field, one.container, same))
        if not same and one.container not in bare:
            findings += _field_findings(one, value, path, same_file=same_file)
    findings += [
        Finding("private", path, f"it holds {what}", "nothing private was delivered; do not pass it on")
        for what in private_data(read)
    ]
    if file.facts is not None:
        known = {one.name for one in wanted}
        findings += [
            Finding("foreign", path, f"it holds {what}", "that was not delivered") for what in foreign_data(read, known)
        ]
    if not findings and not same_file:
        findings.append(
            Finding("rewritten", path, "its bytes are others", "its picture, profile and every field are as delivered")
        )
    return Comparison(tuple(findings), tuple(cells))


def _picture(file: Delivered, path: str, read: ReadBack) -> Iterator[Finding]:
    if read.format != file.format:
        yield Finding("format", path, f"it is a file of the format {read.format}", f"{file.format} was delivered")
    if read.size != file.size:
        found = f"it has {read.size.width} x {read.size.height} pixels"
        yield Finding("size", path, found, f"{file.size.width} x {file.size.height} were delivered")
    elif read.channels != file.channels:
        found = f"its pixels are {_kind(read.channels)} now"
        yield Finding("pixels", path, found, f"{_kind(file.channels)} was delivered; use the delivered file")
    elif read.format == file.format and file.picture_sha256 not in {None, read.picture_sha256}:
        found = "its pixels were changed or compressed anew"
        yield Finding("pixels", path, found, "its picture data is not what was delivered; use the delivered file")


def _kind(channels: int) -> str:
    return {1: "grey", 3: "RGB", 4: "CMYK"}.get(channels, f"of {channels} channels")


def _profile(file: Delivered, path: str, read: ReadBack) -> Iterator[Finding]:
    if read.icc_profile is None:
        wanted = "without it other programs guess its colours; use the delivered file"
        yield Finding("profile", path, "its colour profile was removed", wanted)
    elif hashlib.sha256(read.icc_profile).hexdigest() != file.icc_profile_sha256:
        yield Finding("profile", path, "its colour profile is another one", "it must have the one that was delivered")


def _held(one: Expected, read: ReadBack) -> Any:  # noqa: ANN401 (whatever the container has in that place)
    """Return what stands in a field's place; None for nothing."""
    match one.container:
        case "Exif":
            return read.exif.get(one.name)
        case "IIM":
            return read.iim.get(one.name)
        case _:
            value = read.xmp.get(one.name)
            if isinstance(one.value, str) and isinstance(value, Mapping):  # some write a text as alternatives
                return value.get("x-default", value)
            return value


def _container_facts(file: Delivered, read: ReadBack) -> Iterator[tuple[Expected, Any]]:
    """Give what the container states beside the metadata: its resolution, and whether the digest of IIM is true."""
    if read.format in _PPI_TOLERANCE and (read.format, read.channels) != ("jpeg", 4):  # JFIF has no CMYK
        ppi = Fraction(file.ppi).limit_denominator(10_000)
        near = read.ppi is not None and abs(read.ppi - ppi) <= _PPI_TOLERANCE[read.format]
        stated = None if read.ppi is None else (read.ppi,)
        yield Expected("resolution", "file", read.format, (ppi,)), (ppi,) if near else stated
    if file.facts is not None and read.format in {"jpeg", "tiff"}:
        yield Expected("digest", "IIM", "digest", _TRUE_DIGEST), _DIGESTS[read.iim_digest]


def _same(one: Expected, found: Any) -> bool:  # noqa: ANN401 (as _held)
    if found is None:
        return one.value is None or one.optional
    numbers = one.value
    if (
        isinstance(numbers, tuple)
        and isinstance(found, tuple)
        and len(numbers) == len(found) == 1
        and isinstance(numbers[0], Fraction)
        and isinstance(found[0], Fraction)
    ):
        return abs(numbers[0] - found[0]) <= abs(numbers[0]) * _RATIONAL_TOLERANCE
    return bool(found == numbers)


# Stripped


def _stripped(found: tuple[tuple[Expected, Any], ...]) -> frozenset[Container]:
    """Return the containers in which something was delivered and nothing is left; of all, the file's header too."""
    delivered = _delivered(found)
    left = {one.container for one, value in found if value is not None and one.name not in FURNITURE}
    return delivered - left if delivered & left else delivered | {"file"}


def _delivered(found: tuple[tuple[Expected, Any], ...]) -> frozenset[Container]:
    return frozenset(one.container for one, _ in found if one.value is not None and one.container != "file")


def _stripped_finding(path: str, bare: frozenset[Container]) -> Finding:
    names = [name for name in ("Exif", "IIM", "XMP") if name in bare]
    listed = " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
    verb = "were" if len(names) > 1 else "was"
    if "file" in bare:
        return Finding("stripped", path, "all its metadata was stripped", f"{listed} {verb} delivered")
    return Finding("stripped", path, f"its {listed} {verb} stripped", "it was delivered with it")


# Fields


def _field_findings(one: Expected, value: Any, path: str, *, same_file: bool) -> Iterator[Finding]:  # noqa: ANN401
    """Give one finding for each part of a field that differs: a language, a field of a structure, or all of it."""
    parts: dict[str | None, tuple[Any, Any]] = {None: (one.value, value)}
    if isinstance(one.value, Mapping) and isinstance(value, Mapping):
        parts = {
            name: (one.value.get(name), value.get(name))
            for name in dict.fromkeys((*one.value, *value))
            if one.value.get(name) != value.get(name)
        }
    if one.field == "digest":
        told = "it is not that of the datasets" if value else "it is not there"
        yield Finding("field", path, told, "another program wrote IIM", "digest", "IIM", None, "digest in IIM")
        return
    for part, (delivered, found) in parts.items():
        container = "the file" if one.container == "file" else one.container
        where = f"{FIELDS[one.field]} in {container}" + (f" ({part})" if part else "")
        told = "it is not there" if found is None else f"found {_shown(found)}"
        if same_file:
            wanted = f"the job says {_shown(delivered)}" if delivered is not None else "the job says nothing of it"
            yield Finding("stale", path, told, f"{wanted}; export again", one.field, one.container, part, where)
        else:
            wanted = f"{_shown(delivered)} was delivered" if delivered is not None else "nothing was delivered there"
            yield Finding("field", path, told, wanted, one.field, one.container, part, where)


def _shown(value: Any) -> str:  # noqa: ANN401 (as _held)
    """Return a value in quotes, of a long one the beginning."""
    text = _plain(value)
    return f"'{text[:_SHOWN_LETTERS]}…'" if len(text) > _SHOWN_LETTERS else f"'{text}'"


def _plain(value: Any) -> str:  # noqa: ANN401 (as _held)
    if isinstance(value, Mapping):
        return "; ".join(f"{name.rpartition(':')[2]}: {_plain(one)}" for name, one in value.items())
    if isinstance(value, tuple):
        return "; ".join(_plain(one) for one in value)
    if isinstance(value, Fraction) and value.denominator > 1:
        return f"{float(value):.6g}"
    return str(value)
