"""What a worker makes ready while nothing is to be done yet: all that a first frame loads, and memory to work in."""

from __future__ import annotations

import contextlib
import importlib
import resource
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

# All that a frame's work loads when it is first at it (`tests/deliver/test_loads.py` sees to it).
LOADS = (
    "pipeline.deliver.workers",
    "pipeline.deliver.work",
    "pipeline.deliver.tasks",
    "pipeline.plan.facts",
    "pipeline.plan.rendition",
    "pyvips",
    "simplejpeg",
    "imagecodecs._jpeg8",
    "concurrent.futures.thread",
    "encodings.unicode_escape",
    "pipeline.frames.pixels",
    "pipeline.render.source",
    "pipeline.render.picture",
    "pipeline.render.compiled",
    "pipeline.render.two_up",
    "pipeline.render.budget",
    "pipeline.render.containers.embed",
    "pipeline.render.counted",
    "pipeline.render.exif",
    "pipeline.render.iim",
    "pipeline.render.xmp",
)
AHEAD = 128 << 20  # bytes: less than a frame of 24 megapixels and its pictures take
AT_ONCE = 8 << 20
PAGE = 4096


def made_ready() -> Iterator[None]:
    """Load everything, then take memory for the first time, a little at each step.

    The system clears every page when it is first touched, and a virtual machine has to find it: that takes a first
    frame a quarter as long as its work. What is given back here stays with the process (`native/module.c`).
    """
    for name in LOADS:
        load(name)
        yield
    yield from _touched()


def load(name: str) -> None:
    """Import a module; what cannot be imported is told by the work that needs it."""
    with contextlib.suppress(Exception):
        importlib.import_module(name)


def _touched() -> Iterator[None]:
    import numpy as np  # noqa: PLC0415 (loaded by now)

    if resource.getrlimit(resource.RLIMIT_AS)[0] != resource.RLIM_INFINITY:
        return  # what libraries take for themselves has to fit beside it
    held = []
    for _ in range(AHEAD // AT_ONCE):
        part = np.empty(AT_ONCE, np.uint8)
        part[::PAGE] = 0
        held.append(part)
        yield
