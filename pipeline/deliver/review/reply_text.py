"""A reply as text: what "Copy reply as text" gives, read as mail leaves it.

One line says one thing, `word: value`. On its way a line may be quoted ("> "), wrapped, parted by blank lines, given
other spaces or a capital; before and after the reply other words may stand, and an older reply may be quoted below.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from pipeline.deliver.review.reply_file import ASK_AGAIN, FORMAT, checked
from pipeline.faults import Fault

if TYPE_CHECKING:
    from pipeline.deliver.review.reply_file import Reply

_BEGINS = re.compile(r"plateline reply (\d{1,6})", re.IGNORECASE)
_ENDS = "end of reply"
_WORDS = "round shoot outlet from date frame rendition verdict note box point".split()  # noqa: SIM905 (a table)
_LINE = re.compile(rf"({'|'.join(_WORDS)}) ?: ?(.*)", re.IGNORECASE)
_QUOTED = re.compile(r"^(?:\s*>)+ ?")
_INVISIBLE = re.compile("[\u200b\u2060\ufeff\u00ad]")  # what mail programs put into long words
_SPACES = re.compile(r"[^\S\n]+")
_HYPHENS = re.compile("[-_ \u2010-\u2015]+")
_NUMBER = re.compile(r"[0-9]{0,3}[.,]?[0-9]{1,20}", re.ASCII)


@dataclass(slots=True)
class _Said:
    """One line of the reply: its word, its value in the parts that mail broke it into, and its number in the file."""

    word: str
    parts: list[str]
    number: int

    @property
    def value(self) -> str:
        """Return the value whole."""
        return " ".join(filter(None, self.parts))


@dataclass(slots=True)
class _Block:
    """What stands between the first and the last line of a reply; `ended` says whether the last one was there."""

    version: int
    number: int
    said: list[_Said] = field(default_factory=list)
    ended: bool = False


def holds_reply(text: str) -> bool:
    """Return whether a reply begins anywhere in a text."""
    return any(_BEGINS.fullmatch(line) for line in _lines(text))


def read_text(text: str, shown: str) -> list[Reply] | list[Fault]:
    """Return every reply that a text holds, or all faults of all of them. `shown` is the file's name as given."""
    replies: list[Reply] = []
    faults: list[Fault] = []
    for block in _blocks(text):
        found = _reply(block, shown)
        if isinstance(found, list):
            faults.extend(found)
        else:
            replies.append(found)
    return faults or replies


def _lines(text: str) -> list[str]:
    """Return the lines without what mail adds to them."""
    plain = _INVISIBLE.sub("", text).replace("\r\n", "\n").replace("\r", "\n").replace("\u2028", "\n")
    return [_SPACES.sub(" ", _QUOTED.sub("", line)).strip() for line in plain.split("\n")]


def _blocks(text: str) -> list[_Block]:
    blocks: list[_Block] = []
    for number, line in enumerate(_lines(text), start=1):
        begins = _BEGINS.fullmatch(line)
        if begins:
            blocks.append(_Block(int(begins[1]), number))
        elif not blocks or blocks[-1].ended or not line:
            continue
        elif line.lower() == _ENDS:
            blocks[-1].ended = True
        elif says := _LINE.fullmatch(line):
            blocks[-1].said.append(_Said(says[1].lower(), [says[2]], number))
        elif blocks[-1].said:
            blocks[-1].said[-1].parts.append(line)
    return blocks


def _reply(block: _Block, shown: str) -> Reply | list[Fault]:
    if block.version > FORMAT:
        found = f"it was written for a newer plateline (its form has number {block.version}, ours {FORMAT})"
        return [Fault(shown, found, "use that version of plateline to read it", f"line {block.number}")]
    if not block.ended:
        found = f"it ends in the middle: the line '{_ENDS}' is missing"
        return [Fault(shown, found, ASK_AGAIN, f"from line {block.number}")]
    document: dict[str, Any] = {"plateline_reply": FORMAT, "outlet": None, "frames": []}
    faults: list[Fault] = []
    place: dict[str, Any] | None = None
    for said in block.said:
        where = f"line {said.number}"
        match said.word:
            case "round" | "shoot" | "outlet" | "from" | "date":
                _head(document, said)
            case "frame":
                place = {"frame": said.value, "verdict": None, "note": [], "spots": [], "renditions": []}
                document["frames"].append(place)
            case "rendition" if document["frames"]:
                place = {"rendition": said.value, "key": None, "verdict": None, "note": [], "spots": []}
                document["frames"][-1]["renditions"].append(place)
            case _ if place is None:
                faults.append(Fault(shown, f"'{said.word}' stands before any frame", ASK_AGAIN, where))
            case "verdict":
                place["verdict"] = _HYPHENS.sub("-", said.value.strip(" .")).lower() or None
            case "note":
                place["note"].append(said.value)
            case "box" | "point":
                numbers = _numbers(said.value)
                if numbers is None:
                    found, count = f"found {said.word}: {said.value[:60]}", "four" if said.word == "box" else "two"
                    faults.append(Fault(shown, found, f"it must be {count} fractions such as 0.31", where))
                else:
                    place["spots"].append({said.word: numbers})
    for frame in document["frames"]:
        for answer in (frame, *frame["renditions"]):
            answer["note"] = "\n".join(answer["note"])
    where = f"from line {block.number}"
    missing = [word for word in ("round", "shoot", "from", "date") if _KEYS.get(word, word) not in document]
    faults.extend(Fault(shown, f"the line '{word}:' is missing", ASK_AGAIN, where) for word in missing)
    return faults or checked(document, shown)


_KEYS = {"from": "reviewer"}


def _head(document: dict[str, Any], said: _Said) -> None:
    if said.word == "round":
        document["round"] = said.value.replace(" ", "").lower()
    elif said.word == "outlet":
        document["outlet"] = said.value or None
    else:
        document[_KEYS.get(said.word, said.word)] = said.value


def _numbers(value: str) -> list[float] | None:
    parts = value.split()
    if not parts or not all(map(_NUMBER.fullmatch, parts)):
        return None
    return [float(part.replace(",", ".")) for part in parts]
