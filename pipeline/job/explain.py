"""From a failed validation to sentences: which key, what was found, what is allowed, the nearest name."""

from __future__ import annotations

import difflib
import json
from typing import TYPE_CHECKING, Any, get_args

from pydantic import BaseModel, ValidationError

from pipeline.faults import Fault

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from pydantic_core import ErrorDetails

LONGEST_FOUND = 60


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known name closest to `word`, or None where nothing is close."""
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return close[0] if close else None


def found_text(value: object) -> str:
    """Return a value as the file writes it, cut to a readable length."""
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= LONGEST_FOUND else text[: LONGEST_FOUND - 1] + "…"


def place(location: Sequence[str | int], data: object) -> str:
    """Return a location as the reader counts: `frames[2] overhead.tif: targets[1]` (from 1)."""
    words: list[str] = []
    for step in location:
        if isinstance(data, dict) and step in data:
            data = data[step]
        elif isinstance(data, list) and isinstance(step, int):
            data = data[step] if step < len(data) else None
        elif isinstance(step, str) and (not step.isidentifier() or not isinstance(data, dict)):
            continue  # the name of a union's branch, not a key of the file
        else:
            data = None
        if isinstance(step, int):
            words[-1] = f"{words[-1]}[{step + 1}]" if words else f"[{step + 1}]"
        else:
            words.append(str(step))
        if isinstance(step, int) and isinstance(data, dict) and isinstance(data.get("file"), str):
            words[-1] = f"{words[-1]} {data['file']}"
    return ": ".join(words)


def known_keys(model: type[BaseModel], location: Sequence[str | int]) -> list[str]:
    """Return the keys that the table at `location` may hold."""
    current: Any = model
    for step in location:
        fields = _fields(current)
        current = fields[step].annotation if isinstance(step, str) and step in fields else current
    return sorted(_fields(current))


def _fields(annotation: Any) -> dict[str, Any]:  # noqa: ANN401 (annotations have no common type)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return dict(annotation.model_fields)
    for inner in get_args(annotation):
        fields = _fields(inner)
        if fields:
            return fields
    return {}


PLAIN_WORDS = (
    ("Tuple should", "should"),
    ("should be", "it must be"),
    ("should have", "it must have"),
    ("a valid string", "text"),
    ("an object", "a table"),
    ("a valid dictionary", "a table"),
    ("a valid tuple", "a list"),
    ("a valid array", "a list"),
    ("greater than or equal to", "at least"),
    ("less than or equal to", "at most"),
    ("a valid number", "a number"),
    ("a valid integer", "a whole number"),
    ("a valid boolean", "true or false"),
)


def explain(error: ValidationError, model: type[BaseModel], file: str, data: object, prefix: str = "") -> list[Fault]:
    """Return one fault for each thing that is wrong, in the order of the file; branches of a union count once."""
    faults: dict[str, Fault] = {}
    for detail in error.errors(include_url=False):
        if detail["type"] == "too_short" and detail["input"]:
            continue  # only short because its items are at fault, and those are reported
        where = ": ".join(filter(None, [prefix, place(detail["loc"], data)]))
        fault = _fault(detail, model, file, where)
        if where not in faults or detail["type"] != "extra_forbidden":
            faults.setdefault(where, fault)
    return list(faults.values())


def _fault(detail: ErrorDetails, model: type[BaseModel], file: str, where: str) -> Fault:
    kind, context = detail["type"], detail.get("ctx", {})
    if kind == "missing":
        last = detail["loc"][-1]
        needed = "a number" if isinstance(last, int) else last
        return Fault(file, "nothing is given", f"{needed} is needed here", where)
    if kind == "extra_forbidden":
        name, keys = str(detail["loc"][-1]), known_keys(model, detail["loc"][:-1])
        close = nearest(name, keys)
        return Fault(file, f"'{name}' is not a key of this table", f"its keys are {', '.join(keys)}", where, close)
    if kind == "literal_error":
        expected = str(context.get("expected", ""))
        close = nearest(str(detail["input"]), expected.replace(" or ", ", ").replace("'", "").split(", "))
        return Fault(file, f"found {found_text(detail['input'])}", f"it must be {expected}", where, close)
    if kind == "value_error":
        return Fault(file, f"found {found_text(detail['input'])}", str(context.get("error", detail["msg"])), where)
    wanted = detail["msg"].removeprefix("Input ").removesuffix(" after validation, not 0")
    for theirs, ours in PLAIN_WORDS:
        wanted = wanted.replace(theirs, ours)
    return Fault(file, f"found {found_text(detail['input'])}", wanted[0].lower() + wanted[1:], where)
