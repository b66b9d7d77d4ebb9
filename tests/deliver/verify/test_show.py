"""What the verb prints and returns: sentences, the table, JSON, the three exit codes."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from pipeline.cli import main
from pipeline.deliver.verify.findings import Cell, Finding, Report
from pipeline.deliver.verify.show import report_lines, summary_line, table_lines
from tests.deliver.verify.delivery import FILES, of_ending

if TYPE_CHECKING:
    from pathlib import Path

    from tests.deliver.verify.conftest import Edit

CELLS = (
    Cell("a.jpg", "title", "XMP", same=True),
    Cell("a.jpg", "title", "IIM", same=False),
    Cell("b.png", "title", "XMP", same=True),
    Cell("a.jpg", "alt", "XMP", same=True),
    Cell("b.png", "alt", "XMP", same=True),
    Cell("b.png", "resolution", "file", same=True),
)
FINDING = Finding("field", "a.jpg", "found 'x'", "'y' was delivered", "title", "IIM", None, "title in IIM")
REPORT = Report(2, ("a.jpg", "b.png"), (FINDING,), CELLS, "nobody else was asked")
LEGEND = "E Exif, I IIM, X XMP, F the file's own header; ! differs from what was delivered, · has no such place"


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main(["verify", *map(str, words)])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_the_table_shows_what_differs() -> None:
    assert list(table_lines(REPORT, whole=False)) == [LEGEND, "", "   1  a.jpg", "      1", "title ·!X·"]


def test_the_whole_table_shows_every_field_of_every_file() -> None:
    assert list(table_lines(REPORT, whole=True)) == [
        LEGEND,
        "",
        "   1  a.jpg",
        "   2  b.png",
        "           1    2",
        "title      ·!X· ··X·",
        "alt text   ··X· ··X·",
        "resolution ···· ···F",
    ]


@pytest.mark.parametrize(
    ("delivered", "well", "said"),
    [
        (1, 0, "0 of 1 delivered file is as delivered; 1 difference in 1 file"),
        (1, 1, "1 of 1 delivered file is as delivered"),
        (2, 0, "0 of 2 delivered files are as delivered; 2 differences in 2 files"),
        (2, 1, "1 of 2 delivered files is as delivered; 1 difference in 1 file"),
        (2, 2, "2 of 2 delivered files are as delivered"),
    ],
)
def test_the_last_line_counts_in_words(delivered: int, well: int, said: str) -> None:
    names = tuple(f"{number}.jpg" for number in range(delivered))
    wrong = tuple(Finding("pixels", name, "found", "wanted") for name in names[well:])
    assert said == summary_line(Report(delivered, names, wrong, (), ""))


def test_many_files_stand_in_several_blocks() -> None:
    names = tuple(f"{number:02}.jpg" for number in range(30))
    cells = tuple(Cell(name, field, "XMP", same=field == "alt") for name in names for field in ("title", "alt"))
    lines = list(table_lines(Report(30, names, (), cells, ""), whole=False))
    assert [line for line in lines if line.startswith("title")] == [
        "title " + " ".join(["··!·"] * 19),
        "title " + " ".join(["··!·"] * 11),
    ]
    assert all(len(line) <= 105 for line in lines)


def test_a_file_of_which_nothing_is_left_is_not_in_the_table() -> None:
    gone = Report(1, ("a.jpg",), (), (Cell("a.jpg", "alt", "XMP", same=False),), "")
    assert list(table_lines(gone, whole=False)) == []
    assert list(table_lines(gone, whole=True))[-1] == "alt text ··!·"


def test_a_name_that_would_move_the_cursor_is_made_harmless() -> None:
    bad = "a\x1b[2J.jpg"
    report = Report(1, (bad,), (Finding("pixels", bad, "f", "w"),), (Cell(bad, "alt", "XMP", same=False),), "")
    assert not any("\x1b" in line for line in report_lines(report, table=True, quiet=False))


def test_all_well_is_exit_code_0(delivery: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, delivery)
    assert (code, err) == (0, "")
    asked, last = out.splitlines()
    assert last == f"{len(FILES)} of {len(FILES)} delivered files are as delivered"
    assert asked.startswith("exiftool ")
    assert run(capsys, delivery, "--quiet") == (0, "", "")


def test_differences_are_exit_code_1(out: Path, edit: Edit, capsys: pytest.CaptureFixture[str]) -> None:
    name = of_ending("jpg")
    edit(out / name, "-XMP-photoshop:Credit=Somebody else")
    code, told, err = run(capsys, out)
    assert (code, err) == (1, "")
    lines = told.splitlines()
    assert lines[0] == (
        f"{name}: credit line in XMP: found 'Somebody else'; 'Ines Falkenrath / larder-and-light.example' was delivered"
    )
    assert f"   1  {name}" in lines
    assert "credit line ·I!·" in lines
    assert lines[-1] == f"{len(FILES) - 1} of {len(FILES)} delivered files are as delivered; 1 difference in 1 file"
    assert run(capsys, out, "--quiet") == (1, lines[0] + "\n", "")


def test_json_for_programs(out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (out / of_ending("tif")).unlink()
    code, told, _ = run(capsys, out, "--json")
    document = json.loads(told)
    assert code == 1
    assert (document["verify"], document["delivered"], document["as_delivered"]) == (1, len(FILES), len(FILES) - 1)
    assert document["findings"] == [
        {
            "kind": "missing",
            "file": of_ending("tif"),
            "found": "it is missing",
            "wanted": "export again, or ask for it back",
            "field": None,
            "container": None,
            "part": None,
            "sentence": f"{of_ending('tif')}: it is missing; export again, or ask for it back",
        }
    ]
    assert {"file": of_ending("jpg"), "field": "alt", "container": "XMP", "same": True} in document["fields"]


def test_a_wrong_request_is_exit_code_2(out: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, told, err = run(capsys, tmp_path / "nowhere")
    assert (code, told) == (2, "")
    assert "nowhere: it is no folder" in err
    (out / "manifest.json").unlink()
    code, _, err = run(capsys, out)
    assert code == 2
    assert "there is no such manifest; name the folder of an export, or say what it is held against" in err
    (out / "manifest.json").write_text('{"manifest": 1}', encoding="utf-8")
    code, _, err = run(capsys, out)
    assert code == 2
    assert "it is a manifest of format 1; this plateline reads 2 to 3; run export again" in err
