"""How much memory the work may take: what the machine can spare, and what a frame needs, judged by its header."""

from __future__ import annotations

import os
import re
from fractions import Fraction
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from pipeline.job.sizes import UNITS, byte_count

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.deliver.tasks import FrameTask, RenditionTask
    from pipeline.frames.header import Header

LEAST, MOST = 200 * UNITS["MB"], 100_000 * UNITS["GB"]
WANTED = 'a size with its unit is needed, MB or GB, such as "1.2 GB"; 200 MB is the least'
SPARED = Fraction(4, 5)  # of what is free: the rest is for whoever else wants some meanwhile

MOST_PIXELS = 60_000_000  # of finished pictures that a frame's worker holds at once

# Measured at 24 megapixels (DEVELOPERS.md), with a margin.
IDLE = 80 * UNITS["MB"]  # a worker with its libraries, before its first frame
AT_WORK = 60 * UNITS["MB"]  # what its libraries take for themselves when they work
SOURCE_ROWS = 1024  # rows of the frame that are held as float while it is reduced
WORKING_COPIES = 3  # float pictures of the output's size that are held at once, from the reduction to the codes
FINDING_COPIES = 9  # and so many more where a quality is found, or an encoder keeps much beside it
FLOAT_BYTES, COLOUR_BANDS = 4, 3


def byte_size(text: str) -> int:
    """Return the whole bytes of "1.2 GB" or "800 MB". ValueError, with what would be right, for other words."""
    if re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,3})? ?(MB|GB)", text) is None:
        raise ValueError(WANTED)
    size = byte_count(text)
    if not LEAST <= size <= MOST:
        raise ValueError(WANTED)
    return size


def memory_to_use(root: Path = Path("/")) -> int | None:
    """Return how many bytes the work may take where nobody says it: most of what is free; None where that is not told.

    The least of what the system calls available and what the limits of the control groups leave that this process is
    in (Linux, cgroup v2 and v1). Elsewhere half of the machine's memory. `root` is where `/proc` and `/sys` are.
    """
    free = [one for one in (_available(root), *_left_in_groups(root)) if one is not None]
    if not free:
        return _half_of_all()
    return max(LEAST, int(min(free) * SPARED))


def _half_of_all() -> int | None:
    try:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // 2
    except (ValueError, OSError):
        return None


def _available(root: Path) -> int | None:
    """Return MemAvailable of proc_meminfo(5)."""
    found = re.search(r"^MemAvailable:\s*([0-9]+) kB$", _text(root / "proc" / "meminfo"), re.MULTILINE)
    return int(found[1]) * 1024 if found else None


def _left_in_groups(root: Path) -> Iterator[int]:
    """Yield what the limits of this process's control groups and those around them leave (cgroups(7))."""
    for line in _text(root / "proc" / "self" / "cgroup").splitlines():
        _, controllers, place = line.split(":", 2)
        if controllers == "":
            top, limit, used = "sys/fs/cgroup", "memory.max", "memory.current"
        elif "memory" in controllers.split(","):
            top, limit, used = "sys/fs/cgroup/memory", "memory.limit_in_bytes", "memory.usage_in_bytes"
        else:
            continue
        group = PurePosixPath(place)
        for one in (group, *group.parents):
            folder = root / top / str(one).lstrip("/")
            most, now = _text(folder / limit).strip(), _text(folder / used).strip()
            if most.isdecimal() and now.isdecimal():  # "max" where there is none
                yield max(0, int(most) - int(now) + _reclaimable(folder))


def _reclaimable(folder: Path) -> int:
    """Return the bytes of files that a group holds in memory and the system takes back where it is short."""
    rows: dict[str, str] = dict(re.findall(r"^(\S+) ([0-9]+)$", _text(folder / "memory.stat"), re.MULTILINE))
    return int(rows.get("total_inactive_file", rows.get("inactive_file", "0")))  # v1 tells of groups inside it by total


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="ascii", errors="replace")
    except OSError:
        return ""


def need(task: FrameTask) -> int:
    """Return about how many bytes the work on a frame takes at its height, beside an idle worker; never far too few.

    The frame decoded (twice where it is turned upright, laid on white or developed), strips of it in float, the codes
    of its pictures, and the float copies of the largest.
    """
    codes = min(MOST_PIXELS, sum(map(_pixels, task.renditions))) * COLOUR_BANDS  # of pictures made in one sweep
    return AT_WORK + codes + sum(map(_decoded, task.headers.values())) + max(map(_largest, task.renditions), default=0)


def _decoded(header: Header) -> int:
    whole = header.size.pixels * header.bands * (2 if header.bits > 8 else 1)
    copied = header.orientation != 1 or header.alpha or header.format in ("raw", "heic")
    strips = max(header.size.width, header.size.height) * SOURCE_ROWS * COLOUR_BANDS * FLOAT_BYTES
    return whole * (1 + copied) + strips


def _largest(one: RenditionTask) -> int:
    pixels = max((file.output.size.pixels for file in one.files if file.work == "pixels"), default=0)
    return pixels * COLOUR_BANDS * FLOAT_BYTES * _copies(one)


def _pixels(one: RenditionTask) -> int:
    return sum(size.pixels for size in {file.output.size for file in one.files if file.work == "pixels"})


def _copies(one: RenditionTask) -> int:
    slow = one.rendition.settings.finds_quality or any(file.output.format == "avif" for file in one.files)
    return WORKING_COPIES + (FINDING_COPIES if slow else 0)
