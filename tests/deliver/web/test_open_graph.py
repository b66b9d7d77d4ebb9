"""Open Graph tags, extracted by extruct, against the job. Required properties: ogp.me."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import extruct
import pytest
from hypothesis import example, given

from pipeline.deliver.web.kit import web_kit
from pipeline.deliver.web.open_graph import open_graph, open_graph_gaps
from pipeline.deliver.web.pictures import link_preview, web_pictures
from tests.deliver.web.reading import holds, hostile, in_head, parsed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.deliver.web.pictures import WebPicture
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan
    from tests.deliver.web.kit_shoot import Shoot


def preview_of(plan: Plan, made: Mapping[str, Made]) -> WebPicture:
    preview = link_preview(web_pictures(plan, made))
    assert preview is not None
    return preview


def extracted(head: str) -> list[tuple[str, str]]:
    """Return the tags as extruct finds them, in order."""
    (found,) = extruct.extract(in_head(head), syntaxes=["opengraph"])["opengraph"]
    return [(str(name), str(content)) for name, content in found["properties"]]


def test_tags_say_what_the_job_says(plan: Plan, made: Mapping[str, Made]) -> None:
    head = web_kit(plan, made)["en/head.html"].decode()
    assert extracted(head) == [
        ("og:title", "Bean soup & bread"),
        ("og:type", "article"),
        ("og:url", "https://larder.example/bean-soup/?from=home&page=1"),
        ("og:image", "https://pictures.larder.example/2026/soup/blog/soup-oil-link-preview-1200.jpg"),
        ("og:image:type", "image/jpeg"),
        ("og:image:width", "1200"),
        ("og:image:height", "630"),
        ("og:image:alt", "Oil poured into a bowl"),
    ]


@pytest.mark.parametrize(
    ("without", "expected"),
    [
        ({"post_url": None}, "site.post_url (the address of the post)"),
        ({"post_url": "bean-soup"}, "site.post_url (the address of the post)"),
        (
            {"pictures_url": None},
            "site.pictures_url (the address of the folder that the output folder is put to)",
        ),
    ],
)
def test_without_whole_addresses_there_are_no_tags_and_the_key_is_named(
    plan: Plan, made: Mapping[str, Made], without: dict[str, str | None], expected: str
) -> None:
    bare = replace(plan, **without)  # type: ignore[arg-type]
    assert open_graph(bare, preview_of(bare, made), "en") == ()
    assert open_graph_gaps(bare, preview_of(bare, made)) == (expected,)
    head = web_kit(bare, made)["en/head.html"].decode()
    assert list(parsed(in_head(head)).iter("meta"))[1:] == []
    assert expected in head
    assert expected in web_kit(bare, made)["index.html"].decode()


def test_without_a_link_preview_there_are_no_tags(plan: Plan) -> None:
    assert open_graph(plan, None, "en") == ()
    assert open_graph_gaps(plan, None) == ("a frame with the target blog/link-preview",)


def test_decoration_has_no_alt_tag(plan: Plan, made: Mapping[str, Made]) -> None:
    preview = preview_of(plan, made)
    facts = replace(preview.facts, alt="", decorative=True)
    plain = replace(preview, rendition=replace(preview.rendition, facts=facts))
    assert "og:image:alt" not in dict(open_graph(plan, plain, "en"))


@given(hostile, hostile)
@example("A soup", "\x0c")  # white space alone is no alt text, also the white space that HTML cannot hold
def test_no_text_breaks_out_of_a_tag(shoot: Shoot, title: str, alt: str) -> None:
    oil = shoot.plan.frames[0]
    renditions = tuple(replace(one, facts=replace(one.facts, alt=alt)) for one in oil.renditions)
    attacked = replace(shoot.plan, title=title, frames=(replace(oil, renditions=renditions), *shoot.plan.frames[1:]))
    page = parsed(in_head(web_kit(attacked, shoot.made)["en/head.html"].decode()))
    tags = {tag.get("property"): tag.get("content") for tag in page.iter("meta")}
    assert tags["og:title"] == holds(title)
    assert tags.get("og:image:alt", "") == (holds(alt) if alt.strip() else "")
    assert [child.tag for child in page[0]][:2] == ["meta", "title"]
    assert {child.tag for child in page[0]} == {"meta", "title", "script"}
