"""The page's own place, and how it names the files beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote, urlsplit

from pipeline.deliver.relative import relative

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.light.box import Size
    from pipeline.plan.rendition import Output

PAGE = "sheet/index.html"


@dataclass(frozen=True, slots=True)
class Links:
    """Where the page lies below the output folder; `inlined` holds its pictures as addresses where they lie in it."""

    page: str = PAGE
    inlined: Mapping[str, str] | None = None

    @property
    def single(self) -> bool:
        """Return whether the page is one file that must do without any other."""
        return self.inlined is not None

    def to(self, path: str) -> str:
        """Return the address of a picture below the output folder: beside the page, or inside it."""
        return self.relative(path) if self.inlined is None else self.inlined[path]

    def relative(self, path: str) -> str:
        """Return the relative link to a path below the output folder, percent-encoded whole (RFC 3986).

        Raises ValueError for a path that leaves the folder.
        """
        if path.startswith("/") or not path or ".." in path.split("/"):
            raise ValueError(f"{path!r} is not a path below the output folder")
        return quote(relative(path, self.page), safe="/")


@dataclass(frozen=True, slots=True)
class Picture:
    """A preview: its link from the page, its true size in pixels, its alternative text, what else it comes in."""

    link: str
    size: Size
    alt: str
    choices: str = ""


def picture(links: Links, previews: tuple[Output | None, ...], alt: str) -> Picture | None:
    """Return the first of the previews that is there; the others are for screens that show more."""
    there = [one for one in previews if one]
    if not there:
        return None
    choices = ""
    if len(there) > 1 and not links.single:
        choices = ", ".join(f"{links.to(one.path)} {one.size.width}w" for one in there)
    return Picture(links.to(there[0].path), there[0].size, alt, choices)


def web_address(text: str | None) -> str | None:
    """Return the address only where it is one that a person may follow: http or https."""
    if text is None:
        return None
    try:
        return text if urlsplit(text).scheme in ("http", "https") else None
    except ValueError:
        return None


def mail_address(text: str | None) -> str | None:
    """Return a mail address as a link's target, None where it is none: one @, nothing that could end or extend it."""
    name, at, host = (text or "").partition("@")
    if not (at and name and "." in host and host.replace("-", "").replace(".", "").isalnum()):
        return None
    return f"mailto:{quote(name)}@{quote(host)}"
