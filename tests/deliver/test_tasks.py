"""What a run has to do, judged from the plan, the ledger and the files that are there."""

from __future__ import annotations

import hashlib
import os
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

import pipeline.deliver.tasks
from pipeline.deliver.cost import decoding_cost, encoding_cost
from pipeline.deliver.tasks import FileTask, FrameTask, RenditionTask, engine_versions, file_tasks, untouched
from pipeline.ledger.made import Made
from tests.small_shoot import FRAME, HEAD, JOB, plan_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from pipeline.plan.rendition import PlannedFrame

CONTENT = "digest of the frame"


def tasks_of(frame: PlannedFrame, out: Path, made: dict[str, Made], content: str = CONTENT) -> RenditionTask:
    return file_tasks(frame, frame.renditions[0], {frame.slug: content}, made, out)


def deliver(task: RenditionTask, out: Path) -> dict[str, Made]:
    """Write every file of a rendition, and return what the ledger would know of it."""
    made = {}
    for one in task.files:
        data = one.output.path.encode()
        path = out / one.output.path
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        made[one.output.path] = Made(
            path=one.output.path,
            identity=one.identity,
            pixel_key=one.pixel_key,
            metadata_key=one.metadata_key,
            sha256=hashlib.sha256(data).hexdigest(),
            size_bytes=len(data),
            mtime_ns=path.stat().st_mtime_ns,
            outside_gamut=0.125,
        )
    return made


def works(task: RenditionTask) -> list[str]:
    return [one.work for one in task.files]


@pytest.fixture
def frame(tmp_path: Path) -> PlannedFrame:
    """Return a frame with one rendition of four files, and its preview."""
    _, plan = plan_of(tmp_path, JOB, (600, 400))
    return plan.frames[0]


def test_the_first_run_makes_everything(frame: PlannedFrame, tmp_path: Path) -> None:
    task = tasks_of(frame, tmp_path, {})
    assert works(task) == ["pixels"] * 5
    assert [one.output.path for one in task.files][-1] == "sheet/previews/bowl--blog--step.jpg"
    assert len({one.identity for one in task.files}) == len({one.pixel_key for one in task.files}) == 5


def test_the_second_run_makes_nothing(frame: PlannedFrame, tmp_path: Path) -> None:
    made = deliver(tasks_of(frame, tmp_path, {}), tmp_path)
    again = tasks_of(frame, tmp_path, made)
    assert works(again) == ["keep"] * 5
    assert {one.outside_gamut for one in again.files} == {0.125}


def test_previews_only(frame: PlannedFrame, tmp_path: Path) -> None:
    task = file_tasks(frame, frame.renditions[0], {frame.slug: CONTENT}, {}, tmp_path, previews_only=True)
    assert [one.output.path for one in task.files] == ["sheet/previews/bowl--blog--step.jpg"]


def test_a_refused_rendition_needs_nothing(frame: PlannedFrame, tmp_path: Path) -> None:
    refused = replace(frame.renditions[0], outputs=(), preview=None, refused="too small")
    assert file_tasks(frame, refused, {frame.slug: CONTENT}, {}, tmp_path).files == ()


def _another_box(frame: PlannedFrame) -> PlannedFrame:
    one = frame.renditions[0]
    crop = replace(one.crop, box=replace(one.crop.box, left=one.crop.box.left + 1))
    return replace(frame, renditions=(replace(one, crop=crop),))


def _another_setting(frame: PlannedFrame) -> PlannedFrame:
    one = frame.renditions[0]
    return replace(frame, renditions=(replace(one, settings=replace(one.settings, sharpen_amount=0.5)),))


def _another_orientation(frame: PlannedFrame) -> PlannedFrame:
    return replace(frame, header=replace(frame.header, orientation=6))


def _another_turn(frame: PlannedFrame) -> PlannedFrame:
    one = frame.renditions[0]
    return replace(frame, renditions=(replace(one, crop=replace(one.crop, turn_deg=0.1)),))


@pytest.mark.parametrize("change", [_another_box, _another_setting, _another_orientation, _another_turn])
def test_what_changes_pixels_makes_pixels(
    frame: PlannedFrame, tmp_path: Path, change: Callable[[PlannedFrame], PlannedFrame]
) -> None:
    made = deliver(tasks_of(frame, tmp_path, {}), tmp_path)
    assert works(tasks_of(change(frame), tmp_path, made)) == ["pixels"] * 5


def test_another_content_makes_pixels(frame: PlannedFrame, tmp_path: Path) -> None:
    made = deliver(tasks_of(frame, tmp_path, {}), tmp_path)
    assert works(tasks_of(frame, tmp_path, made, content="another digest")) == ["pixels"] * 5


@pytest.mark.parametrize("name", ["PIXEL_VERSION", "METADATA_VERSION"])
def test_steps_of_our_own_that_changed(
    frame: PlannedFrame, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    made = deliver(tasks_of(frame, tmp_path, {}), tmp_path)
    monkeypatch.setattr(pipeline.deliver.tasks, name, 1000)
    assert works(tasks_of(frame, tmp_path, made)) == [("pixels" if name.startswith("PIXEL") else "metadata")] * 5


def test_another_engine_makes_pixels(frame: PlannedFrame, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = deliver(tasks_of(frame, tmp_path, {}), tmp_path)
    monkeypatch.setattr(pipeline.deliver.tasks, "_package_versions", lambda: ("pyvips-binary 0.0.1",))
    assert works(tasks_of(frame, tmp_path, made)) == ["pixels"] * 5


def test_the_engine_names_every_package_that_makes_pixels() -> None:
    assert [one.partition(" ")[0] for one in engine_versions()] == [
        "steps",
        "pyvips-binary",
        "pillow",
        "rawpy",
        "compiled",
    ]


@pytest.mark.parametrize(
    "change",
    [
        {"alt": "Another alt text"},
        {"creators": ("Somebody Else",)},
        {"keywords": ("soup",)},
        {"licence_url": "https://larder.example"},
        {"language": "fr"},
        {"decorative": True},
    ],
)
def test_changed_words_rewrite_metadata_alone(frame: PlannedFrame, tmp_path: Path, change: dict[str, Any]) -> None:
    made = deliver(tasks_of(frame, tmp_path, {}), tmp_path)
    one = frame.renditions[0]
    changed = replace(frame, renditions=(replace(one, facts=replace(one.facts, **change)),))
    assert works(tasks_of(changed, tmp_path, made)) == ["metadata"] * 5


def test_camera_facts_count_where_they_are_written_only(tmp_path: Path) -> None:
    works_by_policy = {}
    for target in ("partner/final", "blog/step"):
        text = HEAD + FRAME + f'targets = ["{target}"]\n'
        _, plan = plan_of(tmp_path, text, (600, 400))
        _, again = plan_of(tmp_path, text, (600, 400), make="Halden Optik")
        made = deliver(tasks_of(plan.frames[0], tmp_path, {}), tmp_path)
        works_by_policy[target] = works(tasks_of(again.frames[0], tmp_path, made))
    # The preview on the contact sheet states no camera facts, whatever the final does.
    assert works_by_policy == {"partner/final": ["metadata", "keep"], "blog/step": ["keep"] * 5}


def test_a_file_that_is_gone_or_was_changed_is_made_again(frame: PlannedFrame, tmp_path: Path) -> None:
    made = deliver(tasks_of(frame, tmp_path, {}), tmp_path)
    first, second, third, *_ = made
    (tmp_path / first).unlink()
    (tmp_path / second).write_bytes(b"longer than it was before, by far, whatever it was")
    changed = bytearray((tmp_path / third).read_bytes())
    changed[0] ^= 1
    (tmp_path / third).write_bytes(changed)
    os.utime(tmp_path / third, ns=(1, 1))
    assert works(tasks_of(frame, tmp_path, made)) == ["pixels"] * 3 + ["keep"] * 2


def test_a_file_that_was_only_copied_elsewhere_and_back_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "bowl.jpg"
    path.write_bytes(b"data")
    known = Made("bowl.jpg", "i", "p", "m", hashlib.sha256(b"data").hexdigest(), 4, path.stat().st_mtime_ns, None)
    os.utime(path, ns=(5, 5))
    assert untouched(path, known)
    path.write_bytes(b"atad")
    os.utime(path, ns=(6, 6))
    assert not untouched(path, known)


def test_what_cannot_be_looked_at_is_not_untouched(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    known = Made("x", "i", "p", "m", "s", 0, 0, None)
    assert not untouched(tmp_path / "absent", known)
    assert not untouched(tmp_path / "file" / "below", known)
    assert not untouched(tmp_path, replace(known, size_bytes=tmp_path.stat().st_size))


def test_a_path_that_another_rendition_had_is_told_by_its_use(frame: PlannedFrame, tmp_path: Path) -> None:
    made = deliver(tasks_of(frame, tmp_path, {}), tmp_path)
    others = {path: replace(row, identity="another frame | blog/step") for path, row in made.items()}
    assert works(tasks_of(frame, tmp_path, others)) == ["metadata"] * 5


def test_a_frames_weight_is_its_decoding_and_the_making_of_its_files(frame: PlannedFrame, tmp_path: Path) -> None:
    task = tasks_of(frame, tmp_path, {})
    whole = FrameTask(frame.header, frame.file, tmp_path, (task,))
    made = sum(encoding_cost(task.rendition, [one]) for one in task.files)
    assert decoding_cost(frame.header) < whole.weight <= decoding_cost(frame.header) + made, "a size is made once"
    raw = replace(whole, header=replace(frame.header, format="raw"))
    assert raw.weight > whole.weight
    quiet = RenditionTask(task.rendition, tuple(_of_metadata(one) for one in task.files))
    assert FrameTask(frame.header, frame.file, tmp_path, (quiet,)).weight == 1


def _of_metadata(task: FileTask) -> FileTask:
    return replace(task, work="metadata")
