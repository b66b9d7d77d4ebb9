"""Whatever the words are, they are shown as words: nothing runs, nothing is asked of a network."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from pipeline.deliver.review.state import Before, Spot, Standing
from pipeline.light.box import Size
from pipeline.plan.facts import Contact, PictureFacts
from tests.deliver.sheet.sheet_shoot import (
    CAMERA,
    FACTS,
    HERO,
    PLAN,
    POSTER,
    SETTINGS,
    SVG,
    frame,
    html_of,
    made_all,
    page_of,
    parsed,
    style_of,
    words,
)

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from pipeline.plan.rendition import Plan

HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "' onmouseover='alert(1)",
    "</style></title></textarea><script>alert(1)</script>",
    "--><svg onload=alert(1)>",
    "{{ 7 * 7 }}{% raw %}",
    "javascript:alert(1)",
    "data:text/html,<script>alert(1)</script>",
    "//elsewhere.example/x.png",
    "&lt;b&gt;&amp;amp;",
    "\u202egnp.elif \u2067\u05e9\u05dc\u05d5\u05dd",
    "\N{POT OF FOOD}\N{ZERO WIDTH JOINER}\N{LEAF FLUTTERING IN WIND}",
    "a" * 10_000,
    "nul \x00, escape \x1b, vertical tab \x0b, half a pair \ud83c, none \uffff",
]


def filled_with(text: str) -> Plan:
    """Return a plan in which every field that comes from outside holds `text`."""
    facts = PictureFacts(
        language="en",
        title=text,
        description=text,
        alt=text,
        creators=(text,),
        credit_line=text,
        copyright=text,
        licence_url=text,
        acquire_url=text,
        usage_terms=text,
        keywords=(text,),
    )
    shown = replace(HERO, outlet=text, target=text, about=text, cautions=(text,), frame=text, facts=facts)
    shown = replace(shown, settings=replace(SETTINGS, mark=text, colour=text))
    refused = replace(POSTER, outlet=text, target=text + " too", about=text, refused=text)
    one = frame(renditions=(shown, refused))
    camera = replace(CAMERA, make=text, model=text, lens=text, taken=text)
    one = replace(
        one,
        file=text,
        slug=text,
        view=text,
        facts=facts,
        cautions=(text,),
        header=replace(one.header, camera=camera),
    )
    return replace(PLAN, job=Path(text.replace("\x00", "")), title=text, date=text, credit_line=text, frames=(one,))


def standings(plan: Plan, text: str) -> dict[str, tuple[Standing, ...]]:
    """Return what was said before of each frame and its renditions, `text` in every field of it."""
    before = Before("sheet/earlier/0.jpg", Size(640, 480))
    said = (
        Standing(
            "change", text, (Spot((0.5, 0.5)), Spot((0.1, 0.2, 0.3, 0.4))), text, text, 1, stands=False, before=before
        ),
        Standing("change", text, (), text, text, 1, stands=True),
    )
    [shown] = plan.frames
    return {shown.slug: said, **{one.name: said for one in shown.renditions}}


def shape(page: Element) -> list[tuple[str, list[str]]]:
    """Return the page's elements and the names of their attributes: what words must not be able to change."""
    return [(str(element.tag), sorted(element.keys())) for element in page.iter()]


def data_of(page: Element) -> dict[str, object]:
    """Return the block of JSON that the page's script works with."""
    [block] = [script.text or "" for script in page.iter("script") if script.get("type") == "application/json"]
    data: dict[str, object] = json.loads(block)
    return data


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_words_are_shown_as_words(text: str) -> None:
    plan, harmless = filled_with(text), filled_with("words")
    html = html_of(plan, made_all(plan), standings=standings(plan, text))
    html.encode("utf-8")
    page = parsed(html)
    assert shape(page_of(harmless, made_all(harmless), standings=standings(harmless, "words"))) == shape(page)
    shown = re.sub(r"[\x00-\x08\x0b-\x1f\ud800-\udfff\uffff]", "\N{REPLACEMENT CHARACTER}", text)
    body = page.find("body")
    assert body is not None
    assert "".join(body.itertext()).count(shown) >= 20
    assert next(page.iter("img")).get("alt") == shown
    assert not re.search("[\x00-\x08\x0b-\x1f]", html)
    data = data_of(page)
    assert (data["shoot"], data["frames"][0]["frame"]) == (shown, text)  # type: ignore[index]
    carried = data["carried"]
    assert {shown} == {answer["note"] for answer in carried.values()}  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "text", ["javascript:alert(1)", "data:text/html,x", "//elsewhere.example", "http://[", "ftp://x.example/"]
)
def test_only_web_addresses_become_links(text: str) -> None:
    shown = replace(frame(), facts=replace(FACTS, licence_url=text, acquire_url=text))
    page = page_of(replace(PLAN, frames=(shown,)))
    ways = {link.get("href", "").partition("/")[0] for link in page.iter("a") if link.get("href", "")[0] != "#"}
    assert ways == {"previews"}
    assert text in words(page)


@pytest.mark.parametrize(
    ("email", "link"),
    [
        ("ask@kitchen.example", "mailto:ask@kitchen.example"),
        ("a+b c@kitchen.example", "mailto:a%2Bb%20c@kitchen.example"),
        ("ask@kitchen.example?bcc=x@elsewhere.example", None),
        ("javascript:alert(1)", None),
        ("ask@localhost", None),
    ],
)
def test_only_a_mail_address_becomes_one(email: str, link: str | None) -> None:
    """RFC 6068: what is not part of the address would be a header of the mail, so it has to be escaped or refused."""
    shown = replace(frame(), facts=replace(FACTS, contact=Contact(email=email)))
    links = [one.get("href", "") for one in page_of(replace(PLAN, frames=(shown,))).iter("a")]
    assert ([link] if link else []) == [one for one in links if one.startswith("mailto:")]


def test_page_asks_no_network_for_anything() -> None:
    html = html_of(PLAN, made_all(PLAN), standings=standings(replace(PLAN, frames=PLAN.frames[:1]), "words"))
    page = parsed(html)
    fetching = "link iframe object embed audio video source base form".split()  # noqa: SIM905 (a table)
    assert [element.tag for element in page.iter() if element.tag in {*fetching, f"{SVG}image"}] == []
    assert [script.get("src") for script in page.iter("script")] == [None] * 3
    loaded = re.findall(r"""\b(?:src|srcset|poster|background)\s*=\s*["']([^"'\s>]*)""", html)
    assert loaded
    assert all(not urlsplit(link).scheme and not link.startswith("//") for link in loaded)
    uses = {use.get("href", "")[:1] for use in page.iter(f"{SVG}use")}
    assert {"#"} == uses
    assert not re.search(r"url\s*\(|@import|image-set|expression", style_of(page), re.IGNORECASE)


def digest(text: str) -> str:
    """CSP Level 3, 2.3.1 and 8.4: the source is sha256 over the element's text as UTF-8, in base64."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def test_policy_lets_in_this_style_and_these_scripts_and_nothing_else() -> None:
    html = html_of(filled_with("Crème & co"))
    page = parsed(html)
    [policy] = [meta.get("content", "") for meta in page.iter("meta") if meta.get("http-equiv")]
    rules = {name: sources for name, *sources in (part.split() for part in policy.split(";"))}
    scripts = [script.text or "" for script in page.iter("script") if script.get("type") is None]
    assert rules == {
        "default-src": ["'none'"],
        "img-src": ["'self'", "file:", "data:"],
        "style-src": [digest(style_of(page))],
        "script-src": [digest(script) for script in scripts],
        "base-uri": ["'none'"],
        "form-action": ["'none'"],
    }
    assert len(scripts) == 2
    assert html.index("Content-Security-Policy") < html.index("<style>")
    assert html.index("Content-Security-Policy") < html.index("<script>")
    assert [element for element in page.iter() if element.get("style") is not None] == []
    assert [name for element in page.iter() for name in element.keys() if name.startswith("on")] == []  # noqa: SIM118


def test_script_takes_no_text_for_markup_or_for_code() -> None:
    """What makes code or markup of a string, by the sinks that Trusted Types names (W3C, Trusted Types, 4)."""
    script = "".join(script.text or "" for script in page_of().iter("script") if script.get("type") is None)
    sinks = r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|srcdoc|\beval\b|new Function|DOMParser|import\("
    assert re.findall(sinks, script) == []
    assert re.findall(r"fetch\(|XMLHttpRequest|sendBeacon|WebSocket|EventSource|Worker\(", script) == []


def test_printed_margin_carries_the_title_whatever_it_holds() -> None:
    """Read the string back by the rules of CSS Syntax Level 3, 4.3.7: up to six hex digits and one white space."""
    title = 'Soup "à la"</style> \\ \N{POT OF FOOD} 7'
    [content] = re.findall(r'@bottom-left\{content:"([^"]*)"\}', style_of(page_of(replace(PLAN, title=title))))
    read = re.sub(r"\\([0-9a-f]{1,6}) ", lambda found: chr(int(found[1], 16)), content)
    assert f"{title} · 12 September 2026" == read.replace("\N{NO-BREAK SPACE}", " ")
