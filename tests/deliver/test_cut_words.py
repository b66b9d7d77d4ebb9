"""Which words IIM cuts. Lengths in octets: IPTC-IIM 4 as check tables of metadata readers give them (32 for 2:110)."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.cut_words import cut_words
from tests.small_shoot import plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Plan

JOB = """
profiles = ["blog"]
[shoot]
title = "Soup"
[credit]
credit_line = "{credit}"
[[frames]]
file = "bowl.jpg"
slug = "bowl"
subject = [0.5, 0.5]
alt = "A bowl"
targets = ["blog/hero"]
"""


def plan(folder: Path, credit: str) -> Plan:
    _, made = plan_of(folder, JOB.replace("{credit}", credit), (600, 400))
    return made


@pytest.mark.parametrize("credit", ["x" * 32, "ü" * 16])
def test_words_of_the_limit_are_whole(tmp_path: Path, credit: str) -> None:
    assert cut_words(plan(tmp_path, credit)) == []


@pytest.mark.parametrize("credit", ["x" * 33, "ü" * 17])
def test_longer_words_are_told_with_their_frames(tmp_path: Path, credit: str) -> None:
    assert cut_words(plan(tmp_path, credit)) == [
        "bowl: credit line is longer than IIM holds and is cut there; XMP keeps it whole"
    ]


def test_files_without_iim_cut_nothing(tmp_path: Path) -> None:
    whole = plan(tmp_path, "x" * 40)
    frame = whole.frames[0]
    (rendition,) = frame.renditions
    webs = tuple(output for output in rendition.outputs if output.format in {"webp", "avif"})
    only_web = replace(whole, frames=(replace(frame, renditions=(replace(rendition, outputs=webs),)),))
    assert webs
    assert cut_words(only_web) == []
