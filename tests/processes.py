"""The processes that an export begins, as the system lists them."""

from __future__ import annotations

import subprocess


def workers_of(process: int) -> list[int]:
    """Return the worker processes of an export: forked from one that it began for that, or begun one by one."""
    listed = _listed()
    templates = {pid for pid, parent, command in listed if parent == process and "forkserver" in command}
    begun = {pid for pid, parent, command in listed if parent == process and "spawn_main" in command}
    return sorted(begun | {pid for pid, parent, _ in listed if parent in templates})


def _listed() -> list[tuple[int, int, str]]:
    words = ["ps", "-A", "-ww", "-o", "pid=,ppid=,command="]
    listed = subprocess.run(words, capture_output=True, text=True, check=True)
    rows = (line.split(None, 2) for line in listed.stdout.splitlines())
    return [(int(row[0]), int(row[1]), row[2]) for row in rows if len(row) > 2]
