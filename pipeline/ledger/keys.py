"""Digests that say whether two files would be the same: over what decides pixels, over what decides metadata."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from fractions import Fraction


def _plain(value: object) -> object:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, bytes):
        return f"sha256 {hashlib.sha256(value).hexdigest()}"
    raise TypeError(f"{type(value).__name__} has no place in a key")


_ENCODER = json.JSONEncoder(default=_plain, sort_keys=True, ensure_ascii=True, allow_nan=False)
_MOST_TEXTS = 4096
_texts: dict[int, tuple[object, str]] = {}


def _text(part: object) -> str:
    """Return a part as JSON. The same settings and facts stand in thousands of keys, so theirs are written once.

    They are known by identity, not by being equal: 1 and 1.0 are, and are not written alike.
    """
    if not dataclasses.is_dataclass(part):
        return _ENCODER.encode(part)
    known = _texts.get(id(part))
    if known is None or known[0] is not part:
        if len(_texts) >= _MOST_TEXTS:
            _texts.clear()
        known = _texts[id(part)] = (part, _ENCODER.encode(part))
    return known[1]


def key(*parts: object) -> str:
    """Return a SHA-256 in hex over frozen values: the same for equal values, whatever run or machine made them."""
    return hashlib.sha256(f"[{', '.join(map(_text, parts))}]".encode()).hexdigest()
