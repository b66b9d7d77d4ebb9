"""What each reviewer last said of a picture. Pure: from the replies that were kept, and from picture keys.

A picture is known by its target (`outlet/target`) and its picture key, so that an answer to an earlier round holds
where the picture is still the same, whatever its frame is called now.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.review.replies import reviewer_id
from pipeline.faults import printable_line
from pipeline.plan.rendition import Approval

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from pipeline.deliver.review.replies import Kept
    from pipeline.deliver.review.reply_file import Answer, FrameAnswer, RenditionAnswer, Reply
    from pipeline.deliver.review.state import Spot, Verdict

    Answers = Sequence[tuple[FrameAnswer, RenditionAnswer]]


@dataclass(frozen=True, slots=True)
class Words:
    """What one reviewer said: the verdict, the note, the places, and in which reply.

    `of_frame` is True where it was said of the whole frame, False where of the rendition itself; `picture_key` is
    then the picture that was judged. `stands` is True where what was judged is what there is now.
    """

    verdict: Verdict
    note: str
    spots: tuple[Spot, ...]
    reviewer: str
    date: str
    round_id: str
    outlet: str | None
    of_frame: bool
    stands: bool = True
    picture_key: str | None = None


def words_of(answer: Answer, reply: Reply, *, stands: bool = True, picture_key: str | None = None) -> Words | None:
    """Return a verdict with who gave it, and when; None where it is open. `picture_key` is None for that of a frame."""
    if answer.verdict is None:
        return None
    return Words(
        verdict=answer.verdict,
        note=answer.note,
        spots=tuple(one.spot for one in answer.spots),
        reviewer=reply.reviewer,
        date=reply.date,
        round_id=reply.round,
        outlet=reply.outlet,
        of_frame=picture_key is None,
        stands=stands,
        picture_key=picture_key,
    )


@dataclass(frozen=True, slots=True)
class Heard:
    """One reply, with what it answers found at once: by frame, by `frame/outlet/target`, by target and picture key."""

    reply: Reply
    reviewer: str
    frames: Mapping[str, FrameAnswer]
    named: Mapping[str, Answers]
    pictures: Mapping[tuple[str, str], Answers]


def heard(newest: Iterable[Kept]) -> tuple[Heard, ...]:
    """Return replies (newest first, as `replies.newest_first` has them) as the questions below are asked of them."""
    return tuple(_indexed(kept.reply) for kept in newest)


def _indexed(reply: Reply) -> Heard:
    named: defaultdict[str, list[tuple[FrameAnswer, RenditionAnswer]]] = defaultdict(list)
    pictures: defaultdict[tuple[str, str], list[tuple[FrameAnswer, RenditionAnswer]]] = defaultdict(list)
    for frame in reply.frames:
        for own in frame.renditions:
            named[f"{frame.frame}/{own.rendition}"].append((frame, own))
            pictures[own.rendition, own.key or ""].append((frame, own))
    frames = {frame.frame: frame for frame in reply.frames}
    return Heard(reply, reviewer_id(reply.reviewer), frames, named, pictures)


def verdicts_on(name: str, picture_key: str, replies: Sequence[Heard]) -> tuple[Words, ...]:
    """Return the newest verdict of each reviewer on one rendition, `frame/outlet/target`, newest first.

    Its own verdict goes before that of its frame in the same reply.
    """
    slug, _, target = name.partition("/")
    return _newest_of_each(replies, lambda one: _verdict(one, slug, one.pictures.get((target, picture_key), ())))


def own_words(name: str, picture_key: str, replies: Sequence[Heard]) -> tuple[Words, ...]:
    """Return what each reviewer last said of one rendition by itself, newest first.

    Where nothing was said of this very picture, what was said of an earlier one of the same name, which no longer
    stands. Left out is whoever said something newer of the whole frame.
    """
    slug = name.partition("/")[0]
    current = {reviewer_id(one.reviewer): one for one in verdicts_on(name, picture_key, replies)}
    earlier = _newest_of_each(replies, lambda one: _verdict(one, slug, one.named.get(name, ()), stands=False))
    words = {reviewer_id(one.reviewer): one for one in earlier} | current
    return tuple(one for one in words.values() if not one.of_frame)


def frame_words(slug: str, keys: Mapping[str, str], replies: Sequence[Heard]) -> tuple[Words, ...]:
    """Return what each reviewer last said of a frame as a whole, newest first; what still stands goes before.

    `keys` are the picture keys of its renditions now, by name: words stand where all of these were judged.
    """

    def said(one: Heard) -> Words | None:
        answer = one.frames.get(slug)
        if answer is None:
            return None
        judged = {own.rendition: own.key for own in answer.renditions}
        stands = all(judged.get(name.partition("/")[2]) == key for name, key in keys.items())
        return words_of(answer, one.reply, stands=stands)

    standing = _newest_of_each(replies, lambda one: words if (words := said(one)) and words.stands else None)
    words = {reviewer_id(one.reviewer): one for one in _newest_of_each(replies, said)}
    return tuple((words | {reviewer_id(one.reviewer): one for one in standing}).values())


def approvals(keys: Mapping[str, str], replies: Sequence[Heard]) -> dict[str, tuple[Approval, ...]]:
    """Return who approved each rendition of `keys` (picture keys by name) that is approved; the others are left out.

    Approved is a rendition of which at least one reviewer, and every reviewer who gave a verdict on this very
    picture, last said "approve". Where they disagree it is not.
    """
    approved: dict[str, tuple[Approval, ...]] = {}
    for name, picture_key in keys.items():
        words = verdicts_on(name, picture_key, replies)
        if words and all(one.verdict == "approve" for one in words):
            approved[name] = tuple(Approval(printable_line(one.reviewer), one.date, one.round_id) for one in words)
    return approved


def _newest_of_each(replies: Sequence[Heard], said: Callable[[Heard], Words | None]) -> tuple[Words, ...]:
    found: dict[str, Words] = {}
    for one in replies:
        if one.reviewer not in found and (words := said(one)):
            found[one.reviewer] = words
    return tuple(found.values())


def _verdict(one: Heard, slug: str, answers: Answers, *, stands: bool = True) -> Words | None:
    if not answers:
        return None
    frame, own = next((pair for pair in answers if pair[0].frame == slug), answers[0])
    return words_of(own, one.reply, stands=stands, picture_key=own.key or "") or words_of(
        frame, one.reply, stands=stands
    )
