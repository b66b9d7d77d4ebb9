"""Pictures of frames, written straight with Pillow: `straight_pillow.py JOB.json` (see `tests/bench/straight.py`)."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path
from typing import Any

from PIL import Image, ImageCms, ImageOps

Image.MAX_IMAGE_PIXELS = None
SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))

for entry in json.loads(Path(sys.argv[1]).read_text(encoding="utf-8")):
    frame = ImageOps.exif_transpose(Image.open(entry["file"]))
    icc_profile = frame.info.get("icc_profile")
    for one in entry["pictures"]:
        left, top, width, height = one["box"]
        picture = frame.crop((left, top, left + width, top + height))
        picture = picture.resize(one["size"], Image.Resampling.LANCZOS)
        if icc_profile:
            picture = ImageCms.profileToProfile(  # type: ignore[assignment] # None only where it works in place
                picture,
                ImageCms.ImageCmsProfile(io.BytesIO(icc_profile)),
                SRGB,
                renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
                outputMode="RGB",
                flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
            )
        # It has no option for the slower, finer chroma of WebP.
        alike: dict[str, Any] = {"method": one["effort"]} if one["out"].endswith(".webp") else {"subsampling": 0}
        options = alike if one["alike"] else {}
        picture.save(one["out"], quality=one["quality"], icc_profile=SRGB.tobytes(), **options)
