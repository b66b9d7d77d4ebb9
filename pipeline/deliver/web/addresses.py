"""Where a delivered file is found: on the site, and beside the kit's own pages."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import quote, urlsplit, urlunsplit

from pipeline.deliver.relative import relative

if TYPE_CHECKING:
    from collections.abc import Callable

FOLDER = "web"
# What RFC 3986 allows in a path; "%" because what is escaped already stays as it is.
_PATH_SAFE = "/:@!$&'()*+,;=~%"


def whole_address(text: str | None) -> str | None:
    """Return a web address in the letters of RFC 3986; None where `text` is no whole address (http or https)."""
    try:
        parts = urlsplit(text or "")
        host = parts.netloc.encode("idna").decode() if not parts.netloc.isascii() else parts.netloc
    except (ValueError, UnicodeError):
        return None
    if parts.scheme not in ("http", "https") or not parts.hostname:
        return None
    path, query, fragment = (quote(part, safe=_PATH_SAFE + "?") for part in (parts.path, parts.query, parts.fragment))
    return urlunsplit((parts.scheme, host, path, query, fragment))


def published(pictures_url: str | None) -> Callable[[str], str]:
    """Return where a path below the output folder is found once it is published.

    `pictures_url` is where the output folder will lie; without it (or where it is no whole address) the address is
    relative to the output folder, so that `blog/soup.jpg` works beside a post that has the folder `blog` next to it.
    """
    base = whole_address(pictures_url)
    if base is None:
        return _below
    parts = urlsplit(base)
    folder = urlunsplit((parts.scheme, parts.netloc, parts.path.rstrip("/"), "", ""))
    return lambda path: f"{folder}/{_below(path)}"


def beside(page: str) -> Callable[[str], str]:
    """Return where a path below the output folder is found from the page at `page`, also below the output folder."""
    return lambda path: relative(_below(path), page)


def _below(path: str) -> str:
    """Return the path percent-encoded. Raises ValueError where it would lead out of the output folder."""
    if not path or path.startswith("/") or ".." in path.split("/"):
        raise ValueError(f"{path!r} is not a path below the output folder")
    return quote(path, safe="/")
