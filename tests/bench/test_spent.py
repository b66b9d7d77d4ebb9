"""What processes cost: who belongs to whom, the least of several rounds, memory of children, failures."""

from __future__ import annotations

import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest

from tests.bench.spent import Spent, family, in_turn, peak_memory, spent

PYTHON = sys.executable
MEGA = 10**6
ROOT = Path(__file__).parents[2]


def test_a_family_is_a_process_and_all_that_descend_from_it() -> None:
    parents = {1: 0, 10: 1, 11: 10, 12: 10, 13: 12, 20: 1, 21: 20}
    assert family(10, parents) == {10, 11, 12, 13}
    assert family(21, parents) == {21}


def test_ways_are_taken_in_turn_and_the_least_of_each_counts() -> None:
    order: list[str] = []
    times = {"a": iter([3.0, 1.0, 2.0]), "b": iter([5.0, 6.0, 4.0])}

    def way(name: str) -> Spent:
        order.append(name)
        wall = next(times[name])
        return Spent(wall, 10 - wall)

    found = in_turn({name: lambda name=name: way(name) for name in times}, 3)  # type: ignore[misc] # bound here
    assert order == ["a", "b"] * 3
    assert found == {"a": Spent(1.0, 7.0), "b": Spent(4.0, 4.0)}


def test_some_ways_are_taken_more_often() -> None:
    order: list[str] = []

    def way(name: str) -> Spent:
        order.append(name)
        return Spent(1.0, 1.0)

    in_turn({name: partial(way, name) for name in "abc"}, 2, {"a": 3, "b": 2})
    assert "".join(order) == "abcaba" * 2


def test_a_command_that_fails_is_told() -> None:
    with pytest.raises(subprocess.CalledProcessError) as error:
        spent([PYTHON, "-c", "pass"], [PYTHON, "-c", "raise SystemExit(3)"])
    assert error.value.returncode == 3
    with pytest.raises(subprocess.CalledProcessError):
        peak_memory([PYTHON, "-c", "raise SystemExit(3)"])


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere nobody inherits orphans")
def test_what_outlives_the_command_counts_too() -> None:
    """Of one that leaves a child behind, which works for a while, all is counted: on the clock and of the processor."""
    work = "import time; end = time.process_time() + 0.5\nwhile time.process_time() < end: pass"
    left = f"import subprocess, sys; subprocess.Popen([sys.executable, '-c', {work!r}])"
    found = spent([PYTHON, "-c", left])
    assert found.cpu_s > 0.5
    assert found.wall_s > 0.5


@pytest.mark.skipif(not Path("/proc/self/smaps_rollup").exists(), reason="memory is read from /proc")
def test_memory_is_that_of_the_children_too_and_of_nothing_begun_before() -> None:
    """Asked in a small process: a child that has not yet become its program counts as large as its parent."""
    hold = "held = bytearray(80_000_000); held[::4096] = b'x' * len(held[::4096]); import time; time.sleep(1.5)"
    both = f"import subprocess, sys; child = subprocess.Popen([sys.executable, '-c', {hold!r}]); {hold}; child.wait()"
    ask = (
        "import subprocess, sys; from tests.bench.spent import peak_memory; "
        f"before = subprocess.Popen([sys.executable, '-c', {hold.replace('1.5', '60')!r}]); "
        f"print(peak_memory([sys.executable, '-c', {both!r}])); before.kill()"
    )
    asked = subprocess.run([PYTHON, "-c", ask], capture_output=True, text=True, check=True, cwd=ROOT)
    assert 160 * MEGA < int(asked.stdout) < 230 * MEGA
