"""THIRD_PARTY.md against what is installed: packages, versions, licences, shared libraries, and no GPL part."""

from __future__ import annotations

import platform
import re
import sys
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import pyvips
import rawpy
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from PIL import features

if TYPE_CHECKING:
    from collections.abc import Mapping

CHECKOUT = Path(__file__).resolve().parent.parent
PAGE = (CHECKOUT / "THIRD_PARTY.md").read_text(encoding="utf-8")


def table(heading: str) -> list[list[str]]:
    """Return the cells of the rows under a heading of the page."""
    section = PAGE.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    lines = [line for line in section.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[1:]]


PACKAGES = {name: (version, licence) for name, version, licence in table("Packages")}
LIBRARIES = {(wheel, file): about for wheel, file, about, _ in table("Shared libraries inside the wheels")}
PLAIN_EXTRAS = ("pdf", "cluster", "storage")
OF_THE_EXTRA = {(wheel, file): licence for wheel, file, _, licence in table("The extra `plateline[heic]`")}


def closure(name: str, extras: frozenset[str] = frozenset()) -> set[str]:
    """Return the names of all packages that one package needs at run time here, with itself."""
    found: set[str] = {canonicalize_name(name)}
    for text in metadata.requires(name) or []:
        needed = Requirement(text)
        if needed.marker is None or any(needed.marker.evaluate({"extra": extra}) for extra in extras | {""}):
            found |= closure(needed.name, frozenset(needed.extras))
    return found


def pins(name: str) -> Mapping[str, str]:
    """Return the versions that a constraints file pins on this machine."""
    lines = (CHECKOUT / "constraints" / name).read_text(encoding="utf-8").splitlines()
    wanted = [Requirement(line) for line in lines if line and not line.startswith(("#", "-"))]
    return {
        canonicalize_name(one.name): str(one.specifier).removeprefix("==")
        for one in wanted
        if one.marker is None or one.marker.evaluate()
    }


RUNTIME = sorted(closure("plateline") - {"plateline"})


def test_the_page_names_the_packages_of_the_runtime_and_no_others() -> None:
    assert set(RUNTIME) == set(PACKAGES)


def test_the_runtime_constraints_pin_each_package_and_the_build_tool() -> None:
    assert {*RUNTIME, "setuptools"} == set(pins("runtime.txt"))


def test_the_test_constraints_pin_all_that_the_tests_install() -> None:
    needed = closure("plateline", frozenset({"test"})) - {"plateline"}
    assert set() == needed - set(pins("tests.txt")) - set(pins("runtime.txt"))


@pytest.mark.parametrize("name", RUNTIME)
def test_the_installed_version_is_the_pinned_one_and_stands_on_the_page(name: str) -> None:
    assert metadata.version(name) == pins("runtime.txt")[name]
    assert metadata.version(name) in re.findall(r"[\d.]+\d", PACKAGES[name][0])


@pytest.mark.parametrize("name", RUNTIME)
def test_the_licence_on_the_page_is_the_one_that_the_package_declares(name: str) -> None:
    declared = metadata.metadata(name)
    stated = declared.get_all("License-Expression") or declared.get_all("License")
    if stated:
        assert stated == [PACKAGES[name][1]]
    else:  # only a trove classifier, such as "License :: OSI Approved :: BSD License"
        family = [line for line in declared.get_all("Classifier") or [] if line.startswith("License ::")]
        assert [PACKAGES[name][1].split("-")[0]] == [line.split(" :: ")[-1].split()[0] for line in family]


def bundled(names: list[str]) -> set[tuple[str, str]]:
    """Return (wheel, file up to the first dot or hyphen) of each shared library that is no Python module."""
    return {
        (name, re.split(r"[-.]", file.name)[0])
        for name in names
        for file in metadata.files(name) or []
        if re.search(r"\.(so|dylib)(\.|$)", file.name) and not re.search(r"\.(cpython-|abi3\.)", file.name)
    }


def test_each_shared_library_in_a_wheel_has_its_row() -> None:
    assert set() == bundled(RUNTIME) - set(LIBRARIES)


@pytest.mark.skipif(
    (sys.platform, platform.machine()) != ("linux", "x86_64"), reason="judge missing: the wheels for Debian on x86-64"
)
def test_each_row_has_its_shared_library() -> None:
    here = {key for key, about in LIBRARIES.items() if not about.endswith("(macOS)")}
    assert here == bundled(RUNTIME)
    assert set(OF_THE_EXTRA) == bundled(["pillow-heif"])


def test_what_is_under_the_gpl_comes_with_the_extra_alone() -> None:
    extra = closure("plateline", frozenset({"heic"})) - {"plateline", *RUNTIME}
    assert extra == {"pillow-heif"} == {wheel for wheel, _ in OF_THE_EXTRA}
    assert {"GPL-2.0-or-later"} == {licence for (_, file), licence in OF_THE_EXTRA.items() if file == "libx265"}


def test_the_large_wheel_of_codecs_holds_none_under_the_gpl() -> None:
    [(package, version, licence)] = table("The extra `plateline[fast]`")
    extra = closure("plateline", frozenset({"fast"})) - {"plateline", *RUNTIME}
    assert extra == {package}
    assert (version, licence) == (metadata.version(package), metadata.metadata(package)["License"])
    assert version == pins("tests.txt")[package]
    files = " ".join(file.name for file in metadata.files(package) or [] if ".so" in file.name or ".dylib" in file.name)
    assert "jpeg8" in files
    assert [name for name in ("x265", "x264", "heif", "fftw", "kvazaar") if name in files] == []


@pytest.mark.parametrize("name", PLAIN_EXTRAS)
def test_an_extra_stands_on_the_page_with_versions_and_licences(name: str) -> None:
    page = {package: (version, licence) for package, version, licence in table(f"The extra `plateline[{name}]`")}
    extra = closure("plateline", frozenset({name})) - {"plateline", *RUNTIME}
    assert extra == set(page)
    assert set() == bundled(sorted(extra))
    for package, (version, licence) in page.items():
        assert (package, metadata.version(package)) == (package, version)
        assert (package, pins("tests.txt")[package]) == (package, version)
        declared = metadata.metadata(package)
        families = [line.split(" :: ")[-1] for line in declared.get_all("Classifier") or [] if "License ::" in line]
        shown = " ".join(
            [*families, *(declared.get_all("License") or []), *(declared.get_all("License-Expression") or [])]
        )
        for part in licence.split(" OR "):
            assert part.split("-")[0] in shown, package


def test_the_libvips_in_use_is_the_one_in_its_wheel() -> None:
    assert metadata.version("pyvips-binary") == ".".join(str(pyvips.version(part)) for part in range(3))
    assert pyvips.API_mode
    binding = Path(sys.modules["_libvips"].__file__ or "")
    files = metadata.files("pyvips-binary") or []
    assert binding.resolve() in {Path(str(file.locate())).resolve() for file in files}


def test_libraw_is_built_without_its_gpl_demosaic_packs() -> None:
    assert {"DEMOSAIC_PACK_GPL2": False, "DEMOSAIC_PACK_GPL3": False}.items() <= rawpy.flags.items()


def test_libheif_is_built_without_the_gpl_encoder() -> None:
    with pytest.raises(pyvips.Error, match="Unsupported compression"):
        pyvips.Image.black(64, 64, bands=3).heifsave_buffer(compression="hevc")


@pytest.mark.parametrize("operation", ["fwfft", "pdfload", "magickload"])
def test_libvips_is_built_without_fftw_poppler_and_their_like(operation: str) -> None:
    assert pyvips.type_find("VipsOperation", "heifload") != 0
    assert pyvips.type_find("VipsOperation", operation) == 0


def test_pillow_is_built_without_libimagequant() -> None:
    assert not features.check_feature("libimagequant")
