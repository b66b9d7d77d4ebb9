from __future__ import annotations

import io
import re

import pytest

import pipeline.deliver.progress
from pipeline.deliver.progress import Progress


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        """Return that it is one."""
        return True


class Clock:
    """A clock that stands still until it is told otherwise."""

    def __init__(self) -> None:
        self.now = 100.0

    def monotonic(self) -> float:
        """Return the time it was set to."""
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Return the clock by which progress judges the time left."""
    made = Clock()
    monkeypatch.setattr(pipeline.deliver.progress, "time", made)
    monkeypatch.setenv("COLUMNS", "80")
    return made


def progress(stream: io.StringIO, *, quiet: bool = False) -> Progress:
    return Progress(stream, frames=2, files=8, weight=100, quiet=quiet)


def seen(stream: io.StringIO) -> list[str]:
    """Return what a terminal shows after each write: the return goes to the start, the escape clears the line."""
    return [re.split(r"\r\x1b\[K", text)[-1] for text in re.split(r"(?=\r\x1b\[K)", stream.getvalue()) if text]


def test_a_pipe_gets_plain_lines(clock: Clock) -> None:
    stream = io.StringIO()
    told = progress(stream)
    told.frame_done("bowl.jpg", 3, 40)
    clock.now += 60
    told.frame_done("selects/bread.jpg", 4, 60)
    assert (
        stream.getvalue() == "1 of 2 frames, 3 of 8 files: bowl.jpg\n2 of 2 frames, 7 of 8 files: selects/bread.jpg\n"
    )


def test_a_terminal_gets_one_line_that_is_cleared_at_the_end(clock: Clock) -> None:
    stream = Terminal()
    told = progress(stream)
    clock.now += 10
    told.frame_done("bowl.jpg", 3, 40)
    assert seen(stream) == ["1 of 2 frames, 3 of 8 files, about 15 s left: bowl.jpg"]
    told.frame_done("bread.jpg", 5, 60)
    assert seen(stream)[-2:] == ["2 of 2 frames, 8 of 8 files: bread.jpg", ""]
    assert "\n" not in stream.getvalue()


@pytest.mark.parametrize(
    ("seconds", "weight", "left"), [(10, 50, 10), (10, 10, 90), (90, 90, 10), (0, 50, None), (1, 99, None)]
)
def test_the_time_left_is_judged_by_the_weight_of_what_is_done(
    clock: Clock, seconds: float, weight: int, left: int | None
) -> None:
    stream = Terminal()
    told = progress(stream)
    clock.now += seconds
    told.frame_done("bowl.jpg", 1, weight)
    assert seen(stream) == [f"1 of 2 frames, 1 of 8 files{f', about {left} s left' if left else ''}: bowl.jpg"]


@pytest.mark.parametrize("stream", [io.StringIO(), Terminal()], ids=["pipe", "terminal"])
def test_quiet_says_nothing(stream: io.StringIO) -> None:
    progress(stream, quiet=True).frame_done("bowl.jpg", 8, 100)
    assert stream.getvalue() == ""


def test_a_line_never_wraps(clock: Clock) -> None:
    stream = Terminal()
    clock.now += 10
    progress(stream).frame_done("a" * 300, 1, 50)
    assert len(seen(stream)[0]) == 79


@pytest.mark.parametrize("stream", [io.StringIO(), Terminal()], ids=["pipe", "terminal"])
@pytest.mark.usefixtures("clock")
def test_a_name_cannot_move_the_cursor(stream: io.StringIO) -> None:
    progress(stream).frame_done("a\nb\x1b[2Jc.jpg", 1, 50)
    assert "a?b?[2Jc.jpg" in stream.getvalue()
    assert stream.getvalue().count("\x1b") == stream.getvalue().count("\x1b[K")


def test_a_run_of_no_weight_is_no_fault(clock: Clock) -> None:
    stream = Terminal()
    told = Progress(stream, frames=2, files=0, weight=0)
    clock.now += 5
    told.frame_done("bowl.jpg", 0, 0)
    assert "1 of 2 frames, 0 of 0 files" in stream.getvalue()


def test_a_run_that_makes_no_files_counts_frames_alone() -> None:
    stream = io.StringIO()
    told = Progress(stream, frames=2, weight=2)
    told.frame_done("bowl.jpg")
    told.frame_done("bread.jpg")
    assert stream.getvalue() == "1 of 2 frames: bowl.jpg\n2 of 2 frames: bread.jpg\n"


def test_more_work_that_turns_up_is_counted(clock: Clock) -> None:
    stream = Terminal()
    told = Progress(stream, frames=0, files=0, weight=0)
    clock.now += 50  # nothing was at work yet
    told.expect(frames=1, files=4, weight=40)
    told.expect(frames=1, files=4, weight=60)
    clock.now += 10
    told.frame_done("bowl.jpg", 4, 40)
    assert seen(stream) == ["1 of 2 frames, 4 of 8 files, about 15 s left: bowl.jpg"]
