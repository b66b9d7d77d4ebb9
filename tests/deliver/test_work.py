"""A limit of bytes and a floor of fidelity from the job to the files, the ledger, the plan and the summary."""

from __future__ import annotations

import io
import json
import re
from typing import TYPE_CHECKING, Any

import pytest
from PIL import Image

from pipeline.cli import main
from pipeline.deliver.export import Asked, Summary, export
from pipeline.deliver.summary import summary_lines
from pipeline.light.spaces import SRGB
from pipeline.render.containers.embed import picture_data
from tests.render.reference_scores import Case

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import OutputFormat

JOB = """
profiles = ["blog"]

[shoot]
title = "Bean soup"
targets = ["blog/step"]

[targets."blog/step"]
widths = [200, 320]
formats = {formats}
{limits}

[[frames]]
file = "bowl.png"
subject = [0.5, 0.5]
alt = "A bowl of soup"
caption = "{caption}"
"""
ENDINGS: dict[str, OutputFormat] = {".jpg": "jpeg", ".webp": "webp", ".avif": "avif"}


def write(folder: Path, limits: str, *, formats: str = '["jpeg", "webp"]', caption: str = "Soup") -> Path:
    frame = folder / "bowl.png"
    if not frame.exists():
        codes = Case("coffee", "blocks", 50, SRGB).original[:213, :320]
        Image.fromarray(codes).save(frame)
    job = folder / "job.toml"
    job.write_text(JOB.format(limits=limits, formats=formats, caption=caption), encoding="utf-8")
    return job


def run(job: Path, **changes: Any) -> Summary:  # noqa: ANN401 (the fields of Asked)
    return export(Asked(job, job.parent / "out", **{"workers": 1, "quiet": True, **changes}), io.StringIO())


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted((folder / "out" / "blog").iterdir())}


def told(summary: Summary, folder: Path) -> list[str]:
    return list(summary_lines(summary, folder / "out"))


def test_the_whole_file_stays_within_its_limit(tmp_path: Path) -> None:
    summary = run(write(tmp_path, 'bytes_max = "16 kB"', formats='["jpeg", "webp", "avif"]'))
    assert summary.faults == ()
    assert len(files(tmp_path)) == 6
    for name, data in files(tmp_path).items():
        row = summary.made[f"blog/{name}"]
        assert len(data) == row.size_bytes <= 16_000
        assert row.quality is not None
        assert row.fidelity is not None


def test_no_file_lies_below_the_floor(tmp_path: Path) -> None:
    summary = run(write(tmp_path, "fidelity = 82"))
    assert summary.faults == ()
    rows = [summary.made[f"blog/{name}"] for name in files(tmp_path)]
    assert all(row.fidelity is not None and 82 <= row.fidelity < 88 for row in rows)
    assert not any("fidelity" in line for line in told(summary, tmp_path))


def test_where_both_cannot_be_the_limit_is_kept_and_it_is_told(tmp_path: Path) -> None:
    job = write(tmp_path, 'bytes_max = "14 kB"\nfidelity = 90', formats='["jpeg"]')
    summary = run(job)
    assert all(len(data) <= 14_000 for data in files(tmp_path).values())
    missed = [row for path, row in summary.made.items() if path.startswith("blog/") and (row.fidelity or 0) < 90]
    worst = min(missed, key=lambda row: row.fidelity or 0)
    line = f"note: {worst.path} has a fidelity of {worst.fidelity:.2f}, below the 90 asked for: 14 kB allow no more"
    assert any(one.startswith(line) for one in told(summary, tmp_path))
    # So it is told whenever the job is run, though nothing is left to do.
    again = run(job)
    assert again.rendered == 0
    assert any(one.startswith(line) for one in told(again, tmp_path))
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text(encoding="utf-8"))
    (rendition,) = manifest["renditions"]
    assert any(line.removeprefix("note: ") in caution for caution in rendition["cautions"])
    assert {(file["quality"], file["fidelity"]) for file in rendition["files"]} == {
        (row.quality, row.fidelity) for path, row in summary.made.items() if path.startswith("blog/")
    }


def test_a_file_that_cannot_be_made_so_small_is_a_fault_with_both_numbers(tmp_path: Path) -> None:
    summary = run(write(tmp_path, 'bytes_max = "6 kB"', formats='["jpeg"]'))
    assert [str(fault) for fault in summary.faults if "320" in str(fault)] == [
        (
            "blog/bean-soup-bowl-step-320.jpg: at quality 30, the lowest that is fit to be shown, it takes "
            f"{_least_kilobytes(tmp_path)} kB, and bytes_max is 6 kB; allow more bytes, or ask for a smaller size"
        )
    ]
    assert "bean-soup-bowl-step-320.jpg" not in files(tmp_path)


def test_words_that_break_a_limit_are_to_be_shortened(tmp_path: Path) -> None:
    """The picture alone would fit: more bytes or a smaller picture are not what is wanted."""
    caption = " ".join(f"word{number}" for number in range(600))
    short, long = tmp_path / "short", tmp_path / "long"
    for folder, words in ((short, "Soup"), (long, caption)):
        folder.mkdir()
        summary = run(write(folder, 'bytes_max = "12 kB"', formats='["jpeg"]', caption=words))
        said = [str(fault) for fault in summary.faults if "-320" in str(fault)]
        if folder == short:
            assert said == []
    [fault] = said
    assert re.search(r"it takes [\d.]+ kB, [\d.]+ kB of it words and profile, and bytes_max is 12 kB; ", fault)
    assert fault.endswith("shorten its words (alt text, caption, keywords, terms), or allow more bytes")


def _least_kilobytes(folder: Path) -> str:
    """Return what the file would have taken: an export at quality 30, its words counted in steps of 2048 bytes."""
    other = folder / "other"
    other.mkdir()
    run(write(other, "quality = { jpeg = 30 }", formats='["jpeg"]'))
    data = files(other)["bean-soup-bowl-step-320.jpg"]
    picture = len(picture_data(data, "jpeg"))
    counted = picture + -(-(len(data) - picture) // 2048) * 2048
    return f"{-(-counted // 100) / 10:g}"


def test_a_picture_too_large_for_a_format_is_a_fault_and_the_other_formats_are_made(tmp_path: Path) -> None:
    # RFC 6386 9.1: a WebP is 16383 pixels wide at most.
    Image.new("RGB", (16400, 820), "tan").save(tmp_path / "bowl.png")
    job = write(tmp_path, "")
    job.write_text(job.read_text().replace("widths = [200, 320]", 'ratio = "20:1"\nwidths = [16400]'))
    (fault,) = run(job).faults
    assert str(fault).startswith("blog/bean-soup-bowl-step-16400.webp: it could not be written as webp (")
    assert fault.wanted == "ask for another format, or for a smaller size"
    assert list(files(tmp_path)) == ["bean-soup-bowl-step-16400.jpg"]


@pytest.mark.parametrize("letters", [10, 900, 2400])
def test_new_words_never_break_the_limit_and_give_what_a_fresh_export_gives(tmp_path: Path, letters: int) -> None:
    limits = 'bytes_max = "24 kB"'
    run(write(tmp_path, limits))
    before = files(tmp_path)
    summary = run(write(tmp_path, limits, caption="Soup" + " and bread" * (letters // 10)))
    after = files(tmp_path)
    assert all(len(data) <= 24_000 for data in after.values())
    fresh = tmp_path / "fresh"
    fresh.mkdir()
    run(write(fresh, limits, caption="Soup" + " and bread" * (letters // 10)))
    assert files(fresh) == after
    assert summary.faults == ()
    assert summary.rewritten + summary.rendered >= 4
    for name in after:
        output_format = ENDINGS[name[name.index(".") :]]
        pictures = [picture_data(one[name], output_format) for one in (before, after)]
        steps = [
            -(-(len(one[name]) - len(picture)) // 2048) for one, picture in zip((before, after), pictures, strict=True)
        ]
        if steps[0] == steps[1]:  # the words have the room that was left for them
            assert pictures[0] == pictures[1]


def test_a_much_longer_caption_costs_quality_where_it_needs_the_room(tmp_path: Path) -> None:
    limits = 'bytes_max = "24 kB"'
    before = run(write(tmp_path, limits, formats='["jpeg"]'))
    after = run(write(tmp_path, limits, formats='["jpeg"]', caption="Soup and bread " * 80))
    path = "blog/bean-soup-bowl-step-320.jpg"
    assert (after.made[path].quality or 0) < (before.made[path].quality or 0)
    assert after.rendered == 2


def test_new_words_leave_quality_and_fidelity_known(tmp_path: Path) -> None:
    before = run(write(tmp_path, "fidelity = 80"))
    after = run(write(tmp_path, "fidelity = 80", caption="Bread and soup"))
    assert after.rendered == 0
    assert {path: (row.quality, row.fidelity) for path, row in before.made.items()} == {
        path: (row.quality, row.fidelity) for path, row in after.made.items()
    }


def test_the_same_bytes_whatever_the_number_of_workers(tmp_path: Path) -> None:
    found = []
    for workers in (1, 2):
        folder = tmp_path / str(workers)
        folder.mkdir()
        job = write(folder, 'bytes_max = "20 kB"\nfidelity = 80')
        Image.open(folder / "bowl.png").transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(folder / "bread.png")
        job.write_text(job.read_text() + '\n[[frames]]\nfile = "bread.png"\nsubject = [0.5, 0.5]\nalt = "Bread"\n')
        run(job, workers=workers)
        found.append(files(folder))
    assert len(found[0]) == 8
    assert found[0] == found[1]


def test_another_limit_makes_the_files_anew(tmp_path: Path) -> None:
    run(write(tmp_path, 'bytes_max = "24 kB"', formats='["jpeg"]'))
    assert run(write(tmp_path, 'bytes_max = "24 kB"', formats='["jpeg"]')).rendered == 0
    assert run(write(tmp_path, 'bytes_max = "18 kB"', formats='["jpeg"]')).rendered >= 2
    assert all(len(data) <= 18_000 for data in files(tmp_path).values())


def test_pictures_of_the_sheet_keep_their_own_quality(tmp_path: Path) -> None:
    summary = run(write(tmp_path, "fidelity = 95", formats='["jpeg"]'))
    assert {row.fidelity for path, row in summary.made.items() if path.startswith("sheet/")} == {None}


def test_the_plan_tells_what_was_measured(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = write(tmp_path, "fidelity = 80", formats='["jpeg"]')
    main(["plan", str(job)])
    assert capsys.readouterr().out.count("not measured yet") == 2
    summary = run(job)
    main(["plan", str(job)])
    said = capsys.readouterr().out
    assert "not measured yet" not in said
    row = summary.made["blog/bean-soup-bowl-step-320.jpg"]
    assert f"{row.path}  {row.size_bytes / 1000:.1f} kB, quality {row.quality}, fidelity {row.fidelity:.2f}" in said
    job.write_text(job.read_text().replace("fidelity = 80", "fidelity = 81"))
    main(["plan", str(job)])
    assert capsys.readouterr().out.count("not measured yet") == 2
