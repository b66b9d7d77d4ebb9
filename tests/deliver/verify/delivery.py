"""A small delivery of every format and policy, with every fact that a job can state."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from PIL import Image

from pipeline.deliver.export import Asked, export

if TYPE_CHECKING:
    from pathlib import Path

JOB = """
profiles = ["blog", "print", "partner"]

[shoot]
title = "Roasted tomato and white bean soup"
slug = "soup"
date = 2026-09-12
language = "en"
keywords = ["soup", "crème", "a keyword that is longer than the sixty-four octets that one may have"]
job_id = "2026-37/é"
source = "Larder and Light"
caption_writer = "B. Örn"
digital_source = "digitalCreation"
not_before = 2026-10-01
licence_ends = 2027-09-30

[credit]
creator = ["Ines Falkenrath", "Jö Tàn; cook"]
creator_title = "Photographer"
contact = { city = "Town", country = "Nowhere", email = "ines@larder-and-light.example" }
credit_line = "Ines Falkenrath / larder-and-light.example"
copyright = "© 2026 Ines Falkenrath"
owner = "Larder and Light"
licence_url = "https://larder-and-light.example/licence?a=1&b=é"
licensor = "The desk"
acquire_url = "https://larder-and-light.example/buy"
usage_terms = "Editorial use only"
contributors = [{ name = "Dö", role = "cook" }]

[targets."blog/hero"]
widths = [200]
formats = ["avif", "webp", "jpeg", "png"]

[targets."print/eight-by-ten"]
size_mm = [25.4, 31.75]

[[frames]]
file = "bowl.jpg"
subject = [0.4, 0.5]
keep = [0.3, 0.3, 0.6, 0.7]
headline = "One <pot>"
alt = { en = "A bowl of red soup — “hot”, 熱い", fr = "Un bol de soupe" }
long_alt = "From above: a white bowl, שלום"
caption = "The bowl <from> above"
rating = 4
targets = ["blog/hero", "print/eight-by-ten", "partner/proof"]

[[frames]]
file = "bread.jpg"
subject = [0.5, 0.5]
alt = "Flatbread on a board"
targets = ["blog/hero"]
"""
FILES = (
    "blog/soup-bowl-hero-200.avif",
    "blog/soup-bowl-hero-200.jpg",
    "blog/soup-bowl-hero-200.png",
    "blog/soup-bowl-hero-200.webp",
    "blog/soup-bread-hero-200.avif",
    "blog/soup-bread-hero-200.jpg",
    "blog/soup-bread-hero-200.png",
    "blog/soup-bread-hero-200.webp",
    "partner/soup-bowl-proof-540.jpg",
    "print/soup-bowl-eight-by-ten-300.jpg",
    "print/soup-bowl-eight-by-ten-300.tif",
)
ENDINGS = ("jpg", "png", "webp", "avif", "tif")


def of_ending(ending: str) -> str:
    """Return one delivered file of each format."""
    return "print/soup-bowl-eight-by-ten-300.tif" if ending == "tif" else f"blog/soup-bowl-hero-200.{ending}"


def deliver(folder: Path, job: str = JOB) -> Path:
    """Make frames and job below `folder`, export them, and return the output folder."""
    ramp = Image.linear_gradient("L").resize((600, 400))
    for name, tint in (("bowl", 128), ("bread", 200)):
        bands = (ramp, ramp.point([value * tint // 255 for value in range(256)]), ramp.rotate(180))
        Image.merge("RGB", bands).save(folder / f"{name}.jpg", quality=95)
    file = folder / "job.toml"
    file.write_text(job, encoding="utf-8")
    summary = export(Asked(file, folder / "out", workers=1, quiet=True), io.StringIO())
    assert summary.faults == ()
    return folder / "out"
