"""Digests that say whether two files would be the same: over what decides pixels, over what decides metadata."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from fractions import Fraction
from json.encoder import encode_basestring_ascii
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable


def _plain(value: object) -> object:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, bytes):
        return f"sha256 {hashlib.sha256(value).hexdigest()}"
    raise TypeError(f"{type(value).__name__} has no place in a key")


_ENCODER = json.JSONEncoder(default=_plain, sort_keys=True, ensure_ascii=True, allow_nan=False)
_MOST_KNOWN = 16384


class Known:
    """Texts worked out before, by the very objects that they were worked out from: frozen ones, which it holds.

    They are known by identity, not by being equal: 1 and 1.0 are, and are not written alike.
    """

    def __init__(self) -> None:
        self._known: dict[tuple[object, ...], tuple[tuple[object, ...], str]] = {}

    def text(self, names: tuple[str | int | None, ...], objects: tuple[object, ...], work: Callable[[], str]) -> str:
        """Return what `work` gives for these names and objects."""
        place = (names, *map(id, objects))
        known = self._known.get(place)
        if known is None:
            if len(self._known) >= _MOST_KNOWN:
                self._known.clear()
            known = self._known[place] = (objects, work())
        return known[1]


_PARTS = Known()


def _text(part: object) -> str:
    """Return a part as JSON. The same settings and facts stand in thousands of keys; theirs are written once."""
    if isinstance(part, str):
        return encode_basestring_ascii(part)
    if dataclasses.is_dataclass(part):
        return _PARTS.text((), (part,), lambda: _ENCODER.encode(part))
    return _ENCODER.encode(part)


def key(*parts: object) -> str:
    """Return a SHA-256 in hex over frozen values: the same for equal values, whatever run or machine made them."""
    return hashlib.sha256(f"[{', '.join(map(_text, parts))}]".encode()).hexdigest()
