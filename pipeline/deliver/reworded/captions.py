"""The captions of a frame as its files and the pages say them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pipeline.plan.describe import in_language

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.job.job import Job
    from pipeline.plan.facts import PictureFacts


@dataclass(frozen=True, slots=True)
class Captions:
    """What is said of a frame, by language; "" is the language of one that names none.

    `first` is the language of the one that stands for it in the shoot's language. `disclosure` ends each of them.
    """

    texts: Mapping[str, str]
    first: str
    disclosure: str | None

    def said(self, language: str) -> str:
        """Return a caption with the disclosure of a paid post behind it."""
        text = self.texts[language]
        return f"{text} {self.disclosure}" if self.disclosure else text

    def saying(self, texts: Mapping[str, str]) -> Captions:
        """Return them with other texts."""
        return replace(self, texts=texts)

    def in_facts(self, facts: PictureFacts) -> PictureFacts:
        """Return the facts of a picture with these captions."""
        translations = (
            replace(one, description=self.said(one.language)) if one.language in self.texts else one
            for one in facts.translations
        )
        return replace(facts, description=self.said(self.first), translations=tuple(translations))

    def in_manifest(self, facts: dict[str, Any]) -> None:
        """Put these captions into facts as the manifest says them."""
        facts["description"] = self.said(self.first)
        for one in facts.get("translations", []):
            if one["language"] in self.texts:
                one["description"] = self.said(one["language"])


def captions_in(caption: object) -> dict[str, str] | None:
    """Return a job's caption by language; None where there is none that pages show as it is written."""
    texts = {"": caption} if isinstance(caption, str) else caption
    if not isinstance(texts, dict) or not texts:
        return None
    plain = all(isinstance(text, str) and text != "" and text == text.strip() for text in texts.values())
    return texts if plain else None


def captions_of(job: Job) -> dict[str, Captions]:
    """Return the captions of a job's frames, by slug, as far as they may be changed alone."""
    disclosure, language = job.sponsor.disclosure if job.sponsor else None, job.shoot.language
    found = {asked.slug: captions_in(asked.entry.caption) for asked in job.frames}
    return {
        slug: Captions(texts, in_language({tag: tag for tag in texts}, language) or "", disclosure)
        for slug, texts in found.items()
        if texts
    }
