"""Hostile words in every field of the job, of a reply taken in, and typed: shown as words, and nothing runs."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from tests.deliver.sheet.real_shoot import draw_frame, files_below, run, write_reply, write_shoot

if TYPE_CHECKING:
    from pathlib import Path

    from tests.browser.conftest import Heard, OpenPage


TAGS = "</script></style></title><script>alert(1)</script><img src=x onerror=alert(2)>\"'><svg onload=alert(3)>"
ODD = "javascript:alert(4) ../../../etc/passwd \u202egnp.elif \u2067\u05e9\u05dc\u05d5\u05dd {{7*7}} <!-- ]]> &lt;b&gt;"
LONG = "ä" * 10_000
VIOLATIONS = """
window.refused = [];
document.addEventListener("securitypolicyviolation", (event) => window.refused.push(event.violatedDirective));
window.ran = false;
window.alert = () => { window.ran = true; };
"""


@pytest.mark.parametrize("words", [TAGS, pytest.param(ODD, id="odd"), pytest.param(LONG, marks=pytest.mark.full)])
def test_hostile_words_run_nothing(tmp_path: Path, open_page: OpenPage, words: str) -> None:
    job = write_shoot(tmp_path / "shoot", title=f"Soup {TAGS}", alt=words, caption=words)
    assert run("sheet", job, "--for", "partner") == 0
    sheet = job.parent / "out/sheet/for-partner/index.html"
    reply = write_reply(sheet, tmp_path / "reply.json", {"bowl-from-above": ("change", words)}, reviewer=words[:200])
    assert run("reply", job, reply) == 0
    draw_frame(job.parent / "inner-drawer" / "DSC04711.jpg", 4)
    before = set(files_below(tmp_path))
    assert run("sheet", job, "--for", "partner") == 0
    assert all(file.is_relative_to(job.parent / "out") for file in set(files_below(tmp_path)) - before)
    page = open_page(sheet, VIOLATIONS, permissions=["clipboard-write"])
    shown = page.locator("#f1 .beside .earlier").first
    assert " ".join(words.split()) in " ".join((shown.text_content() or "").split())
    assert " ".join(words.split()) in " ".join((page.locator("#f1 .facts").text_content() or "").split())
    page.locator("#f2 .beside > .answer").get_by_label("Change").check()
    page.locator("#f2 textarea").fill(words)
    page.locator("#reviewer").fill(words)
    page.get_by_role("button", name="Copy reply as text").click()
    page.locator("#text").wait_for()
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save reply").click()
    assert waiting.value.suggested_filename.startswith("reply-round-2")
    assert "/" not in waiting.value.suggested_filename
    saved = tmp_path / "saved.json"
    waiting.value.save_as(saved)
    answer: dict[str, Any] = json.loads(saved.read_text(encoding="utf-8"))
    assert answer["frames"][1]["note"] == words
    assert answer["reviewer"] == words[:200].strip()
    page.reload()
    assert page.locator("#f2 textarea").input_value() == words
    assert page.evaluate("() => window.refused") == []
    assert page.evaluate("() => window.ran") is False
    assert page.locator("script[src], img[onerror], svg[onload]").count() == 0
    assert run("reply", job, saved) == 0
    mail = tmp_path / "reply.txt"
    page.get_by_role("button", name="Copy reply as text").click()
    mail.write_text(page.locator("#text").input_value(), encoding="utf-8")
    assert run("reply", job, mail) == 0
    kept = [json.loads(file.read_text(encoding="utf-8")) for file in (job.parent / "replies").iterdir()]
    assert len([one for one in kept if one["reviewer"].split() == words[:200].split()]) == len(kept)


def test_what_is_not_allowed_is_kept_out(shown: Path, open_page: OpenPage, heard: Heard) -> None:
    """The policy is at work: a script or a style that somebody else puts into the page is refused."""
    page = open_page(shown / "index.html", VIOLATIONS)
    page.evaluate("""() => {
        const script = document.createElement("script");
        script.textContent = "alert(1)";
        document.body.append(script);
        document.body.setAttribute("onclick", "alert(2)");
        document.body.click();
        const style = document.createElement("style");
        style.textContent = "body { display: none }";
        document.body.append(style);
    }""")
    refused = page.evaluate("() => window.refused")
    assert {"script-src-elem", "script-src-attr", "style-src-elem"} == set(refused)
    assert page.evaluate("() => window.ran") is False
    assert all("Content Security Policy" in one for one in heard.console)
    heard.console.clear()
