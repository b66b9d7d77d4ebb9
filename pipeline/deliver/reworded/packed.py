"""Frozen values as JSON, and back: dataclasses of our own, and what they are made of. No code is run by reading it."""

from __future__ import annotations

import dataclasses
import json
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable

_OBJECT, _TUPLE, _FRACTION, _BYTES, _PATH = "object", "tuple", "fraction", "bytes", "path"


def packed(value: object) -> str:
    """Return a value as JSON: every object in it once, after those that it holds. TypeError for what has no place."""
    objects: list[list[object]] = []
    numbers: dict[int, int] = {}

    def plain(one: object) -> object:
        if one is None or isinstance(one, str | int | float):
            return one
        if isinstance(one, tuple):
            return [_TUPLE, *map(plain, one)]
        if isinstance(one, Fraction):
            return [_FRACTION, one.numerator, one.denominator]
        if isinstance(one, bytes):
            return [_BYTES, one.hex()]
        if isinstance(one, Path):
            return [_PATH, str(one)]
        if dataclasses.is_dataclass(one) and not isinstance(one, type):
            if id(one) not in numbers:
                fields = [plain(getattr(one, field.name)) for field in dataclasses.fields(one)]
                objects.append([type(one).__name__, *fields])
                numbers[id(one)] = len(objects) - 1
            return [_OBJECT, numbers[id(one)]]
        raise TypeError(f"{type(one).__name__} has no place in what is kept")

    whole = plain(value)
    return json.dumps([objects, whole], separators=(",", ":"), allow_nan=False)


def unpacked(text: str, classes: Iterable[type]) -> Any:  # noqa: ANN401 (whatever was packed)
    """Return a packed value, its objects of these classes. KeyError for another class, ValueError for no such JSON."""
    known = {one.__name__: one for one in classes}
    made: list[Any] = []

    def whole(one: Any) -> Any:  # noqa: ANN401 (a part of JSON)
        if not isinstance(one, list):
            return one
        kind, *parts = one
        if kind == _TUPLE:
            return tuple(map(whole, parts))
        if kind == _OBJECT:
            return made[parts[0]]
        if kind == _FRACTION:
            return Fraction(*parts)
        return bytes.fromhex(parts[0]) if kind == _BYTES else Path(parts[0])

    objects, value = json.loads(text)
    for name, *fields in objects:
        made.append(known[name](*map(whole, fields)))
    return whole(value)
