"""captions.csv: the words of every frame in a table, for spreadsheets and for whoever proofreads them.

RFC 4180 (CRLF, quoted where needed), UTF-8 with a byte order mark, without which desktop spreadsheets take it for a
local eight-bit encoding. A cell that a spreadsheet would take for a formula (it begins with = + - or @) gets an
apostrophe in front: the words may come from a file that somebody else wrote. Source: OWASP, CSV Injection. A job that
names the table as its `captions` takes the apostrophe off again, so what is mended there can go back into the job;
therefore a caption stands here without the sponsor's disclosure, which the job adds itself.
"""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from pipeline.deliver.cells import cell_text
from pipeline.deliver.printable import printable
from pipeline.deliver.web.words import without_disclosure

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.rendition import Plan


def captions_csv(plan: Plan, languages: Sequence[str], disclosure: str | None) -> bytes:
    """Return the table: a row a frame, alt text and caption a column for each language, then credit and licence.

    A cell stays empty where a frame has no words in that language; a decorative picture has no alt text in any.
    """
    text = io.StringIO(newline="")
    table = csv.writer(text, lineterminator="\r\n")
    in_languages = [f"{field}.{tag}" for tag in languages for field in ("alt", "caption")]
    table.writerow(["frame", "file", *in_languages, "credit", "licence"])
    for frame in plan.frames:
        facts = frame.facts
        row = [
            frame.slug,
            frame.shown_file,
            *_words(facts, languages, disclosure),
            facts.credit_line,
            facts.licence_url,
        ]
        table.writerow([cell_text(one) for one in row])
    return text.getvalue().encode("utf-8-sig")


def _words(facts: PictureFacts, languages: Sequence[str], disclosure: str | None) -> Iterator[str | None]:
    versions = {one.language.lower(): (one.alt, one.description) for one in facts.translations}
    versions[facts.language.lower()] = (facts.alt, facts.description)
    for tag in languages:
        alt, caption = versions.get(tag.lower(), (None, None))
        yield from (alt, without_disclosure(printable(caption or ""), disclosure))
