"""Every file that came from somewhere says where, under what licence, and is the file it was then."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path
from typing import Any

import exifread
import pytest

ROOT = Path(__file__).parents[1]
ROWS = "SOURCES.toml"
NOT_OURS = {"out", "replies", "__pycache__"}  # what a run of the sample leaves, as .gitignore has it

OF_THE_SAMPLE = ("made", "licence", "why")
OF_A_TABLE = ("source", "licence")


def files_below(folder: Path) -> set[str]:
    """Return every file below a folder as a posix path, but the table of rows itself."""
    found = (path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    return {path.as_posix() for path in found if not NOT_OURS & set(path.parts)} - {ROWS}


def rows_of(folder: Path) -> list[dict[str, Any]]:
    """Return the [[file]] rows of a folder; a folder without a table has none."""
    table = folder / ROWS
    return tomllib.loads(table.read_text(encoding="utf-8")).get("file", []) if table.exists() else []


def shortcomings(folder: Path, needed: tuple[str, ...]) -> list[str]:
    """Return what is wrong with a folder's rows, a sentence each; none where all is well.

    Each row has the `needed` words. Where it has a `sha256`, that is the file's.
    """
    rows, files = rows_of(folder), files_below(folder)
    listed = [row["path"] for row in rows]
    found = [f"{path} has no row" for path in sorted(files - set(listed))]
    found += [f"{path} has more than one row" for path in sorted(set(listed)) if listed.count(path) > 1]
    for row in rows:
        path = row["path"]
        if path not in files:
            found.append(f"{path} has a row and is not there")
            continue
        found += [f"{path} does not say its {word}" for word in needed if not row.get(word)]
        sha256 = hashlib.sha256((folder / path).read_bytes()).hexdigest()
        if row.get("sha256", sha256) != sha256:
            found.append(f"{path} is not the file of its row: its sha256 is {sha256}")
    return found


def selects() -> list[dict[str, Any]]:
    return [row for row in rows_of(ROOT / "sample_shoot") if row["path"].startswith("selects/")]


def test_every_file_of_the_sample_shoot_has_its_source() -> None:
    assert shortcomings(ROOT / "sample_shoot", OF_THE_SAMPLE) == []


def test_every_file_of_the_test_data_has_its_source() -> None:
    assert shortcomings(ROOT / "tests" / "data", OF_A_TABLE) == []


def test_only_what_is_written_by_hand_goes_without_a_sha256() -> None:
    rows = rows_of(ROOT / "sample_shoot")

    assert {row["path"] for row in rows if "sha256" not in row} == {row["path"] for row in rows if row.get("by_hand")}
    assert len(selects()) == sum("sha256" in row for row in selects()) == 10


@pytest.mark.parametrize("row", selects(), ids=lambda row: str(row["path"]))
def test_camera_facts_of_a_select_are_the_invented_ones(row: dict[str, Any]) -> None:
    with (ROOT / "sample_shoot" / row["path"]).open("rb") as stream:
        tags = exifread.process_file(stream, details=False)

    assert row["camera_facts"] == "invented"
    assert (str(tags["Image Make"]), str(tags["Image Model"])) == ("Halden Optik", "HO-7")
    assert str(tags["EXIF BodySerialNumber"]) == "HO7-0041827"
    # 45 N 30 W is open ocean: nobody lives where these frames say they were taken.
    assert (str(tags["GPS GPSLatitudeRef"]), str(tags["GPS GPSLatitude"])) == ("N", "[45, 0, 0]")
    assert (str(tags["GPS GPSLongitudeRef"]), str(tags["GPS GPSLongitude"])) == ("W", "[30, 0, 0]")


def row_text(path: str, **words: str) -> str:
    lines = "".join(f'{word} = "{value}"\n' for word, value in ({"path": path} | words).items())
    return f"[[file]]\n{lines}"


SOUND = row_text("table.csv", source="a standard", licence="CC0-1.0")


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        (SOUND, None),
        ("", "table.csv has no row"),
        (SOUND + SOUND, "table.csv has more than one row"),
        (SOUND + row_text("gone.csv", source="a book", licence="CC0-1.0"), "gone.csv has a row and is not there"),
        (row_text("table.csv", source="a standard"), "table.csv does not say its licence"),
        (row_text("table.csv", source="", licence="CC0-1.0"), "table.csv does not say its source"),
        (
            row_text("table.csv", source="a standard", licence="CC0-1.0", sha256="0" * 64),
            # FIPS 180-4's example message "abc" (digest from memory).
            (
                "table.csv is not the file of its row: its sha256 is "
                "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
            ),
        ),
    ],
)
def test_a_shortcoming_is_found(tmp_path: Path, rows: str, expected: str | None) -> None:
    (tmp_path / "table.csv").write_text("abc", encoding="utf-8")
    (tmp_path / ROWS).write_text(rows, encoding="utf-8")

    assert ([] if expected is None else [expected]) == shortcomings(tmp_path, OF_A_TABLE)


def test_files_in_deeper_folders_count_and_what_a_run_leaves_does_not(tmp_path: Path) -> None:
    for folder in ("deep/er", "out"):
        (tmp_path / folder).mkdir(parents=True)
        (tmp_path / folder / "picture.jpg").write_bytes(b"x")

    assert shortcomings(tmp_path, OF_A_TABLE) == ["deep/er/picture.jpg has no row"]
