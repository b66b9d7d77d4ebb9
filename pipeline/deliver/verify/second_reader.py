"""A second opinion by exiftool, where it is installed: the fields that a picture is credited by, and what is private.

One call reads all files. It sees only files that our own readers found in place.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from typing import TYPE_CHECKING, Any

from pipeline.deliver.verify.expect import FIELDS
from pipeline.deliver.verify.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from pipeline.deliver.verify.delivered import Delivered

TOOL = "exiftool"
_NOT_INSTALLED = f"{TOOL} is not installed; read by our own readers alone"
_SECONDS, _SECONDS_A_FILE = 60, 2
_PLACES = (
    ("alt", "XMP-iptcCore:AltTextAccessibility"),
    ("creators", "XMP-dc:Creator"),
    ("credit_line", "XMP-photoshop:Credit"),
    ("copyright", "XMP-dc:Rights"),
    ("licence_url", "XMP-xmpRights:WebStatement"),
)
_PRIVATE_TAGS = (
    ("GPS", "a GPS position"),
    ("SerialNumber", "a serial number"),
    ("OwnerName", "the camera owner's name"),
    ("MakerNote", "a maker note"),
    ("ThumbnailImage", "a thumbnail"),
    ("PreviewImage", "a thumbnail"),
)


def consult(
    pairs: Iterable[tuple[Delivered, str, Path]], known: frozenset[tuple[str, str]]
) -> tuple[str, list[Finding]]:
    """Return who was asked, in words, and what that reader finds which is not `known` by file and field.

    Each file comes as it was delivered, with its path in the folder and its place on disk.
    """
    tool = shutil.which(TOOL)
    if tool is None:
        return _NOT_INSTALLED, []
    files = {str(place.absolute()): (file, path) for file, path, place in pairs}
    asked = [name for name in files if name.isprintable()]  # the list of files has one a line
    try:
        # An empty -config keeps a stranger's settings out.
        done = subprocess.run(
            [tool, "-config", "", "-json", "-struct", "-G1", "-m", "-charset", "filename=utf8", "-@", "-"],
            input="\n".join(asked).encode(),
            capture_output=True,
            timeout=_SECONDS + _SECONDS_A_FILE * len(asked),
            check=False,
        )
        found = json.loads(done.stdout or b"[]", parse_int=str, parse_float=str)
    except (OSError, ValueError, subprocess.SubprocessError) as error:
        return f"{TOOL} was asked and did not answer ({type(error).__name__})", []
    findings = [
        finding
        for tags in found
        if isinstance(tags, dict) and tags.get("SourceFile") in files
        for finding in _findings(*files[tags["SourceFile"]], tags, known)
    ]
    return f"{TOOL} read {len(found)} of {len(files)} files too", findings


def _findings(file: Delivered, path: str, tags: dict[str, Any], known: frozenset[tuple[str, str]]) -> Iterator[Finding]:
    if file.facts is not None:
        for field, place in _PLACES:
            delivered, found = getattr(file.facts, field), tags.get(place)
            if _plain(delivered) != _plain(found) and (path, field) not in known:
                told = f"{TOOL} finds '{_plain(found)}'" if found is not None else f"{TOOL} does not find it"
                wanted = f"'{_plain(delivered)}' was delivered" if delivered else "nothing was delivered there"
                yield Finding("field", path, told, wanted, field, "XMP", None, f"{FIELDS[field]} in XMP")
    words = {word for name in tags for part, word in _PRIVATE_TAGS if _is_private(name, part)}
    for word in sorted(words):
        if (path, word) not in known:
            yield Finding("private", path, f"{TOOL} finds {word}", "nothing private was delivered; do not pass it on")


def _is_private(name: str, part: str) -> bool:
    group, _, tag = name.partition(":")
    return part in tag or (part == "GPS" and group == "GPS")


def _plain(value: object) -> str:
    """Return a value as one line of text, so that names in a list, truth values and white space compare alike."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list | tuple):
        return "; ".join(_plain(one) for one in value)
    text = " ".join(str(value).split())
    return text.lower() if text.lower() in {"true", "false"} else text
