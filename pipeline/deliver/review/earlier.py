"""Earlier prints: what the last answered round showed, kept so that two prints can be laid side by side."""

from __future__ import annotations

import contextlib
import re
from typing import TYPE_CHECKING

from pipeline.deliver.review.round import earlier_path, picture_keys, round_id, whole_keys
from pipeline.deliver.write import inside, plain_place, write_whole

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from pipeline.deliver.review.replies import Kept
    from pipeline.ledger.book import Ledger
    from pipeline.ledger.rounds import Round
    from pipeline.plan.rendition import Plan

_EARLIER = re.compile(r"[0-9a-f]{32}\.jpg", re.ASCII)


def keep_earlier_prints(plan: Plan, contents: Mapping[str, str], ledger: Ledger, replies: Sequence[Kept]) -> None:
    """Keep each preview that is about to be written over by another picture, where it may be laid beside it.

    Call it before the previews of `plan` are made. Raises OSError.
    """
    folder, made = ledger.folder, ledger.made()
    now = picture_keys(plan, contents) | whole_keys(plan, contents)
    previews = {
        one.name: one.preview.path for frame in plan.frames for one in (frame.whole, *frame.renditions) if one.preview
    }
    for judged in _judged_rounds(ledger.rounds(), replies, _ids(plan, contents)):
        for one in judged.shown:
            row = made.get(previews.get(one.rendition, ""))
            changes = now.get(one.rendition) not in {None, one.picture_key}
            if not changes or row is None or row.picture_sha256 is None or row.picture_sha256 != one.preview_sha256:
                continue
            place = plain_place(folder, earlier_path(one.picture_key))
            with contextlib.suppress(FileNotFoundError):
                if not place.exists():
                    write_whole(place, inside(folder, row.path).read_bytes())


def drop_old_prints(plan: Plan, contents: Mapping[str, str], ledger: Ledger, replies: Sequence[Kept]) -> None:
    """Remove the earlier prints that no sheet shows any more. Raises OSError."""
    folder = inside(ledger.folder, earlier_path("")).parent
    if not folder.is_dir():
        return
    judged = _judged_rounds(ledger.rounds(), replies, _ids(plan, contents))
    wanted = {f"{one.picture_key}.jpg" for each in judged for one in each.shown}
    for left in folder.iterdir():
        if _EARLIER.fullmatch(left.name) and left.name not in wanted:
            left.unlink()


def _ids(plan: Plan, contents: Mapping[str, str]) -> dict[str | None, str]:
    """Return the id that the round of each outlet has now."""
    keys = picture_keys(plan, contents)
    by_outlet: dict[str | None, list[str]] = {None: list(keys.values())}
    for name, picture_key in keys.items():
        by_outlet.setdefault(name.split("/")[1], []).append(picture_key)
    return {outlet: round_id(found) for outlet, found in by_outlet.items()}


def _judged_rounds(rounds: Sequence[Round], replies: Sequence[Kept], now: Mapping[str | None, str]) -> Iterator[Round]:
    """Yield for each outlet the last round before this one that was answered; where none was, the last before this."""
    answered = {(one.reply.round, one.reply.outlet) for one in replies}
    for outlet in dict.fromkeys(one.outlet for one in rounds):
        before = [one for one in rounds if one.outlet == outlet and one.id != now.get(outlet)]
        heard = [one for one in before if (one.id, outlet) in answered]
        last = max(heard or before, key=lambda one: one.number, default=None)
        if last:
            yield last
