"""Frozen values as JSON, and back: dataclasses of our own, and what they are made of. No code is run by reading it."""

from __future__ import annotations

import dataclasses
import functools
import json
from fractions import Fraction
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

_SCALARS = {type(None), bool, int, float, str}
_OBJECT, _TUPLE, _FRACTION, _BYTES, _PATH = "object", "tuple", "fraction", "bytes", "path"


def packed(value: object) -> str:
    """Return a value as JSON: every object in it once, after those that it holds. TypeError for what has no place."""
    objects: list[list[object]] = []
    numbers: dict[int, int] = {}

    def plain(one: object) -> object:
        if type(one) in _SCALARS:
            return one
        if isinstance(one, tuple):
            return [_TUPLE, *(part if type(part) in _SCALARS else plain(part) for part in one)]
        if isinstance(one, Fraction):
            return [_FRACTION, one.numerator, one.denominator]
        if isinstance(one, bytes):
            return [_BYTES, one.hex()]
        if isinstance(one, Path):
            return [_PATH, str(one)]
        if id(one) not in numbers:
            kind: Any = type(one)
            values = [part if type(part) in _SCALARS else plain(part) for part in _values(kind)(one)]
            objects.append([kind.__name__, *values])
            numbers[id(one)] = len(objects) - 1
        return [_OBJECT, numbers[id(one)]]

    whole = plain(value)
    return json.dumps([objects, whole], separators=(",", ":"), allow_nan=False)


@functools.cache
def _values(kind: Any) -> Callable[[object], tuple[object, ...]]:  # noqa: ANN401 (a class)
    """Return what gives the values of a dataclass in order; there are tens of thousands of them."""
    if not dataclasses.is_dataclass(kind):
        raise TypeError(f"{kind.__name__} has no place in what is kept")
    names = [field.name for field in dataclasses.fields(kind)]
    if len(names) == 1:
        return lambda one: (getattr(one, names[0]),)
    return attrgetter(*names)


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
