from __future__ import annotations

import hashlib
import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.pack.sums import sums_text

if TYPE_CHECKING:
    from pathlib import Path


def test_sha256sum_reads_it_and_finds_a_change(tmp_path: Path) -> None:
    """The judge is sha256sum of GNU coreutils."""
    command = shutil.which("sha256sum")
    if command is None:
        pytest.skip("judge missing: sha256sum")
    files = {"a.txt": b"", "partner/soup-bowl-3000.jpg": b"x" * 70_000, "sheet/for-partner/whole/a--b.jpg": b"\0\xff"}
    for name, data in files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(data)
    text = sums_text({name: hashlib.sha256(data).hexdigest() for name, data in files.items()})
    (tmp_path / "SHA256SUMS").write_bytes(text)
    words = [command, "--check", "--strict", "SHA256SUMS"]
    done = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout == "".join(f"{name}: OK\n" for name in files)
    (tmp_path / "a.txt").write_bytes(b"!")
    assert subprocess.run(words, cwd=tmp_path, capture_output=True, check=False).returncode == 1
    wrote = subprocess.run([command, *list(files)[1:]], cwd=tmp_path, capture_output=True, check=True).stdout
    assert text.endswith(wrote)
