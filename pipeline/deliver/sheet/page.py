"""The contact sheet as one HTML page: a plan shown frame by frame, and a reply that can be made on it.

It asks no network for anything. Its style and script are allowed by digest alone, every text that came from a file is
escaped, and without scripts it is a sheet to print and to write on.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.deliver.pages import rendered
from pipeline.deliver.sheet.card import Shown
from pipeline.deliver.sheet.data import page_data
from pipeline.deliver.sheet.entry import entry
from pipeline.deliver.sheet.fulls import fulls
from pipeline.deliver.sheet.links import Links, mail_address
from pipeline.deliver.sheet.style import FIRST_SCRIPT, policy, sheet_script, sheet_style
from pipeline.deliver.sheet.words import day_in_words, is_day, weight_of, words_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.deliver.review.state import Review
    from pipeline.deliver.sheet.card import Weigh
    from pipeline.deliver.sheet.entry import Entry, Fact
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Output, Plan

SHORT_ID = 8
_BETWEEN_TAGS = re.compile(">\n+<")
# More frames than this, and their list would keep the first of them below the first screens.
MOST_LISTED = 24
TERMS = ("Credit", "Copyright", "Licence", "Terms", "To license")


def sheet_html(
    plan: Plan,
    made: Mapping[str, Made],
    review: Review,
    *,
    links: Links | None = None,
    full: Mapping[str, Output] | None = None,
    weigh: Weigh = weight_of,
) -> str:
    """Return the contact sheet of `plan` as one HTML page, to be written as UTF-8 to the place that `links` names.

    `made` holds what the ledger knows of files that are as the plan would make them now, by path below the output
    folder; what it does not hold is shown as not made and not measured yet. `review` says which round this is, whose
    (an outlet's sheet shows nothing of the photographer's own: see `for_outlet`), and what was said before. `full`
    gives for renditions, by name, the file that shows them at 100 %, where that is not one of `made`; `weigh` says
    what files weigh. Pure: the same arguments give the same page. Raises ValueError for a path that would leave the
    output folder.
    """
    shown = Shown(review, made, fulls(plan, made) if full is None else full, links or Links(), weigh)
    entries = tuple(entry(shown, number, frame, plan.title) for number, frame in enumerate(plan.frames, 1))
    style, script = sheet_style(plan, entries), sheet_script()
    page = rendered(
        "sheet.html",
        title=plan.title,
        kind=_kind(review),
        round=f"round {review.number}",
        round_id=review.round_id[:SHORT_ID],
        hers=shown.hers,
        single=shown.links.single,
        language=plan.language,
        date=day_in_words(plan.date) if plan.date else None,
        date_code=plan.date if plan.date and is_day(plan.date) else None,
        summary=_summary(plan, made, review, weigh),
        entries=entries,
        shared=_shared(entries),
        listed=len(entries) <= MOST_LISTED,
        abouts=_abouts(plan),
        filters=_filters(entries),
        mail=_mail(plan),
        data=page_data(plan.title, review, entries, single=shown.links.single),
        style=style,
        first_script=FIRST_SCRIPT,
        script=script,
        policy=policy(style, FIRST_SCRIPT, script),
    )
    # A line feed between two tags says nothing here, and a sheet of three hundred frames has forty thousand. (No text
    # holds such a pair: its own are escaped. Style and script have theirs inside, and stay as they were hashed.)
    return _BETWEEN_TAGS.sub("><", page)


def _kind(review: Review) -> str:
    return "Contact sheet" if review.outlet is None else f"Contact sheet for {review.outlet}"


def _mail(plan: Plan) -> tuple[str, str] | None:
    """Return where the reply is to be mailed, as text and as a link: the contact that stands in every file."""
    contacts = (frame.facts.contact.email for frame in plan.frames if frame.facts.contact)
    email = next((one for one in contacts if one), None)
    link = mail_address(email)
    return (email, link) if email and link else None


def _shared(entries: Sequence[Entry]) -> dict[str, Fact]:
    """Return the terms that are the same for every frame, by label: they are said once. Words are each frame's own."""
    if len(entries) < 2:
        return {}
    first, *others = ({fact.label: fact for fact in one.facts if fact.label in TERMS} for one in entries)
    return {label: fact for label, fact in first.items() if all(other.get(label) == fact for other in others)}


def _abouts(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Return what each target is for, once: on a long sheet the prints do not say it again."""
    named = {f"{one.outlet}/{one.target}": one.about for one in plan.renditions if one.about}
    return tuple(named.items())


def _filters(entries: Sequence[Entry]) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    """Return the outlets and the views that frames can be chosen by: none where there is only one."""
    outlets = tuple(dict.fromkeys(outlet for one in entries for outlet, _ in one.outlets))
    views = tuple(dict.fromkeys(one.view for one in entries if one.view))
    named = tuple((view, words_of(view)) for view in views)
    return outlets if len(outlets) > 1 else (), named if len(views) > 1 else ()


def _summary(plan: Plan, made: Mapping[str, Made], review: Review, weigh: Weigh) -> tuple[tuple[str, str], ...]:
    """Return the lines of the docket at the head of the page: what, and how much of it."""
    refused = sum(rendition.refused is not None for rendition in plan.renditions)
    rows = [
        ("Round", f"{review.number} ({review.round_id[:SHORT_ID]})"),
        ("Frames", f"{len(plan.frames)}"),
        ("Renditions", f"{len(plan.renditions) - refused}"),
    ]
    if review.outlet is None:
        rows += _her_rows(plan, made, refused, weigh)
    rows.append(("Credit", plan.credit_line or ""))
    return tuple((label, value) for label, value in rows if value)


def _her_rows(plan: Plan, made: Mapping[str, Made], refused: int, weigh: Weigh) -> list[tuple[str, str]]:
    outputs = [output for rendition in plan.renditions for output in rendition.outputs]
    done = [made[output.path] for output in outputs if output.path in made]
    cautions = sum(len(frame.cautions) for frame in plan.frames)
    cautions += sum(len(rendition.cautions) for rendition in plan.renditions)
    return [
        ("Refused", f"{refused}" if refused else "none"),
        ("Files", f"{len(outputs)}" if len(done) == len(outputs) else f"{len(done)} of {len(outputs)} made"),
        ("Weight", weigh(done) if done else ""),
        ("Cautions", f"{cautions}" if cautions else "none"),
        ("Job", plan.job.name),
    ]
