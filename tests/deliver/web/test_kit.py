"""The kit as a whole: its files, what the W3C's checker says of them, and the files of a real export behind them."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import TYPE_CHECKING
from urllib.parse import urljoin

import pytest
import srcset
from PIL import Image

from pipeline.deliver.export import Asked, export
from pipeline.deliver.sheet.page import sheet_html
from pipeline.deliver.web.kit import web_kit
from tests.deliver.sheet.many import review_of_plan
from tests.deliver.web.kit_shoot import DISCLOSURE, Exported
from tests.deliver.web.reading import ATTACKS, in_head, in_page, parsed

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from pipeline.ledger.made import Made
    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.rendition import Plan


def test_a_folder_a_language_and_one_page_to_begin_with(plan: Plan, made: Mapping[str, Made]) -> None:
    assert set(web_kit(plan, made)) == {
        *("index.html", "captions.csv", "en/head.html", "en/pictures.html"),
        *("fr/index.html", "fr/head.html", "fr/pictures.html"),
        *("ar/index.html", "ar/head.html", "ar/pictures.html"),
    }


def test_a_language_tag_that_leads_out_of_the_folder_is_refused(plan: Plan, made: Mapping[str, Made]) -> None:
    with pytest.raises(ValueError, match=r"'\.\./en' is no language tag"):
        web_kit(replace(plan, language="../en"), made)


def test_a_kit_of_nothing_stands(plan: Plan) -> None:
    for empty in (web_kit(replace(plan, frames=()), {}), web_kit(plan, {})):
        assert "No picture is made for a page" in empty["index.html"].decode()
        assert empty["en/pictures.html"] == b""
        assert b"ld+json" not in empty["en/head.html"]


def attacked(plan: Plan) -> Plan:
    """Return the plan with every text of it hostile, and a Hebrew translation as hostile."""
    text = "".join(ATTACKS)

    def facts(one: PictureFacts) -> PictureFacts:
        alt = None if one.decorative else text
        translations = tuple(replace(other, alt=alt, description=text, language="he") for other in one.translations)
        return replace(
            one, title=text, description=text, alt=alt or "", credit_line=text, translations=translations[:1]
        )

    frames = tuple(
        replace(
            frame,
            facts=facts(frame.facts),
            renditions=tuple(replace(one, facts=facts(one.facts)) for one in frame.renditions),
        )
        for frame in plan.frames
    )
    return replace(plan, title=text, frames=frames, sponsor=text)


def test_the_w3c_checker_finds_no_error(
    plan: Plan, made: Mapping[str, Made], tmp_path: Path, w3c_errors: Callable[..., list[str]]
) -> None:
    """Snippets, heads, preview pages in three languages, the contact sheet; whole words, hostile words, no words."""
    pages: dict[str, str] = {"broken.html": in_page('<picture><img src="a b.jpg" srcset="a.jpg 2w"></picture>')}
    for name, one in {
        "whole": plan,
        "hostile": attacked(plan),
        "bare": replace(plan, post_url=None, pictures_url=None),
        "empty": replace(plan, frames=()),
    }.items():
        for place, content in web_kit(one, made, DISCLOSURE).items():
            text, file = content.decode(), f"{name}-{place.replace('/', '-')}"
            if place.endswith("index.html"):
                pages[file] = text
            elif place.endswith("pictures.html"):
                pages[file] = in_page(text, place.partition("/")[0])
            elif place.endswith("head.html"):
                pages[file] = in_head(text, place.partition("/")[0])
        pages[f"{name}-sheet.html"] = sheet_html(one, made, review_of_plan(one))
    for file, text in pages.items():
        (tmp_path / file).write_text(text, encoding="utf-8")
    found = w3c_errors(*sorted(tmp_path.iterdir()))
    assert [line for line in found if line.startswith("broken.html: ")], "the checker is at work"
    assert [line for line in found if not line.startswith("broken.html: ")] == []


def test_export_writes_the_kit_of_what_it_made(exported: Exported) -> None:
    kit = web_kit(exported.plan, exported.made, DISCLOSURE)
    folder = exported.out / "web"
    written = {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    assert dict(kit) == written


@pytest.mark.parametrize("place", ["index.html", "fr/index.html", "ar/index.html"])
def test_every_w_is_the_true_width_of_its_file(exported: Exported, place: str) -> None:
    """Widths as Pillow reads them from the files of a real export, some of them too small for the widest target."""
    page = parsed((exported.out / "web" / place).read_text(encoding="utf-8"))
    base = (exported.out / "web" / place).as_uri()
    seen = set()
    for part in page.iter():
        for one in srcset.parse(part.get("srcset", "")):
            path = exported.out / urljoin(base, one.url).removeprefix(f"{exported.out.as_uri()}/")
            with Image.open(path) as image:
                assert one.width == image.width, one.url
                if part.tag == "source":
                    assert part.get("type") == Image.MIME[image.format or ""]
            seen.add(path.relative_to(exported.out).as_posix())
    for element in page.iter("img"):
        path = exported.out / urljoin(base, element.get("src", "")).removeprefix(f"{exported.out.as_uri()}/")
        with Image.open(path) as image:
            assert (element.get("width"), element.get("height")) == (str(image.width), str(image.height))
    in_page_or_shared = {
        output.path
        for rendition in exported.plan.renditions
        for output in rendition.outputs
        if rendition.outlet == "blog" and rendition.target != "letter"
    }
    assert seen == in_page_or_shared
    heroes = {int(path.rpartition("-")[2].removesuffix(".avif")) for path in seen if path.endswith(".avif")}
    assert heroes - {800, 1200, 1600, 2400}, "a small frame has a width of its own among them"


def test_the_files_of_the_kit_name_the_same_pictures_as_the_page(exported: Exported) -> None:
    base = "https://pictures.larder.example/2026/soup/"
    page = parsed(in_page((exported.out / "web" / "en" / "pictures.html").read_text(encoding="utf-8")))
    named = {one.url for part in page.iter() for one in srcset.parse(part.get("srcset", ""))}
    assert named == {
        f"{base}{output.path}"
        for rendition in exported.plan.renditions
        for output in rendition.outputs
        if rendition.outlet == "blog" and rendition.target not in {"letter", "link-preview"}
    }


def test_the_placeholder_is_the_mean_of_the_pictures_light(exported: Exported) -> None:
    """Against Pillow's pixels of the file and the sRGB curve of IEC 61966-2-1, within what JPEG may change."""
    page = parsed((exported.out / "web" / "index.html").read_text(encoding="utf-8"))
    for element in page.iter("img"):
        with Image.open(exported.out / "blog" / element.get("src", "").rpartition("/")[2]) as image:
            histogram = image.convert("RGB").histogram()
        count = sum(histogram[:256])
        style = element.get("style", "")
        shown = [int(style[-6:][at : at + 2], 16) for at in (0, 2, 4)]
        for band, value in enumerate(shown):
            shares = histogram[256 * band : 256 * (band + 1)]
            light = sum(n * _linear(code / 255) for code, n in enumerate(shares)) / count
            assert abs(_linear(value / 255) - light) < 0.006, element.get("src")


def _linear(encoded: float) -> float:
    return float(encoded / 12.92 if encoded <= 0.04045 else ((encoded + 0.055) / 1.055) ** 2.4)


def test_a_second_export_leaves_the_kit_alone_and_previews_write_none(exported: Exported, tmp_path: Path) -> None:
    def stamps() -> dict[str, int]:
        return {str(path): path.stat().st_mtime_ns for path in (exported.out / "web").rglob("*")}

    before = stamps()
    job = exported.out.parent / "job.toml"
    export(Asked(job, exported.out, only="*/blog/*", workers=1, quiet=True), io.StringIO())
    assert before == stamps()
    export(Asked(job, tmp_path / "out", workers=1, quiet=True, previews_only=True), io.StringIO())
    assert (tmp_path / "out" / "sheet" / "index.html").is_file()
    assert not (tmp_path / "out" / "web").exists()
