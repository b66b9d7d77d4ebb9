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


def key(*parts: object) -> str:
    """Return a SHA-256 in hex over frozen values: the same for equal values, whatever run or machine made them."""
    text = json.dumps(parts, default=_plain, sort_keys=True, ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()
