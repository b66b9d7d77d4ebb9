"""A shoot for two outlets with private words planted wherever a job can hold some, exported, with a partner's sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.cli import main
from tests.small_shoot import asked, frame, own_target

if TYPE_CHECKING:
    from pathlib import Path

# What a partner must never read: notes, names of frames and folders, other outlets, the job's own words.
PRIVATE = ("plantedfolder", "plantedfile", "plantednote", "plantedblog", "plantedrating", "plantedjob")
JOB = (
    f"""
profiles = ["blog", "partner"]

[shoot]
title = "Roasted tomato and white bean soup"
slug = "bean-soup"
date = 2026-09-12
language = "en"

[credit]
creator = "Ines Falkenrath"
credit_line = "Ines Falkenrath / larder-and-light.example"
copyright = "© 2026 Ines Falkenrath"
licence_url = "https://larder-and-light.example/licence"
acquire_url = "https://larder-and-light.example/buy"
usage_terms = "Editorial use only"

[sponsor]
name = "Tidewater Beans"
disclosure = "Advertisement. Made with Tidewater Beans."

[targets."blog/plantedblog"]{own_target(about="plantedblog")}
[targets."partner/look"]{own_target(about="To look at", ratio="3:2", widths=[300], formats=["jpeg", "png"])}
"""
    + asked(
        "plantedfolder/plantedfile-1.jpg",
        subject=[0.4, 0.5],
        slug="bowl",
        alt="A bowl of red soup",
        caption="Hot.",
        note="plantednote",
        targets=["blog/plantedblog", "partner/proof", "partner/look"],
    )
    + asked(
        "plantedfolder/plantedfile-2.jpg",
        slug="bread",
        alt="Flatbread on a board",
        note="plantednote",
        targets=["blog/plantedblog", "partner/look"],
    )
)
PROOF = "partner/bean-soup-bowl-proof-540.jpg"
LOOKS = tuple(f"partner/bean-soup-{name}-look-300.{ending}" for name in ("bowl", "bread") for ending in ("jpg", "png"))
FILES = tuple(sorted((PROOF, *LOOKS)))


def export(job: Path) -> None:
    """Make all files of a job, and the contact sheet for the partner."""
    assert main(["export", str(job), "--quiet", "--workers", "1"]) == 0
    assert main(["sheet", str(job), "--for", "partner", "--quiet", "--workers", "1"]) == 0


def make_shoot(folder: Path, text: str = JOB) -> Path:
    """Write frames and job below a folder, export them, and return the job file."""
    for number in (1, 2):
        frame(folder / f"plantedfolder/plantedfile-{number}.jpg", (600, 400 + number))
    job = folder / "plantedjob.toml"
    job.write_text(text, encoding="utf-8")
    export(job)
    return job
