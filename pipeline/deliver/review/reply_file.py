"""The file a reviewer sends back, as JSON: its form, and reading it as something that a stranger may have written."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from pipeline.deliver.review.state import Spot, Verdict
from pipeline.faults import Fault
from pipeline.job.explain import explain
from pipeline.job.toml_file import deeper_than
from pipeline.job.words import BARE, Fraction01

if TYPE_CHECKING:
    from collections.abc import Iterator

FORMAT = 1
LONGEST_NAME, LONGEST_NOTE, MOST_SPOTS = 200, 10_000, 50
DEEPEST = 10  # the numbers of a box are eight down
TOO_DEEP = "it is nested deeper than any reply"
ASK_AGAIN = "ask for it to be sent again"
_SURROGATE = re.compile("[\ud800-\udfff]")


def _day(text: str) -> str:
    try:
        return dt.date.fromisoformat(text if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII) else "").isoformat()
    except ValueError:
        raise ValueError("it must be a date such as 2026-11-25") from None


def _name(text: str) -> str:
    if not any(letter.isprintable() and not letter.isspace() for letter in text):
        raise ValueError("the reviewer's name is needed")
    return text


_FROZEN = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False)
_Note = Annotated[str, Field(max_length=LONGEST_NOTE)]
_Slug = Annotated[str, Field(pattern=f"^{BARE}$", max_length=200)]
_Target = Annotated[str, Field(pattern=f"^{BARE}/{BARE}$", max_length=200)]


class SpotEntry(BaseModel):
    """A place on the picture, in fractions 0..1 from its top-left corner: a point or a box."""

    model_config = _FROZEN
    point: tuple[Fraction01, Fraction01] | None = None
    box: tuple[Fraction01, Fraction01, Fraction01, Fraction01] | None = None

    @model_validator(mode="after")
    def _is_one_of_both(self) -> Self:
        if (self.point is None) == (self.box is None):
            raise ValueError("a spot is a point or a box; write one of the two")
        return self

    @property
    def spot(self) -> Spot:
        """Return the place as the sheet draws it; a box's corners in order, whichever was drawn first."""
        if self.box is None:
            return Spot(self.point or ())
        left, top, right, bottom = self.box
        return Spot((min(left, right), min(top, bottom), max(left, right), max(top, bottom)))


class Answer(BaseModel):
    """What was said of one picture: a verdict (null: still open), words, places."""

    model_config = _FROZEN
    verdict: Verdict | None = None
    note: _Note = ""
    spots: Annotated[tuple[SpotEntry, ...], Field(max_length=MOST_SPOTS)] = ()

    @property
    def says_something(self) -> bool:
        """Return whether there is a verdict, a word or a place."""
        return bool(self.verdict or self.note.strip() or self.spots)


class RenditionAnswer(Answer):
    """What was said of one rendition, `outlet/target`; `key` is its picture key, null in a reply that came as text."""

    rendition: _Target
    key: Annotated[str, Field(pattern="^[0-9a-f]{32}$")] | None = None


class FrameAnswer(Answer):
    """What was said of one frame as a whole, and of its renditions."""

    frame: _Slug
    renditions: Annotated[tuple[RenditionAnswer, ...], Field(max_length=1000)] = ()


class Reply(BaseModel):
    """A reply: one reviewer's answer to one round. `round` is its id, `outlet` null where the sheet was her own."""

    model_config = _FROZEN
    plateline_reply: Literal[1]
    round: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    shoot: Annotated[str, Field(max_length=65536)]
    outlet: Annotated[str, Field(pattern=f"^{BARE}$", max_length=30)] | None
    reviewer: Annotated[str, Field(max_length=LONGEST_NAME), AfterValidator(_name)]
    date: Annotated[str, AfterValidator(_day)]
    frames: Annotated[tuple[FrameAnswer, ...], Field(max_length=10_000)]

    def to_json(self) -> bytes:
        """Return it as the file that is kept: every key, UTF-8."""
        document = self.model_dump(mode="json")
        for one in _spots_of(document):
            del one["point" if one["point"] is None else "box"]
        return (json.dumps(document, ensure_ascii=False, indent=1) + "\n").encode()


def _spots_of(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for frame in document["frames"]:
        for answer in (frame, *frame["renditions"]):
            yield from answer["spots"]


def reply_schema() -> str:
    """Return the JSON Schema of a reply, as JSON text."""
    schema = Reply.model_json_schema()
    dialect = "https://json-schema.org/draft/2020-12/schema"
    return json.dumps({"$schema": dialect, **schema, "title": "plateline reply"}, indent=1, ensure_ascii=False)


class _NotPlain(ValueError):  # noqa: N818 (it is what was found)
    """JSON that has no place in a reply; its words are what was found."""


def read_json(text: str, shown: str) -> Reply | list[Fault]:
    """Return the reply that JSON text holds, or all its faults. `shown` is the file's name as she wrote it."""
    try:
        document = json.loads(text, object_pairs_hook=_once, parse_constant=_no_number, parse_float=_number)
    except _NotPlain as error:
        return [Fault(shown, str(error), ASK_AGAIN)]
    except json.JSONDecodeError as error:
        return [_no_json(error, text, shown)]
    except RecursionError:
        return [Fault(shown, TOO_DEEP, ASK_AGAIN)]
    except ValueError:  # a whole number of more digits than Python reads
        return [Fault(shown, "it holds a number of thousands of digits", ASK_AGAIN)]
    return checked(document, shown)


def checked(document: object, shown: str) -> Reply | list[Fault]:
    """Return the reply that plain values hold, or all their faults."""
    if not isinstance(document, dict) or "plateline_reply" not in document:
        return [Fault(shown, "this is no reply", "name the file that the reviewer saved on the contact sheet")]
    version = document["plateline_reply"]
    if isinstance(version, int) and not isinstance(version, bool) and version > FORMAT:
        found = f"it was written for a newer plateline (its form has number {version}, ours {FORMAT})"
        return [Fault(shown, found, "use that version of plateline to read it")]
    if deeper_than(DEEPEST, document):
        return [Fault(shown, TOO_DEEP, ASK_AGAIN)]
    text = json.dumps(document)
    if _SURROGATE.search(json.dumps(document, ensure_ascii=False)):
        return [Fault(shown, "it holds half of a letter (a lone surrogate)", ASK_AGAIN)]
    try:
        return Reply.model_validate_json(text)
    except ValidationError as error:
        return explain(error, Reply, shown, _with_places(document))


def _with_places(document: dict[str, Any]) -> dict[str, Any]:
    """Return the document with each frame named where the places of faults take a name from."""
    frames = document.get("frames")
    if not isinstance(frames, list):
        return document
    named = [
        {**frame, "file": frame.get("frame")} if isinstance(frame, dict) and "file" not in frame else frame
        for frame in frames
    ]
    return {**document, "frames": named}


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise _NotPlain("it says one thing twice (a key is repeated)")
    return found


def _no_number(word: str) -> float:
    raise _NotPlain(f"it holds {word}, which is no number")


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise _NotPlain("it holds a number larger than any fraction")
    return value


def _no_json(error: json.JSONDecodeError, text: str, shown: str) -> Fault:
    if error.pos >= len(text.rstrip()) or error.msg.startswith("Unterminated string"):
        return Fault(shown, "it ends in the middle", ASK_AGAIN)
    return Fault(shown, f"it is damaged (line {error.lineno}, column {error.colno})", ASK_AGAIN)
