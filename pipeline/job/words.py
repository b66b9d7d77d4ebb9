"""Kinds of text and number that the job file and the profiles share."""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from pipeline.job.plain_words import LONGEST_WORDS, plain, plain_words
from pipeline.light.ratio import parse_ratio

LONGEST_SHAPE = 20  # times as long as wide
THINNEST = 0.001  # of the frame: less is no part of a picture that anyone could point at
LANGUAGE = re.compile(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*")
BARE = "[a-z0-9]+(-[a-z0-9]+)*"
BARE_NAME = re.compile(rf"(?=.{{1,30}}$){BARE}", re.DOTALL)


def _web_address(text: str) -> str:
    """Refuse what a reader could not follow, and what would not be a web page."""
    if not re.fullmatch(r"https?://[^\s<>\"']+", plain(text)):
        raise ValueError("write a whole web address, beginning with https://")
    return text


def _language(tag: str) -> str:
    """Refuse what is not shaped like a language tag. Source: BCP 47 (RFC 5646, 2.1)."""
    if not LANGUAGE.fullmatch(tag):
        raise ValueError('write a language tag such as "en", "fr" or "pt-BR"')
    return tag


def _ratio_text(text: str) -> str:
    """Refuse what is no shape, and shapes no picture is cut to."""
    try:
        ratio = parse_ratio(text)
    except ValueError:
        raise ValueError("write a ratio as width:height, both above 0, for example 16:9") from None
    if not Fraction(1, LONGEST_SHAPE) <= ratio <= LONGEST_SHAPE:
        raise ValueError(f"a shape may be at most {LONGEST_SHAPE} times as long as it is wide")
    return text


def _fractions(count: int, wanted: str, *words: str) -> BeforeValidator:
    """Refuse whatever is not `count` fractions nor one of `words`, with one sentence for the whole list."""

    def whole(value: object) -> tuple[object, ...] | str:
        if isinstance(value, str) and value in words:
            return value
        if not isinstance(value, list | tuple) or len(value) != count or not all(map(_is_fraction, value)):
            raise ValueError(wanted)
        return tuple(value)

    return BeforeValidator(whole)


def _is_fraction(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 1


def _holds_something(keep: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    if not (keep[2] - keep[0] >= THINNEST and keep[3] - keep[1] >= THINNEST):
        raise ValueError("this box is empty; write it as [left, top, right, bottom] with left < right and top < bottom")
    return keep


def _fold(text: str) -> str:
    """Refuse a name that has no letter or figure left once it is folded to a-z, 0-9 and hyphens."""
    if not slugify(text):
        raise ValueError("a name needs at least one letter or figure of a-z, 0-9")
    return text


FOLDED = str.maketrans(
    {"ß": "ss", "æ": "ae", "œ": "oe", "ø": "o", "đ": "d", "ð": "d", "ł": "l", "þ": "th", "\u0131": "i"}
    | dict.fromkeys("'\u2019", "")  # an apostrophe parts no word: grandma's is grandmas
)


def slugify(text: str) -> str:
    """Return lower-case a-z, 0-9 and single hyphens, accents folded; "" where nothing is left."""
    folded = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).lower().translate(FOLDED))
    plain = "".join(letter if letter.isalnum() else "-" for letter in folded if not unicodedata.combining(letter))
    return re.sub("-+", "-", re.sub("[^a-z0-9-]", "", plain)).strip("-")


Words = Annotated[str, Field(min_length=1, max_length=LONGEST_WORDS), AfterValidator(plain_words)]
MaybeEmptyWords = Annotated[str, Field(max_length=LONGEST_WORDS), AfterValidator(plain)]
WebAddress = Annotated[str, Field(max_length=2000), AfterValidator(_web_address)]
Language = Annotated[str, AfterValidator(_language)]
RatioText = Annotated[str, Field(max_length=24), AfterValidator(_ratio_text)]
Slug = Annotated[str, Field(max_length=200), AfterValidator(_fold)]
Fraction01 = Annotated[float, Field(ge=0, le=1)]
POINT = "write [across, down] as fractions from 0 (left or top edge) to 1 (right or bottom edge)"
PointPair = Annotated[tuple[Fraction01, Fraction01], _fractions(2, POINT)]
SubjectPoint = Annotated[tuple[Fraction01, Fraction01] | Literal["auto"], _fractions(2, f'{POINT}, or "auto"', "auto")]
KeepBox = Annotated[
    tuple[Fraction01, Fraction01, Fraction01, Fraction01],
    AfterValidator(_holds_something),
    _fractions(4, "write [left, top, right, bottom] as fractions of the frame, from 0 to 1"),
]
BareName = Annotated[str, Field(pattern=f"^{BARE}$", max_length=30)]
