"""The preview page of the kit: each picture as the post will show it, and beside it the code to copy.

It looks like the contact sheet and shares its style. It asks no network for anything, runs no script, and what style
it has is allowed by digest alone; the pictures in it are the snippets themselves, with the addresses of the files
beside the page.
"""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from pipeline.deliver.pages import package_text, rendered
from pipeline.deliver.sheet.words import day_in_words
from pipeline.deliver.web.addresses import beside, published, whole_address
from pipeline.deliver.web.gaps import gaps
from pipeline.deliver.web.pictures import MODERN, PLAIN, frames_in_post, link_preview
from pipeline.deliver.web.snippets import picture_element, placeholder
from pipeline.deliver.web.words import said

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from pipeline.deliver.web.pictures import WebPicture
    from pipeline.deliver.web.words import Said
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import OutputFormat, Plan, PlannedFrame

_NBSP = "\N{NO-BREAK SPACE}"
_TIMES = "\N{MULTIPLICATION SIGN}"
_LINE = 58  # letters in a line of code beside a picture of the text column, on a common screen
_FORMAT_WORDS: dict[OutputFormat, str] = {"avif": "AVIF", "webp": "WebP", "jpeg": "JPEG", "png": "PNG"}


@dataclass(frozen=True, slots=True)
class _Piece:
    """One picture on the page: shown by its own snippet, and the snippet as text (None while it has no alt text)."""

    anchor: str
    name: str
    about: str
    shown: str | None
    code: str | None
    lines: int
    width: int
    ratio: int
    over_window: bool
    alt: Said | None
    caption: Said | None
    rows: tuple[tuple[str, str], ...]
    style: str | None
    colour: str | None


@dataclass(frozen=True, slots=True)
class _Entry:
    """One frame of the post with its pictures."""

    number: int
    anchor: str
    heading: str
    language: str
    about: str
    pieces: tuple[_Piece, ...]


@dataclass(frozen=True, slots=True)
class _Head:
    """What goes into the head of the post, and the picture that a shared link shows."""

    code: str
    shown: str | None
    site: str | None


def page_html(
    plan: Plan,
    made: Mapping[str, Made],
    pictures: tuple[WebPicture, ...],
    language: str,
    head: str,
    *,
    disclosure: str | None,
    place: str,
    pages: Mapping[str, str],
) -> str:
    """Return the page of one language, to be written as UTF-8 to `place` below the output folder.

    `head` is the code for the head of the post; `pages` is the place of each language's page, this one's too.
    """
    in_page = [picture for picture in pictures if picture.in_page]
    entries = tuple(_entries(plan, in_page, language, place))
    style = _style(entries)
    styles = sorted({picture_style for one in pictures if (picture_style := placeholder(one))})
    to_page = beside(place)
    return rendered(
        "web_kit.html",
        title=plan.title,
        language=language,
        title_language=plan.language,
        date=day_in_words(plan.date) if plan.date else None,
        rows=_summary(plan, in_page, disclosure),
        languages=tuple((tag, None if tag == language else to_page(path)) for tag, path in pages.items()),
        captions=to_page("web/captions.csv"),
        gaps=tuple(gaps(plan, made, pictures, language)),
        head=_head(plan, pictures, language, head, place),
        entries=entries,
        elsewhere=_elsewhere(plan),
        style=style,
        policy=_policy(style, styles),
    )


def _summary(plan: Plan, in_page: Sequence[WebPicture], disclosure: str | None) -> tuple[tuple[str, str], ...]:
    rows = (
        ("Pictures", f"{len(in_page)}"),
        ("Files", f"{sum(len(picture.files) for picture in in_page)}"),
        ("Text column", f"{plan.content_width}{_NBSP}px"),
        ("Post", whole_address(plan.post_url) or "the job does not say"),
        ("Pictures at", whole_address(plan.pictures_url) or "the job does not say"),
        ("Sponsor", plan.sponsor or ""),
        ("Disclosure", disclosure or ""),
    )
    return tuple((label, text) for label, text in rows if text)


def _head(plan: Plan, pictures: tuple[WebPicture, ...], language: str, code: str, place: str) -> _Head:
    preview = link_preview(pictures)
    post = whole_address(plan.post_url)
    return _Head(
        code=code,
        shown=picture_element(preview, language, beside(place)) if preview else None,
        site=urlsplit(post).hostname if post else None,
    )


def _entries(plan: Plan, in_page: Sequence[WebPicture], language: str, place: str) -> Iterator[_Entry]:
    by_frame: dict[str, list[WebPicture]] = {}
    for picture in in_page:
        by_frame.setdefault(picture.frame.slug, []).append(picture)
    for number, shown in enumerate(by_frame.values(), 1):
        frame = shown[0].frame
        title = said(frame.facts, "title", language)
        own = title if title and title.text != plan.title else None
        yield _Entry(
            number=number,
            anchor=f"frame-{number}",
            heading=own.text if own else _words(frame.slug),
            language=own.language if own else plan.language,
            about=_about(frame),
            pieces=tuple(
                _piece(plan, picture, f"frame-{number}-{index}", language, place)
                for index, picture in enumerate(shown, 1)
            ),
        )


def _about(frame: PlannedFrame) -> str:
    return " · ".join(
        part for part in (frame.shown_file, f"step {frame.step}" if frame.step is not None else "") if part
    )


def _words(slug: str) -> str:
    words = slug.replace("-", " ").strip()
    return words[:1].upper() + words[1:]


def _piece(plan: Plan, picture: WebPicture, anchor: str, language: str, place: str) -> _Piece:
    code = picture_element(picture, language, published(plan.pictures_url))
    size = picture.standard.size
    rendition = picture.rendition
    return _Piece(
        anchor=anchor,
        name=f"{rendition.outlet}/{rendition.target}",
        about=rendition.about,
        shown=picture_element(picture, language, beside(place)),
        code=code,
        lines=min(20, sum(1 + len(line) // _LINE for line in code.splitlines())) if code else 0,
        width=picture.layout_width or picture.widest,
        ratio=max(1, round(100 * size.width / size.height)),
        over_window=picture.layout_width is None,
        alt=said(picture.facts, "alt", language),
        caption=said(picture.facts, "description", language),
        rows=tuple(_piece_rows(picture)),
        style=placeholder(picture),
        colour=picture.colour,
    )


def _piece_rows(picture: WebPicture) -> Iterator[tuple[str, str]]:
    if picture.layout_width:
        yield "Laid out", f"in the text column, {picture.layout_width}{_NBSP}px at most"
    else:
        yield "Laid out", "over the window, up to its widest file"
    for output_format in (*MODERN, *PLAIN):
        widths = [f"{output.size.width}" for output in picture.of_format(output_format)]
        if widths:
            yield f"{_FORMAT_WORDS[output_format]}", f"{' · '.join(widths)}{_NBSP}px"
    size = picture.standard.size
    yield "Named in src", f"{_FORMAT_WORDS[picture.standard.format]}, {size.width}{_NBSP}{_TIMES}{_NBSP}{size.height}"
    yield "Loads", "at once" if picture.lead else "when it comes near"


def _elsewhere(plan: Plan) -> tuple[str, ...]:
    shown = frames_in_post(plan)
    return tuple(_words(frame.slug) for frame in plan.frames if frame.slug not in shown)


def _style(entries: Iterable[_Entry]) -> str:
    """Return the style sheet with a rule for each width and ratio that is shown (an attribute could not be allowed)."""
    pieces = [piece for entry in entries for piece in entry.pieces]
    lines = [package_text(name) for name in ("sheet.css", "sheet_print.css", "web_kit.css")]
    lines += [f".w{width}{{--width:{width}px}}" for width in sorted({piece.width for piece in pieces})]
    lines += [f".r{ratio}{{--ratio:{ratio / 100}}}" for ratio in sorted({piece.ratio for piece in pieces})]
    return "\n".join(lines) + "\n"


def _policy(style: str, attributes: Iterable[str]) -> str:
    """Return the page's own Content Security Policy: its style, and the placeholder colours, by digest alone."""
    allowed = " ".join([_digest(style), "'unsafe-hashes'", *(_digest(one) for one in attributes)])
    return f"default-src 'none'; img-src 'self' file: data:; style-src {allowed}; base-uri 'none'; form-action 'none'"


def _digest(text: str) -> str:
    """Return the source expression of a style as CSP Level 3 writes it: sha256 of the UTF-8 text, base64."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
