from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pipeline.cli import main
from pipeline.deliver.survey import delivered_names, survey
from pipeline.faults import RequestRefused
from pipeline.ledger.book import Ledger
from pipeline.ledger.made import Made
from tests.small_shoot import FRAME, HEAD, JOB, write_job

if TYPE_CHECKING:
    from pathlib import Path


def test_a_job_with_its_headers_and_what_cannot_be_read(tmp_path: Path) -> None:
    text = JOB + FRAME.replace("bowl", "text") + FRAME.replace("bowl", "empty")
    (tmp_path / "text.jpg").write_text("no picture")
    (tmp_path / "empty.jpg").touch()
    surveyed = survey(write_job(tmp_path, text))
    assert list(surveyed.headers) == ["bowl"]
    assert [fault.file for fault in surveyed.unreadable] == ["text.jpg", "empty.jpg"]
    assert [frame.slug for frame in surveyed.plan({}).frames] == ["bowl"]


def test_the_jobs_own_limit_of_pixels_counts(tmp_path: Path) -> None:
    job = write_job(tmp_path, "pixel_limit = 1_000_000\n" + JOB)
    assert survey(job).unreadable == ()
    from tests.small_shoot import frame  # noqa: PLC0415

    frame(tmp_path / "bowl.jpg", (1300, 800))
    (fault,) = survey(job).unreadable
    assert "claims 1300 x 800 pixels (1.0 megapixels), more than the limit of 1.0 megapixels" in str(fault)


@pytest.mark.parametrize("pattern", ["*", "bowl/*", "*/blog/*", "bowl/blog/step", "text/*", "[b]owl/*"])
def test_only_may_be_anything_that_the_job_asks_for(tmp_path: Path, pattern: str) -> None:
    (tmp_path / "text.jpg").write_text("no picture: asked for all the same, and told as what it is")
    surveyed = survey(write_job(tmp_path, JOB + FRAME.replace("bowl", "text")))
    assert surveyed.missed_by(pattern) is None
    assert [fault.file for fault in surveyed.unreadable] == ["text.jpg"]


@pytest.mark.parametrize(
    ("pattern", "hint"),
    [
        ("bowl/blog/stp", "; did you mean 'bowl/blog/step'?"),
        ("BOWL/BLOG/STEP", "; did you mean 'bowl/blog/step'?"),
        ("bowl", ""),
        ("", ""),
        ("blog/step", "; did you mean 'bowl/blog/step'?"),
    ],
)
def test_only_what_matches_nothing_is_refused(tmp_path: Path, pattern: str, hint: str) -> None:
    assert str(survey(write_job(tmp_path)).missed_by(pattern)) == (
        f"--only: nothing in this job matches '{pattern}'; "
        f"it is matched against frame/outlet/target, such as bowl/blog/step{hint}"
    )


def test_no_file_is_written_over_a_frame(tmp_path: Path) -> None:
    text = HEAD + FRAME.replace("bowl.jpg", "blog/bean-soup-bowl-step-480.jpg") + 'slug = "bowl"\n'
    surveyed = survey(write_job(tmp_path, text, ("blog/bean-soup-bowl-step-480.jpg",)))
    with pytest.raises(RequestRefused) as refused:
        surveyed.refuse_files_in_the_way(surveyed.plan({}), tmp_path)
    assert str(refused.value) == (
        "job.toml: frames[1] blog/bean-soup-bowl-step-480.jpg: this file would be written over by "
        "blog/bean-soup-bowl-step-480.jpg; name another --out"
    )
    surveyed.refuse_files_in_the_way(surveyed.plan({}), tmp_path / "out")


def test_nor_by_a_preview_or_over_a_link(tmp_path: Path) -> None:
    text = HEAD + FRAME.replace("bowl.jpg", "sheet/previews/bowl.jpg")
    surveyed = survey(write_job(tmp_path, text, ("sheet/previews/bowl.jpg",)))
    (tmp_path / "link").symlink_to(tmp_path)
    with pytest.raises(RequestRefused, match=r"this file would be written over by sheet/previews/bowl\.jpg"):
        surveyed.refuse_files_in_the_way(surveyed.plan({}), tmp_path / "link")


def test_what_was_delivered_is_known_by_its_use(tmp_path: Path) -> None:
    assert delivered_names(tmp_path / "out") == {}
    (tmp_path / "out").mkdir()
    with Ledger(tmp_path / "out") as ledger:
        ledger.record([Made("blog/a.jpg", "bowl.jpg | blog/step | 480 | jpeg", "p", "m", "s", 1, 1, None)])
    assert delivered_names(tmp_path / "out") == {"bowl.jpg | blog/step | 480 | jpeg": "blog/a.jpg"}


def test_a_pair_whose_frame_cannot_be_read_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "text.jpg").write_text("no picture")
    pair = '\n[[pairs]]\npair = ["{}", "{}"]\nslug = "{}"\ntargets = ["feed/two-up"]\n'
    frames = JOB + FRAME.replace("bowl", "text") + FRAME.replace("bowl", "bread")
    job = write_job(
        tmp_path,
        frames + pair.format("bowl", "text", "both") + pair.format("bread", "bowl", "well"),
        ("bowl.jpg", "bread.jpg"),
    )
    surveyed = survey(job)
    assert [one.name for one in surveyed.plan({}).renditions if one.beside] == ["well/feed/two-up"]
    told = (
        "job.toml: pairs[1]: the picture of two 'both' is not made, because text.jpg cannot be read; "
        "mend that, or take the pair out"
    )
    assert [str(fault) for fault in surveyed.unreadable[1:]] == [told]
    for verb in ("check", "plan", "sheet"):
        assert main([verb, str(job)]) == 1
        assert told in capsys.readouterr().err.splitlines()
