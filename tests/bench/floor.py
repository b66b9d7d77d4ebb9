"""The least that the bench's job can cost: each frame decoded once, each rendition encoded once, and nothing else.

`floor.py LIST.json SHARE OF`: the frames SHARE, SHARE + OF ... of a list (see `tests/bench/straight.py`, `ready` in
place of `out`: finished pixels as an array in a file). Nothing is cut, reduced, converted or written.

Decoder: libjpeg-turbo through imagecodecs, the fastest here (DEVELOPERS.md); TIFF by tifffile. Encoders: libjpeg-turbo
with the same tables and chroma, and libvips' WebP with the same options, as the pipeline has them.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import imagecodecs
import numpy as np
import pyvips
import tifffile

from pipeline.render.encode import WEBP_OPTIONS

pyvips.concurrency_set(1)
listed, share, of = sys.argv[1:]
for entry in json.loads(Path(listed).read_text(encoding="utf-8"))[int(share) :: int(of)]:
    if entry["file"].endswith(".jpg"):
        imagecodecs.jpeg8_decode(Path(entry["file"]).read_bytes())
    else:
        tifffile.imread(entry["file"])
    for one in entry["pictures"]:
        pixels = np.load(one["ready"], mmap_mode="r")
        if one["format"] == "webp":
            pyvips.Image.new_from_array(pixels).webpsave_buffer(Q=one["quality"], keep="none", **WEBP_OPTIONS)
        else:
            imagecodecs.jpeg8_encode(pixels, level=one["quality"], subsampling="444")
