"""Manifests of strangers: each fault is named with its place, none is believed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pipeline.deliver.manifest
from pipeline.deliver.verify.delivered import FORMATS, read_manifest
from pipeline.faults import RequestRefused
from pipeline.light.box import Size
from pipeline.plan.facts import Contributor

if TYPE_CHECKING:
    from pathlib import Path


def document(delivery: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((delivery / "manifest.json").read_text(encoding="utf-8"))
    return found


def refused(path: Path, text: bytes) -> str:
    path.write_bytes(text)
    with pytest.raises(RequestRefused) as caught:
        read_manifest(path)
    return str(caught.value)


def test_what_an_export_wrote(delivery: Path) -> None:
    files = {file.path: file for file in read_manifest(delivery / "manifest.json")}
    print_file = files["print/soup-bowl-eight-by-ten-300.tif"]
    assert (print_file.size, print_file.format, print_file.ppi, print_file.srgb) == (Size(300, 375), "tiff", 300, True)
    assert print_file.facts is not None
    assert print_file.facts.contributors == (Contributor("Dö", "cook"),)
    assert print_file.facts.translations[0].alt == "Un bol de soupe"
    proof = files["partner/soup-bowl-proof-540.jpg"]
    assert proof.facts is not None
    assert proof.facts.acquire_url is None


def test_the_format_is_that_of_the_writer() -> None:
    assert FORMATS[-1] == pipeline.deliver.manifest.FORMAT


def test_the_readers_load_nothing_of_the_writers() -> None:
    program = "import sys, pipeline.deliver.verify.verify, pipeline.deliver.verify.show; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    loaded = done.stdout.split()
    assert "pipeline.deliver.verify.readers" in loaded
    assert [name for name in loaded if name.startswith(("pipeline.render", "pyvips", "PIL", "piexif"))] == []


@pytest.mark.parametrize(
    "path",
    ["../a.jpg", "/a.jpg", "a/../../b.jpg", "a\\b.jpg", "", ".", "./a.jpg", "a//b.jpg", "a\0b", "..", "x" * 1025],
)
def test_no_path_leaves_the_folder(delivery: Path, tmp_path: Path, path: str) -> None:
    changed = document(delivery)
    changed["renditions"][0]["files"][0]["path"] = path
    told = refused(tmp_path / "m.json", json.dumps(changed).encode())
    assert "m.json: renditions[0].files[0].path: " in told


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (b"", "it is no sound JSON; name the manifest.json that an export wrote"),
        (b"\xff\xfe", "it is no sound JSON"),
        (b"[" * 100_000, "it is no sound JSON"),
        (b"[]", "it is no manifest"),
        (b'{"manifest": "2"}', "it is no manifest"),
        (b'{"manifest": 1}', "it is a manifest of format 1; this plateline reads 2 to 3; run export again"),
        (b'{"manifest": 99}', "it is a manifest of format 99; this plateline reads 2 to 3; use a newer plateline"),
        (b'{"manifest": 2}', "renditions: field required"),
        (b'{"manifest": ' + b"9" * 5000 + b"}", "it is no sound JSON"),
        (b" " * ((64 << 20) + 1), "it is larger than 64 MiB"),
    ],
)  # fmt: skip
def test_what_is_no_manifest(tmp_path: Path, text: bytes, sentence: str) -> None:
    assert sentence in refused(tmp_path / "m.json", text)


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("size",), [0, 10]),
        (("size",), [1 << 40, 10]),
        (("size",), [10]),
        (("bytes",), -1),
        (("sha256",), "abc"),
        (("picture_sha256",), "Z" * 64),
        (("format",), "gif"),
        (("ppi",), 1e9),
        (("ppi",), "72"),
    ],
)
def test_values_out_of_bounds(delivery: Path, tmp_path: Path, place: tuple[str], value: object) -> None:
    changed = document(delivery)
    changed["renditions"][0]["files"][0][place[0]] = value
    told = refused(tmp_path / "m.json", json.dumps(changed).encode())
    assert f"m.json: renditions[0].files[0].{place[0]}" in told


@pytest.mark.parametrize("value", ["1/0", "-1", "1e5", "1/60/2", "9" * 11])
def test_fractions_that_are_none(delivery: Path, tmp_path: Path, value: str) -> None:
    changed = document(delivery)
    changed["renditions"][0]["camera"] = {"exposure_s": value}
    assert "camera.exposure_s: a fraction is written like 1/60" in refused(
        tmp_path / "m.json", json.dumps(changed).encode()
    )


def test_a_file_named_twice(delivery: Path, tmp_path: Path) -> None:
    changed = document(delivery)
    changed["renditions"].append(changed["renditions"][0])
    assert "it names one file twice" in refused(tmp_path / "m.json", json.dumps(changed).encode())


def test_no_manifest_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(RequestRefused, match="there is no such manifest; name the folder of an export, or say what"):
        read_manifest(tmp_path / "manifest.json")
    with pytest.raises(RequestRefused, match=r"this is no file; name the manifest\.json that an export wrote"):
        read_manifest(tmp_path)


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "manifest.json")
    with pytest.raises(RequestRefused, match=r"this is no file; name the manifest\.json that an export wrote"):
        read_manifest(tmp_path / "manifest.json")


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@given(data=st.data(), value=JSON)
@settings(max_examples=150)
def test_any_value_in_any_place_is_read_or_refused(
    delivery: Path, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject, value: object
) -> None:
    changed: Any = document(delivery)
    place = changed
    for _ in range(data.draw(st.integers(0, 4))):
        keys = list(place) if isinstance(place, dict) else list(range(len(place)))
        key = data.draw(st.sampled_from(keys))
        if not isinstance(place[key], dict | list) or not place[key]:
            break
        place = place[key]
    keys = list(place) if isinstance(place, dict) else list(range(len(place)))
    place[data.draw(st.sampled_from(keys))] = value
    path = tmp_path_factory.getbasetemp() / "any.json"
    path.write_text(json.dumps(changed), encoding="utf-8")
    try:
        told = all(file.path and ".." not in file.path.split("/") for file in read_manifest(path))
    except RequestRefused as error:
        told = all(str(fault).isprintable() for fault in error.faults)
    assert told
