"""The arithmetic of the rows: halves of a run, shares of a profile, and what the command answers."""

from __future__ import annotations

import math
import sys
from itertools import accumulate
from typing import TYPE_CHECKING

import pytest

from tests.bench import __main__ as command
from tests.bench.shares import share
from tests.bench.steady import grown, halves, mean_within
from tests.bench.table import Row
from tests.quality.figure import at_most

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.bench.shares import Times


def ends(*seconds: float) -> list[float]:
    """Return ends of frames after a start of 9 s, each so long after the one before."""
    return list(accumulate(seconds, initial=9.0))


def test_the_two_halves_of_a_run_without_its_first_turn() -> None:
    """A turn of 3 is left out, then there are two turns of 1 s a frame, two of 2 s."""
    early, late = halves(ends(0.5, 0.1, *[1.0] * 6, *[2.0] * 6), 3)
    assert (early[0], early[-1]) == pytest.approx((9.6, 15.6))
    assert (late[0], late[-1]) == pytest.approx((15.6, 27.6))
    assert (len(early), len(late)) == (7, 7)


def test_too_few_frames_are_told() -> None:
    with pytest.raises(ValueError, match="5 frames are too few: write 9 or more"):
        halves([1, 2, 3, 4, 5], 3)


def test_a_machine_that_grew_slower_is_not_taken_for_a_run_that_did() -> None:
    """Frames take twice as long in the second half: so do short runs beside it, or they do not."""
    run = halves(ends(0.5, 0.1, *[1.0] * 6, *[2.0] * 6), 3)
    assert grown(run, [(10, 12), (13, 15), (16, 20), (21, 25)]) == pytest.approx(1.0)
    assert grown(run, [(10, 12), (13, 15), (16, 18), (21, 23)]) == pytest.approx(2.0)


def test_only_runs_that_lie_wholly_in_a_half_count() -> None:
    assert mean_within([(0, 4), (4, 7), (7, 8), (8, 12)], (4, 9)) == 2.0
    with pytest.raises(ValueError, match="no run beside it"):
        mean_within([(0, 4)], (1, 9))


def test_a_share_is_of_the_own_time_of_all() -> None:
    times: Times = {
        ("/a/work.py", 1, "with_metadata"): (1, 1, 1.0, 3.0, {}),
        ("/a/xmp.py", 1, "xmp_packet"): (1, 1, 2.0, 2.0, {}),
        ("/a/other.py", 1, "rest"): (1, 1, 9.0, 12.0, {}),
    }
    assert share(times, ("work.py", "with_metadata")) == 0.25
    assert math.isnan(share(times, ("work.py", "renamed")))


@pytest.mark.parametrize(("figures", "code"), [([1.0, 2.0], 0), ([1.0, 2.1], 1), ([math.nan], 1)])
def test_the_command_answers_1_where_a_bound_is_missed(
    figures: list[float], code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def rows() -> Iterator[Row]:
        for figure in figures:
            yield Row("made up", figure, at_most(2))

    def left_out() -> Iterator[Row]:
        pytest.skip("judge missing: sharp")
        yield Row("never", 0)

    monkeypatch.setattr(command, "parts", lambda _: {"speed": rows, "shares": left_out})
    monkeypatch.setattr(sys, "argv", ["bench"])
    assert command.main() == code
    printed = capsys.readouterr().out
    assert printed.count("| made up |") == len(figures)
    assert f"{len(figures)} figures, {code} miss" in printed
    assert "left out, shares: judge missing: sharp" in printed


def test_a_whole_run_puts_its_table_into_the_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = tmp_path / "page.md"
    page.write_text("before\n<!-- bench -->\nold\n<!-- end of bench -->\nafter\n", encoding="utf-8")
    monkeypatch.setattr(command, "DEVELOPERS", page)
    monkeypatch.setattr(command, "parts", lambda _: {"speed": lambda: [Row("made up", 1.5, at_most(2))]})
    monkeypatch.setattr(sys, "argv", ["bench", "--write"])
    assert command.main() == 0
    lines = page.read_text(encoding="utf-8").splitlines()
    assert (lines[0], lines[-1]) == ("before", "after")
    assert "| made up | 1.50 | at most 2 |  |" in lines
    assert "old" not in lines


@pytest.mark.parametrize("argument", [["speed"], ["--frames", "2"]])
def test_a_part_of_a_run_is_not_written(argument: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["bench", "--write", *argument])
    with pytest.raises(SystemExit) as error:
        command.main()
    assert error.value.code == 2


def test_the_page_has_room_for_the_table() -> None:
    assert "\n<!-- bench -->\n" in command.DEVELOPERS.read_text(encoding="utf-8")


def test_a_part_that_is_not_there_is_left_out() -> None:
    with pytest.raises(pytest.skip.Exception, match="not measured here"):
        command.rows_of("no_such_part")
