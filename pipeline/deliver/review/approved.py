"""What was approved: who said so of exactly which pictures, and what waits for it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.deliver.review.replies import newest_first, read_replies
from pipeline.deliver.review.round import picture_keys
from pipeline.deliver.review.said import approvals, heard
from pipeline.ledger.book import read_digests, read_rounds

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from pipeline.deliver.review.replies import Kept
    from pipeline.ledger.rounds import Round
    from pipeline.plan.rendition import Plan, Rendition


def with_approvals(
    plan: Plan,
    contents: Mapping[str, str],
    replies: Sequence[Kept],
    rounds: Sequence[Round],
    *,
    of_all: bool = False,
) -> Plan:
    """Return the plan with who approved each rendition; what needs an approval and has none waits (`Rendition.waits`).

    `contents` are the digests of the frames' files by slug. With `of_all` everything but proofs needs one.
    """
    approved = approvals(picture_keys(plan, contents), heard(newest_first(replies, rounds)))

    def judged(rendition: Rendition) -> Rendition:
        needs = rendition.needs_approval or (of_all and rendition.policy != "proof")
        return replace(rendition, needs_approval=needs, approvals=approved.get(rendition.name, ()))

    frames = (replace(frame, renditions=tuple(map(judged, frame.renditions))) for frame in plan.frames)
    return replace(plan, frames=tuple(frames))


def approved_so_far(plan: Plan, out: Path) -> Plan:
    """Return the plan with who approved what, for those who only look: nothing is written, `out` may not exist.

    Frames are read only where there are replies. Raises `RequestRefused` for a reply that cannot be read any more.
    """
    replies = read_replies(plan.job)
    if not replies:
        return plan
    return with_approvals(plan, known_contents(plan, out), replies, read_rounds(out))


def known_contents(plan: Plan, out: Path) -> dict[str, str]:
    """Return the digests of the frames' files by slug, from the ledger of `out` where it knows them; writes nothing.

    A frame that cannot be read is left out.
    """
    digest = read_digests(out)
    contents: dict[str, str] = {}
    for frame in plan.frames:
        try:
            contents[frame.slug] = digest(frame.path)
        except OSError:
            continue
    return contents


def missing_approvals(plan: Plan, outlet: str | None = None) -> tuple[Rendition, ...]:
    """Return the renditions of a plan (of one outlet, where it is given) that are not made for want of an approval."""
    return tuple(one for one in plan.renditions if one.waits and outlet in (None, one.outlet))
