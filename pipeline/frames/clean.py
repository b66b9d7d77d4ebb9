"""How words from a frame are cleaned before anything is done with them, because strangers wrote them.

Characters that no file of ours could carry are dropped, lengths and numbers of values are capped, addresses must be web
addresses, dates and ratings are what they claim to be or nothing.
"""

from __future__ import annotations

import math
import re
from datetime import date, datetime

MAX_CHARACTERS = 65536  # of one text: what a job may hold as well
MAX_VALUES = 1000  # of one list

# Char of XML 1.0, production 2, less the control characters that it merely discourages.
_UNUSABLE = re.compile("[^\t\n\x20-\x7e\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_LINE_END = re.compile("\r\n?")
_WEB_ADDRESS = re.compile(r"https?://[^\s<>\"']{1,2000}")
_MOMENT = re.compile(
    r"(?P<day>[1-9]\d{3}-\d\d-\d\d)"
    r"(?:T(?P<time>\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?)(?P<offset>Z|[+-]\d\d:\d\d)?)?"
)
_RATINGS = range(-1, 6)
DIGITAL_SOURCES = "cv.iptc.org/newscodes/digitalsourcetype/"
# Source: IPTC NewsCodes, digital source type; the last four of the second row and the third row from memory.
_DIGITAL_SOURCE_TERMS = {
    "digitalCapture", "computationalCapture", "screenCapture", "virtualRecording", "negativeFilm", "positiveFilm",
    "print", "humanEdits", "digitalCreation", "algorithmicallyEnhanced", "dataDrivenMedia", "algorithmicMedia",
    "trainedAlgorithmicMedia", "compositeCapture", "compositeSynthetic", "compositeWithTrainedAlgorithmicMedia",
    "multiFrameComputationalCapture", "composite",
}  # fmt: skip


def plain(text: str) -> str | None:
    """Return a text without what no file can carry and no space around it; None where nothing is left."""
    return _UNUSABLE.sub("", _LINE_END.sub("\n", text[: 2 * MAX_CHARACTERS]))[:MAX_CHARACTERS].strip() or None


def plain_line(text: str) -> str | None:
    """Return a text that is one line by its nature: a name, a keyword."""
    cleaned = plain(text)
    return " ".join(cleaned.split()) if cleaned else None


def plain_list(texts: list[str]) -> tuple[str, ...]:
    """Return each text that is not blank, once, in order."""
    return tuple(dict.fromkeys(line for text in texts[:MAX_VALUES] if (line := plain_line(text))))


def decoded(data: bytes) -> str:
    """Return text bytes of undeclared encoding: UTF-8, or else Latin-1 with the letters Windows puts in its gap.

    Bytes that stand for nothing are dropped. Source: XMP Specification Part 3 (2020) 3.2.3.1 for UTF-8 in ASCII
    strings; the fall-back is common practice, no source.
    """
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", "ignore")


def web_address(text: str | None) -> str | None:
    """Return the text where it is a web address; None for everything else, `javascript:` foremost."""
    line = plain_line(text) if text else None
    return line if line and _WEB_ADDRESS.fullmatch(line) else None


def moment(text: str | None) -> str | None:
    """Return a day or a time as ISO 8601 in full; None for part of a day (a year alone) and what is no date."""
    found = _MOMENT.fullmatch(text.strip()) if text else None
    if found is None:
        return None
    day, time, offset = found["day"], found["time"], found["offset"] or ""
    try:
        if time is None:
            return date.fromisoformat(day).isoformat()
        when = datetime.fromisoformat(f"{day}T{time}{offset}")
    except ValueError:
        return None
    return when.isoformat()


def stars(text: str | None) -> int | None:
    """Return a rating, -1 or 1 to 5; None for 0 (not rated) and for what is no rating."""
    try:
        value = float(text or "")
    except ValueError:
        return None
    whole = int(value) if math.isfinite(value) else 0
    return whole if whole and whole in _RATINGS else None


def digital_source(text: str | None) -> str | None:
    """Return the term of a URI of the IPTC vocabulary, which has no other terms than these; None for anything else."""
    base, _, term = (text or "").strip().rpartition("/")
    address = f"{base}/".removeprefix("https://").removeprefix("http://")
    return term if address == DIGITAL_SOURCES and term in _DIGITAL_SOURCE_TERMS else None
