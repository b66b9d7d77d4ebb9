"""Pictures of frames, written straight with pyvips: `straight_pyvips.py JOB.json` (see `tests/bench/straight.py`)."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pyvips

for entry in json.loads(Path(sys.argv[1]).read_text(encoding="utf-8")):
    frame = pyvips.Image.new_from_file(entry["file"]).autorot()
    for one in entry["pictures"]:
        width, height = one["size"]
        picture = frame.crop(*one["box"])
        picture = picture.resize(width / picture.width, vscale=height / picture.height, kernel="lanczos3")
        if picture.get_typeof("icc-profile-data"):
            picture = picture.icc_transform("srgb", embedded=True, intent="relative", black_point_compensation=True)
        alike: dict[str, Any] = {"subsample_mode": "off"}
        if one["out"].endswith(".webp"):
            alike = {"effort": one["effort"], "smart_subsample": True}
        options = alike if one["alike"] else {}
        picture.write_to_file(one["out"], Q=one["quality"], **options)
