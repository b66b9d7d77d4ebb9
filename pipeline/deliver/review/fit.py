"""A reply held against the rounds that were shown: does it answer one of them, and of which pictures does it speak."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from pipeline.deliver.review.reply_file import ASK_AGAIN, FrameAnswer, RenditionAnswer
from pipeline.deliver.review.round import is_whole, round_id
from pipeline.faults import Fault
from pipeline.job.explain import nearest

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from pipeline.deliver.review.reply_file import Reply
    from pipeline.ledger.rounds import Round

MOST_NAMED = 12


def round_of(reply: Reply, rounds: Sequence[Round]) -> Round | None:
    """Return the round that a reply answers, of its own outlet where several showed the same pictures."""
    found = [one for one in rounds if one.id == reply.round]
    return next((one for one in found if one.outlet == reply.outlet), found[0] if found else None)


def fitted(
    reply: Reply, rounds: Sequence[Round], keys: Mapping[str, str], title: str, out: Path, shown: str
) -> Reply | list[Fault]:
    """Return a reply with the picture key of every picture it speaks of, or why it cannot be taken.

    `keys` are the picture keys by name that the job gives now, `title` its shoot's. A round that the ledger of `out`
    does not know is taken where one of its pictures at least is still made: the folder may have been lost since.
    """
    twice = [*_named_twice(reply, shown)]
    if twice:
        return twice
    answered = round_of(reply, rounds)
    if answered:
        faults = [*_strangers(reply, answered, shown)]
        return faults or _completed(reply, answered)
    if set(keys_of(reply).values()) & set(keys.values()):
        return reply
    found = f"it answers a round that {out} does not know"
    if reply.shoot != title:
        return [
            Fault(shown, f"{found}, of the shoot '{reply.shoot}'", f"name the job of that shoot: this is '{title}'")
        ]
    return [Fault(shown, found, "name the folder that its contact sheet came from with --out")]


def _named_twice(reply: Reply, shown: str) -> Iterator[Fault]:
    for slug, count in Counter(frame.frame for frame in reply.frames).items():
        if count > 1:
            yield Fault(shown, f"it answers the frame '{slug}' twice", ASK_AGAIN)
    for frame in reply.frames:
        for name, count in Counter(own.rendition for own in frame.renditions).items():
            if count > 1:
                yield Fault(shown, f"it answers '{name}' of the frame '{frame.frame}' twice", ASK_AGAIN)


def _strangers(reply: Reply, answered: Round, shown: str) -> Iterator[Fault]:
    """Yield what a reply speaks of that its round did not show."""
    known = {one.rendition: one.picture_key for one in answered.shown}
    slugs = list(dict.fromkeys(name.partition("/")[0] for name in known))
    for frame in reply.frames:
        if frame.frame not in slugs:
            found = f"round {answered.number} showed no frame '{frame.frame}'"
            wanted = f"it showed {_listed(slugs)}" if slugs else ASK_AGAIN
            yield Fault(shown, found, wanted, nearest=nearest(frame.frame, slugs))
            continue
        targets = [
            name.partition("/")[2] for name in known if name.startswith(f"{frame.frame}/") and not is_whole(name)
        ]
        for own in frame.renditions:
            if own.rendition not in targets:
                found = f"round {answered.number} did not show '{own.rendition}' of the frame '{frame.frame}'"
                yield Fault(shown, found, f"it showed {_listed(targets)}", nearest=nearest(own.rendition, targets))
            elif own.key not in {None, known[f"{frame.frame}/{own.rendition}"]}:
                found = (
                    f"the key of '{own.rendition}' of the frame '{frame.frame}' is not that of round {answered.number}"
                )
                yield Fault(shown, found, f"the reply was changed on its way: {ASK_AGAIN}")


def _completed(reply: Reply, answered: Round) -> Reply:
    """Return a reply with every picture of its round, in its order and with its key; what it leaves out is open.

    The same answer is then the same reply, whether it came as a file or as text.
    """
    known: dict[str, dict[str, str]] = {}
    for one in answered.shown:
        slug, _, target = one.rendition.partition("/")
        of_frame = known.setdefault(slug, {})
        if not is_whole(one.rendition):
            of_frame[target] = one.picture_key
    said = {frame.frame: frame for frame in reply.frames}
    frames = [_completed_frame(said.get(slug, FrameAnswer(frame=slug)), targets) for slug, targets in known.items()]
    return reply.model_copy(update={"frames": tuple(frames)})


def _completed_frame(frame: FrameAnswer, targets: Mapping[str, str]) -> FrameAnswer:
    said = {own.rendition: own for own in frame.renditions}
    whole = [
        said.get(target, RenditionAnswer(rendition=target)).model_copy(update={"key": picture_key})
        for target, picture_key in targets.items()
    ]
    return frame.model_copy(update={"renditions": tuple(whole)})


def keys_of(reply: Reply) -> dict[str, str]:
    """Return the picture keys of all that a reply speaks of, by `frame/outlet/target`."""
    return {f"{frame.frame}/{own.rendition}": own.key for frame in reply.frames for own in frame.renditions if own.key}


def since_then(reply: Reply, answered: Round | None, keys: Mapping[str, str]) -> str | None:
    """Return what became of the pictures that a reply judges, in a sentence; None where they are what is shown now.

    `answered` is its round, None where that is not known here; `keys` are the picture keys by name that the job gives
    now.
    """
    here = (
        keys
        if reply.outlet is None
        else {name: key for name, key in keys.items() if name.split("/")[1] == reply.outlet}
    )
    if reply.round == round_id(here.values()):
        return None
    which = f"it answers round {answered.number}" if answered else "it answers a round that is not known here"
    judged = keys_of(reply)
    same = {(name.partition("/")[2], key) for name, key in keys.items()}
    holds = {name: key for name, key in judged.items() if (name.partition("/")[2], key) in same}
    changed = [name for name in judged if name not in holds]
    if not changed:
        return f"{which}, not this one; every picture in it is still the same, so all of it holds"
    if not holds:
        return f"{which}; every picture in it has changed since, so none of it stands: {_pictures(changed, judged)}"
    unchanged, others = _pictures([*holds], judged), _pictures(changed, judged)
    return f"{which}; it holds for what is unchanged: {unchanged}; changed since: {others}"


def _pictures(names: Sequence[str], judged: Iterable[str]) -> str:
    """Return pictures in words: a frame by its name alone where all of its pictures are meant."""
    of_frame = Counter(name.partition("/")[0] for name in judged)
    meant = Counter(name.partition("/")[0] for name in names)
    shown = [
        name.partition("/")[0] if meant[name.partition("/")[0]] == of_frame[name.partition("/")[0]] else name
        for name in names
    ]
    return _listed(list(dict.fromkeys(shown)))


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more
