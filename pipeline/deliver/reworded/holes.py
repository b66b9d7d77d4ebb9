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
    from collections.abc import Callable, Iterable, Mapping, Sequence

# Private use characters: no letter of ours or of any standard, and what stands between is known to this run alone.
_BEGIN, _END = "\ue000", "\ue001"
_HTML = {ord("&"): "&amp;", ord("<"): "&lt;", ord(">"): "&gt;", ord("'"): "&#39;", ord('"'): "&#34;"}

# What is done to a text in each form, by how "<" and ">" look in it.
_FORMS = {("&lt;", "&gt;"): "html", ("\\u003c", ">"): "script", ("\\u003c", "&gt;"): "shown script", ("<", ">"): "cell"}


# A part of a page, from one byte up to another, that holds in a form what a name stands for. There are thousands.
Hole = tuple[int, int, str, str]


@dataclass(slots=True)
class Marks:
    """Marks that stand for texts while pages are made. No page, and nothing that is kept, has a mark in it."""

    _secret: str = field(default_factory=lambda: secrets.token_hex(8))
    _names: dict[str, int] = field(default_factory=dict)

    def mark(self, name: str) -> str:
        """Return what stands for the text of this name."""
        return f"{_BEGIN}<{self._secret} {self._names.setdefault(name, len(self._names))}>{_END}"

    def filled(self, page: bytes, text_of: Callable[[str], str]) -> tuple[bytes, tuple[Hole, ...]]:
        """Return a page with every mark filled, and where what filled them stands."""
        names = tuple(self._names)
        pattern = rf"{_BEGIN}(<|&lt;|\\u003c){self._secret} ([0-9]+)(>|&gt;){_END}".encode()
        holes = [
            (found.start(), found.end(), _FORMS[found[1].decode(), found[3].decode()], names[int(found[2])])
            for found in re.finditer(pattern, page)
        ]
        return filled_anew(page, holes, {name: text_of(name) for name in names})


def filled_anew(page: bytes, holes: Iterable[Hole], texts: Mapping[str, str]) -> tuple[bytes, tuple[Hole, ...]]:
    """Return a page with other texts in its holes, and where these are then; a hole without a new text stays as it is.

    The page is UTF-8, `holes` are in its order.
    """
    parts: list[bytes] = []
    moved: list[Hole] = []
    done = length = 0
    for begin, end, form, name in holes:
        text = texts.get(name)
        held = page[begin:end] if text is None else in_form(form, text).encode()
        parts += (page[done:begin], held)
        length += begin - done
        moved.append((length, length + len(held), form, name))
        length += len(held)
        done = end
    return b"".join((*parts, page[done:])), tuple(moved)


def are_in(names: Mapping[str, object], holes: Sequence[Hole]) -> bool:
    """Return whether any hole has one of these names."""
    return any(name in names for _, _, _, name in holes)


def in_form(form: str, text: str) -> str:
    """Return a text as it stands in a page: escaped for HTML, for JSON in a script element, or as a cell of a table."""
    if form == "cell":
        return quoted_cell(cell_text(text))
    shown = printable(text)
    if form != "html":
        shown = encode_basestring(shown)[1:-1].replace("<", "\\u003c")
    return shown if form == "script" else shown.translate(_HTML)
