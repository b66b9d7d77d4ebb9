"""A small shoot under review: exported, answered, exported again."""

from __future__ import annotations

import io
import json
from typing import TYPE_CHECKING, Any

from pipeline.deliver.export import Asked, Summary, export
from pipeline.deliver.review.round import is_whole
from pipeline.ledger.book import read_rounds
from tests.deliver.review.answers import frame, json_of, rendition, reply
from tests.small_shoot import HEAD, write_job
from tests.small_shoot import frame as picture

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.ledger.rounds import Round

JOB = f"""{HEAD}
[[frames]]
file = "bowl.jpg"
subject = [0.5, 0.5]
alt = "A bowl of soup"
targets = ["blog/step", "partner/*"]

[[frames]]
file = "spoon.jpg"
slug = "wooden-spoon"
subject = [0.4, 0.6]
alt = "A wooden spoon"
targets = ["partner/*"]
"""
FINALS = ("partner/bean-soup-bowl-final-600.jpg", "partner/bean-soup-wooden-spoon-final-540.jpg")


def shoot(folder: Path, text: str = JOB) -> Path:
    """Write the job and its two frames, which are not the same picture; return the job file."""
    picture(folder / "bowl.jpg")
    picture(folder / "spoon.jpg", (600, 410))
    return write_job(folder, text, ("bowl.jpg", "spoon.jpg"))


def run(job: Path, **asked: Any) -> Summary:  # noqa: ANN401 (the fields of Asked)
    """Export a job to the folder beside it."""
    return export(Asked(job, job.parent / "out", workers=1, quiet=True, **asked), io.StringIO())


def last_round(job: Path, outlet: str | None = None) -> Round:
    """Return the round of an outlet with the highest number."""
    return [one for one in read_rounds(job.parent / "out") if one.outlet == outlet][-1]


def answer(
    job: Path,
    verdicts: dict[str, Any],
    of_round: Round | None = None,
    name: str = "reply.json",
    **changed: Any,  # noqa: ANN401 (keys of a reply)
) -> Path:
    """Write the reply that the page of a round would save, and return it.

    `verdicts` are by frame slug or `frame/outlet/target`: a verdict, or verdict and note, or these and spots.
    """
    shown = of_round or last_round(job)
    frames: dict[str, list[Any]] = {}
    for one in shown.shown:
        slug, _, target = one.rendition.partition("/")
        own = frames.setdefault(slug, [])
        if not is_whole(one.rendition):
            own.append(rendition(target, one.picture_key, *_said(verdicts.get(one.rendition))))
    answers = []
    for slug, own in frames.items():
        verdict, note, *spots = _said(verdicts.get(slug))
        answers.append(frame(slug, verdict, note, tuple(spots), *own))
    document = reply(*answers, **{"round": shown.id, "outlet": shown.outlet, **changed})
    path = job.parent / name
    path.write_bytes(json_of(document))
    return path


def _said(words: Any) -> list[Any]:  # noqa: ANN401 (a verdict, or a list that begins with one)
    return [None, ""] if words is None else [words, ""] if isinstance(words, str) else list(words)


def manifest(job: Path) -> dict[str, dict[str, Any]]:
    """Return what the manifest says of each rendition, by name."""
    document = json.loads((job.parent / "out" / "manifest.json").read_bytes())
    return {f"{one['frame']}/{one['target']}": one for one in document["renditions"]}
