"""From a failed validation to sentences: which key, what was found, what is allowed, the nearest name."""

from __future__ import annotations

import datetime as dt
import difflib
import json
import re
from typing import TYPE_CHECKING, Any, get_args, get_origin

from pydantic import BaseModel, ValidationError

from pipeline.faults import Fault

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pydantic.fields import FieldInfo
    from pydantic_core import ErrorDetails

    Location = tuple[int | str, ...]

LONGEST_FOUND = 60
MOST_FAULTS = 100  # of one file; whoever has more has named the wrong file
BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
NO_KEY = re.compile(r"<\w+>|\[key\]")  # what stands in a location for the branch of a choice, or for a key itself

# What would be right, by what went wrong; {} are the limits of that key.
WANTED = {
    "bool_type": "it must be true or false",
    "dict_type": "it must be a table",
    "finite_number": "it must be a plain number such as 0.5",
    "float_type": "it must be a number",
    "greater_than": "it must be more than {gt:g}",
    "greater_than_equal": "it must be at least {ge:.12g}",
    "int_from_float": "it must be a whole number, without a point",
    "int_type": "it must be a whole number",
    "less_than": "it must be less than {lt:g}",
    "less_than_equal": "it must be at most {le:.12g}",
    "model_type": "it must be a table",
    "string_pattern_mismatch": "it must be made of a-z, 0-9 and single hyphens, such as recipe-card",
    "string_too_long": "it may have at most {max_length} letters",
    "string_too_short": "write some words",
    "string_type": "it must be text in quotes",
    "too_long": "it may hold at most {max_length} of them",
    "too_short": "it must hold at least {min_length}",
    "tuple_type": "it must be a list in square brackets",
}
A_DATE = "it must be a date alone, without quotes, such as 2026-09-12"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known name closest to `word`, whatever its case, or None where nothing is close."""
    folded = {name.casefold(): name for name in known}
    close = difflib.get_close_matches(word.casefold(), list(folded), n=1, cutoff=0.6)
    return folded[close[0]] if close else None


def toml_text(value: object) -> str:
    """Return a value as a TOML file writes it, on one line."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key_text(key)} = {toml_text(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(toml_text, value)) + "]"
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return repr(value) if isinstance(value, float) else json.dumps(value, ensure_ascii=False)


def key_text(key: str) -> str:
    """Return a key as a TOML file writes it: bare where it may be, else in quotes."""
    return key if BARE_KEY.fullmatch(key) else json.dumps(key, ensure_ascii=False)


def found_text(value: object) -> str:
    """Return a value as the file writes it, cut to a readable length."""
    text = toml_text(value)
    return text if len(text) <= LONGEST_FOUND else text[: LONGEST_FOUND - 1] + "…"


def json_text(tables: object) -> str:
    """Return the tables of a TOML file as the JSON text that they are checked in: dates and times as ISO 8601 text."""
    return json.dumps(tables, default=toml_text)


def _steps(location: Location, data: object) -> Iterator[tuple[str | int, Any]]:
    """Yield each step of a location that is in the file, with the value found there (None where there is none)."""
    for step in location:
        if isinstance(step, str) and NO_KEY.fullmatch(step):
            continue
        if isinstance(data, dict) and isinstance(step, str):
            data = data.get(step)
        elif isinstance(data, list) and isinstance(step, int):
            data = data[step] if step < len(data) else None
        else:
            data = None
        yield step, data


def place(location: Location, data: object) -> str:
    """Return a location as the reader counts: `frames[2] overhead.tif: targets[1]` (from 1)."""
    words: list[str] = []
    for step, value in _steps(location, data):
        if isinstance(step, int):
            name = value.get("file") if isinstance(value, dict) else None
            words[-1:] = [f"{''.join(words[-1:])}[{step + 1}]" + (f" {name}" if name and isinstance(name, str) else "")]
        elif words and not BARE_KEY.fullmatch(step):
            words[-1] += f".{key_text(step)}"
        else:
            words.append(key_text(step))
    return ": ".join(words)


def _order(location: Location, data: object, places: dict[int, dict[Any, int]]) -> tuple[int, ...]:
    """Return where a location stands in the file; what is missing comes last in its table. `places` grows."""
    order = []
    for step in location:
        if isinstance(data, dict):
            if id(data) not in places:
                places[id(data)] = {key: number for number, key in enumerate(data)}
            order.append(places[id(data)].get(step, len(data)))
            data = data.get(step)
        elif isinstance(data, list) and isinstance(step, int):
            order.append(step)
            data = data[step] if step < len(data) else None
    return tuple(order)


def explain(error: ValidationError, model: type[BaseModel], file: str, data: object, prefix: str = "") -> list[Fault]:
    """Return every fault of what was checked, in the order of the file. `prefix` is the place of `data` in it."""
    places: dict[int, dict[Any, int]] = {}
    details = sorted(error.errors(include_url=False), key=lambda detail: _order(detail["loc"], data, places))
    faults: list[Fault] = []
    for detail in details[:MOST_FAULTS]:
        if detail["type"] == "too_short" and detail["input"]:
            continue  # only short because its items are at fault, and those are reported
        where = ": ".join(filter(None, [prefix, place(detail["loc"], data)]))
        *_, (last, value) = [("", data), *_steps(detail["loc"], data)]
        found = found_text(last if detail["loc"][-1:] == ("[key]",) else value)
        faults.extend(
            Fault(file, said, wanted, where, close) for said, wanted, close in _sentences(detail, model, found)
        )
    if len(details) > MOST_FAULTS:
        faults.append(Fault(file, f"{len(details) - MOST_FAULTS} more faults are in it", "mend these first", prefix))
    return faults


def _sentences(detail: ErrorDetails, model: type[BaseModel], found: str) -> Iterator[tuple[str, str, str | None]]:
    """Yield what was found, what would be right, and the nearest name."""
    kind, context = detail["type"], detail.get("ctx", {})
    found = f"found {found}"
    if kind == "missing":
        yield "nothing is given", _needed(detail["loc"], model), None
    elif kind == "extra_forbidden":
        name, keys = str(detail["loc"][-1]), list(_fields_at(model, detail["loc"][:-1]))
        yield f"'{name}' is no key of this table", f"its keys are {', '.join(keys)}", nearest(name, keys)
    elif kind == "literal_error":
        known = re.findall("'([^']+)'", str(context["expected"]))
        yield found, f"it must be {context['expected']}", nearest(str(detail["input"]), known)
    elif kind == "value_error":
        for sentence in getattr(context["error"], "sentences", None) or (str(context["error"]),):
            first, _, second = sentence.partition("; ")
            yield (first, second, None) if isinstance(detail["input"], dict) else (found, sentence, None)
    elif kind.startswith("date_"):
        yield found, A_DATE, None
    elif kind == "tuple_type" and _fields_at(model, detail["loc"]):
        yield found, f"write each of them as a table [[{detail['loc'][-1]}]]", None
    else:
        yield found, WANTED[kind].format(**context) if kind in WANTED else detail["msg"], None


def _needed(location: Location, model: type[BaseModel]) -> str:
    """Return what to write where something is missing, by the example that its field gives."""
    name = location[-1]
    if isinstance(name, int):
        key = location[-2]
        asked = _fields_at(model, location[:-2]).get(str(key))
        examples = asked.examples if asked else None
        return f"write, for example, {key} = {toml_text(examples[0])}" if examples else "a number is needed here"
    field = _fields_at(model, location[:-1])[name]
    if field.examples:
        return f"write, for example, {name} = {toml_text(field.examples[0])}"
    headings: dict[Any, str] = {tuple: f"[[{name}]]", dict: f"[{name}.some-name]"}
    return f"it needs a table {headings.get(get_origin(field.annotation), f'[{name}]')}"


def _fields_at(model: type[BaseModel], location: Location) -> dict[str, FieldInfo]:
    """Return the keys that the table at `location` may hold, in the order of the model."""
    current: Any = model
    for step in location:
        fields = _fields(current)
        current = fields[step].annotation if isinstance(step, str) and step in fields else current
    return _fields(current)


def _fields(annotation: Any) -> dict[str, FieldInfo]:  # noqa: ANN401 (annotations have no common type)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return dict(annotation.model_fields)
    return next((fields for inner in get_args(annotation) if (fields := _fields(inner))), {})
