"""The process that workers are forked from: imported there and nowhere else, it loads all that a frame's work needs.

It begins no thread, for a fork would lose it: libvips has none before it works, and numpy's are kept from beginning.
"""

from __future__ import annotations

import gc
import os
import sys

from pipeline.deliver.loads import LOADS, load

sys.excepthook = lambda *_: None  # where a fork fails, for want of memory or files, whoever asked for it finds that
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
for name in LOADS:
    load(name)
gc.freeze()  # nobody looks through these again, so their pages stay shared
