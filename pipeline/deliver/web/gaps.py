"""What is still missing before the kit can be used, in sentences for the photographer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.deliver.web.addresses import whole_address
from pipeline.deliver.web.open_graph import open_graph_gaps
from pipeline.deliver.web.pictures import CARD_SHAPES, link_preview, not_made, recipe_cards, steps, waiting
from pipeline.deliver.web.words import said
from pipeline.faults import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from pipeline.deliver.web.pictures import WebPicture
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan


def gaps(plan: Plan, made: Mapping[str, Made], pictures: tuple[WebPicture, ...], language: str) -> Iterator[str]:
    """Yield a sentence for each thing that is missing or that she has to settle by hand."""
    in_page = [picture for picture in pictures if picture.in_page]
    if left := not_made(plan, made):
        yield f"Not made yet, so not named here: {counted(len(left), 'file')}. export makes what is left."
    if unapproved := [one.name for one in waiting(plan)]:
        yield f"Waiting for approval, so not named here: {', '.join(unapproved)}."
    if not in_page:
        yield 'No picture is made for a page: give a frame a target such as "blog/hero" or "blog/step".'
    if missing := open_graph_gaps(plan, link_preview(pictures)):
        yield f"There are no Open Graph tags yet. The job has to say {_listed(missing)}."
    if whole_address(plan.pictures_url) is None:
        yield (
            "Addresses below are relative: right for a post that has the outlet's folder beside it. With "
            "site.pictures_url in the job they become whole ones, as search and link previews ask for."
        )
    shapes = [f"{shape.numerator}:{shape.denominator}" for shape in CARD_SHAPES if shape not in recipe_cards(pictures)]
    if in_page and shapes:
        asked = "search asks for 1:1, 4:3 and 16:9, and the targets blog/card-* make them"
        yield f"The recipe has no picture of {_listed(shapes)}: {asked}."
    yield from _without_words(in_page, language)
    if language != plan.language:
        yield f"Title and address of the post are those of the {plan.language} one: put in this post's own."
    if steps(pictures):
        yield "In the structured data the text of a step is its caption: put the recipe's own words there."


def _without_words(pictures: Iterable[WebPicture], language: str) -> Iterator[str]:
    facts = {picture.frame.slug: picture.facts for picture in pictures}
    found = {slug: said(one, "alt", language) for slug, one in facts.items()}
    silent = [slug for slug, alt in found.items() if alt is None]
    other = [f"{slug} ({alt.language})" for slug, alt in found.items() if alt and alt.language != language]
    if silent:
        wanted = "Write one in the job, or say decorative = true; then the snippet comes"
        yield f"No alt text: {', '.join(silent)}. {wanted}."
    if other:
        yield f"Not in {language} yet, so in another language: {', '.join(other)}."


def _listed(parts: Iterable[str]) -> str:
    *most, last = parts
    return f"{', '.join(most)} and {last}" if most else last
