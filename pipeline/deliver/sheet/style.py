"""The page's style sheet and script, and the policy that lets in these and nothing else."""

from __future__ import annotations

import base64
import hashlib
import re
from typing import TYPE_CHECKING

from pipeline.deliver.pages import package_text
from pipeline.deliver.printable import printable
from pipeline.deliver.sheet.words import day_in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.deliver.sheet.entry import Entry
    from pipeline.plan.rendition import Plan

STYLES = ("sheet.css", "sheet_review.css", "sheet_print.css")
SCRIPTS = (
    "sheet_answers.js",
    "sheet_panels.js",
    "sheet_answering.js",
    "sheet_viewer.js",
    "sheet_marking.js",
    "sheet_reply.js",
    "sheet_start.js",
)
# Said before the first frame is drawn, so that nothing moves when the rest of the script has arrived.
FIRST_SCRIPT = 'document.documentElement.classList.add("js")'

# Something numbered is under the pointer, or holds the keyboard's focus.
_LOOKED_AT = ".tag:hover,.tag:focus-visible,.card:hover,.card :focus-visible"
_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)


def sheet_style(plan: Plan, entries: Sequence[Entry]) -> str:
    """Return the style sheet with the rules that depend on what is shown: widths, ratios, which number shows what.

    Style attributes would need a policy that lets any style in; rules by class do not.
    """
    cards = [card for entry in entries for card in entry.cards]
    lines = [_without_comments(package_text(name)) for name in STYLES]
    lines += [f".w{units}{{--w:{units}}}" for units in sorted({card.units for card in cards})]
    lines += [f".r{ratio}{{--ratio:{ratio / 100}}}" for ratio in sorted({entry.ratio for entry in entries})]
    for number in range(1, 1 + max((len(entry.cards) for entry in entries), default=0)):
        looked_at = f".n{number}:hover,.n{number}:focus-visible,.n{number} :focus-visible"
        led_to = f".frame:not(:has({_LOOKED_AT})):has(.look.n{number}:target)"
        lines.append(f":is(.frame:has({looked_at}),{led_to}) .c{number}{{--shown:visible;--line:1;--shade:.72}}")
    margin = _css_string(
        " · ".join(part for part in (_shorten(plan.title), plan.date and day_in_words(plan.date)) if part)
    )
    lines.append(f"@page{{@bottom-left{{content:{margin}}}}}")
    return "\n".join(lines) + "\n"


def sheet_script() -> str:
    """Return the page's script: its parts in order, in a scope of their own."""
    lines = (line.strip() for name in SCRIPTS for line in package_text(name).splitlines())
    parts = "".join(f"{line}\n" for line in lines if line and not line.startswith("//"))
    return f'"use strict";\n{{\n{parts}}}\n'


def policy(style: str, *scripts: str) -> str:
    """Return the page's Content Security Policy: pictures beside it or inside it, this style, these scripts."""
    return (
        f"default-src 'none'; img-src 'self' file: data:; style-src {_digest(style)}; "
        f"script-src {' '.join(map(_digest, scripts))}; base-uri 'none'; form-action 'none'"
    )


def _without_comments(style: str) -> str:
    lines = (line.strip() for line in _COMMENT.sub("", style).splitlines())
    return "\n".join(line for line in lines if line)


def _shorten(text: str) -> str:
    return text if len(text) <= 80 else f"{text[:79]}…"


def _css_string(text: str) -> str:
    """Return a CSS string with all but ASCII letters, digits and spaces escaped (CSS Syntax 3, 4.3.7)."""
    return '"' + re.sub(r"[^A-Za-z0-9 ]", lambda found: f"\\{ord(found[0]):x} ", printable(text)) + '"'


def _digest(text: str) -> str:
    """Return a source expression as CSP Level 3 writes it: sha256 of the UTF-8 text, base64."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
