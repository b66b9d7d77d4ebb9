"""Which file shows a rendition at 100 %: the largest that every browser shows, of those that are there."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.deliver.sheet.fulls import fulls
from pipeline.ledger.made import Made
from pipeline.light.box import Size
from pipeline.plan.rendition import Approval, Output
from tests.deliver.sheet.sheet_shoot import HERO, PAGE, PLAN, SQUARE, frame

if TYPE_CHECKING:
    from pipeline.plan.rendition import OutputFormat, Rendition


def shown(rendition: Rendition, *paths: str) -> str | None:
    plan = replace(PLAN, frames=(frame(renditions=(rendition,)),))
    made = {path: Made(path, "", "", "", "", 1, 0, None) for path in paths}
    found = fulls(plan, made).get(plan.renditions[0].name)
    return found.path if found else None


def paths(rendition: Rendition) -> list[str]:
    return [output.path for output in rendition.outputs]


def test_the_largest_file_that_is_there_and_that_browsers_show() -> None:
    large_avif, large_jpeg, small_avif, small_jpeg = paths(HERO)
    assert shown(HERO, *paths(HERO)) == large_jpeg
    assert shown(HERO, large_avif, small_avif, small_jpeg) == small_jpeg
    assert shown(HERO, large_avif) is None
    assert shown(HERO) is None


def test_jpeg_goes_before_the_others_of_one_size() -> None:
    kinds: tuple[OutputFormat, ...] = ("webp", "png", "jpeg")
    outputs = tuple(Output(Size(800, 450), kind, f"blog/x.{kind}", 72.0) for kind in kinds)
    several = replace(HERO, outputs=outputs)
    assert shown(several, *paths(several)) == "blog/x.jpeg"
    assert shown(several, "blog/x.webp", "blog/x.png") == "blog/x.png"


def test_a_page_for_the_printer_has_a_jpeg_of_its_own() -> None:
    full = Output(PAGE.outputs[0].size, "jpeg", "sheet/full/x.jpg", 72.0)
    assert shown(replace(PAGE, full=full), *paths(PAGE), full.path) == full.path
    assert shown(PAGE, *paths(PAGE)) is None


def test_ink_is_not_left_to_a_browser() -> None:
    """ICC.1:2022, 7.2.6: bytes 16 to 19 of a profile name its colour space."""
    ink = replace(SQUARE, settings=replace(SQUARE.settings, icc_profile=bytes(16) + b"CMYK" + bytes(108)))
    assert shown(ink, *paths(ink)) is None


def test_a_preview_as_large_as_the_rendition_is_that_picture() -> None:
    small = replace(PAGE, outputs=(Output(Size(640, 360), "tiff", "print/x.tif", 300.0),))
    assert small.preview
    assert shown(small, "print/x.tif", small.preview.path) == small.preview.path


def test_what_waits_for_an_approval_is_not_shown_large() -> None:
    waiting = replace(SQUARE, needs_approval=True)
    assert shown(waiting, *paths(SQUARE)) is None
    approved = replace(waiting, approvals=(Approval("Mara", "2026-11-25", "ab" * 32),))
    assert shown(approved, *paths(SQUARE)) == paths(SQUARE)[0]
