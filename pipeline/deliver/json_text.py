"""JSON as `json.dumps(value, ensure_ascii=False, indent=1)` writes it, many times faster where much of it recurs."""

from __future__ import annotations

from json.encoder import encode_basestring
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

INDENT = " "
_WORDS = {None: "null", True: "true", False: "false"}


class Written(str):
    """A value that is JSON already, written for the depth at which it will stand."""

    __slots__ = ()


def json_text(value: object, depth: int = 0) -> str:
    """Return a value as JSON, indented by one space a level, as it stands at a depth; `Written` parts as they are.

    Raises TypeError for what JSON does not have.
    """
    if isinstance(value, Written):
        return value
    if isinstance(value, str):
        return encode_basestring(value)
    if value is None or isinstance(value, bool):
        return _WORDS[value]
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, dict):
        return _lines(
            "{", (f"{encode_basestring(name)}: {json_text(one, depth + 1)}" for name, one in value.items()), "}", depth
        )
    if isinstance(value, list | tuple):
        return _lines("[", (json_text(one, depth + 1) for one in value), "]", depth)
    raise TypeError(f"{type(value).__name__} has no place in JSON")


def _lines(begin: str, parts: Iterable[str], end: str, depth: int) -> str:
    inside = f"\n{INDENT * (depth + 1)}"
    text = f",{inside}".join(parts)
    return f"{begin}{inside}{text}\n{INDENT * depth}{end}" if text else f"{begin}{end}"


class Recurring:
    """Writes values that recur, each object once: they are known by identity, and kept as long as this is."""

    def __init__(self, plain: Callable[..., Mapping[str, object] | None], depth: int) -> None:
        self._plain, self._depth = plain, depth
        self._known: dict[tuple[int, ...], tuple[object, Written]] = {}

    def __call__(self, value: object, *more: str) -> Written:
        """Return `plain(value, *more)` as JSON."""
        name = (id(value), *map(hash, more))
        known = self._known.get(name)
        if known is None:
            known = self._known[name] = (value, Written(json_text(self._plain(value, *more), self._depth)))
        return known[1]
