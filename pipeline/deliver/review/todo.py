"""What to do after an answer, frame by frame in the order of the job, in lines for her terminal."""

from __future__ import annotations

import shlex
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.review.job_lines import how_to_leave_out
from pipeline.deliver.review.places import spot_words
from pipeline.deliver.review.replies import reviewer_id
from pipeline.deliver.review.round import whole_name
from pipeline.deliver.review.said import Heard, Words, heard, verdicts_on
from pipeline.faults import counted
from pipeline.light.turn import Turn

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from pipeline.deliver.review.reply_file import Answer
    from pipeline.deliver.review.take import Standing, Taken
    from pipeline.ledger.rounds import Shown
    from pipeline.light.box import Box
    from pipeline.plan.rendition import PlannedFrame

TOTALS = {
    "approve": "approved",
    "change": "to change",
    "leave-out": "to leave out",
    "conflict": "in dispute",
    "open": "still open",
}
SAYS = {"approve": "approve", "change": "change", "leave-out": "leave out"}


def reply_lines(taken: Sequence[Taken], standing: Standing) -> Iterator[str]:
    """Yield what was taken, then what follows for each frame, then what to do next.

    Words of others stand in these lines as they were written: print them with `faults.printable_line`.
    """
    for one in taken:
        yield from _taken_lines(one)
    replies = heard(standing.newest)
    if not replies:
        yield "no reply was taken yet"
        return
    outlets = _outlets(taken, standing)
    count: Counter[str] = Counter()
    for number, frame in enumerate(standing.plan.frames, start=1):
        lines = [*_frame_lines(frame, standing, replies, outlets, count), *_earlier_lines(frame.slug, standing, taken)]
        if lines:
            yield ""
            yield f"{number}. {frame.slug}"
            yield from (f"   {line}" for line in lines)
    yield from _gone_lines(standing, taken)
    yield ""
    yield _totals(count)
    yield _next(standing, count)


def _taken_lines(taken: Taken) -> Iterator[str]:
    reply = taken.kept.reply
    sheet = f"the sheet for {reply.outlet}" if reply.outlet else "your own sheet"
    which = f"round {taken.answered.number} of {sheet}" if taken.answered else f"a round of {sheet}"
    yield f"{taken.file}: {reply.reviewer} answers {which}, {reply.date}"
    if taken.again:
        yield f"   this very reply was taken before: it is replies/{taken.kept.name}"
    else:
        yield f"   kept as replies/{taken.kept.name}"
    for note in taken.notes:
        yield f"   note: {note}"


def _outlets(taken: Sequence[Taken], standing: Standing) -> set[str] | None:
    """Return the outlets whose pictures were asked about; None for all of them."""
    asked = [one.kept.reply for one in taken] or [one.reply for one in standing.newest]
    outlets = {reply.outlet for reply in asked}
    return None if None in outlets else {outlet for outlet in outlets if outlet}


@dataclass(frozen=True, slots=True)
class _Group:
    """The renditions of a frame for which one set of words holds, by their targets."""

    words: Words
    targets: tuple[str, ...]


def _frame_lines(
    frame: PlannedFrame,
    standing: Standing,
    replies: Sequence[Heard],
    outlets: set[str] | None,
    count: Counter[str],
) -> Iterator[str]:
    said: dict[str, tuple[Words, ...]] = {}
    open_still: list[str] = []
    for one in frame.renditions:
        if one.name not in standing.keys:
            continue
        words = verdicts_on(one.name, standing.keys[one.name], replies)
        if words:
            said[f"{one.outlet}/{one.target}"] = words
        elif one.waits or outlets is None or one.outlet in outlets:
            open_still.append(f"{one.outlet}/{one.target}")
    for words in said.values():
        verdicts = {one.verdict for one in words}
        count["conflict" if len(verdicts) > 1 else verdicts.pop()] += 1
    count["open"] += len(open_still)
    disputed = {target for target, words in said.items() if len({one.verdict for one in words}) > 1}
    for group in _groups(said):
        all_of_it = len(group.targets) == len(said) + len(open_still)
        agreed = not disputed.intersection(group.targets)
        yield from _word_lines(frame, group, standing, all_of_it=all_of_it, agreed=agreed)
    yield from _conflict_lines(said)
    if open_still:
        yield f"still open: {', '.join(open_still)}" if said else "still open"


def _groups(said: Mapping[str, Sequence[Words]]) -> list[_Group]:
    found: dict[tuple[str, str, str], list[str]] = {}
    words_by: dict[tuple[str, str, str], Words] = {}
    for target, all_words in said.items():
        for words in all_words:
            of = "" if words.of_frame else target
            key = (reviewer_id(words.reviewer), f"{words.date} {words.round_id}", of)
            found.setdefault(key, []).append(target)
            words_by.setdefault(key, words)
    groups = [_Group(words_by[key], tuple(targets)) for key, targets in found.items()]
    return sorted(groups, key=lambda group: list(SAYS).index(group.words.verdict))


def _word_lines(
    frame: PlannedFrame, group: _Group, standing: Standing, *, all_of_it: bool, agreed: bool
) -> Iterator[str]:
    words = group.words
    scope = "" if all_of_it and words.of_frame else f"{', '.join(group.targets)}: "
    who = f"{words.reviewer}, {words.date}"
    match words.verdict:
        case "approve":
            yield f"{scope}approved by {who}" if agreed else f"{scope}approve, says {who}"
        case "change":
            yield f"{scope}change, says {who}"
        case "leave-out":
            yield f"{scope}leave out, says {who}"
            whole = words.of_frame and words.outlet is None
            for line in how_to_leave_out(standing.job, frame.slug, group.targets, whole=whole):
                yield f"   to do so: {line}"
    yield from _note_lines(words.note)
    target = None if words.of_frame else group.targets[0]
    yield from (f"   {spot_words(spot, *_drawn_on(frame, target))}" for spot in words.spots)


def _note_lines(note: str) -> Iterator[str]:
    for paragraph in note.splitlines():
        if paragraph.strip():
            yield f'   "{paragraph.strip()}"'


def _drawn_on(frame: PlannedFrame, target: str | None) -> tuple[str, Box | None, Turn | None]:
    """Return the name of the picture that a spot was drawn on, where it is cut from its frame, how that is turned."""
    drawn = frame.whole
    if target is not None:
        drawn = next(one for one in frame.renditions if f"{one.outlet}/{one.target}" == target)
    turn = Turn(frame.header.size, drawn.crop.turn_deg)
    return target or "the frame", None if drawn.beside else drawn.crop.box, turn


def _conflict_lines(said: Mapping[str, Sequence[Words]]) -> Iterator[str]:
    found: dict[str, list[str]] = {}
    for target, all_words in said.items():
        if len({one.verdict for one in all_words}) > 1:
            sides = ", ".join(f"{one.reviewer} says {SAYS[one.verdict]}" for one in reversed(all_words))
            found.setdefault(sides, []).append(target)
    for sides, targets in found.items():
        yield f"they disagree about {', '.join(targets)}: {sides}"
        yield "   that is yours to settle; until they agree it is not approved"


def _earlier_lines(slug: str, standing: Standing, taken: Sequence[Taken]) -> Iterator[str]:
    """Yield what the replies just taken say of a frame that no verdict above holds.

    That is what was said of pictures that have changed since, words without a verdict, and words of the whole frame
    where each rendition has a verdict of its own.
    """
    current = {(name.partition("/")[2], key) for name, key in standing.keys.items()}
    for one in taken:
        frame = next((answer for answer in one.kept.reply.frames if answer.frame == slug), None)
        if frame is None:
            continue
        who = f"{one.kept.reply.reviewer}, {one.kept.reply.date}"
        shown = {each.rendition: each for each in one.answered.shown} if one.answered else {}
        whole = shown.get(whole_name(slug))
        there = [own for own in frame.renditions if (own.rendition, own.key) in current]
        if not there or not frame.verdict:
            yield from _answer_lines(frame, None, who, whole, whole)
        elif all(own.verdict for own in there):
            yield f"{SAYS[frame.verdict]}, says {who} of the whole frame, whose pictures have verdicts of their own"
            yield from _words_and_spots(frame, "the frame", whole, whole)
        for own in frame.renditions:
            if own not in there or not own.verdict:
                yield from _answer_lines(own, own.rendition, who, shown.get(f"{slug}/{own.rendition}"), whole)


def _answer_lines(
    answer: Answer, target: str | None, who: str, drawn: Shown | None, whole: Shown | None
) -> Iterator[str]:
    if not answer.says_something:
        return
    scope = f"{target}: " if target else ""
    if answer.verdict is None:
        yield f"{scope}no verdict, but words of {who}"
    else:
        yield f"{scope}{SAYS[answer.verdict]}, said {who} of the earlier picture, which has changed since"
    yield from _words_and_spots(answer, target or "the frame", drawn, whole)


def _words_and_spots(answer: Answer, of: str, drawn: Shown | None, whole: Shown | None) -> Iterator[str]:
    yield from _note_lines(answer.note)
    cut = drawn.box if drawn else None
    turn = Turn(whole.box.size, drawn.turn_deg) if drawn and whole and whole.box else None
    yield from (f"   {spot_words(one.spot, of, cut, turn)}" for one in answer.spots)


def _gone_lines(standing: Standing, taken: Sequence[Taken]) -> Iterator[str]:
    """Yield what the replies just taken say of frames that the job does not have any more."""
    slugs = {frame.slug for frame in standing.plan.frames}
    current = set(standing.keys.values())
    for one in taken:
        for frame in one.kept.reply.frames:
            if frame.frame in slugs:
                continue
            # Verdicts on a frame that is only called otherwise now are told with its pictures.
            renamed = bool({own.key for own in frame.renditions} & current)
            who = f"{one.kept.reply.reviewer}, {one.kept.reply.date}"
            answers = [(None, frame), *((own.rendition, own) for own in frame.renditions)]
            lines = [
                line
                for target, answer in answers
                if not (renamed and answer.verdict)
                for line in _answer_lines(answer, target, who, None, None)
            ]
            if lines:
                yield ""
                yield f"{frame.frame}, which the job does not have now"
                yield from (f"   {line}" for line in lines)


def _totals(count: Counter[str]) -> str:
    words = {
        "approve": "approved",
        "change": "to change",
        "leave-out": "to leave out",
        "conflict": "in dispute",
        "open": "still open",
    }
    parts = [f"{count[kind]} {words[kind]}" for kind in words if count[kind]]
    return f"{counted(sum(count.values()), 'rendition')}: {', '.join(parts)}" if parts else "nothing was asked"


def _next(standing: Standing, count: Counter[str]) -> str:
    export = f"plateline export {shlex.quote(str(standing.job.file))}"
    if count["change"] or count["leave-out"] or count["conflict"]:
        return f"next: settle that in {standing.job.file.name} by hand, then: {export}"
    approved = any(one.needs_approval and one.approvals for one in standing.plan.renditions)
    return f"next: {export}" + (", which makes what is approved" if approved else "")
