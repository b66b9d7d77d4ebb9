"""What decides the bytes of a file: our own code, and the packages behind it. Workers must have the same."""

from __future__ import annotations

import functools
import hashlib
import platform
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pipeline
from pipeline.deliver.tasks import PIXEL_PACKAGES, engine_versions

BYTE_PACKAGES = (*PIXEL_PACKAGES, "fontpkg-open-sans", "lxml", "numpy", "piexif", "pillow-heif")
ABSENT = "absent"


@functools.cache
def versions() -> dict[str, str]:
    """Return a version of each thing that decides bytes, by name; the code of plateline stands in as a digest."""
    python = ".".join(platform.python_version_tuple()[:2])  # tasks travel as pickles; those of one minor version agree
    found = {"plateline": _version("plateline"), "Python": python}
    found["compiled steps"] = "present" if "compiled" in engine_versions() else ABSENT
    return found | {package: _version(package) for package in BYTE_PACKAGES} | {"code": _code_digest()}


def differences(theirs: dict[str, str], ours: dict[str, str]) -> str:
    """Return how the versions of a worker differ from ours, in words; empty where they do not."""
    other = [name for name in ours if ours[name] != theirs.get(name, ABSENT)]
    named = [f"{name} {theirs.get(name, ABSENT)} (here {ours[name]})" for name in other if name != "code"]
    if not named and other:
        named = [f"plateline {ours['plateline']} with other code"]
    return ", ".join(named)


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return ABSENT


def _code_digest() -> str:
    """Return a digest over every module of plateline: a version number does not tell one checkout from another."""
    top = Path(pipeline.__file__).parent
    digest = hashlib.sha256()
    for file in sorted(top.rglob("*.py")):
        digest.update(f"{file.relative_to(top).as_posix()}\0".encode())
        digest.update(hashlib.sha256(file.read_bytes()).digest())
    return digest.hexdigest()
