"""The same pictures made straight with other tools: a list of frames and pictures, and one short script for each tool.

The scripts are what a careful person writes with the tool's own documentation open: cut, resize with the tool's
Lanczos kernel, to sRGB by the frame's profile, save at the quality asked for; everything else as the tool has it, or,
where pictures are asked for `alike`, by the encoders' options of the bench's job as far as the tool has them.
Each reads one JSON file: `[{"file": ..., "pictures": [{"box": [left, top, width, height], "size": [width, height],
"out": ..., "quality": 82, "alike": false, "effort": 4}]}]`.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline.render.encode import WEBP_OPTIONS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.light.box import Box, Size

TOOLS = ("Pillow", "sharp", "pyvips")
HERE = Path(__file__).parent
CHECKOUT = HERE.parents[1]
SHARP = CHECKOUT / ".judges" / "node_modules" / "sharp"


@dataclass(frozen=True, slots=True)
class Wanted:
    """One picture of a frame: what is cut out of it, at what size, and where it goes (the ending is the format).

    `alike` asks for the encoders' options of the bench's job: JPEG 4:4:4 with the tables of its standard, WebP with the
    effort and the subsampling of the pipeline.
    """

    box: Box
    size: Size
    out: Path
    quality: int
    alike: bool = False


def job_file(path: Path, frames: Mapping[Path, tuple[Wanted, ...]]) -> Path:
    """Write the list that each script reads; return its path."""
    entries = [
        {
            "file": str(file),
            "pictures": [
                {
                    "box": [one.box.left, one.box.top, one.box.width, one.box.height],
                    "size": [one.size.width, one.size.height],
                    "out": str(one.out),
                    "quality": one.quality,
                    "alike": one.alike,
                    "effort": WEBP_OPTIONS["effort"],
                }
                for one in wanted
            ],
        }
        for file, wanted in frames.items()
    ]
    path.write_text(json.dumps(entries), encoding="utf-8")
    return path


def command(tool: str) -> list[str]:
    """Return how a tool's script is called, without the job file. A missing tool is a skip."""
    if tool != "sharp":
        return [sys.executable, str(HERE / f"straight_{tool.lower()}.py")]
    node = shutil.which("node")
    if node is None:
        pytest.skip("judge missing: node, for sharp")
    if not SHARP.exists():
        pytest.skip("judge missing: sharp")
    return [node, str(HERE / "straight_sharp.mjs")]


def run_straight(tool: str, job: Path) -> None:
    """Make every picture of a job with one tool; CalledProcessError where its script fails."""
    subprocess.run([*command(tool), str(job)], check=True)
