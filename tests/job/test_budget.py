from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from pipeline.job.colours import carried
from pipeline.job.sizes import byte_count
from tests.job.test_target import said_of, target
from tests.small_shoot import FRAME, HEAD, faults_of, plan_of, write_job

if TYPE_CHECKING:
    from pathlib import Path

SQUARE = 'ratio = "1:1"\nwidths = [100]'
WANTED = 'write a number with its unit, kB (1000 bytes) or MB, such as "200 kB"'


@pytest.mark.parametrize(
    ("text", "count"),
    [("200 kB", 200_000), ("1.5 MB", 1_500_000), ("5kB", 5_000), ("0.25 MB", 250_000), ("12.345 kB", 12_345)],
)
def test_units_are_those_of_the_si(text: str, count: int) -> None:
    assert count == byte_count(text)
    assert text == target(SQUARE, bytes_max=text).bytes_max


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ("200", f'bytes_max: found "200"; {WANTED}'),
        ("200 KB", f'bytes_max: found "200 KB"; {WANTED}'),
        ("200 KiB", f'bytes_max: found "200 KiB"; {WANTED}'),
        ("-1 kB", f'bytes_max: found "-1 kB"; {WANTED}'),
        ("1,5 MB", f'bytes_max: found "1,5 MB"; {WANTED}'),
        ("1e3 kB", f'bytes_max: found "1e3 kB"; {WANTED}'),
        ("4.9 kB", 'bytes_max: found "4.9 kB"; a picture\'s limit lies between 5 kB and 1000 MB'),
        ("1001 MB", 'bytes_max: found "1001 MB"; a picture\'s limit lies between 5 kB and 1000 MB'),
        (200_000, "bytes_max: found 200000; it must be text in quotes"),
    ],
)
def test_what_is_no_limit_is_told_in_one_sentence(found: object, said: str) -> None:
    assert said_of(SQUARE, bytes_max=found) == [f"job.toml: {said}"]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {"bytes_max": "1 MB", "formats": ["tiff", "jpeg"]},
            (
                "there is a bytes_max, and formats has tiff, where every pixel is kept; "
                "leave bytes_max out, or give the others a target of their own"
            ),
        ),
        (
            {"bytes_max": "1 MB", "formats": ["png", "tiff"]},
            (
                "there is a bytes_max, and formats has png and tiff, where every pixel is kept; "
                "leave bytes_max out, or give the others a target of their own"
            ),
        ),
        (
            {"fidelity": 85, "formats": ["tiff"]},
            "there is a fidelity, and formats has only tiff, where every pixel is kept; leave fidelity out",
        ),
        (
            {"bytes_max": "1 MB", "quality": {"jpeg": 70}},
            "there is a quality beside bytes_max, which finds it; leave quality out",
        ),
        (
            {"bytes_max": "1 MB", "fidelity": 85, "quality": {"jpeg": 70}},
            "there is a quality beside bytes_max and fidelity, which finds it; leave quality out",
        ),
        ({"fidelity": 101}, "fidelity: found 101; it must be at most 100"),
        ({"fidelity": -1}, "fidelity: found -1; it must be at least 0"),
        ({"fidelity": "high"}, 'fidelity: found "high"; it must be a number'),
    ],
)
def test_what_cannot_be_kept_is_refused(changes: dict[str, Any], said: str) -> None:
    assert said_of(SQUARE, **changes) == [f"job.toml: {said}"]


def test_a_floor_may_stand_beside_lossless_files() -> None:
    assert target(SQUARE, fidelity=85, formats=["tiff", "jpeg"]).fidelity == 85


@pytest.mark.parametrize(
    ("channels", "tables", "kind"), [(4, True, "CMYK"), (3, True, "RGB by tables"), (3, False, None), (1, False, None)]
)
def test_fidelity_is_measured_where_it_is_defined(channels: int, tables: bool, kind: str | None) -> None:  # noqa: FBT001 (a column of the table)
    said = list(carried(target(SQUARE, fidelity=85), channels, tables=tables))
    expected = f"there is a fidelity, and its colour is {kind}; it is measured in RGB by primaries and in grey only"
    assert said == ([expected] if kind else [])


def test_a_job_gives_a_target_of_a_profile_limits_of_its_own(tmp_path: Path) -> None:
    limits = '\n[targets."blog/step"]\nbytes_max = "60 kB"\nfidelity = 82.5\n'
    _, plan = plan_of(tmp_path, HEAD + limits + FRAME, (3000, 2000))
    (rendition,) = plan.renditions
    assert (rendition.settings.bytes_max, rendition.settings.fidelity) == (60_000, 82.5)
    assert rendition.settings.finds_quality


@pytest.mark.parametrize("limit", ['bytes_max = "60 kB"', "fidelity = 85"])
def test_a_limit_in_the_job_takes_the_place_of_a_profiles_quality(tmp_path: Path, limit: str) -> None:
    """`blog/letter` of the house has a quality; beside a limit it is told only where the job itself writes both."""
    change = f'\n[targets."blog/letter"]\n{limit}\n'
    asked = FRAME + 'targets = ["blog/letter"]\n'
    assert faults_of(write_job(tmp_path, HEAD + change + asked)) == []
    (fault,) = faults_of(write_job(tmp_path, HEAD + change + "quality = { jpeg = 70 }\n" + asked))
    name = limit.partition(" ")[0]
    assert fault == (
        f'job.toml: targets."blog/letter": there is a quality beside {name}, which finds it; leave quality out'
    )


def test_a_limit_in_a_profile_of_its_own_is_refused_where_it_is_written(tmp_path: Path) -> None:
    limits = '\n[targets."print/a4"]\nbytes_max = "20 MB"\n'
    (fault,) = faults_of(write_job(tmp_path, HEAD + limits + FRAME))
    assert fault == (
        'job.toml: targets."print/a4": there is a bytes_max, and formats has tiff, where every pixel is kept; '
        "leave bytes_max out, or give the others a target of their own"
    )


def test_tables_of_the_standard_are_for_baseline_files(tmp_path: Path) -> None:
    asked = '\n[targets."blog/card-square"]\njpeg_tables = "standard"\n' + FRAME + 'targets = ["blog/card-square"]\n'
    _, plan = plan_of(tmp_path, HEAD + asked, (3000, 2000))
    (settings,) = {rendition.settings for rendition in plan.renditions}
    assert (settings.progressive, settings.jpeg_tables) == (False, "standard")


def test_tables_without_a_jpeg_are_refused(tmp_path: Path) -> None:
    asked = '\n[targets."blog/step"]\nformats = ["webp"]\njpeg_tables = "standard"\n'
    (fault,) = faults_of(write_job(tmp_path, HEAD + asked + FRAME))
    assert fault == (
        'job.toml: targets."blog/step": there is jpeg_tables, and formats has no jpeg; '
        "leave jpeg_tables out, or add jpeg to formats"
    )


def test_paper_is_not_progressive(tmp_path: Path) -> None:
    asked = FRAME + 'targets = ["blog/step", "print/a4"]\n'
    _, plan = plan_of(tmp_path, HEAD + asked, (6000, 9000))
    assert [rendition.settings.progressive for rendition in plan.renditions] == [True, False]
