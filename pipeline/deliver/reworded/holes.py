"""Pages with holes: where in a finished page the words stand that may be other words next time. Pure.

A page is made with marks in the place of such words; then each mark is filled. A mark that stands in a page tells by
its own letters what was done to the text around it, for every page escapes "<" and ">" in its way, so that what fills
it is escaped alike. A page that is made with marks and filled is therefore the page that is made with the words, as
long as nothing that makes it looks at the words otherwise than to escape them: what the tests hold it to.
"""

from __future__ import annotations

import re
import secrets
from dataclasses import dataclass, field
from json.encoder import encode_basestring
from typing import TYPE_CHECKING

from pipeline.deliver.cells import cell_text, quoted_cell
from pipeline.deliver.printable import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

# Private use characters: no letter of ours or of any standard, and what stands between is known to this run alone.
_BEGIN, _END = "\ue000", "\ue001"
_HTML = {ord("&"): "&amp;", ord("<"): "&lt;", ord(">"): "&gt;", ord("'"): "&#39;", ord('"'): "&#34;"}

# What is done to a text in each form, by how "<" and ">" look in it.
_FORMS = {("&lt;", "&gt;"): "html", ("\\u003c", ">"): "script", ("\\u003c", "&gt;"): "shown script", ("<", ">"): "cell"}


@dataclass(frozen=True, slots=True)
class Hole:
    """A part of a page, from one letter up to another, that holds what `name` stands for, in a form."""

    begin: int
    end: int
    form: str
    name: str


@dataclass(slots=True)
class Marks:
    """Marks that stand for texts while pages are made. No page, and nothing that is kept, has a mark in it."""

    _secret: str = field(default_factory=lambda: secrets.token_hex(8))
    _names: dict[str, int] = field(default_factory=dict)

    def mark(self, name: str) -> str:
        """Return what stands for the text of this name."""
        return f"{_BEGIN}<{self._secret} {self._names.setdefault(name, len(self._names))}>{_END}"

    def filled(self, page: str, text_of: Callable[[str], str]) -> tuple[str, tuple[Hole, ...]]:
        """Return a page with every mark filled, and where what filled them stands."""
        names = tuple(self._names)
        pattern = rf"{_BEGIN}(<|&lt;|\\u003c){self._secret} ([0-9]+)(>|&gt;){_END}"
        holes = [
            Hole(found.start(), found.end(), _FORMS[found[1], found[3]], names[int(found[2])])
            for found in re.finditer(pattern, page)
        ]
        return filled_anew(page, holes, {name: text_of(name) for name in names})


def filled_anew(page: str, holes: Iterable[Hole], texts: Mapping[str, str]) -> tuple[str, tuple[Hole, ...]]:
    """Return a page with other texts in its holes, and where these are then; a hole without a new text stays as it is.

    `holes` are in the order of the page.
    """
    parts: list[str] = []
    moved: list[Hole] = []
    done = length = 0
    for hole in holes:
        text = texts.get(hole.name)
        held = page[hole.begin : hole.end] if text is None else in_form(hole.form, text)
        parts += (page[done : hole.begin], held)
        length += hole.begin - done
        moved.append(Hole(length, length + len(held), hole.form, hole.name))
        length += len(held)
        done = hole.end
    return "".join((*parts, page[done:])), tuple(moved)


def in_form(form: str, text: str) -> str:
    """Return a text as it stands in a page: escaped for HTML, for JSON in a script element, or as a cell of a table."""
    if form == "cell":
        return quoted_cell(cell_text(text))
    shown = printable(text)
    if form != "html":
        shown = encode_basestring(shown)[1:-1].replace("<", "\\u003c")
    return shown if form == "script" else shown.translate(_HTML)
