"""The small shoot of the kit's tests: its job, and what a ledger would know when all of it was made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.ledger.made import Made

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pipeline.plan.rendition import Plan

DISCLOSURE = "Advertisement. Made with Hollow Oak Mill."
JOB = f"""\
profiles = ["blog", "feed", "print", "partner"]

[shoot]
title = "Bean soup & bread"
slug = "soup"
date = 2026-09-12
language = "en"
keywords = ["soup", "beans"]
content_width = 720
targets = ["blog/step"]

[site]
post_url = "https://larder.example/bean-soup/?from=home&page=1"
pictures_url = "https://pictures.larder.example/2026/soup/"

[credit]
creator = ["Ines Falkenrath", "Jö Tàn"]
credit_line = "Ines Falkenrath / Larder & Light"
copyright = "© 2026 Ines Falkenrath"
licence_url = "https://larder.example/licence"
acquire_url = "https://larder.example/use-a-picture"

[sponsor]
name = "Hollow Oak Mill"
disclosure = "{DISCLOSURE}"

[[frames]]
file = "oil.jpg"
subject = [0.5, 0.5]
step = 2
alt = "Oil poured into a bowl"
caption = "Stir, and finish with oil."
targets = ["blog/step", "blog/link-preview", "partner/proof"]

[[frames]]
file = "bowl.jpg"
subject = [0.5, 0.5]
alt = {{ en = "A bowl of soup from above", fr = "Un bol de soupe vu d'en haut", ar = "وعاء من الحساء" }}
caption = {{ en = "Soup, with bread.", fr = "Soupe et pain." }}
targets = ["blog/card-*", "blog/hero", "blog/letter", "feed/square", "print/a4", "partner/final"]

[[frames]]
file = "beans.jpg"
subject = [0.5, 0.5]
step = 1
alt = "White beans in a sieve"
caption = "Rinse the beans."

[[frames]]
file = "linen.jpg"
subject = [0.5, 0.5]
decorative = true
targets = ["blog/step"]
"""
SIZES = ((6000, 4000), (6000, 4000), (1300, 900), (6000, 4000))


class Shoot:
    """A plan and what was made of it, in one value that is short to print when a law fails."""

    def __init__(self, plan: Plan, made: Mapping[str, Made]) -> None:
        self.plan, self.made = plan, made


@dataclass(frozen=True, slots=True)
class Exported:
    """What a real export made: its plan, what its ledger knows, and the output folder."""

    plan: Plan
    made: Mapping[str, Made]
    out: Path


def all_made(plan: Plan) -> dict[str, Made]:
    """Return a row for every file of a plan."""
    outputs = [output for rendition in plan.renditions for output in rendition.outputs]
    return {one.path: Made(one.path, one.path, "", "", "", 1000, 0, None, average="#a58a7c") for one in outputs}
