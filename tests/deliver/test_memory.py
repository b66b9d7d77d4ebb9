"""How much memory the work may take: read from files as Linux writes them, and judged against what a frame took."""

from __future__ import annotations

import re
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

import pipeline.deliver.workers
from pipeline.deliver.export import Asked
from pipeline.deliver.memory import IDLE, LEAST, byte_size, memory_to_use, need
from pipeline.deliver.shoot import judge
from pipeline.deliver.tasks import FrameTask, file_tasks
from pipeline.job.sizes import memory_words
from tests.small_shoot import FRAME, HEAD, frame, write_job

if TYPE_CHECKING:
    from pathlib import Path

GB = 10**9


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("1.2 GB", 1_200_000_000),
        ("800MB", 800_000_000),
        ("0.2 GB", LEAST),
        ("12 GB", 12 * GB),
        ("1.125 GB", 1_125_000_000),
    ],
)
def test_a_size_in_words(text: str, size: int) -> None:
    assert byte_size(text) == size


@pytest.mark.parametrize(
    "text", ["", "1.2", "GB", "-1 GB", "1,2 GB", "1e3 MB", "199 MB", "0 GB", "1.2 GiB", "1.2 gb", "٣ GB"]
)
def test_what_is_no_size(text: str) -> None:
    with pytest.raises(ValueError, match=r'^a size with its unit is needed, MB or GB, such as "1\.2 GB"'):
        byte_size(text)


@pytest.mark.parametrize(
    ("size", "words"), [(GB, "1 GB"), (1_234_000_000, "1.3 GB"), (800_000_000, "800 MB"), (1, "0.1 MB")]
)
def test_sizes_are_told_rounded_up(size: int, words: str) -> None:
    assert memory_words(size) == words


def put(root: Path, files: dict[str, str]) -> Path:
    for place, text in files.items():
        (root / place).parent.mkdir(parents=True, exist_ok=True)
        (root / place).write_text(text, encoding="ascii")
    return root


MEMINFO = "MemTotal:       16000000 kB\nMemFree:          500000 kB\nMemAvailable:    9765625 kB\nBuffers: 1 kB\n"


def test_what_the_system_calls_available(tmp_path: Path) -> None:
    """9765625 kB of proc_meminfo(5) are 10 GB; four fifths of them are used."""
    assert memory_to_use(put(tmp_path, {"proc/meminfo": MEMINFO})) == 8 * GB


@pytest.mark.parametrize(
    ("groups", "used"),
    [
        ({"memory.max": "max\n", "memory.current": "5\n"}, 8 * GB),
        ({"memory.max": "3000000000\n", "memory.current": "1000000000\n"}, 1_600_000_000),
        (
            {
                "memory.max": "3000000000\n",
                "memory.current": "2000000000\n",
                "memory.stat": "anon 7\ninactive_file 1000000000\nactive_file 3\n",
            },
            1_600_000_000,
        ),
        ({"memory.max": "1000000\n", "memory.current": "900000\n"}, LEAST),
        ({"memory.max": "broken", "memory.current": ""}, 8 * GB),
    ],
)
@pytest.mark.parametrize("where", ["", "shoot.slice/"])
def test_the_limits_of_control_groups(tmp_path: Path, groups: dict[str, str], used: int, where: str) -> None:
    """File names and what they hold are those of the kernel's cgroup-v2 documentation; a limit around it holds too."""
    files = {"proc/meminfo": MEMINFO, "proc/self/cgroup": "0::/shoot.slice/export.scope\n"}
    files |= {f"sys/fs/cgroup/{where}{name}": text for name, text in groups.items()}
    assert memory_to_use(put(tmp_path, files)) == used


def test_the_limit_of_a_control_group_of_the_first_kind(tmp_path: Path) -> None:
    files = {
        "proc/meminfo": MEMINFO,
        "proc/self/cgroup": "12:cpu,cpuacct:/a\n4:memory:/a\n0::/\n",
        "sys/fs/cgroup/memory/a/memory.limit_in_bytes": "2000000000\n",
        "sys/fs/cgroup/memory/a/memory.usage_in_bytes": "1000000000\n",
        "sys/fs/cgroup/memory/a/memory.stat": "inactive_file 7\ntotal_inactive_file 250000000\n",
    }
    assert memory_to_use(put(tmp_path, files)) == GB


def test_where_nothing_is_told_half_of_the_machine_is_taken(tmp_path: Path) -> None:
    found = memory_to_use(tmp_path)
    assert found is None or found > 0


TARGET = """
[targets."feed/large"]
about = "For the test"
ratio = "3:2"
widths = [{width}]
too_small = "shrink"
keep_miss = "caution"
formats = ["{format}"]
sharpen = {{ medium = "screen" }}
metadata = "public"
"""

PEAK = """
import re, sys
from pathlib import Path
from tests.deliver.test_memory import task_of
from pipeline.deliver.memory import need
from pipeline.deliver.work import work_on_frame
task = task_of(Path(sys.argv[1]))
done = work_on_frame(task)
assert not done.faults, done.faults
status = Path("/proc/self/status").read_text(encoding="ascii")
print(need(task), int(re.search(r"VmHWM:\\s*([0-9]+) kB", status)[1]) * 1024)
"""


def task_of(job: Path) -> FrameTask:
    """Return all work on the first frame of a job."""
    plan = judge(Asked(job, job.parent / "out")).plan
    first, contents = plan.frames[0], {one.slug: "content" for one in plan.frames}
    renditions = (*first.renditions, first.whole)
    out = job.parent / "out"
    return FrameTask(
        first.header, first.file, out, tuple(file_tasks(first, one, contents, {}, out) for one in renditions)
    )


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="judge missing: the peak of a process in /proc")
@pytest.mark.parametrize(
    ("name", "size", "width", "kind"),
    [
        ("bowl.jpg", (4800, 3200), 1200, "jpeg"),
        ("bowl.jpg", (2400, 1600), 2400, "webp"),
        ("bowl.tif", (2400, 1600), 1200, "tiff"),
    ],
)
def test_what_a_frame_takes_is_judged_neither_too_low_nor_far_too_high(
    tmp_path: Path, name: str, size: tuple[int, int], width: int, kind: str
) -> None:
    """The kernel's own peak (VmHWM of proc_pid_status(5)) of a process that does the work and nothing else."""
    frame(tmp_path / name, size)
    text = (
        HEAD + TARGET.format(width=width, format=kind) + FRAME.replace("bowl.jpg", name) + 'targets = ["feed/large"]\n'
    )
    job = write_job(tmp_path, text, (name,))
    done = subprocess.run([sys.executable, "-c", PEAK, job], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    judged, peak = map(int, done.stdout.split())
    assert peak < judged + IDLE < 3 * peak


def test_a_frame_that_needs_more_than_all_may_take_is_made_alone_with_a_note(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    task = task_of(job)
    (large,) = pipeline.deliver.workers.results([task], 2, LEAST)
    assert need(task) + 2 * IDLE > LEAST
    assert not large[1].faults
    assert large[1].made
    (note,) = large[1].notes[1:]
    assert re.fullmatch(
        r"it may have taken [\d.]+ MB of memory, more than 200 MB; no other frame was worked on beside it", note
    )
