"""A delivered folder held against its manifest, file by file."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from pipeline.deliver.verify.compare import compare
from pipeline.deliver.verify.delivered import MANIFEST, read_manifest
from pipeline.deliver.verify.findings import Cell, Finding, Report
from pipeline.deliver.verify.folder import PICTURES, pair
from pipeline.deliver.verify.private import private_data
from pipeline.deliver.verify.readers import read_back, read_file
from pipeline.deliver.verify.second_reader import consult
from pipeline.faults import Fault, RequestRefused
from pipeline.job.explain import nearest
from pipeline.job.kept_names import SET_ASIDE
from pipeline.ledger.book import read_made

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from pipeline.deliver.verify.delivered import Delivered
    from pipeline.deliver.verify.folder import Paired
    from pipeline.ledger.made import Made


def verify(folder: Path, against: Path | None = None, outlet: str | None = None) -> Report:
    """Return every difference between a folder and a manifest, its own or another one. Writes nothing.

    Held against another one, a folder may be laid out in its own way: only the names of files count. With an
    `outlet` its files alone are judged, and what lies in its own folders.
    Raises `RequestRefused` where there is no folder, no manifest that can be read, or no such outlet in it.
    """
    manifest = against or folder / MANIFEST
    delivered = read_manifest(manifest) if folder.is_dir() or against else ()
    paired = pair(folder, delivered)
    if outlet is not None:
        paired = _of_outlet(paired, outlet, manifest, everywhere=against is not None)
    return judge(folder, paired, elsewhere_is_well=against is not None)


def _of_outlet(paired: Paired, outlet: str, manifest: Path, *, everywhere: bool) -> Paired:
    """Return what of a folder is an outlet's. In a folder that came back every other file is looked at (`everywhere`).

    Raises `RequestRefused` where the manifest has no such outlet.
    """
    known = list(dict.fromkeys(file.outlet for file, _ in paired.pairs))
    if outlet not in known:
        wanted = f"its outlets are {', '.join(known)}" if known else "it lists no file at all: export first"
        raise RequestRefused(
            Fault(str(manifest), f"no file in it is for '{outlet}'", wanted, nearest=nearest(outlet, known))
        )
    mine = f"{outlet}/"
    return replace(
        paired,
        pairs=tuple((file, path) for file, path in paired.pairs if file.outlet == outlet),
        extra=tuple(path for path in paired.extra if everywhere or path.startswith(mine)),
        own=tuple(path for path in paired.own if path.startswith(f"sheet/for-{outlet}/")),
        odd=tuple(path for path in paired.odd if everywhere or path.startswith(mine)),
    )


def judge(folder: Path, paired: Paired, *, elsewhere_is_well: bool) -> Report:
    """Return every difference of the files of a folder that were found. `elsewhere_is_well`: folders do not count."""
    findings: list[Finding] = []
    cells: list[Cell] = []
    elsewhere = 0
    seen: list[tuple[Delivered, str, Path]] = []
    for file, path in paired.pairs:
        if path is None:
            findings += _missing(file, paired)
            continue
        if path != file.path:
            moved = PurePosixPath(path).name == PurePosixPath(file.path).name
            if moved and elsewhere_is_well:
                elsewhere += 1
            else:
                found = f"it was {'moved' if moved else 'renamed'}"
                findings.append(Finding("renamed", path, found, f"it was delivered as {file.path}"))
        try:
            data = read_file(folder / path)
            read = read_back(data)
        except (OSError, ValueError) as error:
            reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
            findings.append(Finding("unreadable", path, f"it cannot be read ({reason})", "use the delivered file"))
            continue
        compared = compare(file, path, hashlib.sha256(data).hexdigest(), read)
        findings += compared.findings
        cells += compared.cells
        seen.append((file, path, folder / path))
    findings += _extras(paired, _made_earlier(folder))
    findings += _beside(folder, paired)
    asked, more = consult(seen, _known(findings)) if seen else ("", [])
    files = tuple(path for _, path, _ in seen)
    return Report(len(paired.pairs), files, (*findings, *more), tuple(cells), asked, elsewhere)


def _missing(file: Delivered, paired: Paired) -> Iterator[Finding]:
    if file.path not in paired.odd:
        yield Finding("missing", file.path, "it is missing", "export again, or ask for it back")


def _made_earlier(folder: Path) -> dict[str, Made]:
    """Return what the folder's own ledger, where it has one that can be read, says was made in it."""
    try:
        return read_made(folder)
    except (RequestRefused, OSError):
        return {}


def _extras(paired: Paired, made: Mapping[str, Made]) -> Iterator[Finding]:
    for path in paired.extra:
        if path in made:
            found = "it was made earlier: the job has it no longer, or the picture there waits for approval now"
            wanted = "take it out once nothing links to it"
        elif path.startswith(f"{SET_ASIDE}/"):
            found, wanted = "it was set aside: somebody had changed it", "take it out once you have what you need of it"
        else:
            found, wanted = "it is an extra file", "it was not delivered; take it out or ask where it comes from"
        yield Finding("extra", path, found, wanted)
    for path in paired.odd:
        yield Finding("extra", path, "it is a link or a device, not a file", "it was not delivered; it was not opened")


def _beside(folder: Path, paired: Paired) -> Iterator[Finding]:
    """Give what is private in the pictures of the contact sheet and the like, which no manifest lists."""
    for path in paired.own:
        if PurePosixPath(path).suffix.lower() in PICTURES:
            try:
                found = private_data(read_back(read_file(folder / path)))
            except (OSError, ValueError):
                continue
            for what in found:
                yield Finding("private", path, f"it holds {what}", "nothing private belongs there; export again")


def _known(findings: list[Finding]) -> frozenset[tuple[str, str]]:
    """Return what need not be said twice: fields by file, and private things by file in the second reader's words."""
    known = {(finding.file, finding.field) for finding in findings if finding.field}
    for finding in findings:
        if finding.kind == "stripped":
            known |= {(finding.file, field) for field in ("alt", "creators", "credit_line", "copyright", "licence_url")}
        elif finding.kind == "private":
            known.add((finding.file, finding.found.removeprefix("it holds ").partition(" (")[0]))
    return frozenset(known)
