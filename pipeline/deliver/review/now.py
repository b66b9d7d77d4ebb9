"""Where a review stands at the moment a contact sheet is written: this round, and what was said before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.review.replies import newest_first, of_this_shoot
from pipeline.deliver.review.round import earlier_path, is_whole, round_id, shown_pictures, whole_name
from pipeline.deliver.review.said import frame_words, heard, own_words
from pipeline.deliver.review.state import Before, Review, Standing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from pipeline.deliver.review.replies import Kept
    from pipeline.deliver.review.said import Words
    from pipeline.ledger.book import Ledger
    from pipeline.ledger.rounds import Round, Shown
    from pipeline.plan.rendition import Plan


def review_of(
    plan: Plan, contents: Mapping[str, str], ledger: Ledger, replies: Sequence[Kept], outlet: str | None
) -> Review:
    """Return what the sheet of an outlet (None: hers) has to know of the review, and keep its round in the ledger.

    `plan` holds the previews that are there, as the sheet shows it; `contents` are the digests of the frames' files by
    slug; `replies` is every reply that was taken (`replies.read_replies`). Call it once for each sheet, when its
    previews are made and recorded. An outlet's sheet learns only what was answered to that outlet's own sheets.
    Raises OSError.
    """
    shown = shown_pictures(plan, contents, ledger.made(), outlet)
    keys = {one.rendition: one.picture_key for one in shown if not is_whole(one.rendition)}
    this = ledger.keep_round(round_id(keys.values()), outlet, shown)
    rounds = ledger.rounds()
    to_this = [one for one in replies if outlet is None or one.reply.outlet == outlet]
    newest = heard(newest_first(of_this_shoot(to_this, plan.title, keys, rounds), rounds))
    judged = _Judged(ledger.folder, rounds, {one.rendition: one for one in shown})
    standings: dict[str, tuple[Standing, ...]] = {}
    for frame in plan.frames:
        of_frame = {one.name: keys[one.name] for one in frame.renditions if one.name in keys}
        if of_frame:
            standings[frame.slug] = tuple(
                judged.standing(words, whole_name(frame.slug)) for words in frame_words(frame.slug, of_frame, newest)
            )
        for name, picture_key in of_frame.items():
            standings[name] = tuple(judged.standing(words, name) for words in own_words(name, picture_key, newest))
    return Review(this.id, this.number, outlet, keys, {name: found for name, found in standings.items() if found})


@dataclass(frozen=True, slots=True)
class _Judged:
    """The prints that were judged: the output folder, every round, and what this one shows by rendition name."""

    folder: Path
    rounds: Sequence[Round]
    now: Mapping[str, Shown]

    def standing(self, words: Words, name: str) -> Standing:
        """Return what was said, as the page shows it. `name` is that of the picture that was judged.

        The print that was judged is hers: an outlet's sheet shows a whole frame small, and marked as it is there.
        """
        answered = next((one for one in self.rounds if (one.id, one.outlet) == (words.round_id, words.outlet)), None)
        return Standing(
            verdict=words.verdict,
            note=words.note,
            spots=words.spots,
            reviewer=words.reviewer,
            date=words.date,
            round_number=answered.number if answered else 0,
            stands=words.stands,
            before=self._before(answered, words.picture_key, name),
        )

    def _before(self, answered: Round | None, picture_key: str | None, name: str) -> Before | None:
        """Return the print that was judged, where this round shows another and it is still kept."""
        of_round = next((one for one in answered.shown if one.rendition == name), None) if answered else None
        judged = picture_key or (of_round.picture_key if of_round else None)
        now = self.now.get(name)
        if judged is None or (now and now.picture_key == judged):
            return None
        known = next((one for each in self.rounds for one in each.shown if one.picture_key == judged), None)
        path = earlier_path(judged)
        return Before(path, known.preview) if known and (self.folder / path).is_file() else None
