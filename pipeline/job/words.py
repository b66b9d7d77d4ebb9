"""Kinds of text and number that the job file and the profiles share."""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction
from typing import Annotated

from pydantic import AfterValidator, Field

from pipeline.light.ratio import parse_ratio

LANGUAGE = re.compile(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*")
NOT_IN_XML = re.compile("[\x00-\x08\x0b-\x1f\x7f\x80-\x9f\ufffe\uffff\ud800-\udfff]")


def _plain(text: str) -> str:
    """Refuse control characters: XML 1.0 cannot hold most of them, and none belongs in a caption."""
    found = NOT_IN_XML.search(text)
    if found:
        raise ValueError(f"it holds the control character U+{ord(found.group()):04X}; write plain text")
    return text


def _web_address(text: str) -> str:
    """Refuse what a reader could not follow, and what would not be a web page."""
    if not re.fullmatch(r"https?://[^\s<>\"']+", _plain(text)):
        raise ValueError("write a whole web address, beginning with https://")
    return text


def _language(tag: str) -> str:
    """Refuse what is not shaped like a language tag. Source: BCP 47 (RFC 5646, 2.1)."""
    if not LANGUAGE.fullmatch(tag):
        raise ValueError('write a language tag such as "en", "fr" or "pt-BR"')
    return tag


def _ratio_text(text: str) -> str:
    """Refuse what is no shape, and shapes no picture is cut to."""
    if not Fraction(1, 20) <= parse_ratio(text) <= 20:
        raise ValueError("a shape may be at most 20 times as long as it is wide")
    return text


def _fold(text: str) -> str:
    """Refuse a name that has no letter or figure left once it is folded to a-z, 0-9 and hyphens."""
    if not slugify(text):
        raise ValueError("a name needs at least one letter or figure of a-z, 0-9")
    return text


LIGATURES = str.maketrans(
    {"ß": "ss", "æ": "ae", "œ": "oe", "ø": "o", "đ": "d", "ð": "d", "ł": "l", "þ": "th", "\u0131": "i"}
)


def slugify(text: str) -> str:
    """Return lower-case a-z, 0-9 and single hyphens, accents folded; "" where nothing is left."""
    folded = unicodedata.normalize("NFKD", text.lower().translate(LIGATURES)).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", folded.lower()).strip("-")


Words = Annotated[str, Field(min_length=1, max_length=65536), AfterValidator(_plain)]
MaybeEmptyWords = Annotated[str, Field(max_length=65536), AfterValidator(_plain)]
WebAddress = Annotated[str, Field(max_length=2000), AfterValidator(_web_address)]
Language = Annotated[str, AfterValidator(_language)]
RatioText = Annotated[str, Field(max_length=24), AfterValidator(_ratio_text)]
Slug = Annotated[str, Field(max_length=200), AfterValidator(_fold)]
Fraction01 = Annotated[float, Field(ge=0, le=1)]
